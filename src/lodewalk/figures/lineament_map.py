"""The map of lineaments: what was traced over the muted anomaly, with names and offsets."""

from collections.abc import Collection
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from lodewalk.figures.field import Stretch, outer_edges, refined, relief, stretch_of
from lodewalk.figures.map_frame import MapPlan, begin_map, finish_map
from lodewalk.figures.plan_marks import Names
from lodewalk.figures.style import INK, QUIET, SMALL_PT, number, styled
from lodewalk.records.grid import Grid
from lodewalk.records.interpreted import Faults, LineamentPoints, Lineaments

Floats = NDArray[np.float64]
#: Share of white laid over the colours, so that the lines stand out.
_MUTED: Final = 0.45
#: Colour, dashes and words of each kind of line.
_LINES: Final = {
    "ridge": ("#8c1d18", "-", "Full red: ridge (R), a thin body."),
    "edge": ("#00356b", "--", "Dashed blue: edge (E) of a wide body."),
}
_REFUSED = "Grey dots: refused by a decision."
_SPOT = "Ring: spot (S), a compact source."
_FAULT = "Black bar: a line is broken; its offset, ± half its 90 % interval."
#: Room for the legend below a wide map beyond that of the anomaly map [mm].
_MORE_MM = 8.0


@styled
def draw_lineament_map(
    grid: Grid,
    lineaments: Lineaments,
    points: LineamentPoints,
    faults: Faults,
    *,
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
    refused: Collection[str] = (),
) -> Figure:
    """Draw the traced lineaments with their names and offsets over the anomaly.

    Parameters
    ----------
    grid : Grid
        The anomaly, painted in muted colours.
    lineaments : Lineaments
        What was traced.
    points : LineamentPoints
        Their corners.
    faults : Faults
        Places where a lineament is broken.
    title, crs_title : str
        Title of the map and the words for its coordinate reference system.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.
    refused : collection of str
        Lineaments that a person refused: they are drawn in grey.

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
    Kinds differ in colour and in dashes, so that a print in grey tells them too.

    Examples
    --------
    >>> grid = Grid(np.eye(9), 600000.0, 7240000.0, 5.0, "EPSG:32722", "nT", "anomaly")
    >>> figure = draw_lineament_map(grid, Lineaments.empty(), LineamentPoints.empty(),
    ...                             Faults.empty(), title="Hill", crs_title="UTM zone 22S",
    ...                             convergence_deg=0.4, declination_deg=-19.9)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    stretch = stretch_of(grid)
    figure, axes, plan = begin_map(grid, title, more_mm=_MORE_MM)
    frame = axes.get_xlim(), axes.get_ylim()
    _paint(axes, grid, stretch)
    axes.set(xlim=frame[0], ylim=frame[1])
    kinds = _draw_lines(axes, lineaments, points, refused)
    corners = np.column_stack([points.floats("easting_m"), points.floats("northing_m")])
    _draw_faults(axes, faults, lineaments, corners, plan)
    left = _write_names(axes, lineaments, points, plan)
    texts = [crs_title, *(words for kind, (_, _, words) in _LINES.items() if kind in kinds)]
    texts += [_REFUSED] * ("refused" in kinds)
    texts += [_SPOT] * ("spot" in kinds) + [_FAULT] * bool(len(faults))
    texts += ["No lineament was traced."] * (not kinds)
    texts += [f"{left} names without room."] * bool(left)
    finish_map(
        axes, plan, grid, stretch, texts=texts, convergence_deg=convergence_deg,
        declination_deg=declination_deg,
    )  # fmt: skip
    return figure


def _paint(axes: Axes, grid: Grid, stretch: Stretch) -> None:
    """Paint the grid with white laid over it, and its relief."""
    factor = max(1, min(4, int(np.sqrt(2_000_000 / grid.values.size))))
    image = stretch.colours.to_rgba(np.ma.masked_invalid(refined(grid.values, factor)))
    image[..., :3] += (1 - image[..., :3]) * _MUTED
    light = refined(relief(grid.values, spacing_m=grid.spacing_m), factor)[..., None]
    image[..., :3] *= 1 + np.clip(0.3 * light, -0.2, 0.0)
    axes.imshow(
        image, origin="lower", extent=outer_edges(grid), interpolation="nearest", aspect="equal"
    )


def _ways(lineaments: Lineaments, points: LineamentPoints) -> list[tuple[str, str, Floats]]:
    """Return name, kind and corners of each lineament."""
    place = np.column_stack([points.floats("easting_m"), points.floats("northing_m")])
    owner = np.array(points.strings("lineament"), dtype=object)
    return [
        (str(name), str(kind), place[owner == name])
        for name, kind in zip(
            lineaments.strings("lineament"), lineaments.strings("kind"), strict=True
        )
    ]


def _draw_lines(
    axes: Axes, lineaments: Lineaments, points: LineamentPoints, refused: Collection[str]
) -> set[str]:
    """Draw all lineaments; return the kinds that are there."""
    kinds = set()
    for name, kind, way in _ways(lineaments, points):
        if name in refused:
            kinds.add("refused")
            ring = "o" if kind == "spot" else ""
            axes.plot(*way.T, color=QUIET, lw=1.2, ls=":", gid=name, marker=ring, ms=5, mfc="none")
            continue
        kinds.add(kind)
        if kind == "spot":
            axes.plot(
                *way[:1].T, marker="o", ms=6, mfc="none", mec=INK, mew=1.1, gid=name, ls="none"
            )
            continue
        colour, dashes, _ = _LINES[kind]
        halo = [withStroke(linewidth=3.0, foreground="white")]
        axes.plot(
            *way.T, color=colour, lw=1.5, ls=dashes, path_effects=halo, gid=name,
            solid_capstyle="butt",
        )  # fmt: skip
    return kinds


def _draw_faults(
    axes: Axes, faults: Faults, lineaments: Lineaments, corners: Floats, plan: MapPlan
) -> None:
    """Draw a bar across the strike at each offset, a little longer than it, with its size."""
    strikes = dict(
        zip(lineaments.strings("lineament"), lineaments.floats("strike_deg"), strict=True)
    )
    for row in faults.frame.iter_rows(named=True):
        turn = np.radians(strikes.get(row["first"], 0.0))
        right = np.array([np.cos(turn), -np.sin(turn)])
        place = np.array([row["easting_m"], row["northing_m"]])
        half = abs(row["offset_m"]) / 2 + 2.5 / plan.mm_per_m
        ends = np.stack([place - half * right, place + half * right])
        halo = [withStroke(linewidth=2.6, foreground="white")]
        axes.plot(*ends.T, color=INK, lw=1.0, path_effects=halo)
        side = "right" if row["offset_m"] > 0 else "left"
        words = f"{number(abs(row['offset_m']))} ± {number(1.645 * row['sd_m'])} m {side}"
        at, upper = _free_end(ends, corners, plan.mm_per_m)
        axes.text(
            float(at[0]), float(at[1]), words, fontsize=SMALL_PT, ha="center",
            va="bottom" if upper else "top",
            path_effects=[withStroke(linewidth=2.0, foreground="white")],
        )  # fmt: skip


def _free_end(ends: Floats, corners: Floats, mm_per_m: float) -> tuple[Floats, bool]:
    """Return where to write beyond a bar: above or below it, where lines are farther away."""
    upper, lower = ends[np.argmax(ends[:, 1])], ends[np.argmin(ends[:, 1])]
    off = np.array([0.0, 1.2 / mm_per_m])
    places = [upper + off, lower - off]
    room = [np.hypot(*(corners - place).T).min(initial=np.inf) for place in places]
    best = int(np.argmax(room))
    return places[best], best == 0


def _write_names(axes: Axes, lineaments: Lineaments, points: LineamentPoints, plan: MapPlan) -> int:
    """Write names where there is room; return how many found none."""
    names = Names(axes, plan.mm_per_m)
    left = 0
    for name, kind, way in _ways(lineaments, points):
        if not len(way):
            continue
        middle = len(way) // 2
        step = way[min(middle + 1, len(way) - 1)] - way[max(middle - 1, 0)]
        across = 45.0 if kind == "spot" else float(np.degrees(np.arctan2(-step[1], step[0])))
        tries = ((place, turn) for place in (middle, middle // 2, 0, -1) for turn in (0.0, 180.0))
        left += not any(
            names.put(name, way[place], across + turn, upright=True, bold=True)
            for place, turn in tries
        )
    return left
