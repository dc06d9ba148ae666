"""The page of a plan's map: A4 upright or across, at a round scale, with ground and furniture."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray

from lodewalk.figures.furniture import coordinate_ticks, north_arrows, scale_bar
from lodewalk.figures.style import (
    INK,
    QUIET,
    SMALL_PT,
    TITLE_PT,
    axes_mm,
    new_figure,
    text_mm,
    wrapped,
)
from lodewalk.records.planning import Outline, PlannedSurvey

#: Width and height of A4 upright [mm].
A4: Final = (210.0, 297.0)
#: Free rim of a page: printers don't reach the edge [mm].
RIM: Final = 12.0
#: Room for the title, for coordinates left of and below the map, and round the lines for names.
_TITLE, _TICKS, _BELOW, _NAMES = 13.0, 7.0, 11.0, 15.0
#: Legend below an upright map, and beside one across.
_PANEL, _SIDE = 54.0, 58.0
_ROW = 3.4
_MANTISSAS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5)
#: Points that would shrink the map more than this are named at its side instead.
_MOST_SHRINKING = 1.6
GROUND: Final = "#7a4d00"

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PlanPage:
    """One page: its figure, the map on it, its scale, and where its legend stands."""

    figure: Figure
    axes: Axes
    mm_per_m: float
    scale: int
    legend: tuple[float, float, float, int]


def fitting_scale(width_m: float, height_m: float, room: tuple[float, float]) -> int:
    """Return the scale number, round, at which the ground fits a room in millimetres.

    Examples
    --------
    >>> fitting_scale(700.0, 400.0, (180.0, 200.0))
    4000
    """
    least = max(width_m * 1000 / room[0], height_m * 1000 / room[1], 100.0)
    power = 10.0 ** np.floor(np.log10(least) + 1e-12)
    fitting = [m * power for m in (*_MANTISSAS, 10.0) if m * power >= least * (1 - 1e-9)]
    return round(float(fitting[0]))


def edges_of(places: Floats) -> tuple[float, float, float, float]:
    """Return west, east, south and north of places, shape (n, 2) [m]."""
    low, high = places.min(axis=0), places.max(axis=0)
    return float(low[0]), float(high[0]), float(low[1]), float(high[1])


def with_near(core: Floats, others: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Add the places that don't make the map much smaller; tell which they are.

    Parameters
    ----------
    core, others : arrays, shape (n, 2) and (m, 2)
        Easting and northing [m] of what must be on the map and of what may be.

    Examples
    --------
    >>> core = np.array([[0.0, 0.0], [1000.0, 1000.0]])
    >>> with_near(core, np.array([[1200.0, 0.0], [9000.0, 0.0]]))[1].tolist()
    [True, False]
    """
    west, east, south, north = edges_of(core)
    room = max(east - west, north - south, 50.0) * (_MOST_SHRINKING - 1)
    low, high = np.array([west, south]) - room, np.array([east, north]) + room
    near = np.asarray(((others >= low) & (others <= high)).all(axis=1), dtype=bool)
    return np.vstack((core, others[near])), near


