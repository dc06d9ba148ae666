"""The day page: one figure that tells a field day at a glance."""

from functools import partial

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from lodewalk.figures.day_axes import (
    GAP_MM,
    LOCAL_MM,
    Row,
    axis_height_mm,
    small_mm,
    stack,
)
from lodewalk.figures.day_field import draw_activity, draw_band, draw_curve, draw_error
from lodewalk.figures.day_findings import LINE_MM, draw_findings, findings_height_mm, listed
from lodewalk.figures.day_records import HATCHES, LOOKS, VERDICTS, FieldDay, field_day
from lodewalk.figures.day_walks import draw_walks, walks_height_mm
from lodewalk.figures.style import (
    PAGE_WIDTH_MM,
    QUIET,
    SMALL_PT,
    canvas_mm,
    heading,
    new_figure,
    number,
    size_mm,
    styled,
    text_mm,
    text_width_mm,
    wrapped,
)
from lodewalk.records.document import Document
from lodewalk.records.products import BaseRecord, Findings, Lines, Minutes

_EDGE_MM, _TEXT_MM, _KEY_MM = 4.0, 3.9, 6.5
_TITLE_MM, _VERDICT_MM = 10.0, 6.0
_CURVE_MM, _LOW_CURVE_MM, _ERROR_MM, _BAND_MM, _ACTIVITY_MM = 46.0, 32.0, 20.0, 4.5, 7.5
#: The height that a printed page has room for.
_PAGE_MM = 225.0
_VERDICT_PT = 10.0


