"""One line: the field as recorded, its diurnal correction and the anomaly with its 90 % band."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.passages import Passage, axis_of, passages, with_breaks, without_base
from lodewalk.figures.style import (
    CURVE,
    FILL,
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
)
from lodewalk.records.products import Readings

#: Half-width of the 90 % interval of a normal distribution, in standard deviations.
NINETY_PERCENT = 1.6449

_LEFT, _RIGHT = 17.0, 6.0
_HEIGHTS = (42.0, 28.0, 58.0)
_SHADES = ((CURVE, "-"), (FILL, "--"), (INK, ":"), (QUIET, "-."))
_SYMBOLS = "xs^Dvo"
_MOST_REASONS = 5
#: The grey of readings without a base: 3.4 to 1 against white.
_NO_BASE = "#8c8c8c"
#: Reasons that say that the value itself is wrong, so that it sets no scale.
_WRONG = ("spike", "dropout")


def draw_line_profile(readings: Readings, *, line: str) -> Figure:
    """Draw the readings of one line along its length.

    Parameters
    ----------
    readings : Readings
        Every passage of the line is drawn, each in its own style.
    line : str
        Name of the line.

    Returns
    -------
    Figure
        180 mm wide.

    Raises
    ------
    InputError
        When no reading of this name has a time and a position.

    Notes
    -----
    Distance is measured along the best straight line through the readings, from the southern or
    western end. The band is anomaly ± 1.645 sd. Readings that are not used are marked, by reason,
    in the panel of the recorded field; those that only lack a base are grey there. Spikes and
    dropouts set no scale: they stand at the frame where they lie beyond it.

    Examples
    --------
    >>> draw_line_profile(Readings.empty(), line="L1")
    Traceback (most recent call last):
    lodewalk.errors.InputError: No reading with time and position belongs to this line. Found 'L1'.
    """
    walked = [passage for passage in passages(readings) if passage.line == line]
    if not walked:
        raise InputError("No reading with time and position belongs to this line.", value=line)
    return _drawn(readings, walked)


def draw_line_profiles(readings: Readings) -> Iterator[Figure]:
    """Draw one line after the other, sorted by name; each when it is asked for.

    The figures are those of `draw_line_profile` for each of `drawable_lines`, but the readings
    are told apart by line once only.

    Examples
    --------
    >>> list(draw_line_profiles(Readings.empty()))
    []
    """
    by_line: dict[str, list[Passage]] = {}
    for passage in passages(readings):
        by_line.setdefault(passage.line, []).append(passage)
    for line in sorted(by_line):
        yield _drawn(readings, by_line[line])


@styled
def _drawn(readings: Readings, walked: list[Passage]) -> Figure:
    """Draw the passages of one line."""
    line = walked[0].line
    readings, walked = _alone(readings, walked)
    distance, ends = _distances(readings)
    figure = new_figure(PAGE_WIDTH_MM, sum(_HEIGHTS) + 3 * 3 + 12 + 15)
    heading(figure, f"Line {line}", under=_words(readings, walked, ends))
    raw, diurnal, anomaly = _panels(figure)
    kept, grey = readings.booleans("kept"), without_base(readings)
    sound = _sound(readings)
    level = float(np.median(sound)) if sound.size else 0.0
    for index, passage in enumerate(walked):
        _draw_passage((raw, diurnal, anomaly), readings, passage, distance, level=level, nth=index)
        _draw_grey(raw, readings, passage, distance, level=level, count=int(grey.sum()))
    field = readings.floats("raw_nT") - level
    raw.set_ylim(_limits(field[kept | grey], sound - level))
    bare = kept & ~grey & np.isnan(readings.floats("anomaly_nT"))
    _mark(raw, readings, ~(kept | grey), distance, value=field, words="not used")
    _mark(anomaly, readings, bare, distance, value=None, words="no anomaly")
    _widen(diurnal, least=2.0)
    raw.set_ylabel(f"Raw less {number(level)} [nT]")
    diurnal.set_ylabel("Diurnal [nT]")
    anomaly.set_ylabel("Anomaly [nT]")
    anomaly.set_xlabel(f"Distance along the line from its {_END_NAMES[ends[0]]} end [m]")
    _say_missing(diurnal, "no diurnal correction")
    _say_missing(anomaly, "no anomaly")
    _legends(raw, anomaly, many=len(walked) > 1)
    return figure


_END_NAMES = {"N": "northern", "E": "eastern", "S": "southern", "W": "western"}


def _alone(readings: Readings, walked: list[Passage]) -> tuple[Readings, list[Passage]]:
    """Return the readings of some passages, one after the other, and the passages in them."""
    rows = np.concatenate([passage.rows for passage in walked])
    ends = np.cumsum([passage.rows.size for passage in walked])
    own = np.split(np.arange(rows.size), ends[:-1])
    walked = [replace(passage, rows=part) for passage, part in zip(walked, own, strict=True)]
    return Readings(readings.frame[rows]), walked


def _panels(figure: Figure) -> list[Axes]:
    """Add the three panels from top to bottom, with one axis of distance."""
    panels = []
    at = sum(_HEIGHTS) + 3 * (len(_HEIGHTS) - 1) + 12
    for height in _HEIGHTS:
        at -= height
        axes = axes_mm(figure, _LEFT, at, PAGE_WIDTH_MM - _LEFT - _RIGHT, height)
        axes.grid(color=RULE, linewidth=0.3)
        axes.tick_params(labelbottom=height == _HEIGHTS[-1])
        axes.yaxis.set_label_coords(-0.072, 0.5)
        panels.append(axes)
        at -= 3
    for axes in panels[:-1]:
        axes.sharex(panels[-1])
    return panels


def _distances(readings: Readings) -> tuple[NDArray[np.float64], tuple[str, str]]:
    """Return the distance of every row along the line [m] and the letters of its two ends."""
    points = np.column_stack((readings.floats("easting_m"), readings.floats("northing_m")))
    axis = axis_of(*points.T)
    along = (points - points[0]) @ axis
    ends = ("S", "N") if abs(axis[1]) >= abs(axis[0]) else ("W", "E")
    return along - float(along.min()), ends


def _words(readings: Readings, walked: list[Passage], ends: tuple[str, str]) -> str:
    """Return the sentence below the title."""
    kept = int(readings.booleans("kept").sum())
    first = readings.frame["time_utc"][0]
    tools = ", ".join(sorted({passage.instrument for passage in walked}))
    often = f", {len(walked)} passages" if len(walked) > 1 else ""
    return (
        f"{tools}, from {first:%Y-%m-%d %H:%M} UTC{often}; "
        f"{kept} of {len(readings)} readings kept; "
        f"left is {_END_NAMES[ends[0]][:-3]}, right is {_END_NAMES[ends[1]][:-3]}"
    )


def _sound(readings: Readings) -> NDArray[np.float64]:
    """Return the fields [nT] that aren't spikes or dropouts; all there are, if none is."""
    field = readings.floats("raw_nT")
    wrong = np.array([reason in _WRONG for reason in readings.strings("reason")], dtype=bool)
    known = np.isfinite(field)
    return field[known & ~wrong] if np.any(known & ~wrong) else field[known]


