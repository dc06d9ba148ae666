"""The frame of a map: where the map, its bar, its arrows and its words stand."""

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lodewalk.figures.field import Stretch, outer_edges
from lodewalk.figures.furniture import colour_bar, coordinate_ticks, north_arrows, scale_bar
from lodewalk.figures.style import (
    PAGE_WIDTH_MM,
    SMALL_PT,
    axes_mm,
    heading,
    new_figure,
    text_mm,
    wrapped,
)
from lodewalk.records.grid import Grid

_LEFT, _PANEL, _GAP, _TOP = 14.0, 46.0, 6.0, 12.0
_TALLEST = 170.0
#: Room below the map for coordinates and scale bar; and for the legend too, below a wide map.
_BOTTOM, _STRIP = 22.0, 38.0
#: Height of the colour bar, and of all that stands beside a tall map.
_BAR, _BESIDE = 48.0, 134.0


#: West, east, south and north [m].
Window = tuple[float, float, float, float]


@dataclass(frozen=True)
class MapPlan:
    """Where everything stands, in millimetres from the lower left corner."""

    mm_per_m: float
    size: tuple[float, float]
    corner: tuple[float, float]
    map_size: tuple[float, float]
    scale_bar: dict[str, float]
    colour_bar: dict[str, float]
    legend: tuple[float, float, float]
    arrows: dict[str, float]


def map_plan(window: Window, *, more_mm: float = 0.0) -> MapPlan:
    """Place the parts: beside a tall map, or below a wide one with `more_mm` for a long legend."""
    west, east, south, north = window
    room = PAGE_WIDTH_MM - _LEFT - _GAP - _PANEL
    scale = min(room / (east - west), _TALLEST / (north - south))
    width, height = (east - west) * scale, (north - south) * scale
    wide = width > 1.15 * height
    frame = max(height + _STRIP + more_mm, _BAR + 55) if wide else max(height + _BOTTOM, _BESIDE)
    corner = (_LEFT, frame - height)
    panel, bar = _LEFT + width + _GAP, frame - 9 - _BAR
    below = (_LEFT, corner[1] - 26, width)
    beside = (panel, bar - 14, _PANEL - 3)
    return MapPlan(
        scale,
        (panel + _PANEL, frame + _TOP),
        corner,
        (width, height),
        {"left_mm": _LEFT, "bottom_mm": corner[1] - 20, "room_mm": min(width, 110)},
        {"left_mm": panel, "bottom_mm": bar, "height_mm": _BAR},
        below if wide else beside,
        {"left_mm": panel, "bottom_mm": 3 if wide else bar - 72},
    )


def map_window(edges: Window) -> Window:
    """Return the window of a map: the ground with a margin, not narrower than a third."""
    west, east, south, north = edges
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


def begin_map(grid: Grid, title: str, *, more_mm: float = 0.0) -> tuple[Figure, Axes, MapPlan]:
    """Return an empty map of a grid's ground: figure, axes and where the rest stands."""
    return begin_frame(outer_edges(grid), title, more_mm=more_mm)


def begin_frame(edges: Window, title: str, *, more_mm: float = 0.0) -> tuple[Figure, Axes, MapPlan]:
    """Return an empty map of the ground between edges: figure, axes and where the rest stands."""
    window = map_window(edges)
    plan = map_plan(window, more_mm=more_mm)
    figure = new_figure(*plan.size)
    heading(figure, title)
    axes = axes_mm(figure, *plan.corner, *plan.map_size, gid="map")
    axes.set(xlim=window[:2], ylim=window[2:], facecolor="white")
    return figure, axes, plan


def finish_map(
    axes: Axes,
    plan: MapPlan,
    grid: Grid,
    stretch: Stretch,
    *,
    texts: list[str],
    convergence_deg: float,
    declination_deg: float | None,
) -> None:
    """Draw coordinates, scale bar, legend, colour bar and north arrows round a painted map."""
    figure = finish_frame(
        axes, plan, texts=texts, convergence_deg=convergence_deg, declination_deg=declination_deg
    )
    colour_bar(figure, stretch, **plan.colour_bar, unit=grid.unit, name=grid.title)


def finish_frame(
    axes: Axes,
    plan: MapPlan,
    *,
    texts: list[str],
    convergence_deg: float,
    declination_deg: float | None,
) -> Figure:
    """Draw coordinates, scale bar, legend and north arrows round a map; return its figure."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    coordinate_ticks(axes, mm_per_m=plan.mm_per_m)
    axes.set_xlabel("Easting [m]", labelpad=1.5)
    axes.set_ylabel("Northing [m]", labelpad=1.5)
    scale_bar(figure, **plan.scale_bar, mm_per_m=plan.mm_per_m)
    write_legend(figure, *plan.legend, texts)
    north_arrows(
        figure, **plan.arrows, convergence_deg=convergence_deg, declination_deg=declination_deg
    )
    return figure


def write_legend(figure: Figure, left: float, top: float, width: float, texts: list[str]) -> None:
    """Write short texts below one another."""
    rows = [row for text in texts for row in wrapped(text, width, size_pt=SMALL_PT)]
    for index, row in enumerate(rows[:8]):
        text_mm(figure, left, top - 3.3 * index, row, fontsize=SMALL_PT)
