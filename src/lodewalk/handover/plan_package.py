"""All files of a plan: for the handheld, for viewers, for tables, for paper."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import polars as pl
from matplotlib.figure import Figure

from lodewalk.figures.plan_map import draw_plan_map
from lodewalk.figures.save import png_bytes, write_pdf
from lodewalk.formats.gpx import write as write_gpx
from lodewalk.handover.device import (
    DeviceFile,
    device_files,
    routes_of,
    stem_of,
    walk_of,
    waypoints_of,
)
from lodewalk.handover.field_sheet import (
    FieldSheet,
    field_sheet,
    plan_figures,
    sheet_figures,
    sheet_html,
    sheet_map,
)
from lodewalk.handover.plan_layers import (
    line_table,
    point_table,
    write_csv,
    write_geopackage,
    write_kml,
)
from lodewalk.handover.plan_words import FieldNotes
from lodewalk.records.planning import PlannedSurvey

#: Resolution of the map as PNG [dots an inch].
_DPI = 200.0
#: Names of the files that a plan may have; others in its folder are somebody else's.
PATTERNS = (
    "plan.gpx", "plan.kml", "plan.gpkg", "plan.pdf", "lines.csv", "waypoints.csv", "map.png",
    "day-*.gpx", "field-sheet-day-*.pdf", "field-sheet-day-*.html",
)  # fmt: skip


@dataclass(frozen=True)
class PlanFile:
    """One file: its name and what writes it to a path."""

    name: str
    write: Callable[[Path], object]


def plan_files(
    survey: PlannedSurvey, notes: FieldNotes, *, most_waypoints: int, most_route_points: int
) -> Iterator[PlanFile]:
    """Yield the files of a plan, each drawn only when it is written.

    Parameters
    ----------
    survey : PlannedSurvey
        The plan; its points have their names for the handheld.
    notes : FieldNotes
        What the field sheets say beside it.
    most_waypoints, most_route_points : int
        What the handheld takes in a file, and in a route.
    """
    every = survey.lines.frame.unique("line", keep="first", maintain_order=True)
    yield PlanFile("plan.gpx", _gpx(survey, survey.points.frame, every))
    for part in device_files(survey, most=most_waypoints):
        yield PlanFile(f"{part.stem}.gpx", _gpx(survey, part.points, part.lines))
    yield from _walks(survey, most_route_points)
    yield PlanFile("plan.kml", lambda path: write_kml(path, survey))
    yield PlanFile("plan.gpkg", lambda path: write_geopackage(path, survey))
    yield PlanFile("lines.csv", lambda path: write_csv(path, line_table(survey)))
    yield PlanFile("waypoints.csv", lambda path: write_csv(path, point_table(survey)))
    yield from _maps(survey)
    yield from _sheets(survey, notes)


def _gpx(
    survey: PlannedSurvey, points: pl.DataFrame, lines: pl.DataFrame
) -> Callable[[Path], None]:
    """Return what writes points and lines as GPX."""
    routes, waypoints = routes_of(survey, lines), waypoints_of(points)
    return partial(write_gpx, routes=routes, waypoints=waypoints)


def _walks(survey: PlannedSurvey, most: int) -> Iterator[PlanFile]:
    """Yield the whole walk of each party, as routes that the device takes."""
    for day, rover in survey.parties:
        stem = stem_of(survey, day, rover)
        walk = walk_of(
            survey, survey.lines_of(day, rover), stem=stem.upper().replace("ROVER-", "R"), most=most
        )
        yield PlanFile(f"{stem}-walk.gpx", partial(write_gpx, routes=walk))


def _sheets(survey: PlannedSurvey, notes: FieldNotes) -> Iterator[PlanFile]:
    """Yield the field sheet of each party as PDF and as HTML."""
    for day, rover in survey.parties:
        sheet = field_sheet(survey, notes, day=day, rover=rover)
        stem = f"field-sheet-{stem_of(survey, day, rover)}"
        # The map is drawn once, for the page without a page number first.
        drawn = cache(partial(sheet_map, sheet))
        yield PlanFile(f"{stem}.html", partial(_write_sheet_html, sheet=sheet, drawn=drawn))
        yield PlanFile(f"{stem}.pdf", partial(_write_sheet_pdf, sheet=sheet, drawn=drawn))


def _maps(survey: PlannedSurvey) -> Iterator[PlanFile]:
    """Yield the map of the whole plan as PNG, and as PDF with its tables."""
    drawn = cache(partial(draw_plan_map, survey))
    yield PlanFile("map.png", lambda path: path.write_bytes(png_bytes(drawn(), dpi=_DPI)))
    yield PlanFile("plan.pdf", lambda path: write_pdf(path, plan_figures(survey, drawn())))


def _write_sheet_pdf(path: Path, *, sheet: FieldSheet, drawn: Callable[[], Figure]) -> None:
    """Write a field sheet as PDF."""
    write_pdf(path, sheet_figures(sheet, drawn()))


def _write_sheet_html(path: Path, *, sheet: FieldSheet, drawn: Callable[[], Figure]) -> None:
    """Write a field sheet as HTML."""
    path.write_text(sheet_html(sheet, drawn()), encoding="utf-8", newline="\n")


def device_words(
    files: list[DeviceFile], renamed: dict[str, str], *, every: int, most_waypoints: int
) -> list[str]:
    """Say what was split or shortened for the handheld.

    Parameters
    ----------
    files : list of DeviceFile
        The files by day.
    renamed : dict
        Name on the device by full name.
    every : int
        Waypoints of the whole plan.
    most_waypoints : int
        What the handheld takes in a file.
    """
    words = []
    parts = {(file.day, file.rover): file.parts for file in files if file.parts > 1}
    for (day, _), count in parts.items():
        words.append(
            f"Day {day} has more waypoints than the {most_waypoints} that the handheld takes: "
            f"{count} files, to be loaded one after the other."
        )
    if every > most_waypoints:
        words.append(
            f"plan.gpx holds all {every} waypoints, more than the handheld takes: it is for "
            "viewers; load the files of the days."
        )
    if renamed:
        old, new = next(iter(renamed.items()))
        words.append(
            f"Names shortened or made different for the handheld: {len(renamed)}, such as {new} "
            f"for {old}; waypoints.csv lists all as they are on the device."
        )
    return words