def _limits(drawn: NDArray[np.float64], sound: NDArray[np.float64]) -> tuple[float, float]:
    """Return an axis that holds all that is drawn, and 96 % of the fields that are sound."""
    if not sound.size:
        return -1.0, 1.0
    values = np.concatenate((drawn[np.isfinite(drawn)], np.percentile(sound, (2, 98))))
    low, high = float(values.min()), float(values.max())
    margin = max(0.05 * (high - low), 0.5)
    return low - margin, high + margin


def _draw_passage(
    panels: tuple[Axes, Axes, Axes],
    readings: Readings,
    passage: Passage,
    distance: NDArray[np.float64],
    *,
    level: float,
    nth: int,
) -> None:
    """Draw one passage in all panels."""
    colour, dashes = _SHADES[nth % len(_SHADES)]
    rows = passage.rows
    kept = readings.booleans("kept")[rows]
    curve = kept & ~without_base(readings)[rows]
    raw = np.where(curve, readings.floats("raw_nT")[rows] - level, np.nan)
    value = np.where(kept, readings.floats("anomaly_nT")[rows], np.nan)
    half = NINETY_PERCENT * readings.floats("sd_nT")[rows]
    start = readings.frame["time_utc"][int(rows[0])]
    name = f"{passage.instrument}, {start:%Y-%m-%d %H:%M} UTC"
    style: dict[str, Any] = {"color": colour, "linestyle": dashes, "linewidth": 0.8}
    columns = (raw, readings.floats("diurnal_nT")[rows], value, half)
    along, raw, diurnal, value, half = with_breaks(distance[rows], *columns)
    panels[0].plot(along, raw, label=name, **style)
    panels[1].plot(along, diurnal, **style)
    panels[2].plot(along, value, label=name, zorder=3, **style)
    panels[2].fill_between(
        along,
        value - half,
        value + half,
        color=colour,
        alpha=0.25,
        lw=0,
        label="90 % band of the anomaly" if np.isfinite(value + half).any() else None,
    )


