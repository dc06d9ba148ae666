"""The map of the whole plan: area, exclusions, lines by day, ties, base and tests."""

from collections import Counter
from typing import Any, Final

import numpy as np
import polars as pl
from matplotlib.figure import Figure
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.plan_frame import begin_page, finish_page, paint_ground, with_near
from lodewalk.figures.plan_marks import Names, name_points, paint_points
from lodewalk.figures.style import styled
from lodewalk.records.planning import PlannedSurvey, walked

Floats = NDArray[np.float64]
#: Seven colours that the colour-blind tell apart (Okabe and Ito 2008); dashes come with the eighth.
DAY_COLOURS: Final = (
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000",
)  # fmt: skip
REPEAT: Final = "0.6"
DASHES: Final[tuple[Any, ...]] = ("-", (0, (5, 1.5)), (0, (2, 1)), (0, (6, 1, 1, 1)))
WIDTHS: Final = {"line": 1.0, "tie": 1.8}


def day_look(day: int) -> tuple[str, Any]:
    """Return colour and dashes of the lines of a day, from 1."""
    index = day - 1
    return DAY_COLOURS[index % 7], DASHES[(index // 7) % 4]


def corners(lines: pl.DataFrame) -> Floats:
    """Return both ends of all pieces, shape (2 n, 2) [m]."""
    first = lines.select("easting_1_m", "northing_1_m").to_numpy()
    second = lines.select("easting_2_m", "northing_2_m").to_numpy()
    return np.vstack((first, second)).astype(float)


@styled
def draw_plan_map(survey: PlannedSurvey) -> Figure:
    """Draw the whole plan on an A4 page at a round scale.

    Parameters
    ----------
    survey : PlannedSurvey
        At least one line.

    Returns
    -------
    Figure
        A4, upright or across, whichever shows more.

    Raises
    ------
    InputError
        When there is no line.
    """
    if not len(survey.lines):
        raise InputError("A plan without lines can't be drawn.")
    common = survey.points.frame.filter(pl.col("day") == 0, pl.col("line").is_null())
    core = corners(survey.lines.frame)
    core = np.vstack((core, *(item.rings[0] for item in survey.outlines if item.role == "area")))
    places, near = with_near(core, common.select("easting_m", "northing_m").to_numpy())
    page = begin_page(places, f"{survey.name}: plan", _under(survey), draft=survey.draft)
    paint_ground(page.axes, survey.outlines)
    names = Names(page.axes, page.mm_per_m)
    on_map = list(common.filter(pl.Series(near)).iter_rows(named=True))
    paint_points(page.axes, on_map)
    names.keep_off(np.array([row["easting_m"], row["northing_m"]]) for row in on_map)
    _paint_lines(page.axes, survey)
    named, unnamed = _name_days(names, survey)
    lost = name_points(names, on_map)
    _name_lines(names, survey, named)
    far = [row["name"] for row in common.filter(pl.Series(~near)).iter_rows(named=True)]
    return finish_page(page, survey, _legend(survey, far, unnamed, lost))


def _under(survey: PlannedSurvey) -> str:
    """Return the line below the title."""
    total = float(survey.lines.frame["length_m"].sum()) / 1000
    dates = [date for date in (survey.dates[:1] + survey.dates[-1:]) if date]
    when = f", {' to '.join(dict.fromkeys(dates))}" if dates else ""
    days = len(survey.days)
    return (
        f"{len(survey.lines)} pieces of lines, {total:.1f} km, "
        f"{days} day{'s' if days != 1 else ''}{when}"
    )


def _paint_lines(axes: Any, survey: PlannedSurvey) -> None:
    """Draw the pieces in the look of their day, and the repeated line in grey below."""
    for row in survey.lines.frame.iter_rows(named=True):
        east_1, north_1, east_2, north_2 = walked(row)
        place = [east_1, east_2], [north_1, north_2]
        if row["kind"] == "repeat":
            axes.plot(*place, color=REPEAT, lw=3.0, solid_capstyle="butt", zorder=4)
            continue
        colour, dashes = day_look(row["day"])
        width = WIDTHS.get(row["kind"], 1.0)
        axes.plot(*place, color=colour, ls=dashes, lw=width, solid_capstyle="butt", zorder=5)


def _name_days(names: Names, survey: PlannedSurvey) -> tuple[set[str], list[int]]:
    """Write each day's number and one of its lines; return those lines and the days left out."""
    rows = list(survey.lines.frame.filter(pl.col("kind") != "repeat").iter_rows(named=True))
    pieces = Counter((row["kind"], row["number"]) for row in rows)
    named, left_out = set(), []
    for day in survey.days:
        own = [row for row in rows if row["day"] == day]
        own.sort(key=lambda row: pieces[row["kind"], row["number"]])
        colour = day_look(day)[0]
        done = (
            r["line"]
            for r in own
            if names.put_anyhow(f"day {day}: {r['line']}", _ends(r), bold=True, colour=colour)
        )
        line = next(done, None)
        if line is None:
            left_out.append(day)
        else:
            named.add(line)
    return named, left_out


def _ends(row: dict[str, Any]) -> list[tuple[Floats, float]]:
    """Return both ends of a piece with the azimuth away from it, its second end first."""
    first = np.array([row["easting_1_m"], row["northing_1_m"]])
    second = np.array([row["easting_2_m"], row["northing_2_m"]])
    return [(second, row["azimuth_deg"]), (first, row["azimuth_deg"] + 180.0)]


def _name_lines(names: Names, survey: PlannedSurvey, named: set[str]) -> None:
    """Write the names of the other lines where there is room."""
    for row in survey.lines.frame.filter(pl.col("kind") != "repeat").iter_rows(named=True):
        if row["line"] not in named:
            place, toward = _ends(row)[0]
            names.put(row["line"], place, toward)


def _legend(
    survey: PlannedSurvey, far: list[str], unnamed: list[int], lost: list[str]
) -> list[str]:
    """Return what the marks mean."""
    texts = [
        survey.crs_title,
        "Each day has a colour; one of its lines bears its number. Thin: lines; thicker: tie "
        "lines; grey: the line repeated each day.",
        "▲ base  △ other base  ◇ check station  □ turn-around spot. Brown, hatched: exclusions; "
        "dashed: what is kept clear around them.",
    ]
    if far:
        texts.append(f"Off this map: {', '.join(far)}.")
    if unnamed or lost:
        words = [*(f"day {day}" for day in unnamed), *lost]
        texts.append(f"No room on the map for the names of {', '.join(words)}.")
    return texts
