"""Figures of the report, drawn from the records, with captions and alternative text."""

from collections.abc import Sequence

import numpy as np

from lodewalk.figures.anomaly_map import draw_anomaly_map
from lodewalk.figures.base_record import draw_base_record
from lodewalk.figures.line_profile import draw_line_profile
from lodewalk.figures.save import png_bytes
from lodewalk.figures.stacked_profiles import draw_stacked_profiles
from lodewalk.figures.style import number
from lodewalk.handover.content import Day, Job, LineRow, ReportFigure
from lodewalk.handover.tables import used_rows
from lodewalk.records.grid import Grid
from lodewalk.records.products import BaseRecord, Findings, Lines, Readings

DPI = 160.0


def map_figures(
    job: Job,
    *,
    readings: Readings,
    lines: Lines,
    grid: Grid | None,
    declination_deg: float | None,
) -> list[ReportFigure]:
    """Return the anomaly map, where there is a grid, and the stacked profiles."""
    figures = []
    if grid is not None and np.isfinite(grid.values).any():
        figure = draw_anomaly_map(
            grid,
            readings,
            title=f"{grid.title}, {job.name}",
            crs_title=job.crs_title,
            convergence_deg=job.convergence_deg,
            declination_deg=declination_deg,
        )
        caption = (
            f"Cells of {number(grid.spacing_m, 1)} m. The colours run evenly from the 1st to the "
            "99th percentile of the cells; white is ground too far from a reading."
        )
        alt = f"Map of the {grid.title.lower()}. {_grid_words(grid)}"
        figures.append(ReportFigure("map", "Map", caption, alt, png_bytes(figure, dpi=DPI)))
    rows = used_rows(readings)
    if any(name for name, use in zip(readings.strings("line"), rows, strict=True) if use):
        figure = draw_stacked_profiles(readings, lines, crs_title=job.crs_title)
        caption = (
            "The readings themselves, before gridding: an anomaly that shows on one line only is "
            "not a structure yet."
        )
        alt = "Profiles of the anomaly drawn along each line on a map, filled where positive."
        title = "Stacked profiles"
        figures.append(ReportFigure("map", title, caption, alt, png_bytes(figure, dpi=DPI)))
    return figures


def _grid_words(grid: Grid) -> str:
    """Return where the highest and the lowest cell lie, in words."""
    parts = []
    for word, find in (("Highest", np.nanargmax), ("Lowest", np.nanargmin)):
        row, column = np.unravel_index(int(find(grid.values)), grid.values.shape)
        parts.append(
            f"{word} cell {number(grid.values[row, column], 0)} {grid.unit} at easting "
            f"{number(grid.eastings[column])} m, northing {number(grid.northings[row])} m."
        )
    return " ".join(parts)


def base_figures(
    job: Job,
    days: Sequence[Day],
    *,
    base: BaseRecord,
    lines: Lines,
    findings: Findings,
    datum_nT: float | None,
) -> list[ReportFigure]:
    """Return one figure for each day that has base readings."""
    with_base = set(
        base.frame.drop_nulls("raw_nT")["time_utc"].dt.strftime("%Y-%m-%d").unique().to_list()
    )
    figures = []
    for day in days:
        if day.date not in with_base:
            continue
        figure = draw_base_record(
            base, lines, findings, day=day.date, datum_nT=datum_nT, zone=job.zone
        )
        caption = (
            "Above, the field at the base; below, when each line was walked. Yellow is doubtful, "
            "red is lost or left out, hatching is a gap."
        )
        verdict = f", verdict {day.verdict}" if day.verdict else ""
        alt = f"Curve of the base record of {day.date}{verdict}, with the lines walked below it."
        title = f"Base record of {day.date}"
        figures.append(ReportFigure("base", title, caption, alt, png_bytes(figure, dpi=DPI)))
    return figures


def chosen_lines(rows: Sequence[LineRow], *, most: int) -> list[str]:
    """Return the lines to show one by one: those not kept first, then the noisiest."""
    grave = {"re-walk": 0, "doubt": 1}
    ranked = sorted(
        rows, key=lambda row: (grave.get(row.verdict, 2), -(row.noise_nT or 0.0), row.line)
    )
    return list(dict.fromkeys(row.line for row in ranked))[:most]


def line_figures(readings: Readings, names: Sequence[str]) -> list[ReportFigure]:
    """Return the profile of each named line."""
    figures = []
    for name in names:
        figure = draw_line_profile(readings, line=name)
        caption = (
            "Field as recorded, its diurnal correction, and the anomaly with its 90 % band. "
            "Readings that are not used are marked with the reason; those without a base are grey."
        )
        alt = f"Profiles of line {name} along its length in three panels."
        figures.append(
            ReportFigure("line", f"Line {name}", caption, alt, png_bytes(figure, dpi=DPI))
        )
    return figures
