"""One day of the base: its curve, what was found in it, and which line was walked when."""

import datetime as dt
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.spans import Span, day_spans, gaps_of
from lodewalk.figures.style import (
    CURVE,
    INK,
    MARKS,
    PAGE_WIDTH_MM,
    QUIET,
    RULE,
    SMALL_PT,
    axes_mm,
    heading,
    new_figure,
    number,
    styled,
    text_mm,
    text_width_mm,
    thinned,
    wrapped,
)
from lodewalk.records.products import BaseRecord, Findings, Lines

_LEFT, _RIGHT = 19.0, 6.0
_WIDTH = PAGE_WIDTH_MM - _LEFT - _RIGHT
_CURVE_MM, _CHORD_MM, _STRIP_MM, _WALK_MM, _NAMES_MM = 62.0, 20.0, 5.0, 4.0, 11.0
_STEPS_S = (300, 600, 900, 1800, 3600, 7200, 10800)


@styled
def draw_base_record(
    base: BaseRecord,
    lines: Lines,
    findings: Findings,
    *,
    day: str,
    datum_nT: float | None,
    zone: str = "UTC",
) -> Figure:
    """Draw the base record of one UTC day less its datum.

    Parameters
    ----------
    base : BaseRecord
        Readings of all days and all base instruments.
    lines : Lines
        Lines as walked; those of the day are shown in a strip below the curve.
    findings : Findings
        Those about a base instrument on the day, of severity doubt or loss, are shaded.
    day : str
        UTC date, YYYY-MM-DD.
    datum_nT : float or None
        Datum of the survey [nT]; the median of the day where there is none.
    zone : str
        Time zone of the local time above the curve, an IANA name.

    Returns
    -------
    Figure
        180 mm wide.

    Raises
    ------
    InputError
        For a malformed day, an unknown zone, or a day without base readings.

    Notes
    -----
    Readings that are not kept are shown as small crosses and do not set the range of the axis.
    A gap is a pause of more than five sampling intervals; the curve breaks there.

    Examples
    --------
    >>> from lodewalk.records.table import utc_column
    >>> base = BaseRecord(pl.DataFrame({
    ...     "time_utc": utc_column(1.773e9 + 60.0 * np.arange(3)), "instrument": ["base"] * 3,
    ...     "raw_nT": [22904.0, 22904.2, 22904.1], "kept": [True] * 3,
    ...     "reason": pl.Series([None] * 3, dtype=pl.String),
    ...     "departure_nT": pl.Series([None] * 3, dtype=pl.Float64)}))
    >>> figure = draw_base_record(base, Lines.empty(), Findings.empty(), day="2026-03-08",
    ...                           datum_nT=22904.0)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    midnight, local = _midnight(day), _zone(zone)
    part = _of_day(base, day)
    level = datum_nT if datum_nT is not None else float(np.nanmedian(part.floats("raw_nT")))
    walked = lines.frame.filter(pl.col("day") == day).drop_nulls(["start_utc", "end_utc"])
    spans = day_spans(part, findings, midnight=midnight)
    walks = Lines(walked)
    window = _window(part, walks, midnight)
    figure, rows = _layout(
        part, walks, spans, title=f"Base record, {day}", with_local=zone != "UTC"
    )
    _draw_curve(rows.curve, part, level=level, midnight=midnight, datum=datum_nT is not None)
    if rows.chord is not None:
        _draw_chord(rows.chord, part, midnight=midnight)
    _draw_strip(rows.strip, part, spans, midnight=midnight, window=window)
    for axes, name in rows.walks:
        _draw_walks(axes, walks, name, midnight=midnight, window=window)
    _shade(rows.curve, spans, gaps_of(part, midnight=midnight), window)
    _time_axes(rows, window, midnight=midnight, local=local, zone=zone)
    return figure


@dataclass(frozen=True)
class _Rows:
    """The axes of the figure, from top to bottom."""

    curve: Axes
    chord: Axes | None
    strip: Axes
    walks: list[tuple[Axes, str]]

    @property
    def every(self) -> list[Axes]:
        """All axes from top to bottom."""
        chord = [] if self.chord is None else [self.chord]
        return [self.curve, *chord, self.strip, *(axes for axes, _ in self.walks)]


def _midnight(day: str) -> float:
    """Return the Unix time of 00:00 UTC of a day."""
    try:
        date = dt.date.fromisoformat(day)
    except ValueError as error:
        raise InputError("A day is written YYYY-MM-DD.", value=day) from error
    start = dt.datetime.combine(date, dt.time(), dt.UTC)
    return start.timestamp()


def _zone(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise InputError("Unknown time zone.", value=name) from error


def _of_day(base: BaseRecord, day: str) -> BaseRecord:
    """Return the readings of one UTC day, by instrument and time."""
    part = base.frame.filter(pl.col("time_utc").dt.strftime("%Y-%m-%d") == day)
    if part["raw_nT"].drop_nulls().is_empty():
        raise InputError("The base has no reading on this day.", value=day)
    return BaseRecord(part.sort("instrument", "time_utc", maintain_order=True))


def _window(base: BaseRecord, walks: Lines, midnight: float) -> tuple[float, float]:
    """Return the span of time that holds the base and the lines [s from midnight]."""
    times = np.concatenate(
        [base.seconds("time_utc"), walks.seconds("start_utc"), walks.seconds("end_utc")]
    )
    low, high = float(times.min()) - midnight, float(times.max()) - midnight
    edge = max(0.015 * (high - low), 30.0)
    return low - edge, high + edge


def _layout(
    base: BaseRecord, walks: Lines, spans: list[Span], *, title: str, with_local: bool
) -> tuple[Figure, _Rows]:
    """Make the figure, its axes and the list of spans below them."""
    with_chord = bool(np.isfinite(base.floats("departure_nT")).any())
    rovers = sorted({name for name in walks.strings("instrument") if name})
    listed = _listed(spans)
    below = 12.0 + 3.6 * len(listed) + (3 if listed else 0)
    walk_height = len(rovers) * (_WALK_MM + _NAMES_MM)
    top = below + walk_height + _STRIP_MM + 3 + (_CHORD_MM + 3 if with_chord else 0) + _CURVE_MM
    figure = new_figure(PAGE_WIDTH_MM, top + (21 if with_local else 12))
    heading(figure, title)
    curve = axes_mm(figure, _LEFT, top - _CURVE_MM, _WIDTH, _CURVE_MM, gid="curve")
    at = top - _CURVE_MM
    chord = None
    if with_chord:
        at -= _CHORD_MM + 3
        chord = axes_mm(figure, _LEFT, at, _WIDTH, _CHORD_MM, gid="chord")
    at -= _STRIP_MM + 3
    strip = axes_mm(figure, _LEFT, at, _WIDTH, _STRIP_MM, gid="strip")
    pairs = []
    for name in rovers:
        at -= _WALK_MM + _NAMES_MM
        place = (_LEFT, at, _WIDTH, _WALK_MM + _NAMES_MM)
        pairs.append((axes_mm(figure, *place, gid="walks"), name))
    for index, (text, colour) in enumerate(listed):
        left = 4 if not text.startswith("  ") else 6
        text_mm(
            figure, left, below - 14.5 - 3.6 * index, text.strip(), fontsize=SMALL_PT, color=colour
        )
    return figure, _Rows(curve, chord, strip, pairs)


def _listed(spans: list[Span]) -> list[tuple[str, str]]:
    """Return the lines of text about the numbered spans, each with its colour."""
    rows: list[tuple[str, str]] = []
    listed = [span for span in spans if span.number]
    for span in listed:
        mark = MARKS[span.severity]
        text = (
            f"{span.number}  {_clock(span.start)}–{_clock(span.end)} UTC  {mark.sign} {mark.word}: "
        )
        first, *more = wrapped(text + span.text, PAGE_WIDTH_MM - 10, size_pt=SMALL_PT, most=2)
        rows.append((first, mark.colour))
        rows += [(f"  {row}", mark.colour) for row in more]
    if len(spans) > len(listed):
        rows.append((f"and {len(spans) - len(listed)} shorter spans of left-out readings", QUIET))
    return rows


def _clock(seconds: float) -> str:
    """Return seconds from midnight as HH:MM:SS, or HH:MM when on the minute."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours % 24:02d}:{minutes:02d}" + (f":{left:02d}" if left else "")


