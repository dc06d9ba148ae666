"""The anomaly map: colours, contours, lines walked and everything needed to read them."""

from dataclasses import dataclass

from matplotlib.figure import Figure

from lodewalk.figures.field import (
    outer_edges,
    paint_contours,
    paint_grid,
    paint_lines,
    stretch_of,
)
from lodewalk.figures.furniture import colour_bar, coordinate_ticks, north_arrows, scale_bar
from lodewalk.figures.style import (
    PAGE_WIDTH_MM,
    SMALL_PT,
    axes_mm,
    decimals_for,
    heading,
    new_figure,
    number,
    styled,
    text_mm,
    wrapped,
)
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

_LEFT, _PANEL, _GAP, _TOP = 14.0, 46.0, 6.0, 12.0
_TALLEST = 170.0
#: Room below the map for coordinates and scale bar; and for the legend too, below a wide map.
_BOTTOM, _STRIP = 22.0, 38.0
#: Height of the colour bar, and of all that stands beside a tall map.
_BAR, _BESIDE = 48.0, 134.0


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
    window = _window(grid)
    plan = _plan(window)
    figure = new_figure(*plan.size)
    heading(figure, title)
    axes = axes_mm(figure, *plan.corner, *plan.map_size, gid="map")
    paint_grid(axes, grid, stretch, mm_per_m=plan.mm_per_m, shading=shading)
    axes.set(xlim=window[:2], ylim=window[2:], facecolor="white")
    paint_lines(axes, readings)
    interval = paint_contours(axes, grid, stretch) if contours else None
    coordinate_ticks(axes, mm_per_m=plan.mm_per_m)
    axes.set_xlabel("Easting [m]", labelpad=1.5)
    axes.set_ylabel("Northing [m]", labelpad=1.5)
    scale_bar(figure, **plan.scale_bar, mm_per_m=plan.mm_per_m)
    _write(figure, *plan.legend, _legend(crs_title, interval, unit=grid.unit, shading=shading))
    colour_bar(figure, stretch, **plan.colour_bar, unit=grid.unit, name=grid.title)
    north_arrows(
        figure,
        **plan.arrows,
        convergence_deg=convergence_deg,
        declination_deg=declination_deg,
    )
    return figure


@dataclass(frozen=True)
class _Plan:
    """Where everything stands, in millimetres from the lower left corner."""

    mm_per_m: float
    size: tuple[float, float]
    corner: tuple[float, float]
    map_size: tuple[float, float]
    scale_bar: dict[str, float]
    colour_bar: dict[str, float]
    legend: tuple[float, float, float]
    arrows: dict[str, float]


def _plan(window: tuple[float, float, float, float]) -> _Plan:
    """Place the parts: beside a tall map, or below a wide one."""
    west, east, south, north = window
    room = PAGE_WIDTH_MM - _LEFT - _GAP - _PANEL
    scale = min(room / (east - west), _TALLEST / (north - south))
    width, height = (east - west) * scale, (north - south) * scale
    wide = width > 1.15 * height
    frame = max(height + _STRIP, _BAR + 55) if wide else max(height + _BOTTOM, _BESIDE)
    corner = (_LEFT, frame - height)
    panel, bar = _LEFT + width + _GAP, frame - 9 - _BAR
    below = (_LEFT, corner[1] - 26, width)
    beside = (panel, bar - 14, _PANEL - 3)
    return _Plan(
        scale,
        (panel + _PANEL, frame + _TOP),
        corner,
        (width, height),
        {"left_mm": _LEFT, "bottom_mm": corner[1] - 20, "room_mm": min(width, 110)},
        {"left_mm": panel, "bottom_mm": bar, "height_mm": _BAR},
        below if wide else beside,
        {"left_mm": panel, "bottom_mm": 3 if wide else bar - 72},
    )


def _window(grid: Grid) -> tuple[float, float, float, float]:
    """Return the window of the map: the grid with a margin, not narrower than a third."""
    west, east, south, north = outer_edges(grid)
    width, height = east - west, north - south
    margin = 0.03 * max(width, height)
    across = max(width + 2 * margin, (height + 2 * margin) * 0.4)
    along = max(height + 2 * margin, (width + 2 * margin) * 0.3)
    middle_east, middle_north = (west + east) / 2, (south + north) / 2
    return (
        middle_east - across / 2,
        middle_east + across / 2,
        middle_north - along / 2,
        middle_north + along / 2,
    )


def _legend(crs_title: str, interval: float | None, *, unit: str, shading: bool) -> list[str]:
    """Return what the marks mean, and the coordinate reference system."""
    texts = [crs_title, "Thin lines: where readings were taken."]
    if interval is not None:
        step, heavy = (number(v, decimals_for(v)) for v in (interval, 5 * interval))
        texts.append(f"Contours each {step} {unit}, heavy each {heavy} {unit}.")
    if shading:
        texts.append("Relief lit from the north-west.")
    return texts


def _write(figure: Figure, left: float, top: float, width: float, texts: list[str]) -> None:
    """Write short texts below one another."""
    rows = [row for text in texts for row in wrapped(text, width, size_pt=SMALL_PT)]
    for index, row in enumerate(rows[:8]):
        text_mm(figure, left, top - 3.3 * index, row, fontsize=SMALL_PT)
