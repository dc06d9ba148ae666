"""The map of one transform of the grid, such as the tilt angle or the anomaly at the pole."""

from typing import Final

from matplotlib.figure import Figure

from lodewalk.figures.field import paint_grid, paint_lines, stretch_of
from lodewalk.figures.map_frame import begin_map, finish_map
from lodewalk.figures.style import styled
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: What each transform shows, in one sentence for the legend.
MEANING: Final = {
    "upward_continued": "The anomaly as it would be higher up: deep and wide sources.",
    "regional": "What deep and wide sources give.",
    "residual": "The anomaly less its regional.",
    "vertical_derivative": "Change of the anomaly a metre downwards: shallow sources stand out.",
    "horizontal_gradient": "Steepness of the anomaly: highest over edges.",
    "total_gradient": "Size of the whole gradient: highest over bodies, whatever their dip.",
    "tilt_angle": "Angle of the gradient above the level: 0 over edges of upright bodies.",
    "tilt_horizontal_derivative": "Steepness of the tilt angle: edges, weak ones too.",
    "reduced_to_pole": "The anomaly as at the pole: bodies lie under their highs.",
    "reduced_to_pole_damped": "As at the pole; bodies along the declination look too weak.",
    "reduced_to_equator": "The anomaly as at the equator: bodies lie under their lows.",
    "pseudo_gravity": "Anomaly at the pole added up downwards: gravity of dense magnetite.",
}
_MORE_MM = 8.0


@styled
def draw_transform_map(
    grid: Grid,
    readings: Readings,
    *,
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
) -> Figure:
    """Draw one transform of the grid, with the lines walked.

    Parameters
    ----------
    grid : Grid
        A transform, with its own name and unit; masked nodes stay white.
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
    Colours are even to the eye and stretched linearly between the 1st and 99th percentile of the
    cells, without relief: on derivatives it would only show noise.

    Examples
    --------
    >>> import numpy as np
    >>> grid = Grid(np.eye(9), 600000.0, 7240000.0, 5.0, "EPSG:32722", "deg", "tilt_angle")
    >>> figure = draw_transform_map(grid, Readings.empty(), title="Hill", convergence_deg=0.4,
    ...                             crs_title="UTM zone 22S", declination_deg=-19.9)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    stretch = stretch_of(grid)
    figure, axes, plan = begin_map(grid, title, more_mm=_MORE_MM)
    frame = axes.get_xlim(), axes.get_ylim()
    paint_grid(axes, grid, stretch, mm_per_m=plan.mm_per_m, shading=False)
    axes.set(xlim=frame[0], ylim=frame[1])
    paint_lines(axes, readings)
    texts = [crs_title, MEANING.get(grid.name, ""), "Thin lines: where readings were taken."]
    finish_map(
        axes, plan, grid, stretch, texts=[text for text in texts if text],
        convergence_deg=convergence_deg, declination_deg=declination_deg,
    )  # fmt: skip
    return figure
