"""Level: what each passage of a line is off by, from the crossings, and what stays open."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.levelling import Levelling
from lodewalk.methods.corrections.levelling_choice import PriorChoice, choose_prior
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies
from lodewalk.records import Document, Record
from lodewalk.records.products import Level
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.crossing_ties import Crossed, crossing_ties, hours_of
from lodewalk.steps.findings import FindingList, amount
from lodewalk.steps.rows import passage_of_readings, table

Floats = NDArray[np.float64]
#: Lines that are told one by one.
MANY = 8


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the levelling correction of each reading with its error, and how it was found."""
    del context
    own = settings["level"]
    found = FindingList("level")
    count = len(table(inputs, "rover_checks"))
    level, sd = np.zeros(count), np.zeros(count)
    notes: dict[str, Any] = {"crossings": 0, "factor": None, "crossed": None, "lines": []}
    passage = passage_of_readings(inputs)
    crossed = crossing_ties(inputs, passage, taken_off=("diurnal", "instrument", "heading"))
    ties = crossed.ties
    if own["apply"] and len(ties):
        choice = choose_prior(
            passage, hours_of(inputs), ties,
            prior=LevelPrior(own["constant_nT"], own["drift_nT_h"]),
        )  # fmt: skip
        level = np.nan_to_num(choice.levelling.level_nT)
        sd = np.nan_to_num(choice.levelling.sd_nT)
        notes = _notes(inputs, ties, choice) | {"crossed": _foretold(choice, crossed)}
        _tell(found, notes)
    elif (passage >= 0).any():
        found.add("level", _open_words(own["apply"]), severity="doubt")
    columns = {"level_nT": float_column(level), "sd_level_nT": float_column(sd)}
    return {
        "rover_level": Level(pl.DataFrame(columns)),
        "level": Document(notes),
        "level_findings": found.table(),
    }


def _foretold(choice: PriorChoice, crossed: Crossed) -> dict[str, list[Any]]:
    """Return how far each crossing is from what all the others say of it.

    The standard deviation is that of all but the positions, whose errors may be stated wrongly.
    """
    found = choice.levelling
    off = found.standardised * found.foretold_sd_nT
    # As stated: the scale that levelling found would take what position errors are larger by.
    stated = found.foretold_sd_nT / found.scale
    known = np.flatnonzero(np.isfinite(off + stated))
    bare = crossed.ties.sd_nT**2 - crossed.by_position_nT**2
    other = np.sqrt(np.maximum(stated**2 - crossed.by_position_nT**2, bare))[known]
    return {
        "passages": crossed.number[known].tolist(),
        "seconds": np.round(crossed.seconds[known], 3).tolist(),
        "off_nT": np.round(off[known], 4).tolist(),
        "other_sd_nT": np.maximum(np.round(other, 4), 1e-4).tolist(),
    }


def _notes(inputs: Mapping[str, Record], ties: LineTies, choice: PriorChoice) -> dict[str, Any]:
    """Return how the lines were levelled, for print."""
    found = choice.levelling
    names = table(inputs, "lines").strings("line")
    return {
        "crossings": int(found.weight.size),
        "left_out": int(np.sum(found.weight < 0.5)),
        "factor": choice.factor,
        "scale": round(found.scale, 3),
        "misfit_before_nT": _usual(ties.difference_nT),
        "misfit_after_nT": _usual(found.residual_nT),
        "groups": found.groups,
        "common": found.common,
        "lines": [
            {
                "line": names[number],
                "level_nT": round(float(found.coefficient[place, 0]), 3),
                "sd_nT": round(float(np.sqrt(_variance(found, place))), 3),
                "open_sd_nT": round(float(found.open_sd_nT[place]), 3),
                "crossings": int(found.crossings[place]),
            }
            for place, number in enumerate(found.passages.number)
        ],
    }


def _variance(found: Levelling, place: int) -> float:
    """Return the variance of the constant of a passage [nT2]."""
    at = place * len(found.orders)
    return float(found.covariance[at, at])


def _usual(difference_nT: Floats) -> float:
    """Return the usual size of a misfit [nT]."""
    return round(float(np.median(np.abs(difference_nT))), 3)


def _tell(found: FindingList, notes: Mapping[str, Any]) -> None:
    """Tell how well lines agree where they cross, before and after, and what stays open."""
    open_lines = [row for row in notes["lines"] if not row["crossings"]]
    groups = notes["groups"]
    more = f"; {groups} groups of lines share no crossing" if groups > 1 else ""
    if open_lines:
        names = ", ".join(row["line"] for row in open_lines[:MANY])
        rest = "" if len(open_lines) <= MANY else f" and {len(open_lines) - MANY} more"
        more += f"; without any: {names}{rest}, whose level is open"
    found.add(
        "level",
        f"Misfit of {amount(notes['crossings'], 'crossing')}: usually "
        f"{notes['misfit_before_nT']:.2f} nT, {notes['misfit_after_nT']:.2f} nT after levelling, "
        f"{notes['left_out']} of them left out as outliers{more}.",
    )


def _open_words(apply: bool) -> str:
    """Return why no line was levelled."""
    if not apply:
        return (
            "Levelling is turned off: what lines are off by is in no correction, and in no error, "
            "which is too small by it."
        )
    return (
        "No two lines cross where both have a diurnal correction, so what a line is off by can't "
        "be told from geology along it; it is in no correction, and in no error, which is too "
        "small by it."
    )
