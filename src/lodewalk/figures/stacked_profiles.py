"""Stacked profiles: the anomaly of each line drawn beside the line, on the map."""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.furniture import coordinate_ticks, scale_bar
from lodewalk.figures.passages import (
    Passage,
    axis_of,
    passages,
    tie_lines,
    usable_anomaly,
    with_breaks,
)
from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    PAGE_WIDTH_MM,
    QUIET,
    SMALL_PT,
    axes_mm,
    canvas_mm,
    decimals_for,
    heading,
    new_figure,
    nice_step,
    number,
    styled,
    text_width_mm,
    wrapped,
)
from lodewalk.records.products import Lines, Readings
from lodewalk.validation import check_positive

_LEFT, _RIGHT, _TOP, _BOTTOM = 14.0, 6.0, 12.0, 40.0
_TALLEST = 180.0

Points = NDArray[np.float64]


@styled
def draw_stacked_profiles(
    readings: Readings,
    lines: Lines,
    *,
    scale_nT_per_m: float | None = None,
    title: str = "Stacked profiles of the anomaly",
    crs_title: str = "",
) -> Figure:
    """Draw the anomaly of each line across the line, on the map; filled where it is positive.

    Parameters
    ----------
    readings : Readings
        Kept readings with an anomaly are drawn, less the survey's median anomaly.
    lines : Lines
        Tells the tie lines, which are drawn as a line without a profile.
    scale_nT_per_m : float, optional
        Anomaly for each metre on the ground [nT/m]. By default the 99th percentile of its size
        reaches one and a half times the distance between lines.
    title, crs_title : str
        Title, and the words for the coordinate reference system.

    Returns
    -------
    Figure
        At most 180 mm wide.

    Raises
    ------
    InputError
        When no line has two readings with an anomaly, or the scale is not above zero.

    Examples
    --------
    >>> draw_stacked_profiles(Readings.empty(), Lines.empty())
    Traceback (most recent call last):
    lodewalk.errors.InputError: No line has two readings with an anomaly. Run the corrections first.
    """
    anomaly = usable_anomaly(readings)
    ties = tie_lines(lines)
    walked = [p for p in passages(readings) if np.isfinite(anomaly[p.rows]).sum() > 1]
    profiled = [p for p in walked if p.line not in ties]
    if not profiled:
        raise InputError(
            "No line has two readings with an anomaly.", remedy="Run the corrections first."
        )
    level = float(np.median(np.concatenate([_known(anomaly[p.rows]) for p in profiled])))
    points = np.column_stack((readings.floats("easting_m"), readings.floats("northing_m")))
    side = _side(points, profiled)
    scale = scale_nT_per_m or _own_scale(points, profiled, anomaly - level, side)
    check_positive(scale, name="The scale of the profiles")
    shapes = [_Shape.of(points[p.rows], anomaly[p.rows] - level, side / scale) for p in profiled]
    tie_points = [points[p.rows] for p in walked if p.line in ties]
    upright = bool(side[0] > side[1])
    figure, axes, mm_per_m = _frame(shapes, tie_points, title, upright=upright)
    _paint(axes, shapes, tie_points)
    _names(axes, profiled, points, mm_per_m=mm_per_m, upright=upright)
    _key(figure, level=level, scale=scale, mm_per_m=mm_per_m, words=(crs_title, bool(ties)))
    return figure


@dataclass(frozen=True)
class _Shape:
    """One profile on the map: its base line, its curve and its filled parts."""

    line: Points
    curve: Points
    fills: list[Points]

    @classmethod
    def of(cls, points: Points, value: NDArray[np.float64], offset: Points) -> "_Shape":
        """Build the shapes; `offset` is the vector on the ground for one nanotesla."""
        known = np.isfinite(value)
        points, value = points[known], value[known]
        along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
        _, east, north, value = with_breaks(along, points[:, 0], points[:, 1], value)
        line = np.column_stack((east, north))
        fills = [_filled(part, v, offset) for part, v in _pieces(line, value)]
        return cls(line, line + value[:, None] * offset, fills)


def _pieces(line: Points, value: NDArray[np.float64]) -> list[tuple[Points, Points]]:
    """Split a broken line into its unbroken parts of two points or more."""
    at = np.flatnonzero(np.isnan(value))
    parts = zip(np.split(line, at), np.split(value, at), strict=True)
    whole = [(part[np.isfinite(v)], v[np.isfinite(v)]) for part, v in parts]
    return [(part, v) for part, v in whole if v.size > 1]


def _filled(line: Points, value: NDArray[np.float64], offset: Points) -> Points:
    """Return the outline between the base line and the positive part of the curve."""
    line, value = _with_zeros(line, value)
    return np.vstack((line, (line + np.maximum(value, 0)[:, None] * offset)[::-1]))


def _with_zeros(line: Points, value: NDArray[np.float64]) -> tuple[Points, NDArray[np.float64]]:
    """Add the points where the curve crosses its base line."""
    at = np.flatnonzero(value[1:] * value[:-1] < 0)
    share = value[at] / (value[at] - value[at + 1])
    crossing = line[at] + share[:, None] * (line[at + 1] - line[at])
    return np.insert(line, at + 1, crossing, axis=0), np.insert(value, at + 1, 0.0)