def _draw_grey(
    axes: Axes,
    readings: Readings,
    passage: Passage,
    distance: NDArray[np.float64],
    *,
    level: float,
    count: int,
) -> None:
    """Draw the recorded field where the line has no base; `count` is that of all passages."""
    grey = without_base(readings)[passage.rows]
    if not grey.any():
        return
    field = np.where(grey, readings.floats("raw_nT")[passage.rows] - level, np.nan)
    along, field = with_breaks(distance[passage.rows], field)
    label = f"no base ({count})"
    axes.plot(along, field, ".-", color=_NO_BASE, linewidth=0.8, markersize=1.5, label=label)


def _mark(
    axes: Axes,
    readings: Readings,
    marked: NDArray[np.bool_],
    distance: NDArray[np.float64],
    *,
    value: NDArray[np.float64] | None,
    words: str,
) -> None:
    """Mark readings by reason, those without a value or beyond the curve at the frame."""
    low, high = axes.get_ylim()
    rows = np.flatnonzero(marked)
    held = np.full(rows.size, low) if value is None else np.clip(value[rows], low, high)
    shown = np.where(np.isfinite(held), held, low)
    reasons = readings.strings("reason")
    texts = np.array([reasons[row] or "no reason given" for row in rows])
    names, counts = np.unique(texts, return_counts=True) if rows.size else (texts, rows)
    for nth, index in enumerate(np.argsort(-counts, kind="stable")):
        mine = texts == names[index]
        label = f"{words}: {names[index]} ({counts[index]})" if nth < _MOST_REASONS else None
        axes.plot(
            distance[rows][mine],
            shown[mine],
            _SYMBOLS[min(nth, _MOST_REASONS)],
            color=MARKS["loss"].colour,
            fillstyle="none",
            markersize=3.5,
            markeredgewidth=0.7,
            linestyle="none",
            label=label,
            clip_on=False,
            zorder=5,
        )
    axes.set_ylim(low, high)


def _widen(axes: Axes, *, least: float) -> None:
    """Give an axis at least a certain range, so that a hundredth of a nanotesla stays small."""
    low, high = axes.get_ylim()
    if high - low < least:
        axes.set_ylim((low + high - least) / 2, (low + high + least) / 2)


def _say_missing(axes: Axes, words: str) -> None:
    """Say so in a panel that has nothing to show."""
    shown = [np.isfinite(np.asarray(line.get_ydata(), dtype=float)).any() for line in axes.lines]
    if not any(shown):
        axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", color=QUIET)
        axes.set_yticks([])


def _legends(raw: Axes, anomaly: Axes, *, many: bool) -> None:
    """Write the legends: reasons, the band, and passages where there are several."""
    for axes in (raw, anomaly):
        chosen: dict[str, Any] = {}
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            passage = not label.startswith(("not used", "no base", "no anomaly", "90 %"))
            if many or not passage:
                chosen.setdefault(label, handle)
        if chosen:
            axes.legend(
                list(chosen.values()),
                list(chosen),
                loc="best",
                framealpha=0.9,
                edgecolor=RULE,
                fontsize=SMALL_PT,
            )
