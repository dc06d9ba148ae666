"""Heading: what each rover reads too much for the way its operator faces, from all that tells."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.corrections.heading import fit_heading, walking_heading
from lodewalk.methods.corrections.heading_correction import (
    HeadingCorrection,
    heading_correction,
    line_headings,
)
from lodewalk.methods.corrections.heading_evidence import (
    HeadingEvidence,
    crossing_evidence,
    neighbour_evidence,
    turn_evidence,
)
from lodewalk.methods.corrections.heading_model import HeadingModel, unknown_model
from lodewalk.records import Document, Record
from lodewalk.records.products import Heading
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.crossing_ties import Crossed, Series, crossing_ties
from lodewalk.steps.crossings import stands, walked_readings
from lodewalk.steps.facing import Readings, Stand, north_of, stands_of
from lodewalk.steps.findings import FindingList
from lodewalk.steps.heading_words import tell
from lodewalk.steps.rows import document, in_time_order, passage_of_readings, table
from lodewalk.steps.trial_spans import TrialSpan, trial_spans, turn_arounds

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
#: Headings at which the correction is told, and those at which its curve is drawn [deg].
EIGHT, CURVE = range(0, 360, 45), range(0, 360, 15)
#: Lines whose directions differ by less than this were walked one way [deg].
ONE_WAY_DEG = 15.0


@dataclass(frozen=True)
class _Rovers:
    """All readings, their passages and headings, and the tests and crossings they are in."""

    readings: Readings
    passage: Numbers
    heading_deg: Floats
    on_line: NDArray[np.bool_]
    tests: list[list[TrialSpan]]
    crossed: Crossed
    owner: list[str]
    north_deg: float


@dataclass(frozen=True)
class _Told:
    """What tells of one rover's heading error; `unfaced` tests don't say which way was faced."""

    stands: Sequence[Stand]
    parts: tuple[HeadingEvidence, ...]
    unfaced: int


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the heading correction of each reading with its error, and what it rests on."""
    own = settings["heading"]
    found = FindingList("heading")
    count = len(table(inputs, "rover_checks"))
    value, sd = np.zeros(count), np.full(count, float(own["expected_nT"]))
    rovers = _rovers(inputs, settings, context)
    notes = []
    for name, rows in in_time_order(document(inputs, "rover_files"), rovers.readings.seconds):
        told = _told(rovers, name, rows) if own["apply"] else _Told((), (), 0)
        model = fit_heading(told.parts) if own["apply"] else unknown_model()
        heading = rovers.heading_deg[rows]
        walked = heading[rovers.on_line[rows]]
        fitted = heading_correction(model, walked, expected_nT=own["expected_nT"])
        value[rows], sd[rows] = fitted.correction(heading), fitted.sd(heading)
        if walked.size:
            notes.append(_notes(name, told, model, fitted, walked))
    values = {"applied": own["apply"], "expected_nT": own["expected_nT"], "rovers": notes}
    tell(found, values, tolerance_nT=settings["tolerances.heading_nT"])
    columns = {"heading_nT": float_column(value), "sd_heading_nT": float_column(sd)}
    return {
        "rover_heading": Heading(pl.DataFrame(columns)),
        "heading": Document(values),
        "heading_findings": found.table(),
    }


def _rovers(inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context) -> _Rovers:
    """Return the readings with what belongs to them."""
    positions = table(inputs, "rover_positions")
    kept = table(inputs, "rover_checks").booleans("kept")
    raw = table(inputs, "rover_recorded").floats("raw_nT")
    readings = Readings(
        table(inputs, "rover_times").seconds("time_utc"),
        positions.floats("easting_m"),
        positions.floats("northing_m"),
        np.where(kept, raw - table(inputs, "rover_diurnal").floats("diurnal_nT"), np.nan),
    )
    passage = passage_of_readings(inputs)
    heading = _headings(inputs, readings, passage)
    tests = turn_arounds(trial_spans(inputs, context.decisions))
    own = settings["heading"]
    return _Rovers(
        readings,
        passage,
        heading,
        kept & (passage >= 0) & np.isfinite(heading),
        tests,
        crossing_ties(inputs, passage, taken_off=("diurnal",)),
        table(inputs, "lines").frame["instrument"].to_list(),
        north_of(inputs, own["facings_from"], settings["survey.crs"]) if tests else 0.0,
    )


def _headings(inputs: Mapping[str, Record], readings: Readings, passage: Numbers) -> Floats:
    """Return the heading of each reading; NaN where a rover stood off the lines."""
    heading = np.full(passage.size, np.nan)
    standing = np.zeros(passage.size, dtype=bool)
    still = stands(walked_readings(inputs))
    for name, rows in in_time_order(document(inputs, "rover_files"), readings.seconds):
        seconds = readings.seconds[rows]
        heading[rows] = walking_heading(readings.easting[rows], readings.northing[rows], seconds)
        for stand in still:
            if stand.instrument == name:
                standing[rows] |= (seconds >= stand.start_s) & (seconds <= stand.end_s)
    heading[standing & (passage < 0)] = np.nan
    return line_headings(heading, passage, table(inputs, "lines").floats("azimuth_deg"))