def _known(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values that are not missing."""
    return values[np.isfinite(values)]


def _side(points: Points, profiled: list[Passage]) -> Points:
    """Return the unit vector across the lines: about east or about north."""
    longest = max(profiled, key=lambda p: np.ptp(points[p.rows], axis=0).max())
    along = axis_of(*points[longest.rows].T)
    across = np.array([along[1], -along[0]])
    return across if across.sum() > 0 else -across


def _own_scale(
    points: Points, profiled: list[Passage], value: NDArray[np.float64], side: Points
) -> float:
    """Return a round scale [nT/m] at which strong anomalies reach over the next line."""
    size = float(
        np.percentile(np.abs(np.concatenate([_known(value[p.rows]) for p in profiled])), 99)
    )
    place = np.unique(np.round([np.median(points[p.rows] @ side) for p in profiled], 0))
    apart = np.diff(place)
    extent = np.ptp(np.vstack([points[p.rows] for p in profiled]), axis=0).max()
    between = float(np.median(apart)) if apart.size else 0.15 * float(extent)
    return nice_step(max(size, 1e-3) / (1.5 * max(between, 1.0)))


def _frame(
    shapes: list[_Shape], ties: list[Points], title: str, *, upright: bool
) -> tuple[Figure, Axes, float]:
    """Make the figure and its map axes at one scale both ways, with room for the names."""
    cloud = np.vstack([shape.line for shape in shapes] + [shape.curve for shape in shapes] + ties)
    low, high = np.nanmin(cloud, axis=0), np.nanmax(cloud, axis=0)
    extent = np.maximum(high - low, 1.0)
    margin = np.array([5.0, 14.0] if upright else [14.0, 5.0])
    room = np.array([PAGE_WIDTH_MM - _LEFT - _RIGHT, _TALLEST]) - 2 * margin
    mm_per_m = float((room / extent).min())
    size = extent + 2 * margin / mm_per_m
    middle, size = (low + high) / 2, np.maximum(size, size.max() * np.array([0.35, 0.25]))
    width, height = (float(v) for v in size * mm_per_m)
    figure = new_figure(max(_LEFT + width + _RIGHT, 110), _BOTTOM + height + _TOP)
    heading(figure, title)
    axes = axes_mm(figure, _LEFT, _BOTTOM, width, height, gid="map")
    axes.set(
        xlim=(middle[0] - size[0] / 2, middle[0] + size[0] / 2),
        ylim=(middle[1] - size[1] / 2, middle[1] + size[1] / 2),
        aspect="equal",
    )
    coordinate_ticks(axes, mm_per_m=mm_per_m)
    axes.set_xlabel("Easting [m]", labelpad=1.5)
    axes.set_ylabel("Northing [m]", labelpad=1.5)
    return figure, axes, mm_per_m


def _paint(axes: Axes, shapes: list[_Shape], ties: list[Points]) -> None:
    """Draw fills, base lines and curves, one kind above the other."""
    fills = [fill for shape in shapes for fill in shape.fills]
    axes.add_collection(
        PolyCollection(fills, facecolors=FILL, edgecolors="none", alpha=0.75, zorder=2)
    )
    lines = [shape.line for shape in shapes] + ties
    axes.add_collection(LineCollection(lines, colors=QUIET, linewidths=0.3, zorder=3))
    curves = [shape.curve for shape in shapes]
    axes.add_collection(LineCollection(curves, colors=CURVE, linewidths=0.6, zorder=4))


def _names(
    axes: Axes, profiled: list[Passage], points: Points, *, mm_per_m: float, upright: bool
) -> None:
    """Write the name of a line at its southern or western end, where there is room."""
    along = np.array([0.0, 1.0] if upright else [1.0, 0.0])
    ends = sorted(
        ((points[p.rows][np.argmin(points[p.rows] @ along)], p.line) for p in profiled),
        key=lambda end: float(end[0] @ along[::-1]),
    )
    last = -np.inf
    room = 3.2 / mm_per_m
    for place, name in ends:
        position = float(place @ along[::-1])
        if position - last < room:
            continue
        last = position
        axes.annotate(
            name[:9],
            place,
            xytext=(0, -3) if upright else (-3, 0),
            textcoords="offset points",
            rotation=90 if upright else 0,
            ha="center" if upright else "right",
            va="top" if upright else "center",
            fontsize=SMALL_PT,
            color=QUIET,
        )


def _key(
    figure: Figure,
    *,
    level: float,
    scale: float,
    mm_per_m: float,
    words: tuple[str, bool],
) -> None:
    """Draw the key of the profiles and the scale bar below the map."""
    crs_title, with_ties = words
    width = figure.get_figwidth() * 25.4
    scale_bar(figure, left_mm=_LEFT, bottom_mm=20, room_mm=min(width, 110), mm_per_m=mm_per_m)
    high = nice_step(8 * scale / mm_per_m)
    key = canvas_mm(figure, _LEFT, 2, width - _LEFT - 3, 17)
    length = high / scale * mm_per_m
    key.plot([1, 1], [1, 1 + length], color=INK, linewidth=1, solid_capstyle="butt")
    for end in (1, 1 + length):
        key.plot([0, 2], [end, end], color=INK, linewidth=0.8)
    label = f"{number(high, decimals_for(high))} nT"
    key.text(3, 1 + length / 2, label, va="center", fontsize=SMALL_PT)
    left = 6 + text_width_mm(label, size_pt=SMALL_PT)
    texts = [
        f"Anomaly less its median ({number(level, 1)} nT); filled where positive.",
        "Tie lines are drawn without a profile." if with_ties else "",
        crs_title,
    ]
    room = width - _LEFT - left - 4
    rows = [row for text in texts if text for row in wrapped(text, room, size_pt=SMALL_PT)]
    for index, row in enumerate(rows[:4]):
        key.text(left, 12 - 3.3 * index, row, fontsize=SMALL_PT)
