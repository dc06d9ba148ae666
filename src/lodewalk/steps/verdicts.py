"""Verdicts on lines and days: keep, doubt or re-walk, each with its reasons."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.records import Record
from lodewalk.steps.bridges import WORST_SD
from lodewalk.steps.minutes import bearable_error
from lodewalk.steps.rows import passage_of_readings, table

Marks = NDArray[np.bool_]
Rows = NDArray[np.int64]
KEEP, DOUBT, REWALK, UNKNOWN = "keep", "doubt", "re-walk", "unknown"
#: A line is walked again when more than this share of its readings can't be used, and a day
#: when more than this share of its length is to be walked again (common practice).
LOST_SHARE = 0.5
#: A line is doubted when more than this share of its readings breaks a tolerance.
DOUBT_SHARE = 0.05
#: Passages of a line go over the same stretch when their middles lie no farther apart than this
#: share of the length, and the lengths agree as well.
SAME_STRETCH = 0.25
MINUTE_S = 60.0


@dataclass(frozen=True)
class ReadingMarks:
    """What is wrong with each rover reading.

    Parameters
    ----------
    kept : bool array
        Whether the first checks keep it; a repeated copy counts as kept.
    no_position, no_base, bridgeable, uncertain, likely_off, untold, unknown : bool array
        Without position; without base; of these, those that a bridge would serve well enough;
        in a minute whose diurnal error may be above what the survey can bear, or is likely to,
        or can't be told; kept and without an error of their own.
    """

    kept: Marks
    no_position: Marks
    no_base: Marks
    bridgeable: Marks
    uncertain: Marks
    likely_off: Marks
    untold: Marks
    unknown: Marks

    @property
    def lost(self) -> Marks:
        """Readings that don't serve the survey as they are, nor with a bridge."""
        no_base = self.no_base & ~self.bridgeable
        return ~self.kept | self.no_position | no_base | self.likely_off


@dataclass(frozen=True)
class Passage:
    """One passage of a line and the shares of its readings on which the verdict rests."""

    row: Mapping[str, Any]
    rows: Rows
    share: Mapping[str, float]
    middle: tuple[float, float]


def reading_marks(inputs: Mapping[str, Record], tolerances: Mapping[str, Any]) -> ReadingMarks:
    """Return what is wrong with each rover reading."""
    diurnal = table(inputs, "rover_diurnal")
    sensor = table(inputs, "rover_noise").floats("sd_sensor_nT")
    sd, bridge = diurnal.floats("sd_diurnal_nT"), diurnal.floats("bridge_sd_nT")
    checks = table(inputs, "rover_checks")
    copies = np.array([reason == "duplicate" for reason in checks.strings("reason")], dtype=bool)
    no_base = np.isnan(diurnal.floats("diurnal_nT"))
    limit = bearable_error(tolerances)
    by_bridge = np.array([base == "bridge" for base in diurnal.strings("base")], dtype=bool)
    minute = minute_of_readings(inputs)
    with np.errstate(invalid="ignore"):
        off = WORST_SD * sd > limit
        doubtful = np.where(by_bridge, off, np.isin(minute, (DOUBT, REWALK)))
        serves = WORST_SD * bridge <= limit
    kept = checks.booleans("kept")
    return ReadingMarks(
        kept=kept | copies,
        no_position=np.isnan(table(inputs, "rover_positions").floats("easting_m")),
        no_base=no_base,
        bridgeable=no_base & serves,
        uncertain=~no_base & doubtful,
        likely_off=~no_base & ~by_bridge & (minute == REWALK),
        untold=~no_base & ~by_bridge & (minute == UNKNOWN),
        unknown=kept & ~no_base & (np.isnan(sd) | np.isnan(sensor)),
    )


def minute_of_readings(inputs: Mapping[str, Record]) -> NDArray[np.str_]:
    """Return the verdict on the minute of each rover reading, by the base that served it.

    A minute that the base covers in part is judged as the worse of its neighbours.
    """
    minutes = table(inputs, "base_minutes")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    served = np.array(table(inputs, "rover_diurnal").strings("base"), dtype=object)
    verdict = np.full(seconds.shape, "", dtype="<U8")
    names = np.array(minutes.strings("instrument"), dtype=object)
    start, word = minutes.seconds("start_utc"), np.array(minutes.strings("verdict"), dtype=object)
    for base in dict.fromkeys(names.tolist()):
        own = np.flatnonzero(names == base)
        told = _as_neighbours(start[own], word[own])
        rows = np.flatnonzero((served == base) & np.isfinite(seconds))
        place = np.searchsorted(start[own], seconds[rows], side="right") - 1
        near = (place >= 0) & (seconds[rows] - start[own][np.maximum(place, 0)] < MINUTE_S)
        verdict[rows[near]] = told[place[near]].astype("<U8")
    return verdict


