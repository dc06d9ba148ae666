"""Figures of the report, drawn from the records, with captions and alternative text."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from lodewalk.errors import InputError
from lodewalk.figures.anomaly_map import draw_anomaly_map
from lodewalk.figures.day import draw_day
from lodewalk.figures.line_profile import draw_line_profile
from lodewalk.figures.save import png_bytes
from lodewalk.figures.stacked_profiles import draw_stacked_profiles
from lodewalk.figures.style import number
from lodewalk.figures.target_map import draw_target_map
from lodewalk.handover.content import Day, Job, LineRow, ReportFigure, Undrawn
from lodewalk.handover.tables import used_rows
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.records.products import BaseRecord, Findings, Lines, Minutes, Readings

DPI = 160.0


def map_figures(
    job: Job,
    *,
    readings: Readings,
    lines: Lines,
    grid: Grid | None,
    notes: Mapping[str, Any],
    declination_deg: float | None,
) -> list[ReportFigure | Undrawn]:
    """Return the anomaly map, where there is a grid, and the stacked profiles."""
    figures = []
    if grid is not None and np.isfinite(grid.values).any():
        caption = (
            f"Cells of {number(grid.spacing_m, 1)} m. The colours run evenly from the 1st to the "
            "99th percentile of the cells; white is ground too far from a reading."
        ) + _how_gridded(notes)
        alt = f"Map of the {grid.title.lower()}. {_grid_words(grid)}"
        draw = partial(
            draw_anomaly_map,
            grid,
            readings,
            title=f"{grid.title}, {job.name}",
            crs_title=job.crs_title,
            convergence_deg=job.convergence_deg,
            declination_deg=declination_deg,
        )
        figures.append(picture("map", "Map", caption, alt, draw))
    rows = used_rows(readings)
    if any(name for name, use in zip(readings.strings("line"), rows, strict=True) if use):
        caption = (
            "The readings themselves, before gridding: an anomaly that shows on one line only is "
            "not a structure yet."
        )
        alt = "Profiles of the anomaly drawn along each line on a map, filled where positive."
        draw = partial(draw_stacked_profiles, readings, lines, crs_title=job.crs_title)
        figures.append(picture("map", "Stacked profiles", caption, alt, draw))
    return figures


def _how_gridded(notes: Mapping[str, Any]) -> str:
    """Return how the grid was made, in words."""
    surface = notes.get("surface")
    if surface and surface.get("layer"):
        return _layer_words(surface["layer"], notes["height_m"])
    if not surface:
        return f" Gridded by the engine {notes['method']}." if notes.get("method") else ""
    text = (
        f" Minimum curvature with tension {number(surface['tension'], 2)} and damping "
        f"{surface['damping_m2']:.3g} m²"
    )
    if surface["left_out_rms_nT"] is None:
        return f"{text}; no line could be left out to choose them."
    rms = number(surface["left_out_rms_nT"], 1)
    return (
        f"{text}; each line left out in turn is predicted to {rms} nT (root mean square), across a "
        f"gap twice as wide as that between lines.{_strike_words(surface)}"
    )


def _strike_words(surface: Mapping[str, Any]) -> str:
    """Return whether values are carried along the strike, and what left-out lines said of it."""
    tried = [
        trial["rms_nT"]
        for trial in surface.get("strike_trials") or ()
        if trial["strength"] > 0 and trial["left_out"] == "lines"
    ]
    if not tried:
        return ""
    plain = number(surface["left_out_plain_rms_nT"], 1)
    if surface["strength"] > 0:
        return (
            " Values are carried along the strike between lines where neighbouring lines agree: "
            f"left-out lines are then predicted to {number(surface['left_out_rms_nT'], 1)} instead "
            f"of {plain} nT."
        )
    return (
        " Nothing is carried along the strike between lines: left-out lines are not surely better "
        f"predicted with it, to {number(min(tried), 1)} instead of {plain} nT at best."
    )


def _layer_words(layer: Mapping[str, Any], height_m: float) -> str:
    """Return how a layer of equivalent sources was chosen, in words."""
    up = f", {number(height_m, 1)} m above the sensor" if height_m else ""
    deeper = " and two and four times as deep" if layer["layers"] > 1 else ""
    text = (
        f" Equivalent sources {number(layer['depth_m'], 1)} m{deeper} below the sensor, damping "
        f"{layer['damping']:.1g}{up}"
    )
    rms = layer.get("left_out_ties_rms_nT") if layer.get("by_ties") else None
    what = "the tie lines, all left out, are"
    if rms is None:
        rms, what = layer.get("left_out_lines_rms_nT"), "lines left out in turn are"
    if rms is None:
        return f"{text}; no line could be left out to choose them."
    return f"{text}; {what} predicted to {number(rms, 1)} nT (root mean square)."


def target_figures(
    job: Job,
    *,
    readings: Readings,
    grid: Grid | None,
    target: Mapping[str, Any],
    declination_deg: float | None,
) -> list[ReportFigure | Undrawn]:
    """Return the map of what could still hide, where there is one."""
    if grid is None or not target:
        return []
    caption = (
        "Radius of the smallest sphere that these readings, with their noise, would show. White "
        "is outside the ground surveyed. Settings of the section targets choose depth, contrast "
        "and size."
    )
    share = target["found_share"] or 0.0
    alt = (
        f"Map of the smallest target found; one of radius {target['radius_m']:g} m is found on "
        f"{share:.0%} of the ground."
    )
    draw = partial(
        draw_target_map,
        grid,
        readings,
        target=target,
        title=f"What could still hide, {job.name}",
        crs_title=job.crs_title,
        convergence_deg=job.convergence_deg,
        declination_deg=declination_deg,
    )
    return [picture("targets", "What could still hide", caption, alt, draw)]


def picture(
    section: str, title: str, caption: str, alt: str, draw: Callable[[], Figure]
) -> ReportFigure | Undrawn:
    """Return a figure with its words, or why there is nothing to draw."""
    try:
        figure = draw()
    except InputError as error:
        return Undrawn(section, title[:1].lower() + title[1:], error.rule)
    return ReportFigure(section, title, caption, alt, png_bytes(figure, dpi=DPI))


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
    minutes: Minutes | None,
    check: Document | None,
    datum_nT: float | None,
) -> list[ReportFigure | Undrawn]:
    """Return the page of each field day."""
    figures = []
    for day in days:
        draw = partial(
            draw_day,
            base,
            lines,
            findings,
            minutes=minutes,
            check=check,
            day=day.date,
            datum_nT=datum_nT,
            zone=_zone_of(job, check, day.date),
        )
        caption = (
            "From above: activity, the field at the base, the predicted error of its correction "
            "with the verdict of each minute, when each line was walked, and what was found. "
            "What isn't known is left out."
        )
        verdict = f", verdict {day.verdict}" if day.verdict else ""
        alt = f"The field day {day.date}{verdict}: base record, lines walked and findings by hour."
        figures.append(picture("base", f"Day page of {day.date}", caption, alt, draw))
    return figures


def _zone_of(job: Job, check: Document | None, date: str) -> str:
    """Return the zone of a field day: the survey's, or the one that the check chose."""
    days = (check.values.get("days") or []) if check is not None else []
    told = next((str(day["zone"]) for day in days if day["date"] == date and day.get("zone")), "")
    return (told or "UTC") if job.zone in ("", "UTC", "GPS") else job.zone


def chosen_lines(rows: Sequence[LineRow], *, most: int) -> list[str]:
    """Return the lines to show one by one: those not kept first, then the noisiest."""
    grave = {"re-walk": 0, "doubt": 1}
    ranked = sorted(
        rows, key=lambda row: (grave.get(row.verdict, 2), -(row.noise_nT or 0.0), row.line)
    )
    return list(dict.fromkeys(row.line for row in ranked))[:most]


def line_figures(readings: Readings, names: Sequence[str]) -> list[ReportFigure | Undrawn]:
    """Return the profile of each named line."""
    caption = (
        "Field as recorded, its diurnal correction, and the anomaly with its 90 % band. "
        "Readings that are not used are marked with the reason; those without a base are grey."
    )
    figures = []
    for name in names:
        alt = f"Profiles of line {name} along its length in three panels."
        draw = partial(draw_line_profile, readings, line=name)
        figures.append(picture("line", f"Profile of line {name}", caption, alt, draw))
    return figures
