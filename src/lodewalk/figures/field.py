"""Painting a grid: stretch of the colours, image with relief shading, contours, lines walked."""

from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.contour import QuadContourSet
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.passages import passages, usable_anomaly, with_breaks
from lodewalk.figures.style import (
    INK,
    SMALL_PT,
    decimals_for,
    multiples,
    nice_step,
    number,
)
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

COLOUR_MAP = "viridis"
#: A grid is painted with cells no larger than this, so that its steps do not show [mm].
_FINEST_MM = 0.35
_MOST_CELLS = 4_000_000


@dataclass(frozen=True)
class Stretch:
    """Linear stretch of the colours between two percentiles of the values."""

    low: float
    high: float
    low_percentile: float = 1.0
    high_percentile: float = 99.0

    @property
    def colours(self) -> ScalarMappable:
        """The map from value to colour."""
        return ScalarMappable(Normalize(self.low, self.high), mpl.colormaps[COLOUR_MAP])


def stretch_of(grid: Grid, *, low: float = 1.0, high: float = 99.0) -> Stretch:
    """Return the stretch between two percentiles of a grid.

    Raises
    ------
    InputError
        When the grid has no value.
    """
    values = grid.values[np.isfinite(grid.values)]
    if values.size == 0:
        raise InputError(
            f"The grid {grid.name} has no value to draw.",
            remedy="Check that readings were kept and that the grid covers them.",
        )
    bottom, top = (float(v) for v in np.percentile(values, [low, high]))
    if top - bottom <= 1e-9 * max(abs(top), abs(bottom), 1.0):
        return Stretch(bottom - 0.5, top + 0.5, 0.0, 100.0)
    return Stretch(bottom, top, low, high)


def outer_edges(grid: Grid) -> tuple[float, float, float, float]:
    """Return west, east, south and north of the cells around the nodes [m]."""
    half = grid.spacing_m / 2
    return (
        grid.west_m - half,
        float(grid.eastings[-1]) + half,
        grid.south_m - half,
        float(grid.northings[-1]) + half,
    )


def relief(
    values: NDArray[np.float64],
    *,
    spacing_m: float,
    light_azimuth_deg: float = 315.0,
    light_height_deg: float = 45.0,
) -> NDArray[np.float64]:
    """Return the light on a surface less the light on level ground, between -1 and 1.

    The surface is exaggerated so that its 90th percentile slope is one, whatever its unit.

    Notes
    -----
    Lambert's law: the light is the cosine of the angle between the ray and the normal.
    """
    if min(values.shape) < 2:
        return np.zeros_like(values)
    slope_north, slope_east = np.gradient(values, spacing_m)
    slope = np.hypot(slope_north, slope_east)
    known = slope[np.isfinite(slope)]
    steep = float(np.percentile(known, 90)) if known.size else 0.0
    if steep <= 0:
        return np.zeros_like(values)
    azimuth, height = np.radians([light_azimuth_deg, light_height_deg])
    towards = -(slope_east * np.sin(azimuth) + slope_north * np.cos(azimuth)) / steep
    light = towards * np.cos(height) + np.sin(height)
    light = light / np.sqrt(1 + (slope / steep) ** 2) - np.sin(height)
    return np.where(np.isfinite(light), light, 0.0)


def refined(values: NDArray[np.float64], factor: int) -> NDArray[np.float64]:
    """Interpolate bilinearly to `factor` cells a node each way; a cell of a masked node stays NaN.

    Weights of masked neighbours are shared out among those with a value.
    """
    present = np.isfinite(values)
    total, weight = np.where(present, values, 0.0), present.astype(float)
    nearest = present
    for axis in (0, 1):
        count = values.shape[axis]
        place = (np.arange(count * factor) + 0.5) / factor - 0.5
        below = np.clip(np.floor(place).astype(int), 0, max(count - 2, 0))
        above = np.minimum(below + 1, count - 1)
        share = np.clip(place - below, 0.0, 1.0)
        share = share[:, None] if axis == 0 else share[None, :]
        total, weight = (
            np.take(a, below, axis) * (1 - share) + np.take(a, above, axis) * share
            for a in (total, weight)
        )
        nearest = np.repeat(nearest, factor, axis)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(nearest, total / weight, np.nan)