def _as_neighbours(start_s: NDArray[np.float64], words: NDArray[Any]) -> NDArray[Any]:
    """Return the verdicts of one base's minutes, unknown ones as the worse of their neighbours."""
    order = {word: place for place, word in enumerate((UNKNOWN, KEEP, DOUBT, REWALK))}
    told = words.copy()
    for place in np.flatnonzero(words == UNKNOWN):
        beside = (n for n in (place - 1, place + 1) if 0 <= n < words.size)
        near = [words[n] for n in beside if abs(start_s[n] - start_s[place]) <= MINUTE_S]
        told[place] = max(near, key=order.__getitem__, default=UNKNOWN)
    return told


def passages(inputs: Mapping[str, Record], marks: ReadingMarks) -> list[Passage]:
    """Return each passage in the order of the table of lines."""
    positions = table(inputs, "rover_positions")
    easting, northing = positions.floats("easting_m"), positions.floats("northing_m")
    lines = table(inputs, "lines").frame.iter_rows(named=True)
    return [
        Passage(
            row=row,
            rows=rows,
            share={name: float(np.mean(part[rows])) for name, part in vars(marks).items()},
            middle=(_mean(easting[rows]), _mean(northing[rows])),
        )
        for row, rows in zip(lines, _members(inputs), strict=True)
    ]


def _mean(values: NDArray[np.float64]) -> float:
    """Return the mean of what is there, NaN without any."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else float("nan")


def _members(inputs: Mapping[str, Record]) -> list[Rows]:
    """Return the rows of each passage."""
    passage = passage_of_readings(inputs)
    order = np.argsort(passage, kind="stable")
    count = len(table(inputs, "lines"))
    bounds = np.searchsorted(passage[order], np.arange(count + 1))
    return [order[bounds[n] : bounds[n + 1]] for n in range(count)]


def not_walked(holes: list[dict[str, Any]]) -> dict[str, float]:
    """Return the share of each line that nobody walked, from the holes of the lines.

    Examples
    --------
    >>> not_walked([{"line": "L1", "share": 0.1}, {"line": "L1", "share": 0.2}])["L1"]
    0.30000000000000004
    """
    shares: dict[str, float] = {}
    for hole in holes:
        shares[hole["line"]] = shares.get(hole["line"], 0.0) + hole["share"]
    return shares


def line_verdict(
    passage: Passage, tolerances: Mapping[str, Any], *, not_walked: float = 0.0
) -> dict[str, Any]:
    """Return the verdict on one passage of a line, with its reasons."""
    row = passage.row
    lost, doubts = _reasons(passage.share, tolerances)
    if not_walked > 1 - tolerances["covered_share"]:
        doubts.append(f"{_percent(not_walked)} of the line has no reading with a position")
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


def _reasons(
    share: Mapping[str, float], tolerances: Mapping[str, Any]
) -> tuple[list[str], list[str]]:
    """Return the reasons to walk a line again, and those to doubt it."""
    lost: list[str] = []
    doubts: list[str] = []
    limit = f"{bearable_error(tolerances):.3g} nT"
    dead = share["no_base"] - share["bridgeable"]
    for part, least, words in (
        (dead, 0.0, "of the readings have no base"),
        (share["no_position"], DOUBT_SHARE, "of the readings have no position"),
        (share["likely_off"], DOUBT_SHARE, f"of the readings probably err by over {limit}"),
        (share["unknown"], DOUBT_SHARE, "of the readings have an unknown error"),
        (1 - share["kept"], 1 - tolerances["kept_share"], "of the readings were dropped"),
    ):
        if part > least:
            (lost if part > LOST_SHARE else doubts).append(f"{_percent(part)} {words}")
    for part, least, words in (
        (share["bridgeable"], 0.0, f"have no base; a bridge would serve within {limit}"),
        (share["uncertain"] - share["likely_off"], DOUBT_SHARE, f"may err by over {limit}"),
        (share["untold"], DOUBT_SHARE, "have a base too short or too sparse to tell their error"),
    ):
        if part > least:
            doubts.append(f"{_percent(part)} of the readings {words}")
    return lost, doubts


def _milliseconds(row: Mapping[str, Any]) -> str:
    """Return the milliseconds of the start with the Z of UTC."""
    return f"{row['start_utc'].microsecond // 1000:03d}Z"


def _percent(share: float) -> str:
    """Return a share in per cent; small ones with a decimal, so that none reads as 0 %."""
    return f"{share:.0%}" if share >= 0.1 else f"{share:.1%}"


def to_walk_again(passages: list[Passage], verdicts: list[dict[str, Any]]) -> list[Passage]:
    """Return the passages that are to be walked again and that no other one makes up for."""
    again: list[Passage] = []
    saved = [p for p, v in zip(passages, verdicts, strict=True) if v["verdict"] != REWALK]
    for passage, verdict in zip(passages, verdicts, strict=True):
        if verdict["verdict"] == REWALK and not any(same(passage, p) for p in [*saved, *again]):
            again.append(passage)
    return again


def same(passage: Passage, other: Passage) -> bool:
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
