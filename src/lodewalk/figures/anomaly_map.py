"""The anomaly map: colours, contours, lines walked and everything needed to read them."""

from matplotlib.figure import Figure

from lodewalk.figures.field import (
    paint_contours,
    paint_grid,
    paint_lines,
    stretch_of,
)
from lodewalk.figures.map_frame import begin_map, finish_map
from lodewalk.figures.style import (
    decimals_for,
    number,
    styled,
)
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings


@styled
def draw_anomaly_map(
    grid: Grid,
    readings: Readings,
    *,
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
    shading: bool = True,
    contours: bool = True,
) -> Figure:
    """Draw a grid as a map at one scale both ways.

    Parameters
    ----------
    grid : Grid
        Values to paint; masked nodes stay white.
    readings : Readings
        Their lines are drawn where they have an anomaly.
    title, crs_title : str
        Title of the map and the words for its coordinate reference system.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.
    shading : bool
        Relief shading with light from the north-west.
    contours : bool
        Contours at a round interval, each fifth heavier and labelled.

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
    Colours are stretched linearly between the 1st and the 99th percentile of the cells; the
    limits stand beside the colour bar.

    Examples
    --------
    >>> import numpy as np
    >>> grid = Grid(np.eye(9), 600000.0, 7240000.0, 5.0, "EPSG:32722", "nT", "anomaly")
    >>> figure = draw_anomaly_map(grid, Readings.empty(), title="Hill", crs_title="UTM zone 22S",
    ...                           convergence_deg=0.4, declination_deg=-19.9)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    stretch = stretch_of(grid)
    figure, axes, plan = begin_map(grid, title)
    frame = axes.get_xlim(), axes.get_ylim()
    paint_grid(axes, grid, stretch, mm_per_m=plan.mm_per_m, shading=shading)
    axes.set(xlim=frame[0], ylim=frame[1])
    paint_lines(axes, readings)
    interval = paint_contours(axes, grid, stretch) if contours else None
    texts = _legend(crs_title, interval, unit=grid.unit, shading=shading)
    finish_map(
        axes, plan, grid, stretch, texts=texts, convergence_deg=convergence_deg,
        declination_deg=declination_deg,
    )  # fmt: skip
    return figure


def _legend(crs_title: str, interval: float | None, *, unit: str, shading: bool) -> list[str]:
    """Return what the marks mean, and the coordinate reference system."""
    texts = [crs_title, "Thin lines: where readings were taken."]
    if interval is not None:
        step, heavy = (number(v, decimals_for(v)) for v in (interval, 5 * interval))
        texts.append(f"Contours each {step} {unit}, heavy each {heavy} {unit}.")
    if shading:
        texts.append("Relief lit from the north-west.")
    return texts