def _curves(
    base: BaseRecord, value: NDArray[np.float64], midnight: float
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return time [s from midnight] and value of each instrument, broken at its gaps."""
    result = []
    names = np.array(base.strings("instrument"))
    time = base.seconds("time_utc") - midnight
    for name in sorted(set(names.tolist())):
        mine = names == name
        t, v = time[mine], value[mine]
        step = np.diff(t)
        limit = 5 * float(np.median(step)) if step.size else np.inf
        at = np.flatnonzero(step > limit) + 1
        result.append(thinned(np.insert(t, at, np.nan), np.insert(v, at, np.nan)))
    return result


def _draw_curve(
    axes: Axes, base: BaseRecord, *, level: float, midnight: float, datum: bool
) -> None:
    """Draw the kept readings as a curve and the others as crosses at or within the frame."""
    kept = base.booleans("kept")
    value = base.floats("raw_nT") - level
    good = np.where(kept, value, np.nan)
    shades = (CURVE, INK, QUIET)
    for index, (time, shown) in enumerate(_curves(base, good, midnight)):
        axes.plot(time, shown, color=shades[index % 3], linewidth=0.8, zorder=3)
    known = good[np.isfinite(good)] if np.isfinite(good).any() else value[np.isfinite(value)]
    low, high = float(known.min()), float(known.max())
    edge = max(0.1 * (high - low), 0.5)
    axes.set_ylim(low - edge, high + 2.8 * edge)
    bad = ~kept & np.isfinite(value)
    time = base.seconds("time_utc")[bad] - midnight
    clipped = np.clip(value[bad], low - 0.8 * edge, high + 0.8 * edge)
    axes.plot(time, clipped, "x", color=MARKS["loss"].colour, markersize=2.5, mew=0.6, zorder=4)
    what = "datum" if datum else "median of the day"
    axes.set_ylabel(f"Base less {what} [nT]")
    axes.annotate(
        f"{what} {number(level, 1)} nT",
        (1, 0),
        xycoords="axes fraction",
        xytext=(-3, 3),
        textcoords="offset points",
        ha="right",
        fontsize=SMALL_PT,
        color=QUIET,
    )
    axes.grid(axis="y", color=RULE, linewidth=0.3)


def _draw_chord(axes: Axes, base: BaseRecord, *, midnight: float) -> None:
    """Draw the departure from the chord."""
    size = np.abs(base.floats("departure_nT"))
    for time, shown in _curves(base, size, midnight):
        axes.plot(time, shown, color=INK, linewidth=0.6)
    axes.set_ylim(0, max(1.1 * float(np.nanmax(size)), 0.5))
    axes.set_ylabel("From chord\n[nT]")
    axes.grid(axis="y", color=RULE, linewidth=0.3)


def _draw_strip(
    axes: Axes,
    base: BaseRecord,
    spans: list[Span],
    *,
    midnight: float,
    window: tuple[float, float],
) -> None:
    """Draw the strip that tells where the base is kept, doubtful or lost."""
    time = base.seconds("time_utc") - midnight
    boxes = [Span(float(time.min()), float(time.max()), "keep", "")]
    boxes += [Span(gap.start, gap.end, "loss", "gap") for gap in gaps_of(base, midnight=midnight)]
    boxes += sorted(spans, key=lambda span: span.severity == "loss")
    per_mm = (window[1] - window[0]) / _WIDTH
    least = 0.5 * per_mm
    boxes = [replace(box, end=max(box.end, box.start + least)) for box in boxes]
    for order, box in enumerate(boxes):
        axes.add_patch(
            Rectangle(
                (box.start, 0),
                box.end - box.start,
                1,
                facecolor=MARKS[box.severity].tint,
                edgecolor="none",
                zorder=order,
            )
        )
    _name_boxes(axes, boxes, per_mm)
    axes.set(ylim=(0, 1), yticks=[])
    axes.set_ylabel("Base", rotation=0, ha="right", va="center")


def _name_boxes(axes: Axes, boxes: list[Span], per_mm: float) -> None:
    """Write sign and word, or the sign alone, where a box has room that no later one covers."""
    taken: list[tuple[float, float]] = []
    for order in range(len(boxes) - 1, -1, -1):
        box, mark = boxes[order], MARKS[boxes[order].severity]
        for text in (f"{mark.sign} {mark.word}", mark.sign):
            width = (text_width_mm(text, size_pt=SMALL_PT) + 1) * per_mm
            start = (box.start + box.end - width) / 2 if order else box.start + per_mm
            free = all(start >= high or start + width <= low for low, high in taken)
            if free and width <= box.end - box.start:
                axes.text(
                    start + 0.5 * per_mm,
                    0.46,
                    text,
                    va="center",
                    fontsize=SMALL_PT,
                    color=mark.colour,
                    zorder=len(boxes),
                )
                break
        taken.append((box.start, box.end))


def _draw_walks(
    axes: Axes, walks: Lines, rover: str, *, midnight: float, window: tuple[float, float]
) -> None:
    """Draw when each line was walked, with as many names as there is room for."""
    rows = walks.frame.filter(pl.col("instrument") == rover).sort("start_utc")
    mine = Lines(rows)
    starts = mine.seconds("start_utc") - midnight
    ends = mine.seconds("end_utc") - midnight
    per_mm = (window[1] - window[0]) / _WIDTH
    last = -np.inf
    for index, name in enumerate(mine.strings("line")):
        colour = CURVE if index % 2 == 0 else "#7fa8c9"
        axes.add_patch(
            Rectangle(
                (starts[index], _NAMES_MM + 0.5),
                ends[index] - starts[index],
                _WALK_MM - 1,
                facecolor=colour,
                edgecolor="none",
            )
        )
        middle = (starts[index] + ends[index]) / 2
        if (middle - last) / per_mm >= 3.3:
            axes.text(
                middle,
                _NAMES_MM - 0.3,
                (name or "")[:8],
                rotation=90,
                ha="center",
                va="top",
                fontsize=SMALL_PT,
            )
            last = middle
    axes.set(ylim=(0, _WALK_MM + _NAMES_MM), yticks=[])
    label = "\n".join(wrapped(f"{rover} on line", _LEFT - 4, size_pt=SMALL_PT, most=3))
    axes.set_ylabel(label, rotation=0, ha="right", va="center", fontsize=SMALL_PT)


def _shade(axes: Axes, spans: list[Span], gaps: list[Span], window: tuple[float, float]) -> None:
    """Shade spans and gaps behind the curve and number the spans along its top."""
    per_mm = (window[1] - window[0]) / _WIDTH
    for gap in gaps:
        axes.axvspan(gap.start, gap.end, facecolor="none", edgecolor=RULE, hatch="////", lw=0)
        if (gap.end - gap.start) / per_mm > 7:
            axes.text(
                (gap.start + gap.end) / 2,
                0.04,
                "gap",
                transform=axes.get_xaxis_transform(),
                ha="center",
                fontsize=SMALL_PT,
                color=QUIET,
            )
    ends = [-np.inf] * 3
    for span in spans:
        mark = MARKS[span.severity]
        axes.axvspan(span.start, span.end, facecolor=mark.tint, edgecolor="none", zorder=0.5)
        if not span.number:
            continue
        middle = (span.start + span.end) / 2
        row = next((r for r in range(3) if middle - ends[r] > 5 * per_mm), 2)
        ends[row] = middle
        axes.text(
            middle,
            0.985 - 0.055 * row,
            f"{mark.sign} {span.number}",
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=SMALL_PT,
            color=mark.colour,
            zorder=5,
        )


def _time_axes(
    rows: _Rows, window: tuple[float, float], *, midnight: float, local: ZoneInfo, zone: str
) -> None:
    """Write UTC below the last axes and local time above the first."""
    step = next((s for s in _STEPS_S if (window[1] - window[0]) / s <= 12), _STEPS_S[-1])
    ticks = np.arange(np.ceil(window[0] / step), np.floor(window[1] / step) + 1) * step
    for axes in rows.every:
        axes.set_xlim(*window)
        axes.xaxis.set_major_locator(FixedLocator(ticks.tolist()))
        axes.tick_params(axis="x", bottom=axes is rows.every[-1], labelbottom=False)
    last = rows.every[-1]
    last.tick_params(axis="x", labelbottom=True)
    last.xaxis.set_major_formatter(FuncFormatter(lambda value, _: _clock(value)))
    last.set_xlabel("UTC")
    if zone == "UTC":
        return

    def local_clock(value: float, _: object) -> str:
        moment = dt.datetime.fromtimestamp(midnight + value, local)
        return moment.strftime("%H:%M")

    top = rows.curve.secondary_xaxis("top")
    top.xaxis.set_major_locator(FixedLocator(ticks.tolist()))
    top.xaxis.set_major_formatter(FuncFormatter(local_clock))
    top.set_xlabel(f"Local time, {zone}")
