"""Field sheets of a plan: for each day and rover a PDF and a page of HTML with the same words."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import polars as pl
from matplotlib.figure import Figure

from lodewalk.figures.field_sheet import draw_day_map, draw_field_sheet, number_pages
from lodewalk.figures.plan_map import draw_plan_map
from lodewalk.figures.save import png_bytes
from lodewalk.figures.sheet_pages import Block, TextTable, draw_table
from lodewalk.figures.style import number
from lodewalk.handover.plan_words import FieldNotes, sheet_blocks
from lodewalk.handover.report import page_environment
from lodewalk.records.planning import PlannedSurvey, walking_azimuth_deg

#: Resolution of the map inside the HTML page [dots an inch].
_DPI = 120.0
_HEADINGS = (
    "No.", "Line", "Kind", "From", "To", "Start E [m]", "Start N [m]", "End E [m]", "End N [m]",
    "Length [m]", "Grid [°]", "True [°]", "Magn. [°]", "Done",
)  # fmt: skip
_RIGHT = (True, False, False, False, False, *(True,) * 8, False)


@dataclass(frozen=True)
class FieldSheet:
    """What the sheet of one rover on one day says."""

    survey: PlannedSurvey
    day: int
    rover: int
    title: str
    under: str
    table: TextTable
    blocks: tuple[Block, ...]


def field_sheet(survey: PlannedSurvey, notes: FieldNotes, *, day: int, rover: int) -> FieldSheet:
    """Return the words of a field sheet.

    Parameters
    ----------
    survey : PlannedSurvey
        The plan, with the waypoints of its lines.
    notes : FieldNotes
        Tolerances, whom to call, the field at the site.
    day, rover : int
        Which day and which rover, from 1.
    """
    lines = survey.lines_of(day, rover)
    date = survey.date(day)
    party = f", rover {rover}" if len({rover for _, rover in survey.parties}) > 1 else ""
    total = number(float(lines["length_m"].sum()) / 1000, 1)
    under = f"{lines.height} piece{'s' if lines.height != 1 else ''} of lines, {total} km"
    return FieldSheet(
        survey,
        day,
        rover,
        f"Day {day}{f', {date}' if date else ''}{party}: {survey.name}",
        f"Field sheet. {under}. {survey.crs_title}. Bearings are those of walking.",
        TextTable(_HEADINGS, line_rows(survey, lines), _RIGHT),
        sheet_blocks(_with_plan(notes, survey, day, rover)),
    )


def _with_plan(notes: FieldNotes, survey: PlannedSurvey, day: int, rover: int) -> FieldNotes:
    """Return the notes with what the plan's own lines tell of a day and rover."""
    frame = survey.lines.frame
    return replace(
        notes,
        repeat="repeat" in frame["kind"],
        rovers=frame["rover"].n_unique(),
        power_crossings=notes.crossings.get((day, rover), ()),
    )


def bearings_deg(survey: PlannedSurvey, grid_deg: float) -> tuple[float, float, float | None]:
    """Return a bearing from grid, true and magnetic north [deg].

    Examples
    --------
    >>> from lodewalk.records.planning import PlannedLines, PlannedPoints
    >>> plan = PlannedSurvey("A", "EPSG:31982", "", PlannedLines.empty(), PlannedPoints.empty(),
    ...                      convergence_deg=-0.5, declination_deg=-20.0)
    >>> bearings_deg(plan, 0.25)
    (0.25, 359.75, 19.75)
    """
    true = (grid_deg + survey.convergence_deg) % 360
    declination = survey.declination_deg
    return grid_deg % 360, true, None if declination is None else (true - declination) % 360


