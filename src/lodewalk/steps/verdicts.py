"""Verdicts on lines and days: keep, doubt or re-walk, each with its reasons."""

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


@dataclass(frozen=True)
class Passage:
    """One passage of a line and the shares of its readings on which the verdict rests."""

    row: Mapping[str, Any]
    kept: float
    no_position: float
    no_base: float
    uncertain: float
    unknown: float


def passages(inputs: Mapping[str, Record], tolerances: Mapping[str, float]) -> list[Passage]:
    """Return each passage in the order of the table of lines."""
    diurnal = table(inputs, "rover_diurnal")
    sensor = table(inputs, "rover_budget").floats("sd_sensor_nT")
    sd = diurnal.floats("sd_diurnal_nT")
    checks = table(inputs, "rover_checks")
    copies = np.array([reason == "duplicate" for reason in checks.strings("reason")], dtype=bool)
    no_base = np.isnan(diurnal.floats("diurnal_nT"))
    shares = {
        "kept": checks.booleans("kept") | copies,
        "no_position": np.isnan(table(inputs, "rover_positions").floats("easting_m")),
        "no_base": no_base,
        "uncertain": sd > tolerances["diurnal_sd_nT"],
        "unknown": ~no_base & (np.isnan(sd) | np.isnan(sensor)),
    }
    rows = table(inputs, "lines").frame.iter_rows(named=True)
    members = _members(inputs)
    return [
        Passage(row, **{name: float(np.mean(marks[members[n]])) for name, marks in shares.items()})
        for n, row in enumerate(rows)
    ]


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


def length_to_walk_again(lines: list[dict[str, Any]]) -> float:
    """Return the length of the lines of which no passage can be kept or doubted [m]."""
    saved = {line["line"] for line in lines if line["verdict"] != REWALK}
    again: dict[str, float] = {}
    for line in lines:
        if line["line"] not in saved:
            again[line["line"]] = max(again.get(line["line"], 0.0), line["length_m"])
    return round(sum(again.values()), 1)


def day_verdict(lines: list[dict[str, Any]]) -> tuple[str, list[str]]:
    """Return the verdict on a day and how many of its lines are doubted or to walk again."""
    total = sum(line["length_m"] for line in lines)
    again = sum(line["length_m"] for line in lines if line["verdict"] == REWALK)
    reasons = []
    for verdict, words in ((REWALK, "to walk again"), (DOUBT, "in doubt")):
        length = sum(line["length_m"] for line in lines if line["verdict"] == verdict)
        count = sum(line["verdict"] == verdict for line in lines)
        if count:
            reasons.append(f"{count} of {len(lines)} lines {words}, {length:.0f} m")
    if total and again > LOST_SHARE * total:
        return REWALK, reasons
    return (DOUBT if reasons else KEEP), reasons
