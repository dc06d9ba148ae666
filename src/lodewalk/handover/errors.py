"""How sure the numbers are, in the report: sentences, budget and both figures of errors."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.figures.error_map import draw_error_map
from lodewalk.figures.error_parts import PARTS, draw_error_parts
from lodewalk.figures.style import number
from lodewalk.handover.content import ErrorTerm, Fact, Job, ReportFigure, Undrawn
from lodewalk.handover.pictures import picture
from lodewalk.handover.tables import error_terms, used_rows
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

NINETY = 1.645
#: Of which readings an error is one and the same, in words.
SHARED_BY = {
    "reading": "none: each reading has its own",
    "line": "the readings of a line",
    "day": "the readings of a day",
    "survey": "the whole survey",
}


def budget_terms(readings: Readings, budget: Document | None) -> tuple[ErrorTerm, ...]:
    """Return the terms of the error budget, with share of the variance and what they share."""
    rows = {row["part"]: row for row in budget["parts"]} if budget is not None else {}
    names = {word: rows[part] for part, (word, _) in PARTS.items() if part in rows}
    return tuple(
        replace(
            term,
            share=names[term.name]["share_of_variance"],
            largest=names[term.name]["largest_at_share_of_readings"],
            shared_by=SHARED_BY.get(names[term.name]["shared_by"], names[term.name]["shared_by"]),
        )
        if term.name in names
        else term
        for term in error_terms(readings)
    )


def position_words(budget: Document | None) -> tuple[str, ...]:
    """Return what the crossings say of the size of position errors; nothing without crossings.

    Examples
    --------
    >>> found = {"factor": 0.5, "log_sd": 0.1, "crossings": 40}
    >>> position_words(Document({"position": found}))[0]
    'Position errors are 0.50 of what is stated of them (90 % interval 0.42 to 0.59), by 40 \
crossings; the budget uses that.'
    """
    found = budget.values.get("position") if budget is not None else None
    if not found:
        return ()
    factor, reach = found["factor"], float(np.exp(NINETY * found["log_sd"]))
    return (
        f"Position errors are {number(factor, 2)} of what is stated of them (90 % interval "
        f"{number(factor / reach, 2)} to {number(factor * reach, 2)}), by {found['crossings']} "
        "crossings; the budget uses that.",
    )


def map_error_words(notes: Document | None) -> tuple[str, ...]:
    """Return how the standard error of the map was found, or why there is none.

    Examples
    --------
    >>> map_error_words(Document({"problem": "No reading has an anomaly."}))
    ('There is no map of the standard error. No reading has an anomaly.',)
    """
    if notes is None:
        return ()
    if notes["problem"]:
        return (f"There is no map of the standard error. {notes['problem']}",)
    if not notes["judged"]:
        return (
            "Too little could be left out to hold the standard error of the map against it: it "
            "rests on the covariance of the anomaly alone, and nothing shows that it is right.",
        )
    return (
        f"The standard error of the map was held against {notes['judged']} block means of "
        "readings that were left out of the map in turn: where they are missed by more, it is "
        f"larger. One factor of {number(notes['overall'], 2)} on the variance between readings "
        "then makes nine tenths of the left-out ones lie within 1.645 standard deviations.",
    )


def map_error_facts(error: Grid | None, readings: Readings) -> tuple[Fact, ...]:
    """Return the typical standard error of the map, beside the readings and over all of it."""
    if error is None or not np.isfinite(error.values).any():
        return ()
    beside = error.values[_beside(error, readings)]
    value = f"{number(float(np.nanmedian(error.values)), 1)} nT"
    if np.isfinite(beside).any():
        value = f"{number(float(np.nanmedian(beside)), 1)} nT on lines, {value} overall"
    return (Fact("Standard error of the map", value, "one standard deviation, median cell"),)


def _beside(grid: Grid, readings: Readings) -> NDArray[np.bool_]:
    """Return which cells hold a reading that is used."""
    rows = used_rows(readings)
    found = np.zeros(grid.values.shape, dtype=bool)
    north = (readings.floats("northing_m")[rows] - grid.south_m) / grid.spacing_m
    east = (readings.floats("easting_m")[rows] - grid.west_m) / grid.spacing_m
    known = np.isfinite(north + east)
    row, column = (np.rint(axis[known]).astype(np.int64) for axis in (north, east))
    count = grid.values.shape
    inside = (row >= 0) & (row < count[0]) & (column >= 0) & (column < count[1])
    found[row[inside], column[inside]] = True
    return found


def error_figures(
    job: Job,
    *,
    readings: Readings,
    budget: Document | None,
    grid: Grid | None,
    error: Grid | None,
    height_m: float,
    declination_deg: float | None,
) -> list[ReportFigure | Undrawn]:
    """Return the map of the standard error and the map of the largest part, where they can be."""
    words: dict[str, Any] = {
        "crs_title": job.crs_title,
        "convergence_deg": job.convergence_deg,
        "declination_deg": declination_deg,
    }
    figures = []
    if error is not None:
        draw = partial(
            draw_error_map, error, readings, title=f"Standard error of the anomaly, {job.name}",
            **words,
        )  # fmt: skip
        title, caption = "Standard error of the map", _error_caption(height_m)
        figures.append(picture("errors", title, caption, _error_alt(error), draw))
    if budget is not None and used_rows(readings).any():
        draw = partial(
            draw_error_parts, readings, budget=budget.values, grid=grid,
            title=f"The largest part of the error, {job.name}", **words,
        )  # fmt: skip
        caption = (
            "The lines walked, in the colour of the part that makes most of the error there. Where "
            "it is the position, better fixes would help; where the diurnal, a nearer or faster "
            "base; where the sensor, a quieter one or more readings."
        )
        figures.append(
            picture("errors", "Largest part of the error", caption, _parts_alt(budget), draw)
        )
    return figures


def _error_caption(height_m: float) -> str:
    """Return what the map of the standard error says and what it doesn't."""
    text = (
        "One standard deviation of the anomaly's map; 90 % of true values lie within 1.645 of it, "
        "on the average of such ground. The colours run evenly from the 1st to the 90th percentile "
        "of the cells; contours tell what lies above. The absolute level of the survey is not in "
        "it, nor a body too small to show on any line."
    )
    if height_m:
        text += f" It holds at the height of the sensor, not {number(height_m, 1)} m above it."
    return text


def _error_alt(error: Grid) -> str:
    """Return the map of the standard error in words."""
    known = error.values[np.isfinite(error.values)]
    if not known.size:
        return "Map of the standard error without a value."
    low, middle, high = np.percentile(known, [10, 50, 90])
    row, column = np.unravel_index(int(np.nanargmax(error.values)), error.values.shape)
    return (
        f"Map of the standard error: {number(low, 1)} nT or less on a tenth of the ground, "
        f"{number(middle, 1)} nT in the middle, {number(high, 1)} nT or more on a tenth; greatest "
        f"at easting {number(error.eastings[column])} m, northing {number(error.northings[row])} m."
    )


def _parts_alt(budget: Document) -> str:
    """Return the map of the largest parts in words, the most frequent first."""
    rows: Sequence[Mapping[str, Any]] = [
        row for row in budget["parts"] if row["largest_at_share_of_readings"]
    ]
    ranked = sorted(rows, key=lambda row: -row["largest_at_share_of_readings"])
    told = ", ".join(
        f"{PARTS[row['part']][0].lower()} at {number(100 * row['largest_at_share_of_readings'])} %"
        for row in ranked
    )
    return f"Map of the lines, coloured by the largest part of the error: {told} of the readings."
