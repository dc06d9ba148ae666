"""Check: findings gathered, and a verdict for each line and day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.base_record import spans_over
from lodewalk.methods.checks.spans import Spans
from lodewalk.methods.geomagnetic.k_index import scalar_activity
from lodewalk.records import Document, Record
from lodewalk.records.products import Findings
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, in_time_order, instruments, table

KEEP, DOUBT, REWALK = "keep", "doubt", "re-walk"
#: A line is walked again when more than this share of its readings can't be used, and a day
#: when more than this share of its length is to be walked again (common practice).
LOST_SHARE = 0.5
#: A line is doubted when more than this share of its readings breaks a tolerance.
DOUBT_SHARE = 0.05
#: Spans closer together than this are one finding [s].
JOIN_S = 1800.0
NO_BASE: dict[str, Any] = {"range_nT": None, "worst_chord_nT": None, "activity": []}
NO_EVIDENCE = "no side-by-side run or crossing was compared yet"


@dataclass(frozen=True)
class _Passage:
    """What the verdict on one passage of a line rests on."""

    row: Mapping[str, Any]
    kept: float
    corrected: float
    uncertain: float


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return verdicts of days and lines, clocks, findings and what to walk again."""
    del context
    tolerances = settings["tolerances"]
    passages = _passages(inputs, tolerances)
    lines = [(item.row["day"], _line_verdict(item, tolerances)) for item in passages]
    rewalk = sum(line["length_m"] for _, line in lines if line["verdict"] == REWALK)
    base = _base_days(inputs, tolerances["k9_nT"])
    days = sorted({day for day, _ in lines} | set(base))
    chords = _chord_findings(inputs, tolerances["chord_nT"])
    values = {
        "days": [_day(day, [v for d, v in lines if d == day], base) for day in days],
        "clock": [_clock(name) for name in _instruments(inputs)],
        "findings": _findings(inputs, chords),
        "rewalk": {"length_m": round(rewalk, 1), "gpx": None},
    }
    return {"check": Document(values), "check_findings": chords}


def _passages(inputs: Mapping[str, Record], tolerances: Mapping[str, float]) -> list[_Passage]:
    """Return each passage with the shares of its readings that can be used."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    names = np.array(table(inputs, "rover_lines").strings("line"), dtype=object)
    kept = table(inputs, "rover_checks").booleans("kept")
    diurnal = table(inputs, "rover_diurnal")
    corrected = np.isfinite(diurnal.floats("diurnal_nT"))
    uncertain = diurnal.floats("sd_diurnal_nT") > tolerances["diurnal_sd_nT"]
    rows_of = dict(in_time_order(document(inputs, "rover_files"), seconds))
    lines = table(inputs, "lines")
    starts, ends = lines.seconds("start_utc"), lines.seconds("end_utc")
    passages = []
    for place, row in enumerate(lines.frame.iter_rows(named=True)):
        rows = rows_of[row["instrument"]]
        first = np.searchsorted(seconds[rows], starts[place], side="left")
        last = np.searchsorted(seconds[rows], ends[place], side="right")
        rows = rows[first:last]
        rows = rows[names[rows] == row["line"]]
        shares = (float(np.mean(part[rows])) for part in (kept, corrected, uncertain))
        passages.append(_Passage(row, *shares))
    return passages


def _line_verdict(passage: _Passage, tolerances: Mapping[str, float]) -> dict[str, Any]:
    """Return the verdict on one passage of a line, with its reasons."""
    row = passage.row
    lost: list[str] = []
    doubts: list[str] = []
    missing = 1 - passage.corrected
    if missing > 0:
        text = f"{missing:.0%} of the readings have no base"
        (lost if missing > LOST_SHARE else doubts).append(text)
    if passage.uncertain > DOUBT_SHARE:
        text = (
            f"diurnal uncertain by more than {tolerances['diurnal_sd_nT']:g} nT at "
            f"{passage.uncertain:.0%} of the readings"
        )
        (lost if passage.uncertain > LOST_SHARE else doubts).append(text)
    if passage.kept < tolerances["kept_share"]:
        text = f"only {passage.kept:.0%} of the readings kept"
        (lost if passage.kept < 1 - LOST_SHARE else doubts).append(text)
    if row["noise_nT"] is not None and row["noise_nT"] > tolerances["noise_nT"]:
        doubts.append(f"noise {row['noise_nT']:.2f} nT above {tolerances['noise_nT']:g} nT")
    verdict = REWALK if lost else DOUBT if doubts else KEEP
    return {
        "line": row["line"],
        "verdict": verdict,
        "reasons": lost + doubts,
        "length_m": round(row["length_m"] or 0.0, 1),
    }


def _day(
    day: str, lines: list[dict[str, Any]], base: Mapping[str, dict[str, Any]]
) -> dict[str, Any]:
    """Return the verdict on one UTC day."""
    total = sum(line["length_m"] for line in lines)
    again = sum(line["length_m"] for line in lines if line["verdict"] == REWALK)
    if total and again > LOST_SHARE * total:
        verdict = REWALK
    elif any(line["verdict"] != KEEP for line in lines):
        verdict = DOUBT
    else:
        verdict = KEEP
    return {
        "date": day,
        "verdict": verdict,
        "reasons": _day_reasons(lines),
        "base": base.get(day, NO_BASE),
        "lines": lines,
    }


def _day_reasons(lines: list[dict[str, Any]]) -> list[str]:
    """Say how many lines of a day are doubted or to be walked again."""
    reasons = []
    for verdict, words in ((REWALK, "to walk again"), (DOUBT, "in doubt")):
        length = sum(line["length_m"] for line in lines if line["verdict"] == verdict)
        count = sum(line["verdict"] == verdict for line in lines)
        if count:
            reasons.append(f"{count} of {len(lines)} lines {words}, {length:.0f} m")
    return reasons


def _base_days(inputs: Mapping[str, Record], k9_nT: float) -> dict[str, dict[str, Any]]:
    """Return range, worst chord departure and activity of the base for each UTC day."""
    parts = [
        table(inputs, "base_times").frame,
        table(inputs, "base_recorded").frame.select("raw_nT"),
        table(inputs, "base_checks").frame,
    ]
    frame = pl.concat(parts, how="horizontal")
    frame = frame.filter(pl.col("kept") & pl.col("time_utc").is_not_null()).sort("time_utc")
    activity = _activity(frame.unique("time_utc", keep="first", maintain_order=True), k9_nT)
    found = {}
    for (day,), rows in frame.group_by(
        pl.col("time_utc").dt.strftime("%Y-%m-%d"), maintain_order=True
    ):
        departures = rows["departure_nT"].drop_nulls().to_numpy()
        found[str(day)] = {
            "range_nT": round(float(np.ptp(rows["raw_nT"].to_numpy())), 3),
            "worst_chord_nT": round(float(departures.max()), 3) if departures.size else None,
            "activity": [item for item in activity if item["start_utc"].startswith(str(day))],
        }
    return found


def _activity(frame: pl.DataFrame, k9_nT: float) -> list[dict[str, Any]]:
    """Return the activity of each 3-hour interval that the base recorded in."""
    seconds = frame["time_utc"].dt.timestamp("us").to_numpy() / 1e6
    found = scalar_activity(seconds, frame["raw_nT"].to_numpy(), k9_nT=k9_nT)
    return [
        {
            "start_utc": datetime.fromtimestamp(start, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "activity": str(word),
            "range_nT": round(float(size), 3),
        }
        for start, word, size in zip(found.start_s, found.activity, found.range_nT, strict=True)
    ]


def _instruments(inputs: Mapping[str, Record]) -> list[str]:
    """Return the names of all base and rover instruments."""
    found = {name for role in ("base", "rover") for name in instruments(
        document(inputs, f"{role}_files"))}  # fmt: skip
    return sorted(found)


def _clock(instrument: str) -> dict[str, Any]:
    """Return what is known of a clock: without evidence, that it can't be identified."""
    return {
        "instrument": instrument,
        "offset_s": None,
        "sd_s": None,
        "state": "not identifiable",
        "method": NO_EVIDENCE,
    }


