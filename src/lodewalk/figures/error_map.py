"""The map of the standard error: how far the map of the anomaly may be off, place by place."""

from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from lodewalk.figures.field import paint_beyond, paint_grid, paint_lines, stretch_of
from lodewalk.figures.map_frame import begin_map, finish_map
from lodewalk.figures.style import decimals_for, number, styled
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: Percentile at which the colours end; what is worse lies at the rim, in gaps and over steep rock.
_HIGH = 90.0
#: Room for the legend below a wide map beyond that of the anomaly map.
_MORE_MM = 8.0
#: Name beside the colour bar; the title says of what.
_NAME = "standard_error"


@styled
def draw_error_map(
    grid: Grid,
    readings: Readings,
    *,
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
) -> Figure:
    """Draw the standard error of a grid, with the lines walked.

    Parameters
    ----------
    grid : Grid
        Standard error [nT], one standard deviation; masked nodes stay white.
    readings : Readings
        Their lines are drawn where they have an anomaly.
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
        When the grid has no value.

    Notes
    -----
    Colours are stretched linearly between the 1st and the 90th percentile of the cells; the limits
    stand beside the colour bar. There is no relief shading, since the light would change colours
    that are read as numbers.

    Examples
    --------
    >>> import numpy as np
    >>> grid = Grid(1 + np.eye(9), 600000.0, 7240000.0, 5.0, "EPSG:32722", "nT", "error")
    >>> figure = draw_error_map(grid, Readings.empty(), title="Hill", crs_title="UTM zone 22S",
    ...                         convergence_deg=0.4, declination_deg=-19.9)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    stretch = stretch_of(grid, high=_HIGH)
    figure, axes, plan = begin_map(grid, title, more_mm=_MORE_MM)
    frame = axes.get_xlim(), axes.get_ylim()
    paint_grid(axes, grid, stretch, mm_per_m=plan.mm_per_m, shading=False)
    axes.set(xlim=frame[0], ylim=frame[1])
    paint_lines(axes, readings, colour="white")  # most of the ground is dark: sure
    above = paint_beyond(axes, grid, stretch)
    finish_map(
        axes, plan, replace(grid, name=_NAME), stretch, texts=_legend(crs_title, above, grid.unit),
        convergence_deg=convergence_deg, declination_deg=declination_deg,
    )  # fmt: skip
    return figure


def _legend(crs_title: str, above: NDArray[np.float64], unit: str) -> list[str]:
    """Return what the colours and lines mean, what an interval is, and what is not in it."""
    texts = [
        crs_title,
        "One standard deviation; 90 % of true values lie within 1.645 of it.",
        "Absolute level: not in it.",
        "White lines: readings.",
    ]
    if above.size:
        levels = ", ".join(number(value, decimals_for(value)) for value in above[:4])
        if above.size > 4:
            levels += f" and so on to {number(above[-1], decimals_for(above[-1]))}"
        texts.append(f"Contours: {levels} {unit}.")
    return texts