def paint_grid(
    axes: Axes,
    grid: Grid,
    stretch: Stretch,
    *,
    mm_per_m: float,
    shading: bool = True,
    strength: float = 0.25,
) -> None:
    """Paint a grid in its colours; masked nodes are left blank.

    Shading darkens or lightens a colour by `strength` at most, so the colour still tells the value.
    """
    fit = int(np.sqrt(_MOST_CELLS / grid.values.size))
    factor = max(1, min(int(np.ceil(grid.spacing_m * mm_per_m / _FINEST_MM)), fit))
    fine = refined(grid.values, factor)
    image = stretch.colours.to_rgba(np.ma.masked_invalid(fine))
    if shading:
        light = refined(relief(grid.values, spacing_m=grid.spacing_m), factor)[..., None]
        light = np.clip(light * strength / 0.7, -strength, strength)
        image[..., :3] *= 1 + np.minimum(light, 0)
        image[..., :3] += (1 - image[..., :3]) * np.maximum(light, 0)
    axes.imshow(
        image, origin="lower", extent=outer_edges(grid), interpolation="nearest", aspect="equal"
    )


def paint_contours(axes: Axes, grid: Grid, stretch: Stretch) -> float | None:
    """Draw contours at a round interval, each fifth heavier and labelled; return the interval."""
    values = grid.values
    if min(values.shape) < 2 or np.ptp(values[np.isfinite(values)]) == 0:
        return None
    interval = nice_step((stretch.high - stretch.low) / 20)
    levels = multiples(float(np.nanmin(values)), float(np.nanmax(values)), interval)
    index = np.isclose(np.round(levels / interval) % 5, 0)
    levels, index = _less_crowded(levels, index, stretch)
    place = (grid.eastings, grid.northings, np.ma.masked_invalid(values))
    if (~index).any():
        axes.contour(
            *place, levels=levels[~index], colors=INK, linewidths=0.3, linestyles="solid", alpha=0.6
        )
    if index.any():
        heavy = axes.contour(
            *place, levels=levels[index], colors=INK, linewidths=0.75, linestyles="solid"
        )
        _label(axes, heavy, decimals_for(interval))
    return interval


def paint_beyond(axes: Axes, grid: Grid, stretch: Stretch) -> NDArray[np.float64]:
    """Draw labelled contours at 1, 2, 5, 10 and so on above the end of the colours; return them."""
    highest, levels = float(np.nanmax(grid.values)), [nice_step(max(stretch.high, 1e-9) * 1.05)]
    while levels[-1] < highest:
        levels.append(nice_step(levels[-1] * 1.5))
    above = np.array(levels[:-1])
    if above.size and min(grid.values.shape) > 1:
        place = (grid.eastings, grid.northings, np.ma.masked_invalid(grid.values))
        lines = axes.contour(*place, levels=above, colors=INK, linewidths=0.6, linestyles="solid")
        _label(axes, lines, decimals_for(above[0]))
        return above
    return np.zeros(0)


def _label(axes: Axes, contours: QuadContourSet, decimals: int) -> None:
    """Write the values of contours on them where there is room."""
    texts = axes.clabel(
        contours, fontsize=SMALL_PT, inline=True, fmt=lambda v: number(float(v), decimals)
    )
    _clear_crowded(axes, list(texts))


def _less_crowded(
    levels: NDArray[np.float64], index: NDArray[np.bool_], stretch: Stretch
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Leave out the thin contours beyond the stretch, where one peak would turn black."""
    wanted = index | ((levels >= stretch.low) & (levels <= stretch.high))
    return levels[wanted], index[wanted]


def _clear_crowded(axes: Axes, texts: list[Text]) -> None:
    """Take away labels that touch an earlier one or the edge of the map; halo the others."""
    renderer = axes.figure.canvas.get_renderer()  # type: ignore[attr-defined]
    frame = axes.get_window_extent(renderer)
    taken: list[Bbox] = []
    for text in texts:
        text.set_path_effects([withStroke(linewidth=1.8, foreground="white")])
        box = text.get_window_extent(renderer).padded(2)
        inside = frame.x0 < box.x0 and box.x1 < frame.x1 and frame.y0 < box.y0 and box.y1 < frame.y1
        if not inside or any(box.overlaps(other) for other in taken):
            text.set_visible(False)
        else:
            taken.append(box)


def paint_lines(axes: Axes, readings: Readings, *, colour: str = INK) -> None:
    """Draw the lines walked where readings have an anomaly, thin and half transparent."""
    anomaly = usable_anomaly(readings)
    east, north = readings.floats("easting_m"), readings.floats("northing_m")
    pieces = []
    for passage in passages(readings):
        rows = passage.rows[np.isfinite(anomaly[passage.rows])]
        if rows.size < 2:
            continue
        along = np.concatenate(
            ([0.0], np.cumsum(np.hypot(np.diff(east[rows]), np.diff(north[rows]))))
        )
        _, x, y = with_breaks(along, east[rows], north[rows])
        breaks = np.flatnonzero(np.isnan(x))
        pieces += [
            part[np.isfinite(part[:, 0])] for part in np.split(np.column_stack((x, y)), breaks)
        ]
    axes.add_collection(
        LineCollection(pieces, colors=colour, linewidths=0.35, alpha=0.55), autolim=False
    )