def begin_page(places: Floats, title: str, under: str, *, draft: bool = False) -> PlanPage:
    """Return an empty map of the ground round places, on A4 upright or across.

    Parameters
    ----------
    places : array, shape (n, 2)
        Easting and northing of what has to be on it [m].
    title, under : str
        Title and the smaller line below it.
    draft : bool
        Whether the page says that it is a draft.
    """
    west, east, south, north = edges_of(places)
    extent = east - west, north - south
    ways = {across: _room(across) for across in (False, True)}
    scales = {
        across: fitting_scale(*extent, (room[0] - 2 * _NAMES, room[1] - 2 * _NAMES))
        for across, room in ways.items()
    }
    across = scales[True] < scales[False]
    size, room, scale = (A4[::-1] if across else A4), ways[across], scales[across]
    figure = new_figure(*size)
    write_title(figure, title, under, draft=draft)
    left = RIM + _TICKS
    bottom = size[1] - RIM - _TITLE - room[1]
    axes = axes_mm(figure, left, bottom, *room, gid="map")
    half = np.array(room) * scale / 2000
    middle = (west + east) / 2, (south + north) / 2
    axes.set(
        xlim=(middle[0] - half[0], middle[0] + half[0]),
        ylim=(middle[1] - half[1], middle[1] + half[1]),
    )
    top = size[1] - RIM - _TITLE
    beside = (left + room[0] + 5, top - 14, _SIDE - 5, int((top - 14 - RIM - 40) // _ROW))
    below = (left, bottom - _BELOW - 13, room[0] - 48, 8)
    return PlanPage(figure, axes, 1000 / scale, scale, beside if across else below)


def _room(across: bool) -> tuple[float, float]:
    """Return width and height of the map on a page [mm]."""
    width, height = A4[::-1] if across else A4
    side, panel = (_SIDE, 0.0) if across else (0.0, _PANEL)
    return width - 2 * RIM - _TICKS - side, height - 2 * RIM - _TITLE - _BELOW - panel


def write_title(figure: Figure, title: str, under: str, *, draft: bool = False) -> None:
    """Write title, the line below it, and whether it is a draft, at the top of an A4 page."""
    width, height = (size * 25.4 for size in figure.get_size_inches())
    room = width - 2 * RIM - (18 if draft else 0)
    words = wrapped(title, room, size_pt=TITLE_PT + 1, weight="bold", most=1)[0]
    text_mm(figure, RIM, height - RIM - 3.5, words, fontsize=TITLE_PT + 1, weight="bold")
    text_mm(
        figure, RIM, height - RIM - 8.5, wrapped(under, width - 2 * RIM, most=1)[0], color=QUIET
    )
    if draft:
        text_mm(
            figure, width - RIM, height - RIM - 3.5, "DRAFT", fontsize=TITLE_PT + 1, weight="bold",
            color="#9b1c1c", ha="right",
        )  # fmt: skip


def finish_page(page: PlanPage, survey: PlannedSurvey, texts: Sequence[str]) -> Figure:
    """Draw coordinates, scale bar, legend and north arrows round a map."""
    figure, axes = page.figure, page.axes
    coordinate_ticks(axes, mm_per_m=page.mm_per_m)
    axes.grid(visible=True, color="0.88", lw=0.4, zorder=0)
    axes.set_axisbelow(True)
    axes.set_xlabel("Easting [m]", labelpad=1.5)
    axes.set_ylabel("Northing [m]", labelpad=1.5)
    left, top, width, most = page.legend
    across = figure.get_figwidth() > figure.get_figheight()
    scale_bar(figure, left_mm=left, bottom_mm=top + 4, room_mm=min(width, 110),
              mm_per_m=page.mm_per_m)  # fmt: skip
    words = [f"Scale 1:{page.scale:,}".replace(",", " ") + " printed on A4 at full size.", *texts]
    rows = [row for text in words for row in wrapped(text, width, size_pt=SMALL_PT)]
    for index, row in enumerate(rows[:most]):
        text_mm(figure, left, top - _ROW * index, row, fontsize=SMALL_PT)
    arrows = (left, RIM) if across else (left + width + 6, top - 29)
    north_arrows(
        figure, left_mm=arrows[0], bottom_mm=arrows[1], convergence_deg=survey.convergence_deg,
        declination_deg=survey.declination_deg,
    )  # fmt: skip
    return figure


def paint_ground(axes: Axes, outlines: Sequence[Outline]) -> None:
    """Draw the area, the exclusions hatched and what is kept clear around them."""
    for item in outlines:
        if item.role == "area":
            _patch(axes, item, facecolor="#f5f3ec", edgecolor=INK, lw=1.0, zorder=1)
        elif item.role == "kept clear":
            _patch(axes, item, facecolor="none", edgecolor=GROUND, lw=0.6, ls=(0, (3, 2)), zorder=2)
        elif item.geometry == "polygon":
            _patch(axes, item, facecolor="white", edgecolor=GROUND, lw=0.8, hatch="////", zorder=2)
        elif item.geometry == "line":
            _buffered(axes, item)
            axes.plot(*item.rings[0].T, color=GROUND, lw=1.2, marker="x", ms=2.5, mew=0.6, zorder=3)
        else:
            axes.plot(*item.rings[0].T, color=GROUND, marker="X", ms=5, ls="none", zorder=3)


def _buffered(axes: Axes, item: Outline) -> None:
    """Hatch the strip kept clear along a line where no outline of it is given."""
    if not item.buffer_m:
        return
    for first, second in zip(item.rings[0][:-1], item.rings[0][1:], strict=True):
        along = second - first
        length = float(np.hypot(*along))
        if length:
            off = np.array([-along[1], along[0]]) / length * item.buffer_m
            corners = np.array([first + off, second + off, second - off, first - off, first + off])
            strip = Outline("exclusion", "", "", "polygon", (corners,))
            _patch(axes, strip, facecolor="none", edgecolor=GROUND, lw=0.0, hatch="////", zorder=2)


def _patch(axes: Axes, item: Outline, **look: object) -> None:
    """Draw a polygon with its holes; a line or point that is kept clear is passed over."""
    if item.geometry != "polygon":
        return
    path = Path.make_compound_path(*(Path(ring, closed=True) for ring in _turned(item.rings)))
    axes.add_patch(PathPatch(path, **look))


def _turned(rings: Sequence[Floats]) -> list[Floats]:
    """Return the outline anticlockwise and the holes clockwise, so that holes stay open."""
    found = []
    for index, ring in enumerate(rings):
        east, north = ring[:, 0] - ring[0, 0], ring[:, 1] - ring[0, 1]
        area = float(np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]))
        found.append(ring if (area > 0) == (index == 0) else ring[::-1])
    return found
