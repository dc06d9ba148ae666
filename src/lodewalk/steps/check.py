"""Check: findings gathered, clocks, tests, and a verdict for each minute, line and day."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.records import Document, Record
from lodewalk.records.products import Findings
from lodewalk.steps.base_days import NO_BASE, BaseRules, base_days, stamp, tell_chords
from lodewalk.steps.context import Context
from lodewalk.steps.days import Days
from lodewalk.steps.findings import FindingList
from lodewalk.steps.minutes import bearable_error
from lodewalk.steps.rewalk import rewalk
from lodewalk.steps.rows import document, instruments, table
from lodewalk.steps.set_up import CHECKLISTS
from lodewalk.steps.verdicts import REWALK, day_verdict, line_verdict, passages, reading_marks

PARTS = ("position", "first", "clock", "diurnal", "trial", "walked", "culture")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return verdicts of days and lines, clocks, tests, findings and what to walk again."""
    tolerances = settings["tolerances"]
    days = Days.of(settings["survey.time_zone"])
    found = FindingList("check")
    marks = reading_marks(inputs, tolerances)
    walked = passages(inputs, marks)
    verdicts = [line_verdict(passage, tolerances) for passage in walked]
    again, route = rewalk(
        inputs,
        walked,
        verdicts,
        marks,
        crs=settings["survey.crs"],
        least_m=tolerances["gap_m"],
    )
    lines = [
        (days.name(p.row["start_utc"].timestamp()), verdict)
        for p, verdict in zip(walked, verdicts, strict=True)
    ]
    tell_chords(found, inputs, tolerances["chord_nT"])
    _tell_unticked(found, inputs, days, context)
    values = {
        "days": _days(inputs, lines, _rules(settings), days),
        "clock": document(inputs, "clock_evidence")["clock"],
        "tests": _tests(inputs),
        "coverage": document(inputs, "walked")["lines"],
        "findings": _findings(inputs, found.table()),
        "rewalk": again,
    }
    return {"check": Document(values), "check_findings": found.table(), "rewalk": route}


def _rules(settings: Mapping[str, Any]) -> BaseRules:
    """Return what a base is judged by."""
    tolerances = settings["tolerances"]
    return BaseRules(
        tolerances["k9_nT"], bearable_error(tolerances), settings["diurnal"]["max_gap_s"]
    )


def _days(
    inputs: Mapping[str, Record],
    lines: list[tuple[str, dict[str, Any]]],
    rules: BaseRules,
    days: Days,
) -> list[dict[str, Any]]:
    """Return the verdict on each day."""
    base = base_days(inputs, rules, days)
    unused = _unused_days(inputs, days)
    minutes = _minutes_of_days(inputs, days)
    rows = []
    for day in sorted({day for day, _ in lines} | set(base) | set(unused)):
        own = [verdict for date, verdict in lines if date == day]
        verdict, reasons = day_verdict(own)
        if not own:
            reasons = ["a base record only, nothing was walked"]
        if unused.get(day) and not own:
            verdict, reasons = REWALK, [f"{unused[day]} readings, none of them on a line"]
        rows.append(
            {
                "date": day,
                "zone": days.label(days.bounds(day)[0]),
                "verdict": verdict,
                "reasons": reasons,
                "base": base.get(day, NO_BASE),
                "minutes": minutes.get(day, {}),
                "lines": own,
            }
        )
    return rows


def _unused_days(inputs: Mapping[str, Record], days: Days) -> dict[str, int]:
    """Return how many rover readings of each day lie on no line."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    off = table(inputs, "rover_lines").frame["line"].is_null().to_numpy()
    times = seconds[off & np.isfinite(seconds)]
    counts = {}
    for day in days.names(times):
        begin, end = days.bounds(day)
        counts[day] = int(np.sum((times >= begin) & (times < end)))
    return counts


def _minutes_of_days(inputs: Mapping[str, Record], days: Days) -> dict[str, dict[str, int]]:
    """Return how many minutes of each day have each verdict, over all bases."""
    counts: dict[str, dict[str, int]] = {}
    minutes = table(inputs, "base_minutes")
    for second, verdict in zip(
        minutes.seconds("start_utc"), minutes.strings("verdict"), strict=True
    ):
        own = counts.setdefault(days.name(second), {})
        own[str(verdict)] = own.get(str(verdict), 0) + 1
    return counts


def _tell_unticked(
    found: FindingList, inputs: Mapping[str, Record], days: Days, context: Context
) -> None:
    """Tell how many items of each set-up checklist were not ticked; that lowers no verdict."""
    ticked = {
        (item["target"]["instrument"], (item["target"]["start"] or "")[:10], item["value"]["item"])
        for item in context.decisions
    }
    missing: dict[str, list[str]] = {}
    for role, items in CHECKLISTS.items():
        for day, name in _recorded_days(inputs, role, days):
            left = sum((name, day, item.name) not in ticked for item in items)
            if left:
                missing.setdefault(day, []).append(f"{name} {left} of {len(items)}")
    for day, parts in sorted(missing.items()):
        found.add(
            "set-up checklist",
            f"Items of the set-up checklists not ticked on {day}: {', '.join(parts)}; "
            "lodewalk tick shows them.",
        )


def _tests(inputs: Mapping[str, Record]) -> list[dict[str, Any]]:
    """Return the tests with their times in print."""
    rows = []
    for test in document(inputs, "trials")["tests"]:
        times = {f"{end}_utc": stamp(test[f"{end}_s"]) for end in ("start", "end")}
        rows.append({key: test[key] for key in test if not key.endswith("_s")} | times)
    return rows


def _recorded_days(inputs: Mapping[str, Record], role: str, days: Days) -> list[tuple[str, str]]:
    """Return the days on which each instrument of a role recorded."""
    seconds = table(inputs, f"{role}_times").seconds("time_utc")
    names = np.repeat(
        [item["instrument"] for item in document(inputs, f"{role}_files")["files"]],
        [item["rows"] for item in document(inputs, f"{role}_files")["files"]],
    )
    found = []
    for name in instruments(document(inputs, f"{role}_files")):
        own = seconds[(names == name) & np.isfinite(seconds)]
        found += [(day, name) for day in days.names(own)]
    return sorted(found)


def _findings(inputs: Mapping[str, Record], own: Findings) -> list[dict[str, Any]]:
    """Return all findings in order of their time."""
    tables = [table(inputs, f"{name}_findings").frame for name in PARTS]
    frame = pl.concat([*tables, own.frame])
    frame = frame.sort("start_utc", nulls_last=True, maintain_order=True)
    stamp = "%Y-%m-%dT%H:%M:%S%.3fZ"
    frame = frame.with_columns(pl.col("start_utc", "end_utc").dt.strftime(stamp))
    columns = ("kind", "instrument", "start_utc", "end_utc", "severity", "text")
    return frame.select(columns).to_dicts()
