"""Verdicts on lines and days: keep, doubt or re-walk, each with its reasons."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.records import Record
from lodewalk.steps.rows import table

KEEP, DOUBT, REWALK = "keep", "doubt", "re-walk"
#: A line is walked again when more than this share of its readings can't be used, and a day
#: when more than this share of its length is to be walked again (common practice).
LOST_SHARE = 0.5
#: A line is doubted when more than this share of its readings breaks a tolerance.
DOUBT_SHARE = 0.05
#: Passages of a line go over the same stretch when their middles lie no farther apart than this
#: share of the length, and the lengths agree as well.
SAME_STRETCH = 0.25


@dataclass(frozen=True)
class Passage:
    """One passage of a line and the shares of its readings on which the verdict rests."""

    row: Mapping[str, Any]
    kept: float
    middle: tuple[float, float]
    no_position: float
    no_base: float
    uncertain: float
    unknown: float


def passages(inputs: Mapping[str, Record], tolerances: Mapping[str, float]) -> list[Passage]:
    """Return each passage in the order of the table of lines."""
    diurnal = table(inputs, "rover_diurnal")
    sensor = table(inputs, "rover_budget").floats("sd_sensor_nT")
    sd = diurnal.floats("sd_diurnal_nT")
    positions = table(inputs, "rover_positions")
    easting, northing = positions.floats("easting_m"), positions.floats("northing_m")
    checks = table(inputs, "rover_checks")
    copies = np.array([reason == "duplicate" for reason in checks.strings("reason")], dtype=bool)
    no_base = np.isnan(diurnal.floats("diurnal_nT"))
    shares = {
        "kept": checks.booleans("kept") | copies,
        "no_position": np.isnan(easting),
        "no_base": no_base,
        "uncertain": sd > tolerances["diurnal_sd_nT"],
        "unknown": ~no_base & (np.isnan(sd) | np.isnan(sensor)),
    }
    lines = table(inputs, "lines").frame.iter_rows(named=True)
    return [
        Passage(
            row=row,
            middle=(_mean(easting[rows]), _mean(northing[rows])),
            **{name: float(np.mean(marks[rows])) for name, marks in shares.items()},
        )
        for row, rows in zip(lines, _members(inputs), strict=True)
    ]


def _mean(values: NDArray[np.float64]) -> float:
    """Return the mean of what is there, NaN without any."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else float("nan")


def _members(inputs: Mapping[str, Record]) -> list[NDArray[np.int64]]:
    """Return the rows of each passage."""
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    order = np.argsort(passage, kind="stable")
    count = len(table(inputs, "lines"))
    bounds = np.searchsorted(passage[order], np.arange(count + 1))
    return [order[bounds[n] : bounds[n + 1]] for n in range(count)]


def line_verdict(passage: Passage, tolerances: Mapping[str, float]) -> dict[str, Any]:
    """Return the verdict on one passage of a line, with its reasons."""
    row = passage.row
    lost: list[str] = []
    doubts: list[str] = []
    limit = f"{tolerances['diurnal_sd_nT']:g} nT"
    for share, least, words in (
        (passage.no_base, 0.0, "of the readings have no base"),
        (passage.no_position, DOUBT_SHARE, "of the readings have no position"),
        (passage.uncertain, DOUBT_SHARE, f"of the readings have a diurnal error above {limit}"),
        (passage.unknown, DOUBT_SHARE, "of the readings have an unknown error"),
        (1 - passage.kept, 1 - tolerances["kept_share"], "of the readings were dropped"),
    ):
        if share > least:
            (lost if share > LOST_SHARE else doubts).append(f"{_percent(share)} {words}")
    if row["noise_nT"] is not None and row["noise_nT"] > tolerances["noise_nT"]:
        doubts.append(f"noise {row['noise_nT']:.2f} nT above {tolerances['noise_nT']:g} nT")
    return {
        "line": row["line"],
        "instrument": row["instrument"],
        "start_utc": row["start_utc"].strftime("%Y-%m-%dT%H:%M:%S.") + _milliseconds(row),
        "verdict": REWALK if lost else DOUBT if doubts else KEEP,
        "reasons": lost + doubts,
        "length_m": round(row["length_m"] or 0.0, 1),
    }


def _milliseconds(row: Mapping[str, Any]) -> str:
    """Return the milliseconds of the start with the Z of UTC."""
    return f"{row['start_utc'].microsecond // 1000:03d}Z"


def _percent(share: float) -> str:
    """Return a share in per cent; small ones with a decimal, so that none reads as 0 %."""
    return f"{share:.0%}" if share >= 0.1 else f"{share:.1%}"


def length_to_walk_again(passages: list[Passage], verdicts: list[dict[str, Any]]) -> float:
    """Return the length of what is to be walked again and no other passage makes up for [m]."""
    again: list[Passage] = []
    saved = [p for p, v in zip(passages, verdicts, strict=True) if v["verdict"] != REWALK]
    for passage, verdict in zip(passages, verdicts, strict=True):
        if verdict["verdict"] == REWALK and not any(_same(passage, p) for p in [*saved, *again]):
            again.append(passage)
    return round(sum(passage.row["length_m"] or 0.0 for passage in again), 1)


def _same(passage: Passage, other: Passage) -> bool:
    """Tell whether another passage went over the same stretch of the same line."""
    length, there = passage.row["length_m"] or 0.0, other.row["length_m"] or 0.0
    apart = math.dist(passage.middle, other.middle)
    near = passage.row["line"] == other.row["line"] and apart < SAME_STRETCH * length
    return near and there >= (1 - SAME_STRETCH) * length


def day_verdict(lines: list[dict[str, Any]]) -> tuple[str, list[str]]:
    """Return the verdict on a day and how many of its lines are doubted or to walk again."""
    sizes = [line["length_m"] for line in lines]
    if not any(sizes):  # no position, no length: each line counts alike
        sizes = [1.0] * len(lines)
    again = sum(z for z, line in zip(sizes, lines, strict=True) if line["verdict"] == REWALK)
    reasons = []
    for verdict, words in ((REWALK, "to walk again"), (DOUBT, "in doubt")):
        length = sum(line["length_m"] for line in lines if line["verdict"] == verdict)
        count = sum(line["verdict"] == verdict for line in lines)
        if count:
            reasons.append(f"{count} of {len(lines)} lines {words}, {length:.0f} m")
    if again > LOST_SHARE * sum(sizes):
        return REWALK, reasons
    return (DOUBT if reasons else KEEP), reasons
