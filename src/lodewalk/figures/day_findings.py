"""What was found on the day: numbered bars on the time axis, and the list that explains them."""

from matplotlib.axes import Axes

from lodewalk.figures.day_axes import boxes, clipped, per_mm, row_label, small_mm
from lodewalk.figures.day_records import FieldDay
from lodewalk.figures.spans import Span
from lodewalk.figures.style import (
    MARKS,
    PAGE_WIDTH_MM,
    QUIET,
    SMALL_PT,
    wrapped,
)

LINE_MM = 3.5
_LANE_MM, _BAR_MM = 3.6, 2.2
#: A list longer than this gives one line to each finding.
_MOST_IN_FULL = 5
_LONGEST_WORD, _LONGEST_LINE = 60, 220
_GRAVE = ("doubt", "loss")
_SEVERITIES = ("loss", "doubt", "information")


def findings_height_mm(day: FieldDay) -> float:
    """Return the height of the row of bars, 0 where nothing has a time."""
    timed = [span for span in day.spans if span.timed]
    if not timed:
        return 0.0
    lanes, _ = _lanes(day)
    return (lanes + any(_rest(day, look) for look in _GRAVE)) * _LANE_MM + 0.6


def _rest(day: FieldDay, severity: str) -> list[Span]:
    """Return the findings of a severity that have a time but no number."""
    spans = [span for span in day.spans if span.timed and not span.number]
    return [span for span in spans if span.severity == severity]


def draw_findings(axes: Axes, day: FieldDay) -> None:
    """Draw the numbered findings in as few lanes as needed, the other grave ones in one below."""
    height = findings_height_mm(day)
    _, places = _lanes(day)
    for span, lane, label_at in places:
        bottom = height - (lane + 1) * _LANE_MM
        own = clipped(day, [span.start], [span.end])
        boxes(axes, own, span.severity, bottom + (_LANE_MM - _BAR_MM) / 2, _BAR_MM)
        mark = MARKS[span.severity]
        axes.text(
            label_at,
            bottom + 0.46 * _LANE_MM,
            _label(span),
            va="center",
            fontsize=SMALL_PT,
            color=mark.colour,
        )
    for look in _GRAVE:
        rest = _rest(day, look)
        if rest:
            spans = clipped(day, [s.start for s in rest], [s.end for s in rest])
            boxes(axes, spans, look, 0.3 + (_LANE_MM - _BAR_MM) / 2, _BAR_MM)
    axes.set(ylim=(0, height), yticks=[])
    row_label(axes, "Findings")


def _label(span: Span) -> str:
    """Return the number of a finding with its sign."""
    return f"{span.number} {MARKS[span.severity].sign}"


def _lanes(day: FieldDay) -> tuple[int, list[tuple[Span, int, float]]]:
    """Return the number of lanes, and for each numbered finding its lane and its label's place."""
    ends: list[float] = []
    places = []
    shown = [span for span in day.spans if span.number and span.timed]
    for span in sorted(shown, key=lambda span: (span.start, span.number)):
        start, width = clipped(day, [span.start], [span.end])[0].tolist()
        label = (small_mm(_label(span)) + 1.2) * per_mm(day)
        at = start + width + 0.6 * per_mm(day)
        first, end = start, at + label
        if end > day.window[1]:
            at = max(start - label, day.window[0] + 0.6 * per_mm(day))
            first, end = at, start + width + 0.6 * per_mm(day)
        lane = next((i for i, reached in enumerate(ends) if reached <= first), len(ends))
        ends[lane : lane + 1] = [end]
        places.append((span, lane, at))
    return len(ends), places


def listed(day: FieldDay) -> list[tuple[str, str, bool]]:
    """Return the lines of the list: text, colour, and whether a finding begins there."""
    numbered = [span for span in day.spans if span.number]
    most = 2 if len(numbered) <= _MOST_IN_FULL else 1
    rows: list[tuple[str, str, bool]] = []
    for span in numbered:
        mark = MARKS[span.severity]
        words = _cut(" ".join(_cut(word) for word in span.text.split()), most * _LONGEST_LINE)
        head = f"{span.number} {mark.sign} {mark.word}, {_when(day, span)}: "
        broken = wrapped(head + words, PAGE_WIDTH_MM - 16, size_pt=SMALL_PT, most=most)
        rows += [(text, mark.colour, index == 0) for index, text in enumerate(broken)]
    rest = [span.severity for span in day.spans if not span.number]
    if rest:
        counts = [f"{rest.count(word)} {word}" for word in _SEVERITIES if word in rest]
        rows.append((f"and {len(rest)} more without a number: {', '.join(counts)}", QUIET, True))
    return rows


def _cut(text: str, longest: int = _LONGEST_WORD) -> str:
    """Return text, shortened where it has more letters than there can be room for."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def _when(day: FieldDay, span: Span) -> str:
    """Return when a finding was, in UTC; with the date where it isn't that of the page."""
    if not span.timed:
        return "no time of its own"
    edges = [day.moment(edge) for edge in (span.start, span.end)]
    form = "%H:%M:%S" if any(moment.second for moment in edges) else "%H:%M"
    words = [
        moment.strftime(form)
        if day.window[0] <= edge <= day.window[1]
        else f"{moment.day} {moment:%b} {moment.strftime(form)}"
        for edge, moment in zip((span.start, span.end), edges, strict=True)
    ]
    return f"{'–'.join(dict.fromkeys(words))} UTC"