def _findings(inputs: Mapping[str, Record], own: Findings) -> list[dict[str, Any]]:
    """Return all findings in order of their time."""
    tables = [table(inputs, f"{name}_findings").frame for name in ("position", "first")]
    tables.append(own.frame)
    frame = pl.concat(tables).sort("start_utc", nulls_last=True, maintain_order=True)
    stamp = "%Y-%m-%dT%H:%M:%S%.3fZ"
    frame = frame.with_columns(pl.col("start_utc", "end_utc").dt.strftime(stamp))
    names = ("kind", "instrument", "start_utc", "end_utc", "severity", "text")
    return frame.select(names).to_dicts()


def _chord_findings(inputs: Mapping[str, Record], tolerance_nT: float) -> Findings:
    """Return the spans in which a base strays from its chord by more than the tolerance."""
    found = FindingList("check")
    seconds = table(inputs, "base_times").seconds("time_utc")
    departure = table(inputs, "base_checks").floats("departure_nT")
    for name, rows in in_time_order(document(inputs, "base_files"), seconds):
        judged = rows[np.isfinite(departure[rows])]
        times, sizes = seconds[judged], departure[judged]
        spans = spans_over(sizes, time_s=times, tolerance_nT=tolerance_nT)
        for first, last in _joined(spans, times):
            found.add(
                "base departs from chord",
                f"{name}: departs from the chord by up to {sizes[first : last + 1].max():.1f} nT "
                f"between {_clock_time(times[first])} and {_clock_time(times[last])} UTC, "
                f"tolerance {tolerance_nT:g} nT.",
                severity="doubt",
                instrument=name,
                start_s=times[first],
                end_s=times[last],
            )
    return found.table()


def _joined(spans: Spans, times: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return first and last reading of the spans, those close together as one."""
    joined: list[tuple[int, int]] = []
    for first, last in zip(spans.first.tolist(), spans.last.tolist(), strict=True):
        if joined and times[first] - times[joined[-1][1]] < JOIN_S:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def _clock_time(seconds: float) -> str:
    """Return the time of day as HH:MM."""
    return datetime.fromtimestamp(seconds, UTC).strftime("%H:%M")