@styled
def draw_day(
    base: BaseRecord,
    lines: Lines,
    findings: Findings,
    *,
    minutes: Minutes | None,
    check: Document | None,
    day: str,
    datum_nT: float | None,
    zone: str,
) -> Figure:
    """Draw the page of one field day: verdict, field, errors, lines walked and findings.

    Parameters
    ----------
    base : BaseRecord
        Readings of all days and all base instruments; may be empty.
    lines : Lines
        Lines as walked, by all rovers.
    findings : Findings
        All findings. Those of doubt or loss that touch the day are shown, whatever instrument
        they are about, and information that lies within it; the nine gravest are numbered.
    minutes : Minutes or None
        Predicted error and verdict of each minute, by base.
    check : Document or None
        Result of the check: its ``days`` hold verdict, reasons, activity, tolerance, and the
        verdict of each line.
    day : str
        Local date, YYYY-MM-DD.
    datum_nT : float or None
        Datum of the survey [nT]; the median of the day where there is none.
    zone : str
        Zone of the field day: an IANA name, ``UTC``, or an offset such as ``UTC-03:00``.

    Returns
    -------
    Figure
        180 mm wide; what is not known leaves its row out.

    Raises
    ------
    InputError
        For a malformed day, an unknown zone, or a day without base readings, minutes and lines.

    Notes
    -----
    A line belongs to the local date on which it begins. Readings that are not kept are small
    crosses and do not set the range of the axis. A gap is a pause of more than five sampling
    intervals in which no base records. Where several bases recorded, the datum is taken to
    be that of the base nearest to it; the others are lowered by the median difference over the
    time that both recorded.

    Examples
    --------
    >>> import polars as pl
    >>> from lodewalk.records.table import utc_column
    >>> base = BaseRecord(pl.DataFrame({
    ...     "time_utc": utc_column(1.773e9 + 60.0 * np.arange(3)), "instrument": ["base"] * 3,
    ...     "raw_nT": [22904.0, 22904.2, 22904.1], "kept": [True] * 3,
    ...     "reason": pl.Series([None] * 3, dtype=pl.String),
    ...     "departure_nT": pl.Series([None] * 3, dtype=pl.Float64)}))
    >>> figure = draw_day(base, Lines.empty(), Findings.empty(), minutes=None, check=None,
    ...                   day="2026-03-08", datum_nT=22904.0, zone="UTC")
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    told = field_day(base, lines, findings, minutes=minutes, check=check, day=day, zone=zone)
    reasons = _reasons(told)
    summary = _by_sentence(_summary(told))
    listing = listed(told)
    head = _TITLE_MM + max(_VERDICT_MM, _TEXT_MM * len(reasons) + 1) + _TEXT_MM * len(summary) + 1.5
    head += 1.5 if told.zone_name in ("UTC", "GPS", "") else LOCAL_MM
    foot = axis_height_mm(told) + _KEY_MM + LINE_MM * len(listing) + 1.0
    rows = _rows(told, datum_nT, room_mm=_PAGE_MM - head - foot)
    body = sum(row.height_mm + GAP_MM for row in rows) - GAP_MM
    figure = new_figure(PAGE_WIDTH_MM, head + body + foot)
    _head(figure, told, reasons, summary)
    low = stack(figure, rows, told, top_mm=body + foot)
    _key(figure, told, low - axis_height_mm(told) - _KEY_MM)
    _list(figure, listing, low - axis_height_mm(told) - _KEY_MM - 1.0)
    return figure


def _rows(day: FieldDay, datum_nT: float | None, *, room_mm: float) -> list[Row]:
    """Return the rows that have something to show; the curve is lower on a full page."""
    rows = []
    if day.of_base.get("activity"):
        rows.append(Row("activity", _ACTIVITY_MM, partial(draw_activity, day=day)))
    curve = len(rows)
    worst = day.minutes.floats("worst_nT")
    if np.any(np.isfinite(worst) & (worst > 0)):
        rows.append(Row("error", _ERROR_MM, partial(draw_error, day=day)))
    bases = sorted({name or "" for name in day.minutes.strings("instrument")})
    for name in bases:
        draw = partial(draw_band, day=day, base=name, only=len(bases) == 1)
        rows.append(Row("minutes", _BAND_MM, draw))
    for rover in sorted({walk.rover for walk in day.walks}):
        draw = partial(draw_walks, day=day, rover=rover)
        rows.append(Row("walks", walks_height_mm(day, rover), draw))
    found = findings_height_mm(day)
    if found:
        rows.append(Row("findings", found, partial(draw_findings, day=day)))
    if len(day.base):
        left = room_mm - sum(row.height_mm + GAP_MM for row in rows)
        height = min(_CURVE_MM, max(_LOW_CURVE_MM, left))
        draw = partial(draw_curve, day=day, datum_nT=datum_nT)
        rows.insert(curve, Row("curve", height, draw))
    return rows


def _verdict(day: FieldDay) -> str:
    """Return the verdict of the day as a word."""
    word = day.said.get("verdict")
    return word if word in LOOKS else "not judged"


def _verdict_words(day: FieldDay) -> str:
    """Return sign and word of the verdict."""
    mark = LOOKS[_verdict(day)]
    return f"{mark.sign} {mark.word}".strip()


def _pill_mm(day: FieldDay) -> float:
    """Return the width of the box around the verdict."""
    return text_width_mm(_verdict_words(day), size_pt=_VERDICT_PT, weight="bold") + 5.0


def _reasons(day: FieldDay) -> list[str]:
    """Return the reasons of the verdict, broken into lines that fit beside it."""
    text = "; ".join(str(reason) for reason in day.said.get("reasons") or [])
    room = PAGE_WIDTH_MM - 2 * _EDGE_MM - _pill_mm(day) - 8.0
    return wrapped(text, room, most=3) if text else []


def _by_sentence(sentences: list[str]) -> list[str]:
    """Return lines that hold whole sentences; one that is too long is cut."""
    room = PAGE_WIDTH_MM - 2 * _EDGE_MM - 6
    lines: list[str] = []
    for sentence in sentences:
        longer = f"{lines[-1]} {sentence}" if lines else sentence
        if lines and text_width_mm(longer) <= room:
            lines[-1] = longer
        else:
            lines.append(wrapped(sentence, room, most=1)[0])
    return lines


def _summary(day: FieldDay) -> list[str]:
    """Return sentences that tell the day in figures: lines, minutes and base."""
    parts = []
    if day.walks:
        lengths = sum(walk.length_m for walk in day.walks) / 1000
        counts = _counted([walk.verdict for walk in day.walks])
        parts.append(f"Lines: {len(day.walks)}, {number(lengths, 1)} km ({counts}).")
    if len(day.minutes):
        parts.append(f"Minutes: {_counted([str(w) for w in day.minutes.strings('verdict')])}.")
    size = day.of_base.get("range_nT")
    if size is not None:
        parts.append(f"Base range {number(size, 1)} nT.")
    parts += [
        f"{row['instrument']}: a reading each {row['interval_s']:.3g} s was {row['answer']}."
        for row in day.of_base.get("intervals") or []
        if row.get("interval_s") is not None and row.get("answer") not in (None, "cannot be told")
    ]
    if not len(day.base):
        parts.append("No base record: the change of the field with time is in the readings.")
    return parts


def _counted(words: list[str]) -> str:
    """Return how often each verdict occurs."""
    return ", ".join(f"{words.count(word)} {word}" for word in LOOKS if word in words)


def _head(figure: Figure, day: FieldDay, reasons: list[str], summary: list[str]) -> None:
    """Write date, verdict, reasons and figures at the top."""
    zone = "UTC" if day.zone_name in ("", "GPS") else day.zone_name
    heading(figure, f"Field day {day.date}, {zone}")
    _, height = size_mm(figure)
    look = LOOKS[_verdict(day)]
    pill = _pill_mm(day)
    at = height - _TITLE_MM - _VERDICT_MM + 0.5
    canvas = canvas_mm(figure, _EDGE_MM, at, pill, _VERDICT_MM)
    box = Rectangle((0.2, 0.2), pill - 0.4, _VERDICT_MM - 0.4, fc=look.tint, ec=look.colour, lw=0.8)
    canvas.add_patch(box)
    text_mm(
        figure,
        _EDGE_MM + pill / 2,
        at + _VERDICT_MM * 0.47,
        _verdict_words(day),
        ha="center",
        va="center",
        fontsize=_VERDICT_PT,
        weight="bold",
        color=look.colour,
    )
    line = height - _TITLE_MM - (3.4 if len(reasons) == 1 else 2.4)
    for text in reasons:
        text_mm(figure, _EDGE_MM + pill + 3.0, line, text)
        line -= _TEXT_MM
    line = height - _TITLE_MM - max(_VERDICT_MM, _TEXT_MM * len(reasons) + 1) - 3.2
    for text in summary:
        text_mm(figure, _EDGE_MM, line, text, color=QUIET)
        line -= _TEXT_MM


def _key(figure: Figure, day: FieldDay, bottom: float) -> None:
    """Explain colours, hatches and crosses in one line."""
    used = {walk.verdict for walk in day.walks}
    used |= {str(word) for word in day.minutes.strings("verdict")}
    canvas = canvas_mm(figure, _EDGE_MM, bottom, PAGE_WIDTH_MM - 2 * _EDGE_MM, _KEY_MM)
    at = 0.0
    for word in (*VERDICTS, "not judged"):
        if word not in used:
            continue
        mark = LOOKS[word]
        box = Rectangle((at + 0.2, 1.6), 6.0, 2.6, fc=mark.tint, ec=mark.colour, lw=0.4)
        box.set_hatch(HATCHES.get(word, ""))
        canvas.add_patch(box)
        at = _key_word(figure, at + 7.4, bottom, f"{mark.sign} {mark.word}".strip(), mark.colour)
    if not day.base.booleans("kept").all():
        _key_word(figure, at, bottom, "×  reading left out", QUIET)


def _key_word(figure: Figure, at: float, bottom: float, text: str, colour: str) -> float:
    """Write a word of the key and return where the next one begins."""
    text_mm(figure, _EDGE_MM + at, bottom + 1.9, text, fontsize=SMALL_PT, color=colour)
    return at + small_mm(text) + 5.0


def _list(figure: Figure, listing: list[tuple[str, str, bool]], top: float) -> None:
    """Write the list of findings."""
    for index, (text, colour, first) in enumerate(listing, start=1):
        left = _EDGE_MM if first else _EDGE_MM + 3.0
        text_mm(figure, left, top - LINE_MM * index + 0.9, text, fontsize=SMALL_PT, color=colour)