def _told(rovers: _Rovers, name: str, rows: Numbers) -> _Told:
    """Return the evidence on one rover."""
    tests = [spans for spans in rovers.tests if spans[0].instrument == name]
    faced = [
        stands_of(rovers.readings, number, spans, north_deg=rovers.north_deg)
        for number, spans in enumerate(tests)
    ]
    all_stands = [stand for own in faced for stand in own]
    parts = [_crossings(rovers, name), _neighbours(rovers, rows)]
    if all_stands:
        parts.append(
            turn_evidence(
                [stand.heading_deg for stand in all_stands],
                [stand.value_nT for stand in all_stands],
                [stand.test for stand in all_stands],
                sd_nT=np.array([stand.sd_nT for stand in all_stands]),
            )
        )
    return _Told(all_stands, tuple(parts), _unfaced(tests, faced))


def _unfaced(tests: Sequence[list[TrialSpan]], faced: Sequence[list[Stand]]) -> int:
    """Return how many tests don't say which way was faced, nor does a test within them."""
    told = [spans for spans, own in zip(tests, faced, strict=True) if own]
    silent = [spans[0] for spans, own in zip(tests, faced, strict=True) if not own]
    return sum(
        not any(whole.start_s <= spans[0].start_s <= whole.end_s for spans in told)
        for whole in silent
    )


def _crossings(rovers: _Rovers, name: str) -> HeadingEvidence:
    """Return the crossings of a rover's lines with each other."""
    own = np.array([owner == name for owner in rovers.owner], dtype=bool)
    number = rovers.crossed.number
    rows = np.flatnonzero(own[number].all(axis=1)) if number.size else np.zeros(0, np.int64)
    series = Series(rovers.passage, rovers.readings.seconds)
    heading = series.nearest(rovers.heading_deg, number[rows], rovers.crossed.seconds[rows])
    ties = rovers.crossed.ties
    return crossing_evidence(
        heading[:, 0],
        heading[:, 1],
        ties.difference_nT[rows],
        ties.first[rows],
        ties.second[rows],
        sd_nT=ties.sd_nT[rows] if rows.size else 1.0,
    )


def _neighbours(rovers: _Rovers, rows: Numbers) -> HeadingEvidence:
    """Return the passages of a rover that lie side by side."""
    readings = rovers.readings
    return neighbour_evidence(
        readings.easting[rows],
        readings.northing[rows],
        readings.field_nT[rows],
        rovers.passage[rows],
    )


def _notes(
    name: str, told: _Told, model: HeadingModel, fitted: HeadingCorrection, walked: Floats
) -> dict[str, Any]:
    """Return what was found of one rover, for print."""
    counts = dict.fromkeys(("turn", "crossing", "neighbour"), 0)
    counts |= {part.kind: int(part.value_nT.size) for part in told.parts}
    value, sd = fitted.correction(walked), fitted.sd(walked)
    high, low = (float(walked[place]) for place in (value.argmax(), value.argmin()))
    spread, spread_sd = fitted.step(high, low)
    turned = np.abs((walked - walked[0] + 180.0) % 360.0 - 180.0)
    return {
        "instrument": name,
        "coefficients_nT": [round(float(item), 3) for item in fitted.coefficients_nT],
        "order_shares": [round(share, 3) for share in model.order_shares],
        "evidence": counts,
        "tests": len({stand.test for stand in told.stands}),
        "unfaced_tests": told.unfaced,
        "used": model.count,
        "rejected": model.rejected,
        "open_parts": int(model.unknown.shape[1]),
        "one_way": bool(turned.max() <= ONE_WAY_DEG),
        "spread_nT": round(spread, 3),
        "spread_sd_nT": round(spread_sd, 3),
        "highest_deg": round(high, 1),
        "lowest_deg": round(low, 1),
        "sd_nT": round(float(np.sqrt(np.mean(sd**2))), 3),
        "headings": _at(fitted, EIGHT),
        "curve": _at(fitted, CURVE),
        "stands": _points(told.stands, fitted),
    }


def _at(fitted: HeadingCorrection, degrees: Sequence[int]) -> list[dict[str, float]]:
    """Return the correction and its error at some headings."""
    at = np.array(degrees, dtype=float)
    return [
        {
            "heading_deg": heading,
            "correction_nT": round(float(value), 3),
            "sd_nT": round(float(sd), 3),
        }
        for heading, value, sd in zip(degrees, fitted.correction(at), fitted.sd(at), strict=True)
    ]


def _points(stands: Sequence[Stand], fitted: HeadingCorrection) -> list[dict[str, float]]:
    """Return the stands against the level of their test, as far as the model tells it."""
    heading = np.array([stand.heading_deg for stand in stands])
    value = np.array([stand.value_nT for stand in stands])
    test = np.array([stand.test for stand in stands])
    off = value - fitted.correction(heading) if stands else value
    return [
        {
            "heading_deg": round(stand.heading_deg, 1),
            "value_nT": round(stand.value_nT - float(off[test == stand.test].mean()), 3),
            "sd_nT": round(stand.sd_nT, 3),
        }
        for stand in stands
    ]
