"""Level: what each passage of a line is off by, from the crossings, and what stays open."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.levelling import Levelling
from lodewalk.methods.corrections.levelling_choice import PriorChoice, choose_prior
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies, crossing_sd
from lodewalk.records import Document, Record
from lodewalk.records.products import Level
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList, amount
from lodewalk.steps.rows import document, table

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
SIDES = ("first", "second")
HOUR_S = 3600.0
#: Noise of a reading where none was measured [nT]; common practice.
LEAST_NOISE_NT = 0.05
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
    notes: dict[str, Any] = {"crossings": 0, "factor": None, "lines": []}
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    ties = _same_rover(inputs, line_ties(inputs, passage))
    if own["apply"] and len(ties):
        choice = choose_prior(
            passage, _hours(inputs), ties,
            prior=LevelPrior(own["constant_nT"], own["drift_nT_h"]),
        )  # fmt: skip
        level = np.nan_to_num(choice.levelling.level_nT)
        sd = np.nan_to_num(choice.levelling.sd_nT)
        notes = _notes(inputs, ties, choice)
        _tell(found, notes)
    elif (passage >= 0).any():
        found.add("level", _open_words(own["apply"]), severity="doubt")
    columns = {"level_nT": float_column(level), "sd_level_nT": float_column(sd)}
    return {
        "rover_level": Level(pl.DataFrame(columns)),
        "level": Document(notes),
        "level_findings": found.table(),
    }


def _hours(inputs: Mapping[str, Record]) -> Floats:
    """Return the time of each reading since the first [h]."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    known = seconds[np.isfinite(seconds)]
    hours: Floats = (seconds - (known.min() if known.size else 0.0)) / HOUR_S
    return hours


def line_ties(inputs: Mapping[str, Record], passage: Numbers) -> LineTies:
    """Return the crossings of lines whose readings have a diurnal correction."""
    crossings = table(inputs, "crossings")
    lines = crossings.frame.select(f"{side}_passage" for side in SIDES)
    rows = np.flatnonzero(lines.select(pl.all_horizontal(pl.all().is_not_null())).to_numpy())
    number = lines.fill_null(-1).to_numpy().astype(np.int64)[rows]
    columns = {
        name: np.column_stack([crossings.floats(f"{side}_{name}")[rows] for side in SIDES])
        for name in ("slope_nT_m", "position_sd_m")
    }
    seconds = np.column_stack([crossings.seconds(f"{side}_utc")[rows] for side in SIDES])
    diurnal = table(inputs, "rover_diurnal")
    series = _Series(passage, table(inputs, "rover_times").seconds("time_utc"))
    taken = series.at(diurnal.floats("diurnal_nT"), number, seconds)
    noise = np.fmax(table(inputs, "lines").floats("noise_nT"), LEAST_NOISE_NT)
    sd = crossing_sd(
        noise_nT=noise[number],
        diurnal_sd_nT=np.nan_to_num(series.at(diurnal.floats("sd_diurnal_nT"), number, seconds)),
        angle_deg=np.clip(crossings.floats("angle_deg")[rows], 1.0, 90.0),
        **columns,
    )
    hours = series.at(_hours(inputs), number, seconds)
    difference = crossings.floats("difference_nT")[rows] - (taken[:, 0] - taken[:, 1])
    ties = (number[:, 0], hours[:, 0], number[:, 1], hours[:, 1], difference, sd)
    usable = np.isfinite(difference + sd) & (number[:, 0] != number[:, 1])
    return LineTies(*(part[usable] for part in ties))


def _same_rover(inputs: Mapping[str, Record], ties: LineTies) -> LineTies:
    """Return ties with what each side's rover is off by taken off."""
    names = table(inputs, "lines").strings("instrument")
    network = document(inputs, "rover_network")
    offset = {row["node"]: row["level_nT"] for row in network["nodes"]}
    level = np.array([offset[name] for name in names], dtype=float)
    taken = level[ties.first] - level[ties.second]
    return replace(ties, difference_nT=ties.difference_nT - taken)


@dataclass(frozen=True)
class _Series:
    """Columns of readings as series in time, passage by passage."""

    passage: Numbers
    seconds: Floats

    def at(self, values: Floats, number: Numbers, seconds: Floats) -> Floats:
        """Return the values of passages at times between their readings, of any shape."""
        found = np.full(number.shape, np.nan)
        for own in np.unique(number):
            rows = np.flatnonzero((self.passage == own) & np.isfinite(self.seconds))
            rows = rows[np.argsort(self.seconds[rows], kind="stable")]
            here = number == own
            if rows.size:
                found[here] = np.interp(seconds[here], self.seconds[rows], values[rows])
        return found


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
