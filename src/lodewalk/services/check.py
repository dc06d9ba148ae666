"""Findings and verdicts of a survey."""

import json
from dataclasses import dataclass
from typing import Any

from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.store import product_path


@dataclass(frozen=True)
class CheckedLine:
    """One passage of a line."""

    line: str
    instrument: str
    start_utc: str
    verdict: str
    reasons: list[str]
    length_m: float


@dataclass(frozen=True)
class CheckedBase:
    """The base on a day; null where there is no record to judge."""

    range_nT: float | None
    worst_chord_nT: float | None
    activity: list[dict[str, Any]]


@dataclass(frozen=True)
class CheckedDay:
    """One UTC day."""

    date: str
    verdict: str
    reasons: list[str]
    base: CheckedBase
    lines: list[CheckedLine]


@dataclass(frozen=True)
class ClockState:
    """What is known of one instrument's clock: its time minus UTC."""

    instrument: str
    offset_s: float | None
    sd_s: float | None
    state: str
    method: str


@dataclass(frozen=True)
class Finding:
    """One finding."""

    kind: str
    instrument: str | None
    start_utc: str | None
    end_utc: str | None
    severity: str
    text: str


@dataclass(frozen=True)
class Rewalk:
    """What to walk again."""

    length_m: float
    gpx: str | None


@dataclass(frozen=True)
class CheckResult:
    """Verdicts of days and lines, clocks, findings, and what to walk again."""

    days: list[CheckedDay]
    clock: list[ClockState]
    findings: list[Finding]
    rewalk: Rewalk


def check(folder: Folder, *, reporter: Reporter | None = None) -> CheckResult:
    """Bring up what the verdicts need and return them."""
    run_steps(folder, to="check", reporter=reporter)
    return check_result(json.loads(product_path(folder, "check").read_text(encoding="utf-8")))


def check_result(found: dict[str, Any]) -> CheckResult:
    """Return the check document as a result."""
    days = [
        CheckedDay(
            day["date"],
            day["verdict"],
            day["reasons"],
            CheckedBase(**day["base"]),
            [CheckedLine(**line) for line in day["lines"]],
        )
        for day in found["days"]
    ]
    clock = [ClockState(**row) for row in found["clock"]]
    return CheckResult(
        days, clock, [Finding(**row) for row in found["findings"]], Rewalk(**found["rewalk"])
    )
