"""Check: findings gathered, clocks, tests, and a verdict for each minute, line and day."""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.records import Document, Record
from lodewalk.records.products import Findings
from lodewalk.steps.base_days import NO_BASE, BaseRules, base_days, stamp, tell_chords
from lodewalk.steps.context import Context
from lodewalk.steps.days import Days
from lodewalk.steps.declarations import step_named
from lodewalk.steps.findings import FindingList
from lodewalk.steps.minutes import bearable_error
from lodewalk.steps.rewalk import rewalk
from lodewalk.steps.rows import document, instruments, table
from lodewalk.steps.set_up import CHECKLISTS
from lodewalk.steps.verdicts import (
    DOUBT,
    KEEP,
    REWALK,
    UNKNOWN,
    day_verdict,
    line_verdict,
    not_walked,
    passages,
    reading_marks,
)

BEST_FIRST = (KEEP, DOUBT, REWALK, UNKNOWN)


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return verdicts of days and lines, clocks, tests, findings and what to walk again."""
    tolerances = settings["tolerances"]
    days = Days.of(settings["survey.time_zone"])
    found = FindingList("check")
    marks = reading_marks(inputs, tolerances)
    walked = passages(inputs, marks)
    noise = document(inputs, "line_noise")["lines"]
    holes = document(inputs, "walked")["not_walked"]
    missing = not_walked(holes)
    verdicts = [
        line_verdict(passage, tolerances, not_walked=missing.get(passage.row["line"], 0.0))
        | _noise(own)
        for passage, own in zip(walked, noise, strict=True)
    ]
    again, route = rewalk(
        inputs,
        walked,
        verdicts,
        marks,
        holes,
        crs=settings["survey.crs"],
        least_m=tolerances["gap_m"],
    )
    lines = [
        (days.name(p.row["start_utc"].timestamp()), verdict)
        for p, verdict in zip(walked, verdicts, strict=True)
    ]
    tell_chords(found, inputs, tolerances["chord_nT"])
    _tell_off_lines(found, inputs, lines, days)
    _tell_unticked(found, inputs, days, context)
    values = {
        "days": _days(inputs, lines, _rules(settings), days, context),
        "clock": document(inputs, "clock_evidence")["clock"],
        "tests": _tests(inputs),
        "coverage": document(inputs, "walked")["lines"],
        "missed": document(inputs, "missed").values,
        "findings": _findings(inputs, found.table()),
        "rewalk": again,
    }
    return {"check": Document(values), "check_findings": found.table(), "rewalk": route}


def _noise(own: Mapping[str, Any]) -> dict[str, Any]:
    """Return the noise envelope of a passage for print."""
    return {"noise_envelope_nT": own["usual_nT"], "noise_over_share": own["share_over"]}


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
    context: Context,
) -> list[dict[str, Any]]:
    """Return the verdict on each day."""
    base = base_days(inputs, rules, days, context.decisions)
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
    """Return how many minutes of each day have each verdict, the best of all bases for each."""
    best: dict[float, str] = {}
    minutes = table(inputs, "base_minutes")
    for second, verdict in zip(
        minutes.seconds("start_utc").tolist(), minutes.strings("verdict"), strict=True
    ):
        best[second] = min(best.get(second, UNKNOWN), str(verdict), key=BEST_FIRST.index)
    counts: dict[str, dict[str, int]] = {}
    for second, verdict in best.items():
        own = counts.setdefault(days.name(second), {})
        own[verdict] = own.get(verdict, 0) + 1
    return counts


def _tell_off_lines(
    found: FindingList, inputs: Mapping[str, Record], lines: list[tuple[str, dict[str, Any]]],
    days: Days,
) -> None:  # fmt: skip
    """Tell rovers that walked no line on a day although they recorded: all of it would be lost."""
    walked = {(day, line["instrument"]) for day, line in lines}
    trials = {(test["day"], test["instrument"]) for test in document(inputs, "trials")["tests"]}
    for day, name in _recorded_days(inputs, "rover", days):
        if (day, name) not in walked | trials:
            found.add(
                "no line",
                f"{name}: none of its readings on {day} lies on a line, so none of them serves; "
                "are lines.source, lines.off_line_m and lines.min_length_m right?",
                severity="doubt",
                instrument=name,
                start_s=days.bounds(day)[0],
                end_s=days.bounds(day)[1],
            )


def _tell_unticked(
    found: FindingList, inputs: Mapping[str, Record], days: Days, context: Context
) -> None:
    """Tell how many items of each set-up checklist were not ticked; that lowers no verdict."""
    ticked = {
        (item["target"]["instrument"], (item["target"]["start"] or "")[:10], item["value"]["item"])
        for item in context.decisions
        if item["kind"] == "tick"
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
    names = [name for name in step_named("check").inputs if name.endswith("_findings")]
    tables = [table(inputs, name).frame for name in names]
    frame = pl.concat([*tables, own.frame], how="diagonal")
    frame = frame.sort("start_utc", nulls_last=True, maintain_order=True)
    proposals = Findings(frame).strings("proposal")
    form = "%Y-%m-%dT%H:%M:%S%.3fZ"
    frame = frame.with_columns(pl.col("start_utc", "end_utc").dt.strftime(form))
    columns = ("kind", "instrument", "start_utc", "end_utc", "severity", "text")
    return [
        row | {"proposal": json.loads(told) if told else None}
        for row, told in zip(frame.select(columns).to_dicts(), proposals, strict=True)
    ]
