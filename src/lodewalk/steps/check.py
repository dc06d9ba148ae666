"""Check: findings gathered, and a verdict for each line and day."""

from collections.abc import Mapping
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
from lodewalk.steps.rows import at_distinct_times, document, in_time_order, instruments, table
from lodewalk.steps.verdicts import (
    REWALK,
    day_verdict,
    length_to_walk_again,
    line_verdict,
    passages,
)

#: Spans closer together than this are one finding [s].
JOIN_S = 1800.0
NO_BASE: dict[str, Any] = {"range_nT": None, "worst_chord_nT": None, "activity": []}
NO_EVIDENCE = "no side-by-side run or crossing was compared yet"


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return verdicts of days and lines, clocks, findings and what to walk again."""
    del context
    tolerances = settings["tolerances"]
    walked = passages(inputs, tolerances)
    verdicts = [line_verdict(passage, tolerances) for passage in walked]
    lines = [(p.row["day"], verdict) for p, verdict in zip(walked, verdicts, strict=True)]
    base = _base_days(inputs, tolerances["k9_nT"])
    unused = _unused_days(inputs)
    days = sorted({day for day, _ in lines} | set(base) | set(unused))
    chords = _chord_findings(inputs, tolerances["chord_nT"])
    values = {
        "days": [
            _day(day, [v for d, v in lines if d == day], base, unused.get(day, 0)) for day in days
        ],
        "clock": [_clock(name) for name in _instruments(inputs)],
        "findings": _findings(inputs, chords),
        "rewalk": {"length_m": length_to_walk_again(walked, verdicts), "gpx": None},
    }
    return {"check": Document(values), "check_findings": chords}


def _day(
    day: str, lines: list[dict[str, Any]], base: Mapping[str, dict[str, Any]], unused: int
) -> dict[str, Any]:
    """Return the verdict on one UTC day; `unused` readings of it lie on no line."""
    verdict, reasons = day_verdict(lines)
    if unused and not lines:
        verdict, reasons = REWALK, [f"{unused} readings, none of them on a line"]
    return {
        "date": day,
        "verdict": verdict,
        "reasons": reasons,
        "base": base.get(day, NO_BASE),
        "lines": lines,
    }


def _unused_days(inputs: Mapping[str, Record]) -> dict[str, int]:
    """Return how many rover readings of each UTC day lie on no line."""
    times, lines = table(inputs, "rover_times").frame, table(inputs, "rover_lines").frame
    frame = pl.concat([times, lines.select("line")], how="horizontal")
    frame = frame.filter(pl.col("line").is_null() & pl.col("time_utc").is_not_null())
    days = frame["time_utc"].dt.strftime("%Y-%m-%d")
    return {str(day): int(count) for day, count in days.value_counts().iter_rows()}


def _base_days(inputs: Mapping[str, Record], k9_nT: float) -> dict[str, dict[str, Any]]:
    """Return range, worst chord departure and activity of each UTC day, the worst of all bases."""
    seconds = table(inputs, "base_times").seconds("time_utc")
    found: dict[str, dict[str, Any]] = {}
    for _, rows in in_time_order(document(inputs, "base_files"), seconds):
        for day, own in _days_of_base(inputs, rows, k9_nT).items():
            known = found.setdefault(day, dict(own))
            for name in ("range_nT", "worst_chord_nT"):
                sizes = [item[name] for item in (known, own) if item[name] is not None]
                known[name] = max(sizes, default=None)
            known["activity"] = _worst_of(known["activity"], own["activity"])
    return found


def _worst_of(first: list[dict[str, Any]], second: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return for each interval the entry with the larger range."""
    worst: dict[str, dict[str, Any]] = {}
    for item in (*first, *second):
        known = worst.setdefault(item["start_utc"], item)
        if item["range_nT"] > known["range_nT"]:
            worst[item["start_utc"]] = item
    return [worst[start] for start in sorted(worst)]


def _days_of_base(
    inputs: Mapping[str, Record], rows: NDArray[np.int64], k9_nT: float
) -> dict[str, dict[str, Any]]:
    """Return range, worst chord departure and activity of one base for each UTC day."""
    seconds = table(inputs, "base_times").seconds("time_utc")
    checks = table(inputs, "base_checks")
    rows = rows[checks.booleans("kept")[rows]]
    rows = at_distinct_times(rows, seconds)
    times, value = seconds[rows], table(inputs, "base_recorded").floats("raw_nT")[rows]
    departure = checks.floats("departure_nT")[rows]
    activity = _activity(times, value, k9_nT)
    days = np.array([_stamp(time, "%Y-%m-%d") for time in np.floor(times / 86400) * 86400])
    found = {}
    for day in dict.fromkeys(days.tolist()):
        here = days == day
        judged = departure[here & np.isfinite(departure)]
        found[day] = {
            "range_nT": round(float(np.ptp(value[here])), 3),
            "worst_chord_nT": round(float(judged.max()), 3) if judged.size else None,
            "activity": [item for item in activity if item["start_utc"].startswith(day)],
        }
    return found


def _activity(
    times: NDArray[np.float64], value: NDArray[np.float64], k9_nT: float
) -> list[dict[str, Any]]:
    """Return the activity of each 3-hour interval that a base recorded in."""
    found = scalar_activity(times, value, k9_nT=k9_nT)
    return [
        {
            "start_utc": _stamp(start, "%Y-%m-%dT%H:%M:%SZ"),
            "activity": str(word),
            "range_nT": round(float(size), 3),
        }
        for start, word, size in zip(found.start_s, found.activity, found.range_nT, strict=True)
    ]


def _instruments(inputs: Mapping[str, Record]) -> list[str]:
    """Return the names of all base and rover instruments."""
    return sorted(
        {name for role in ("base", "rover") for name in instruments(
            document(inputs, f"{role}_files"))}
    )  # fmt: skip


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
    names = ("position", "first", "diurnal")
    tables = [table(inputs, f"{name}_findings").frame for name in names]
    frame = pl.concat([*tables, own.frame])
    frame = frame.sort("start_utc", nulls_last=True, maintain_order=True)
    stamp = "%Y-%m-%dT%H:%M:%S%.3fZ"
    frame = frame.with_columns(pl.col("start_utc", "end_utc").dt.strftime(stamp))
    columns = ("kind", "instrument", "start_utc", "end_utc", "severity", "text")
    return frame.select(columns).to_dicts()


def _chord_findings(inputs: Mapping[str, Record], tolerance_nT: float) -> Findings:
    """Return the spans in which a base strays from its chord by more than the tolerance."""
    found = FindingList("check")
    seconds = table(inputs, "base_times").seconds("time_utc")
    checks = table(inputs, "base_checks")
    departure = np.where(checks.booleans("kept"), checks.floats("departure_nT"), np.nan)
    for name, rows in in_time_order(document(inputs, "base_files"), seconds):
        judged = rows[np.isfinite(departure[rows])]
        times, sizes = seconds[judged], departure[judged]
        spans = spans_over(sizes, time_s=times, tolerance_nT=tolerance_nT)
        for first, last in _joined(spans, times):
            start, end = (_stamp(times[place], "%H:%M") for place in (first, last))
            found.add(
                "base departs from chord",
                f"{name}: departs from the chord by up to {sizes[first : last + 1].max():.1f} nT "
                f"between {start} and {end} UTC, tolerance {tolerance_nT:g} nT.",
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


def _stamp(seconds: float, form: str) -> str:
    """Return Unix seconds in a form of `strftime`, in UTC."""
    return datetime.fromtimestamp(float(seconds), UTC).strftime(form)
