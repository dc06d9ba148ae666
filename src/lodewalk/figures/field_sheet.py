"""The field sheet of a day: map, table of lines, checklists, tests and cautions, on A4."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from lodewalk.errors import InputError
from lodewalk.figures.plan_frame import begin_page, finish_page, paint_ground, with_near
from lodewalk.figures.plan_map import corners
from lodewalk.figures.plan_marks import Names, name_points, paint_arrow, paint_points
from lodewalk.figures.sheet_pages import Block, TextTable, draw_blocks, draw_table
from lodewalk.figures.style import CURVE, INK, number, styled, text_mm
from lodewalk.records.planning import PlannedSurvey, walked

_LOOK: Final[Mapping[str, tuple[str, float, Any]]] = {
    "line": (CURVE, 1.1, "-"),
    "tie": ("#9b1c1c", 1.1, (0, (6, 2))),
    "repeat": (INK, 2.2, "-"),
}
_WALK: Final = "0.45"


@styled
def draw_day_map(survey: PlannedSurvey, *, day: int, rover: int, title: str, under: str) -> Figure:
    """Draw what one rover walks on one day, on an A4 page at a round scale.

    Parameters
    ----------
    survey : PlannedSurvey
        The plan, with the waypoints of its lines.
    day, rover : int
        Which day and which rover, from 1.
    title, under : str
        Title and the smaller line below it.

    Raises
    ------
    InputError
        When nothing is walked on that day.
    """
    lines = survey.lines_of(day, rover)
    if not lines.height:
        raise InputError("Nothing is walked on that day by that rover.", value=f"{day}, {rover}")
    points = survey.points_of(day, rover)
    spots = points.filter(~pl.col("kind").is_in(["start", "end", "on line"]))
    places, near = with_near(
        corners(lines), spots.select("easting_m", "northing_m").to_numpy().astype(float)
    )
    page = begin_page(places, title, under, draft=survey.draft)
    paint_ground(page.axes, survey.outlines)
    rows = list(lines.iter_rows(named=True))
    _paint_lines(page.axes, survey, rows, day, rover, page.mm_per_m)
    on_map = list(spots.filter(pl.Series(near)).iter_rows(named=True))
    own = points.filter(pl.col("line").is_in(lines["line"].implode()))
    paint_points(page.axes, [*own.iter_rows(named=True), *on_map])
    names = Names(page.axes, page.mm_per_m)
    names.keep_off(np.array([row["easting_m"], row["northing_m"]]) for row in on_map)
    left_out = name_points(names, on_map) + _name_lines(names, rows)
    far = list(spots.filter(pl.Series(~near)).iter_rows(named=True))
    middle = places.mean(axis=0)
    return finish_page(page, survey, _legend(survey, left_out, far, middle))


def _paint_lines(
    axes: Axes,
    survey: PlannedSurvey,
    rows: Sequence[Mapping[str, Any]],
    day: int,
    rover: int,
    mm_per_m: float,
) -> None:
    """Draw the day's pieces with arrows, the ways between them, and all other pieces in grey."""
    others = survey.lines.frame.filter((pl.col("day") != day) | (pl.col("rover") != rover))
    rest = others.filter(pl.col("kind") != "repeat").iter_rows(named=True)
    grey = [np.reshape(walked(row), (2, 2)) for row in rest]
    axes.add_collection(LineCollection(grey, colors="0.78", linewidths=0.5, zorder=3))
    before = None
    for piece in rows:
        row = dict(piece)
        colour, width, dashes = _LOOK.get(row["kind"], _LOOK["line"])
        east_1, north_1, east_2, north_2 = walked(row)
        axes.plot(
            [east_1, east_2], [north_1, north_2], color=colour, lw=width, ls=dashes, zorder=5,
            solid_capstyle="butt",
        )  # fmt: skip
        paint_arrow(axes, row, mm_per_m, colour)
        if before is not None:
            way = [before[0], east_1], [before[1], north_1]
            axes.plot(*way, color=_WALK, lw=0.6, ls=":", zorder=4)
        before = east_2, north_2


def _name_lines(names: Names, rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Write order and name at the start of each piece, else at its end; return those left out."""
    left_out, orders = [], dict[str, list[str]]()
    for order, row in enumerate(rows, 1):
        orders.setdefault(row["line"], []).append(str(order))
    for row in rows:
        if row["line"] not in orders:
            continue  # walked twice, named where it was walked first
        east_1, north_1, east_2, north_2 = walked(row)
        azimuth = row["azimuth_deg"] + (180.0 if row["reversed"] else 0.0)
        text = f"{' and '.join(orders.pop(row['line']))}: {row['line']}"
        ends = (np.array([east_1, north_1]), azimuth + 180), (np.array([east_2, north_2]), azimuth)
        if not names.put_anyhow(text, ends):
            left_out.append(text)
    return left_out


def _legend(
    survey: PlannedSurvey,
    left_out: Sequence[str],
    far: Sequence[Mapping[str, Any]],
    middle: np.ndarray[Any, np.dtype[np.float64]],
) -> list[str]:
    """Return what the marks mean."""
    texts = [
        survey.crs_title,
        "Number: order of walking; it stands at the start of the line where there is room. "
        "Dashed: tie lines; heavy: the line repeated each day; dotted: way between lines; "
        "grey: other days.",
        "▲ base  △ other base  ◇ check station  □ turn-around spot  ○ start  • end  + waypoint. "
        "Brown, hatched: exclusions; dashed: kept clear.",
    ]
    texts += [_direction(row, middle) for row in far]
    if left_out:
        texts.append(f"No room for the names of {len(left_out)}; the table has them.")
    return texts


def _direction(row: Mapping[str, Any], middle: np.ndarray[Any, np.dtype[np.float64]]) -> str:
    """Say where a point lies that is off the map."""
    east, north = row["easting_m"] - middle[0], row["northing_m"] - middle[1]
    azimuth = np.degrees(np.arctan2(east, north)) % 360
    away = number(float(np.hypot(east, north)) / 1000, 1)
    way = f"{round(float(azimuth)) % 360:03d}° from grid north"
    return f"{row['name']}: off the map, {away} km from its middle at {way}."


@styled
def draw_field_sheet(
    survey: PlannedSurvey,
    *,
    day: int,
    rover: int,
    title: str,
    under: str,
    table: TextTable,
    blocks: Sequence[Block],
    day_map: Figure | None = None,
) -> list[Figure]:
    """Draw the pages of the field sheet of one rover on one day.

    Parameters
    ----------
    survey : PlannedSurvey
        The plan, with the waypoints of its lines.
    day, rover : int
        Which day and which rover, from 1.
    title, under : str
        Title of each page and the smaller line below it.
    table : TextTable
        The lines in order of walking.
    blocks : sequence of Block
        Checklists, tests, whom to call, cautions.
    day_map : Figure, optional
        The map of `draw_day_map` where it has been drawn before; a page number is added to it.

    Returns
    -------
    list of Figure
        A4 pages: the map, the table, the rest; each with its number.
    """
    if day_map is None:
        day_map = draw_day_map(survey, day=day, rover=rover, title=title, under=under)
    pages = [
        day_map,
        *draw_table(table, title, under, draft=survey.draft),
        *draw_blocks(blocks, title, under, draft=survey.draft),
    ]
    number_pages(pages)
    return pages


def number_pages(pages: Sequence[Figure]) -> None:
    """Write on each page which of how many it is."""
    for index, page in enumerate(pages, 1):
        width = page.get_figwidth() * 25.4
        text_mm(page, width - 12, 6.5, f"Page {index} of {len(pages)}", ha="right")
