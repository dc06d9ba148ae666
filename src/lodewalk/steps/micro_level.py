"""Micro-levelling: small stripes along lines that levelling left, up to a limit; off by default."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.lines import line_spacing
from lodewalk.methods.corrections.micro_levelling import (
    MicroLevelling,
    Removed,
    line_axes,
    micro_level,
    removed,
)
from lodewalk.records import Document, Record
from lodewalk.records.products import MicroLevel
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.corrected import anomaly_before
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import passage_of_readings, table

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
KIND = "micro-levelling"
#: Shortest wave along a line that is taken off, in line spacings (common practice).
WAVE_IN_SPACINGS = 5.0
#: Fewer lines than this have no neighbours on both sides.
LEAST_LINES = 3


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the correction of each reading with its error, and what it took off."""
    del context
    own = settings["micro_level"]
    found = FindingList("micro_level")
    level = np.zeros(len(table(inputs, "rover_lines")))
    notes = {
        "applied": False,
        "limit_nT": own["limit_nT"],
        "min_wavelength_m": own["min_wavelength_m"],
        "width_lines": own["width_lines"],
    } | _figures(Removed(0, 0.0, 0.0, 0.0, 0.0, 0.0))
    if own["apply"]:
        passage = _kept_passages(inputs)
        between = _spacing(inputs, passage)
        if np.isfinite(between):
            wave = own["min_wavelength_m"] or WAVE_IN_SPACINGS * between
            result = _levelled(inputs, passage, own, wave)
            figures = removed(passage, result, limit_nT=own["limit_nT"])
            level = np.nan_to_num(result.level_nT)
            notes |= {"applied": True, "min_wavelength_m": round(wave, 3)} | _figures(figures)
        found.add(KIND, _words(notes))
    # What was taken off may have been geology, all of it: then it is the error, all of it.
    columns = {
        "micro_level_nT": float_column(level),
        "sd_micro_level_nT": float_column(np.abs(level)),
    }
    return {
        "rover_micro_level": MicroLevel(pl.DataFrame(columns)),
        "micro_level": Document(notes),
        "micro_level_findings": found.table(),
    }


def _kept_passages(inputs: Mapping[str, Record]) -> Numbers:
    """Return the passage of each kept reading; -1 off lines and on tie lines."""
    passage = passage_of_readings(inputs)
    tie = np.append(table(inputs, "lines").booleans("tie"), True)  # the last one is for -1
    kept = table(inputs, "rover_checks").booleans("kept")
    return np.where(kept & ~tie[passage], passage, -1)


def _spacing(inputs: Mapping[str, Record], passage: Numbers) -> float:
    """Return the line spacing [m]; NaN where lines have no neighbours on both sides."""
    if np.unique(passage[passage >= 0]).size < LEAST_LINES:
        return float("nan")
    positions = table(inputs, "rover_positions")
    return line_spacing(positions.floats("easting_m"), positions.floats("northing_m"), passage)


def _levelled(
    inputs: Mapping[str, Record], passage: Numbers, own: Mapping[str, Any], wave_m: float
) -> MicroLevelling:
    """Return the correction of each reading."""
    lines, positions = table(inputs, "lines"), table(inputs, "rover_positions")
    used = np.unique(passage[passage >= 0])
    along, across = line_axes(
        positions.floats("easting_m"),
        positions.floats("northing_m"),
        azimuth_deg=lines.floats("azimuth_deg")[used],
        length_m=lines.floats("length_m")[used],
    )
    return micro_level(
        passage,
        along,
        across,
        anomaly_before(inputs, "micro_level"),
        limit_nT=own["limit_nT"],
        min_wavelength_m=wave_m,
        width_lines=own["width_lines"],
    )


def _figures(figures: Removed) -> dict[str, Any]:
    """Return what was taken off, for print."""
    return {
        "readings": figures.readings,
        "rms_removed_nT": round(figures.rms_nT, 4),
        "most_removed_nT": round(figures.most_nT, 4),
        "constant_share": round(figures.constant_share, 4),
        "at_limit_share": round(figures.limit_share, 4),
        "guarded_share": round(figures.guarded_share, 4),
    }


def _words(notes: Mapping[str, Any]) -> str:
    """Return what was taken off and what that may have cost, in words."""
    if not notes["applied"]:
        return (
            "Micro-levelling took nothing off: no three lines lie beside each other, so no line "
            "has neighbours to be compared with."
        )
    return (
        f"Micro-levelling took off up to {notes['most_removed_nT']:.2f} nT (rms "
        f"{notes['rms_removed_nT']:.2f} nT, limit {notes['limit_nT']:g} nT), "
        f"{notes['constant_share']:.0%} of its power as one constant a line; "
        f"{notes['at_limit_share']:.0%} of the readings were at the limit, "
        f"{notes['guarded_share']:.0%} held back by the guard. A narrow body along the lines looks "
        "the same and may have lost as much: what was taken off is in the error of levelling."
    )
