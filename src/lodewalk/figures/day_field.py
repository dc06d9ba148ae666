"""Rows of the day page about the field: activity, the base's curve, predicted error, verdicts."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import NDArray

from lodewalk.figures.day_axes import boxes, clipped, fits, per_mm, row_label, value_label
from lodewalk.figures.day_records import LOOKS, VERDICTS, FieldDay
from lodewalk.figures.spans import gaps_of, runs_of
from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    MARKS,
    MM_PER_INCH,
    QUIET,
    RULE,
    SMALL_PT,
    number,
    thinned,
)

Floats = NDArray[np.float64]
#: Tints from light to dark and the colour of text on them; "unknown" stays white.
_ACTIVITY = {
    "quiet": ("#eef3f7", INK),
    "unsettled": ("#cbd8e4", INK),
    "active": ("#94afc7", INK),
    "storm": ("#3f6488", "#ffffff"),
}
_BASES = ((CURVE, "-"), (FILL, (0, (4, 1.5))), (INK, (0, (1, 1))), (QUIET, "-."))
_INTERVAL_S = 10_800.0
#: Height of a line of the legend [mm].
_LEGEND_MM = 3.7


def draw_activity(axes: Axes, day: FieldDay) -> None:
    """Draw the activity of each 3-hour interval as a block with its word and range."""
    for item in day.of_base.get("activity") or []:
        start = datetime.fromisoformat(item["start_utc"]).timestamp() - day.begin
        low, high = np.clip([start, start + _INTERVAL_S], *day.window)
        if high <= low:
            continue
        tint, ink = _ACTIVITY.get(item["activity"], ("#ffffff", INK))
        axes.broken_barh([(low, high - low)], (0, 1), facecolor=tint, edgecolor=QUIET, lw=0.5)
        for place, texts in zip((0.7, 0.27), _activity_words(item), strict=True):
            text = next((text for text in texts if fits(text, high - low, day)), "")
            axes.text(
                (low + high) / 2,
                place,
                text,
                ha="center",
                va="center",
                fontsize=SMALL_PT,
                color=ink,
            )
    axes.set(ylim=(0, 1), yticks=[])
    row_label(axes, "Activity")


def _activity_words(item: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    """Return what is written in a block, shorter and shorter: K and word, and the range."""
    word = str(item["activity"])
    words = [word, f"{word[:6]}.", f"{word[:3]}."]
    if item.get("k") is not None:
        words = [f"K {item['k']}, {word}", f"K {item['k']}", f"{item['k']}"]
    if item.get("range_nT") is None:
        return words, []
    size = f"{number(item['range_nT'])} nT"
    return words, [f"{size} so far", size] if word == "unknown" else [size]


def draw_curve(axes: Axes, day: FieldDay, *, datum_nT: float | None) -> None:
    """Draw each base: the kept readings as a curve, the others as crosses held in the frame."""
    names = np.array(day.base.strings("instrument"))
    time = day.base.seconds("time_utc") - day.begin
    field, kept = day.base.floats("raw_nT"), day.base.booleans("kept")
    first = _main(names, field, datum_nT)
    main = _level(field[names == first], kept[names == first], datum_nT)
    told: list[tuple[str, str, Any, float]] = []
    shown = np.empty(field.size)
    for name in np.unique(names).tolist():
        mine = names == name
        shift = 0.0 if name == first else _apart(time, field, kept, mine, names == first)
        shown[mine] = field[mine] - main - shift
        colour, style = _style(day, name)
        _line(axes, time[mine], np.where(kept, shown, np.nan)[mine], colour, style)
        told.append((name, colour, style, shift))
    _frame_curve(axes, np.where(kept, shown, np.nan), shown, bases=len(told))
    _crosses(axes, day, time[~kept], shown[~kept])
    _shade(axes, day)
    what = "datum" if datum_nT is not None else "median of the day"
    value_label(axes, f"Base less {'datum' if datum_nT is not None else 'median'} [nT]")
    _name_bases(axes, told, f"{what} {number(main, 1)} nT")
    axes.grid(axis="y", color=RULE, linewidth=0.3)


def _style(day: FieldDay, base: str) -> tuple[str, Any]:
    """Return colour and stroke of a base, the same in all rows."""
    names = {*day.base.strings("instrument"), *day.minutes.strings("instrument")}
    return _BASES[sorted(map(str, names)).index(base) % len(_BASES)]


def _main(names: NDArray[np.str_], field: Floats, datum_nT: float | None) -> str:
    """Return the base that the datum belongs to: the nearest in level, else the fullest."""
    known, counts = np.unique(names, return_counts=True)
    if datum_nT is None:
        return str(known[np.argmax(counts)])
    levels = [float(np.median(field[names == name])) for name in known]
    return str(known[np.argmin(np.abs(np.array(levels) - datum_nT))])


def _level(field: Floats, kept: NDArray[np.bool_], datum_nT: float | None) -> float:
    """Return what is taken off a base: the datum, or else its median."""
    if datum_nT is not None:
        return datum_nT
    return float(np.median(field[kept] if kept.any() else field))


def _apart(
    time: Floats,
    field: Floats,
    kept: NDArray[np.bool_],
    mine: NDArray[np.bool_],
    main: NDArray[np.bool_],
) -> float:
    """Return by how much one base lies above the first, over the time that both recorded."""
    mine, main = (rows & kept if (rows & kept).any() else rows for rows in (mine, main))
    low, high = max(time[mine][0], time[main][0]), min(time[mine][-1], time[main][-1])
    both = (time >= low) & (time <= high)
    if not (mine & both).any() or not (main & both).any():
        return 0.0
    return float(np.median(field[mine & both]) - np.median(field[main & both]))


def _line(axes: Axes, time: Floats, value: Floats, colour: str, style: Any) -> None:
    """Draw a curve that breaks at gaps; a reading alone in its run becomes a dot."""
    runs = runs_of(time)
    ends = np.cumsum([run.size for run in runs])[:-1]
    alone = np.array([run[0] for run in runs if run.size == 1])
    axes.plot(
        *thinned(np.insert(time, ends, np.nan), np.insert(value, ends, np.nan)),
        color=colour,
        linestyle=style,
        linewidth=0.9,
        zorder=3,
    )
    dots = np.isin(time, alone)
    axes.plot(time[dots], value[dots], ".", color=colour, markersize=3, zorder=3)


def _frame_curve(axes: Axes, good: Floats, every: Floats, *, bases: int) -> None:
    """Set the range by the kept readings, or by all where none is kept; names go above."""
    known = good[np.isfinite(good)] if np.isfinite(good).any() else every
    low, high = float(known.min()), float(known.max())
    edge = max(0.1 * (high - low), 0.5)
    height = axes.bbox.height / axes.figure.dpi * MM_PER_INCH
    legend = (_LEGEND_MM * (1 + (bases + 1) // 2) + 1.0) / height
    axes.set_ylim(low - edge, low - edge + (high - low + 1.4 * edge) / (1 - legend))


def _crosses(axes: Axes, day: FieldDay, time: Floats, value: Floats) -> None:
    """Mark readings that are left out, one cross for those that would cover each other."""
    low, high = axes.get_ylim()
    edge = 0.03 * (high - low)
    held = np.clip(value, low + edge, high - edge)
    cells = np.column_stack((time / (0.3 * per_mm(day)), held / (0.5 * edge))).round()
    _, rows = np.unique(cells, axis=0, return_index=True)
    look = MARKS["loss"].colour
    axes.plot(time[rows], held[rows], "x", color=look, markersize=2.5, mew=0.6, zorder=4)


def _shade(axes: Axes, day: FieldDay) -> None:
    """Hatch the gaps, and tint where a base is in doubt or lost."""
    for gap in gaps_of(day.base, begin=day.begin):
        axes.axvspan(gap.start, gap.end, facecolor="none", edgecolor=RULE, hatch="////", lw=0)
        if fits("gap", gap.end - gap.start, day):
            axes.text(
                (gap.start + gap.end) / 2,
                0.06,
                "gap",
                transform=axes.get_xaxis_transform(),
                ha="center",
                fontsize=SMALL_PT,
                color=QUIET,
            )
    bases = set(day.base.strings("instrument"))
    for span in day.spans:
        if span.timed and span.instrument in bases and span.severity in ("loss", "doubt"):
            ((start, width),) = clipped(day, [span.start], [span.end])
            axes.axvspan(start, start + width, facecolor=MARKS[span.severity].tint, zorder=0.5)


def _name_bases(axes: Axes, told: list[tuple[str, str, Any, float]], level: str) -> None:
    """Write the level, and which curve is which base where there are several."""
    handles = []
    for name, colour, style, shift in told:
        short = name if len(name) <= 24 else f"{name[:23]}…"
        if shift:
            moved = "lowered" if shift > 0 else "raised"
            short += f", {moved} by {number(abs(shift), 1)} nT"
        handles += axes.plot([], [], color=colour, linestyle=style, linewidth=0.9, label=short)
    legend = axes.legend(
        handles=handles,
        title=level,
        title_fontsize=SMALL_PT,
        ncols=2 if len(handles) > 1 else 1,
        loc="upper right",
        borderaxespad=0.3,
        handlelength=2.5,
        framealpha=0.85,
        edgecolor="none",
    )
    legend.set_zorder(6)


def draw_error(axes: Axes, day: FieldDay) -> None:
    """Draw the size that the error of each minute stays under, on a scale by powers of ten."""
    names = np.array(day.minutes.strings("instrument"))
    time = day.minutes.seconds("start_utc") - day.begin
    worst = day.minutes.floats("worst_nT")
    known = worst[np.isfinite(worst) & (worst > 0)]
    edges = [*np.percentile(known, [0, 100]), *([day.tolerance] if day.tolerance else [])]
    low, high = min(edges) / 1.5, max(edges) * 1.6
    axes.set(yscale="log", ylim=(low, high))
    for name in np.unique(names).tolist():
        mine = names == name
        colour, style = _style(day, name)
        for rows in _joined(time[mine]):
            steps = np.append(time[mine][rows], time[mine][rows][-1] + 60.0)
            size = np.clip(worst[mine][rows], low * 1.1, high)
            size = np.append(size, size[-1])
            axes.step(steps, size, where="post", color=colour, linestyle=style, linewidth=0.8)
    _tolerance(axes, day, high)
    ticks = _round_values(low, high)
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.grid(axis="y", color=RULE, linewidth=0.3)
    value_label(axes, "95 % error [nT]")


def _tolerance(axes: Axes, day: FieldDay, high: float) -> None:
    """Draw the tolerance, and tint what lies above it."""
    limit = day.tolerance
    if limit is None:
        return
    axes.axhspan(limit, high, facecolor=MARKS["re-walk"].tint, alpha=0.35, zorder=0.2)
    axes.axhline(limit, color=MARKS["re-walk"].colour, linewidth=0.7, linestyle=(0, (5, 2)))
    axes.annotate(
        f"tolerance {limit:g} nT",
        (1, limit),
        xycoords=("axes fraction", "data"),
        xytext=(-3, 2),
        textcoords="offset points",
        ha="right",
        fontsize=SMALL_PT,
        color=MARKS["re-walk"].colour,
        bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
        zorder=5,
    )


def _round_values(low: float, high: float) -> list[float]:
    """Return at most six round values of a scale by powers of ten."""
    powers = 10.0 ** np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1)
    for factors in ((1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
        values = np.sort(np.outer(powers, factors).ravel())
        inside = values[(values >= 1.05 * low) & (values <= high / 1.2)]
        if inside.size <= 6:
            break
    return [float(value) for value in inside[:: -(-inside.size // 6) or 1]]


def _joined(time: Floats) -> list[NDArray[np.intp]]:
    """Return the rows of minutes that follow each other."""
    return np.split(np.arange(time.size), np.flatnonzero(np.diff(time) > 90.0) + 1)


def draw_band(axes: Axes, day: FieldDay, base: str, *, only: bool) -> None:
    """Draw the verdict of each minute at one base, with words and signs where there is room."""
    mine = np.array(day.minutes.strings("instrument")) == base
    time = (day.minutes.seconds("start_utc") - day.begin)[mine]
    verdict = np.array(day.minutes.strings("verdict"))[mine]
    change = (verdict[1:] != verdict[:-1]) | (np.diff(time) > 90.0)
    first = np.flatnonzero(np.append(True, change))
    last = np.append(first[1:], time.size) - 1
    spans = clipped(day, time[first], time[last] + 60.0)
    for word in VERDICTS:
        rows = verdict[first] == word
        if rows.any():
            boxes(axes, spans[rows], word, 0, 1)
            _write(axes, day, spans[rows], word)
    axes.set(ylim=(0, 1), yticks=[])
    row_label(axes, "Minutes" if only else f"Minutes, {base}")


def _write(axes: Axes, day: FieldDay, spans: Floats, look: str) -> None:
    """Write sign and word, or the sign alone, into stretches that have room for it."""
    mark = LOOKS[look]
    for start, width in spans[spans[:, 1] > 2.5 * per_mm(day)].tolist():
        for text in (f"{mark.sign} {mark.word}", mark.sign):
            if fits(text, width, day):
                axes.text(
                    start + width / 2,
                    0.46,
                    text,
                    ha="center",
                    va="center",
                    fontsize=SMALL_PT,
                    color=mark.colour,
                    bbox={"facecolor": mark.tint, "edgecolor": "none", "pad": 0.6},
                )
                break
