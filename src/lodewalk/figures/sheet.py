"""Field sheets: the map at a true scale on paper, with cross-marks and a title block."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.field import (
    Stretch,
    outer_edges,
    paint_contours,
    paint_grid,
    paint_lines,
    stretch_of,
)
from lodewalk.figures.furniture import colour_bar, coordinate_ticks, north_arrows, scale_bar
from lodewalk.figures.style import (
    INK,
    QUIET,
    RULE,
    SMALL_PT,
    TEXT_PT,
    TITLE_PT,
    axes_mm,
    canvas_mm,
    decimals_for,
    multiples,
    new_figure,
    nice_step,
    number,
    styled,
    wrapped,
)
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: Width and height of the papers [mm], ISO 216.
PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0)}
CAUTION = (
    "Not a clearance for explosives or buried services. Local rules and licensed practice come "
    "first."
)

_EDGE, _TICKS, _BLOCK, _GAP = 10.0, 7.0, 58.0, 7.0
_MOST_SHEETS = 60

Window = tuple[float, float, float, float]


@styled
def draw_sheet(
    grid: Grid,
    readings: Readings,
    *,
    scale: int,
    title_block: Mapping[str, str],
    convergence_deg: float,
    declination_deg: float | None,
    paper: str | None = None,
    shading: bool = True,
) -> list[Figure]:
    """Draw sheets on which one metre on the ground is ``1000 / scale`` millimetres.

    Parameters
    ----------
    grid : Grid
        Values to paint; masked nodes stay white.
    readings : Readings
        Their lines are drawn where they have an anomaly.
    scale : int
        Denominator of the scale, such as 2000 for 1:2000.
    title_block : mapping of str to str
        What the title block says, in this order; the first value is its title.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.
    paper : {"A4", "A3"}, optional
        By default A4 where the survey fits one sheet of it, else A3.
    shading : bool
        Relief shading with light from the north-west.

    Returns
    -------
    list of Figure
        From north-west to south-east, row by row, all with the same colours; each has the size
        of the paper. Where there are several, each carries an index of the sheets.

    Raises
    ------
    InputError
        When the grid has no value, the scale does not lie in 100 to 100000, the paper is unknown
        or there would be more than 60 sheets.

    Notes
    -----
    The map axes have the size of the ground divided by the scale, so a sheet is true only when
    printed at full size.

    Examples
    --------
    >>> import numpy as np
    >>> grid = Grid(np.eye(9), 600000.0, 7240000.0, 50.0, "EPSG:32722", "nT", "anomaly")
    >>> sheets = draw_sheet(grid, Readings.empty(), scale=5000, title_block={"Survey": "Hill"},
    ...                     convergence_deg=0.4, declination_deg=-19.9)
    >>> (sheets[0].get_size_inches() * 25.4).round(6).tolist()
    [297.0, 210.0]
    """
    if not 100 <= scale <= 100_000:
        raise InputError("The scale of a sheet must lie in 1:100 to 1:100000.", value=scale)
    stretch = stretch_of(grid)
    format_ = _choose(grid, scale, paper)
    windows = _windows(grid, format_, scale)
    figures = []
    for nth, window in enumerate(windows):
        figure, axes = _new_sheet(format_, window)
        interval = _paint(axes, grid, readings, stretch, scale=scale, shading=shading)
        words = _words(title_block, nth + 1, len(windows), scale, interval, grid.unit)
        _draw_block(figure, format_, title_block, words)
        _draw_keys(figure, format_, grid, stretch, scale=scale)
        left = format_.width - _EDGE - 42
        north_arrows(
            figure,
            left_mm=left,
            bottom_mm=_EDGE + 7.5,
            convergence_deg=convergence_deg,
            declination_deg=declination_deg,
        )
        if len(windows) > 1:
            _draw_index(figure, windows, nth, left=left, bottom=_EDGE + 41)
        figures.append(figure)
    return figures


@dataclass(frozen=True)
class _Format:
    """A paper laid upright or across, and the map on it [mm]."""

    name: str
    width: float
    height: float

    @property
    def map_size(self) -> tuple[float, float]:
        """Width and height of the map."""
        return (
            self.width - 2 * _EDGE - _TICKS,
            self.height - 2 * _EDGE - _BLOCK - _GAP,
        )

    @property
    def corner(self) -> tuple[float, float]:
        """Lower left corner of the map."""
        return _EDGE + _TICKS, _EDGE + _BLOCK + _GAP


def _choose(grid: Grid, scale: int, paper: str | None) -> _Format:
    """Return the first format that holds the grid, else the largest paper with fewest sheets."""
    if paper is not None and paper not in PAPERS:
        raise InputError(f"The paper must be one of {', '.join(PAPERS)}.", value=paper)
    names = [paper] if paper else list(PAPERS)
    sizes = [(name, *PAPERS[name]) for name in names]
    west, east, south, north = outer_edges(grid)
    need = np.array([east - west, north - south]) * 1000 / scale
    tall_first = need[1] > need[0]
    formats = [
        _Format(name, *(side if upright else side[::-1]))
        for name, *side in sizes
        for upright in (tall_first, not tall_first)
    ]
    fits = [f for f in formats if (need <= f.map_size).all()]
    return fits[0] if fits else min(formats[-2:], key=lambda f: np.prod(_count(need, f)))


def _count(need: NDArray[np.float64], format_: _Format) -> tuple[int, int]:
    """Return how many maps side by side and above one another cover `need` [mm]."""
    across, down = np.ceil(need / format_.map_size - 1e-9).astype(int)
    return int(across), int(down)


def _windows(grid: Grid, format_: _Format, scale: int) -> list[Window]:
    """Return the ground windows of the sheets, together centred on the grid, to whole metres."""
    west, east, south, north = outer_edges(grid)
    width, height = (side * scale / 1000 for side in format_.map_size)
    need = np.array([east - west, north - south]) * 1000 / scale
    across, down = _count(need, format_)
    if across * down > _MOST_SHEETS:
        raise InputError(
            f"At 1:{scale} the survey needs more than {_MOST_SHEETS} sheets.",
            value=f"{across * down} sheets",
            remedy="Choose a smaller scale.",
        )
    first = float(np.round((west + east) / 2 - across * width / 2))
    top = float(np.round((south + north) / 2 + down * height / 2))
    return [
        (first + c * width, first + (c + 1) * width, top - (r + 1) * height, top - r * height)
        for r in range(down)
        for c in range(across)
    ]


def _new_sheet(format_: _Format, window: Window) -> tuple[Figure, Axes]:
    """Return a sheet of paper and its map axes, exactly to scale."""
    figure = new_figure(format_.width, format_.height)
    axes = axes_mm(figure, *format_.corner, *format_.map_size, gid="map")
    axes.set(xlim=window[:2], ylim=window[2:])
    return figure, axes


def _paint(
    axes: Axes, grid: Grid, readings: Readings, stretch: Stretch, *, scale: int, shading: bool
) -> float | None:
    """Paint the map and its cross-marks; return the contour interval."""
    window = (*axes.get_xlim(), *axes.get_ylim())
    mm_per_m = 1000 / scale
    paint_grid(axes, grid, stretch, mm_per_m=mm_per_m, shading=shading)
    axes.set(xlim=window[:2], ylim=window[2:])
    paint_lines(axes, readings)
    interval = paint_contours(axes, grid, stretch)
    step = cross_step_m(scale)
    coordinate_ticks(axes, mm_per_m=mm_per_m, step_m=step)
    east, north = multiples(*window[:2], step), multiples(*window[2:], step)
    marks = np.array([(e, n) for e in east for n in north]).reshape(-1, 2)
    axes.plot(*marks.T, "+", color=INK, markersize=6, markeredgewidth=0.4, gid="crosses", zorder=6)
    return interval


def cross_step_m(scale: int) -> float:
    """Return the distance between cross-marks [m]: 100 m where they stand 15 to 60 mm apart.

    Examples
    --------
    >>> cross_step_m(2000), cross_step_m(5000), cross_step_m(25000), cross_step_m(500)
    (100.0, 100.0, 500.0, 10.0)
    """
    apart = 100_000 / scale
    return 100.0 if 15 <= apart <= 60 else nice_step(15 * scale / 1000)


def _words(
    block: Mapping[str, str],
    nth: int,
    count: int,
    scale: int,
    interval: float | None,
    unit: str,
) -> list[tuple[str, str]]:
    """Return the rows of the title block: those given, then those that the sheet knows."""
    rows = list(block.items())[1:]
    rows.append(("Scale", f"1:{scale} when printed at full size (no fitting to the page)"))
    rows.append(("Sheet", f"{nth} of {count}"))
    if interval is not None:
        step, heavy = (number(v, decimals_for(v)) for v in (interval, 5 * interval))
        rows.append(("Contours", f"each {step} {unit}, heavy each {heavy} {unit}"))
    rows.append(("Crosses", f"each {number(cross_step_m(scale))} m"))
    return rows


def _draw_block(
    figure: Figure, format_: _Format, block: Mapping[str, str], rows: list[tuple[str, str]]
) -> None:
    """Draw the frame of the title block, its title, its rows and the caution."""
    width = format_.width - 2 * _EDGE
    axes = canvas_mm(figure, _EDGE, _EDGE, width, _BLOCK)
    axes.set_gid("title block")
    axes.add_patch(Rectangle((0, 0), width, _BLOCK, fill=False, lw=0.8, clip_on=False))
    room = width - 92
    title = next(iter(block.values()), "Total-field anomaly")
    axes.text(
        3,
        _BLOCK - 6,
        wrapped(title, room, size_pt=TITLE_PT, weight="bold", most=1)[0],
        fontsize=TITLE_PT,
        weight="bold",
    )
    at = _BLOCK - 11
    for label, value in rows:
        for index, line in enumerate(wrapped(value, room - 26, size_pt=SMALL_PT, most=2)):
            if at < 8:
                break
            if index == 0:
                short = wrapped(label, 23, size_pt=SMALL_PT, most=1)[0]
                axes.text(3, at, short, fontsize=SMALL_PT, color=QUIET)
            axes.text(28, at, line, fontsize=SMALL_PT)
            at -= 3.4
    axes.plot([0, width], [6, 6], color=RULE, linewidth=0.5)
    axes.text(3, 2, wrapped(CAUTION, width - 6, most=1)[0], fontsize=TEXT_PT, weight="bold")


def _draw_keys(
    figure: Figure, format_: _Format, grid: Grid, stretch: Stretch, *, scale: int
) -> None:
    """Draw the colour bar and the scale bar in the title block."""
    left = format_.width - _EDGE - 86
    colour_bar(
        figure,
        stretch,
        left_mm=left,
        bottom_mm=_EDGE + 22,
        height_mm=25,
        unit=grid.unit,
        name=grid.title,
    )
    scale_bar(figure, left_mm=left, bottom_mm=_EDGE + 7.5, room_mm=70, mm_per_m=1000 / scale)


def _draw_index(
    figure: Figure, windows: list[Window], nth: int, *, left: float, bottom: float
) -> None:
    """Draw where the sheets lie, this one filled."""
    bounds = np.array(windows)
    west, south = bounds[:, 0].min(), bounds[:, 2].min()
    size = np.array([bounds[:, 1].max() - west, bounds[:, 3].max() - south])
    per_m = float((np.array([32.0, 14.5]) / size).min())
    axes = canvas_mm(figure, left, bottom, 36, 18)
    axes.set_gid("index of sheets")
    for index, window in enumerate(windows):
        place = ((window[0] - west) * per_m + 0.5, (window[2] - south) * per_m + 0.5)
        width, height = (window[1] - window[0]) * per_m, (window[3] - window[2]) * per_m
        here = index == nth
        axes.add_patch(
            Rectangle(
                place, width, height, facecolor=INK if here else "white", edgecolor=INK, lw=0.5
            )
        )
        if height > 3.2 and width > 4:
            axes.text(
                place[0] + width / 2,
                place[1] + height / 2,
                str(index + 1),
                ha="center",
                va="center",
                fontsize=SMALL_PT,
                color="white" if here else INK,
            )