def line_rows(survey: PlannedSurvey, lines: pl.DataFrame) -> tuple[tuple[str, ...], ...]:
    """Return the rows of the table of lines, in order of walking."""
    names = end_names(survey)
    rows = []
    for order, row in enumerate(lines.iter_rows(named=True), 1):
        ends = ("2", "1") if row["reversed"] else ("1", "2")
        places = [row[f"{axis}_{end}_m"] for end in ends for axis in ("easting", "northing")]
        bearings = bearings_deg(survey, walking_azimuth_deg(row))
        rows.append(
            (
                str(order),
                row["line"],
                row["kind"],
                names.get((row["line"], "start"), ""),
                names.get((row["line"], "end"), ""),
                *(number(place) for place in places),
                number(row["length_m"]),
                *("–" if item is None else f"{round(item) % 360:03d}" for item in bearings),
                "[ ]",
            )
        )
    return tuple(rows)


def end_names(survey: PlannedSurvey) -> dict[tuple[str, str], str]:
    """Return the name of the waypoint at start and end of each piece."""
    ends = survey.points.frame.filter(pl.col("kind").is_in(["start", "end"]))
    rows = ends.select("line", "kind", "name").iter_rows()
    return {(line, kind): name for line, kind, name in rows}


def sheet_map(sheet: FieldSheet) -> Figure:
    """Return the map of a field sheet."""
    return draw_day_map(
        sheet.survey, day=sheet.day, rover=sheet.rover, title=sheet.title, under=sheet.under
    )


def sheet_figures(sheet: FieldSheet, day_map: Figure | None = None) -> list[Figure]:
    """Return the pages of a field sheet for print; its map may have been drawn before."""
    return draw_field_sheet(
        sheet.survey, day=sheet.day, rover=sheet.rover, title=sheet.title, under=sheet.under,
        table=sheet.table, blocks=sheet.blocks, day_map=day_map,
    )  # fmt: skip


def sheet_html(sheet: FieldSheet, day_map: Figure | None = None) -> str:
    """Return a field sheet as one page of HTML that needs nothing else."""
    figure = sheet_map(sheet) if day_map is None else day_map
    template = page_environment().get_template("field_sheet.html.j2")
    return template.render(sheet=sheet, png=png_bytes(figure, dpi=_DPI), draft=sheet.survey.draft)


def plan_figures(survey: PlannedSurvey, plan_map: Figure | None = None) -> Iterator[Figure]:
    """Yield the pages of the whole plan: the map, then its days, rovers and points."""
    title = f"{survey.name}: plan"
    pages = [
        draw_plan_map(survey) if plan_map is None else plan_map,
        *draw_table(day_table(survey), title, "Days and rovers", draft=survey.draft),
        *draw_table(place_table(survey), title, "Base and tests", draft=survey.draft),
    ]
    number_pages(pages)
    yield from pages


def day_table(survey: PlannedSurvey) -> TextTable:
    """Return what is walked on each day by each rover."""
    rows = []
    for day, rover in survey.parties:
        lines = survey.lines_of(day, rover)
        km = number(float(lines["length_m"].sum()) / 1000, 2)
        names = lines.filter(pl.col("kind") != "repeat")["line"].to_list() or [""]
        rows.append(
            (str(day), survey.date(day), str(rover), str(lines.height), km, names[0], names[-1])
        )
    headings = ("Day", "Date", "Rover", "Pieces", "Length [km]", "First line", "Last line")
    return TextTable(headings, tuple(rows), (True, False, True, True, True, False, False))


def place_table(survey: PlannedSurvey) -> TextTable:
    """Return base, check station and turn-around spot with their places."""
    frame = survey.points.frame.filter(~pl.col("kind").is_in(["start", "end", "on line"]))
    rows = tuple(
        (
            row["name"], row["kind"], number(row["easting_m"]), number(row["northing_m"]),
            number(row["latitude_deg"], 6), number(row["longitude_deg"], 6), row["text"],
        )
        for row in frame.iter_rows(named=True)
    )  # fmt: skip
    headings = (
        "Name", "Kind", "Easting [m]", "Northing [m]", "Latitude [°]", "Longitude [°]", "What for",
    )  # fmt: skip
    return TextTable(headings, rows, (False, False, True, True, True, True, False))
