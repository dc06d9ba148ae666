"""The map of what could still hide: radius of the smallest target that the survey would show."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure

from lodewalk.figures.field import outer_edges, paint_grid, paint_lines, stretch_of
from lodewalk.figures.map_frame import begin_map, finish_map
from lodewalk.figures.style import INK, styled
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: Percentile at which the colours end; what is worse lies at the rim and in gaps.
_HIGH = 95.0
#: Room for the legend below a wide map beyond that of the anomaly map.
_MORE_MM = 8.0
#: Ground on which no buried target of any size is found.
_NOTHING = "0.62"


@styled
def draw_target_map(
    grid: Grid,
    readings: Readings,
    *,
    target: Mapping[str, Any],
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
) -> Figure:
    """Draw the radius of the smallest target found, with the lines walked.

    Parameters
    ----------
    grid : Grid
        Radius [m]; NaN outside the ground, infinite where no buried target is found.
    readings : Readings
        Their lines are drawn where they have an anomaly.
    target : mapping
        ``radius_m``, ``depth_m``, ``susceptibility`` and ``detection`` of the target sought.
    title, crs_title : str
        Title of the map and the words for its coordinate reference system.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.

    Returns
    -------
    Figure
        At most 180 mm wide.

    Raises
    ------
    InputError
        When no target is found anywhere.

    Examples
    --------
    >>> import numpy as np
    >>> grid = Grid(np.add.outer(np.ones(9), np.arange(9.0)), 600000.0, 7240000.0, 5.0,
    ...             "EPSG:32722", "m", "smallest_target_radius")
    >>> target = {"radius_m": 4.0, "depth_m": 10.0, "susceptibility": 0.05, "detection": 0.9}
    >>> figure = draw_target_map(grid, Readings.empty(), target=target, title="Hill",
    ...                          crs_title="UTM zone 22S", convergence_deg=0.4,
    ...                          declination_deg=-19.9)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    stretch = stretch_of(grid, high=_HIGH)
    figure, axes, plan = begin_map(grid, title, more_mm=_MORE_MM)
    frame = axes.get_xlim(), axes.get_ylim()
    nowhere = np.isinf(grid.values)
    axes.imshow(
        np.where(nowhere, 1.0, np.nan), origin="lower", extent=outer_edges(grid), vmin=0, vmax=1,
        cmap=ListedColormap([_NOTHING]), interpolation="nearest", aspect="equal",
    )  # fmt: skip
    paint_grid(axes, grid, stretch, mm_per_m=plan.mm_per_m, shading=False)
    axes.set(xlim=frame[0], ylim=frame[1])
    paint_lines(axes, readings)
    drawn = _sought(axes, grid, float(target["radius_m"]))
    texts = _legend(target, crs_title, sought=drawn, nowhere=bool(nowhere.any()))
    finish_map(
        axes, plan, grid, stretch, texts=texts, convergence_deg=convergence_deg,
        declination_deg=declination_deg,
    )  # fmt: skip
    return figure


def _sought(axes: Axes, grid: Grid, radius_m: float) -> bool:
    """Draw the line round the ground on which the target sought is found; tell whether it ends."""
    values = np.where(np.isinf(grid.values), np.nanmax(grid.values, initial=0.0, where=np.isfinite(
        grid.values)) * 10, grid.values)  # fmt: skip
    known = values[~np.isnan(values)]
    if min(values.shape) < 2 or not known.min() <= radius_m < known.max():
        return False
    place = grid.eastings, grid.northings, np.ma.masked_invalid(values)
    axes.contour(*place, levels=[radius_m], colors=INK, linewidths=0.7)
    return True


def _legend(target: Mapping[str, Any], crs_title: str, *, sought: bool, nowhere: bool) -> list[str]:
    """Return what the colours and lines mean."""
    texts = [
        crs_title,
        f"Sphere of {target['susceptibility']:g} SI, its centre {target['depth_m']:g} m below "
        f"ground, found with {target['detection']:.0%}.",
    ]
    if sought:
        texts.append(f"Heavy line: one of {target['radius_m']:g} m is found on its darker side.")
    if nowhere:
        texts.append("Grey: none that is buried is found.")
    return [*texts, "No clearance rests on this."]
