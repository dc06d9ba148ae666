"""Findings and verdicts of a survey."""

import json
from dataclasses import dataclass, replace
from typing import Any

from lodewalk.errors import FolderError
from lodewalk.services.day_pages import write_day_pages
from lodewalk.services.decide import decisions_in_force
from lodewalk.services.evening.answers import Refusal, answer_to
from lodewalk.steps.context import Reporter
from lodewalk.steps.proposed import Proposal
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run as run_steps
from lodewalk.survey.store import product_path


@dataclass(frozen=True)
class CheckedLine:
    """One passage of a line; median of its noise envelope, and the share above the tolerance."""

    line: str
    instrument: str
    start_utc: str
    verdict: str
    reasons: list[str]
    length_m: float
    noise_envelope_nT: float | None
    noise_over_share: float | None


@dataclass(frozen=True)
class BaseInterval:
    """Whether the interval of a base was enough for the field of a day."""

    instrument: str
    interval_s: float | None
    answer: str
    error_95_nT: float | None
    tolerance_nT: float
    longest_s: float | None
    basis: str | None


@dataclass(frozen=True)
class CheckedBase:
    """The base on a day; null where there is no record to judge."""

    range_nT: float | None
    worst_chord_nT: float | None
    activity: list[dict[str, Any]]
    intervals: list[BaseInterval]


@dataclass(frozen=True)
class CheckedDay:
    """One field day in the survey's own zone; `minutes` counts its minutes by verdict."""

    date: str
    zone: str
    verdict: str
    reasons: list[str]
    base: CheckedBase
    minutes: dict[str, int]
    lines: list[CheckedLine]
    figure: str | None = None


@dataclass(frozen=True)
class ClockDay:
    """What is known of a clock on one field day; null where nothing is."""

    day: str
    offset_s: float | None
    sd_s: float | None
    state: str
    decided_s: float | None


@dataclass(frozen=True)
class ClockState:
    """What is known of one instrument's clock: its time minus UTC.

    `position_clock` says which clock stamps the positions; `decided_s` what a person decided.
    Where the days don't agree, the offset is that of the day on which the clock was furthest off.
    The drift is against the base, or the first base, and null where it isn't known.
    """

    instrument: str
    offset_s: float | None
    sd_s: float | None
    state: str
    method: str
    text: str
    position_clock: str | None
    decided_s: float | None
    days: list[ClockDay]
    drift_s_per_h: float | None
    drift_sd_s_per_h: float | None


@dataclass(frozen=True)
class CheckedTest:
    """One test of set-up or cleanliness; `passed` is null where it has no tolerance."""

    test: str
    item: str
    instrument: str
    day: str
    start_utc: str
    end_utc: str
    figure_nT: float | None
    sd_nT: float | None
    tolerance_nT: float | None
    passed: bool | None
    text: str


@dataclass(frozen=True)
class CoveredLine:
    """How much of a planned line, or of one walked without a plan, is covered."""

    line: str
    length_m: float
    covered_share: float
    longest_gap_m: float
    off_line_m: float | None


@dataclass(frozen=True)
class Missed:
    """Which compact target the survey as walked would have shown, and where it might not have.

    The target is a sphere that the field magnetises, `depth_m` below ground to its centre.
    `found_share` is the share of the ground on which one of `radius_m` is found with the
    probability `detection`; the three radii are those of the smallest one found where that is
    easiest, on half of the ground, and on 95 % of it; null where no buried one is.
    """

    depth_m: float
    susceptibility: float
    radius_m: float
    background_nT: float
    detection: float
    found_share: float | None
    smallest_radius_m: float | None
    median_radius_m: float | None
    radius_95_m: float | None
    readings: int


@dataclass(frozen=True)
class Finding:
    """One finding, with the decision that it proposes and the refusal of it, where there are."""

    kind: str
    instrument: str | None
    start_utc: str | None
    end_utc: str | None
    severity: str
    text: str
    proposal: Proposal | None = None
    refused: Refusal | None = None


@dataclass(frozen=True)
class RewalkSpan:
    """A line, or a part of it, to walk again, in order of walking."""

    line: str
    whole: bool
    length_m: float
    why: str
    first_easting_m: float
    first_northing_m: float
    last_easting_m: float
    last_northing_m: float


@dataclass(frozen=True)
class Rewalk:
    """What to walk again: metres on lines and between them, minutes, and the route's file."""

    length_m: float
    between_m: float
    minutes: int
    gpx: str | None
    spans: list[RewalkSpan]


@dataclass(frozen=True)
class CheckResult:
    """Verdicts of days and lines, clocks, tests, findings, and what to walk again."""

    days: list[CheckedDay]
    clock: list[ClockState]
    tests: list[CheckedTest]
    coverage: list[CoveredLine]
    missed: Missed
    findings: list[Finding]
    rewalk: Rewalk


def check(folder: Folder, *, reporter: Reporter | None = None, pages: bool = False) -> CheckResult:
    """Bring up what the verdicts need and return them; `pages` draws the page of each day."""
    run_steps(folder, to="check", reporter=reporter)
    result = check_result(json.loads(product_path(folder, "check").read_text(encoding="utf-8")))
    result = replace(result, findings=_told(folder, result))
    if not pages:
        return result
    drawn = write_day_pages(folder)
    return replace(result, days=[replace(day, figure=drawn.get(day.date)) for day in result.days])


def _told(folder: Folder, result: CheckResult) -> list[Finding]:
    """Return the findings with the refusals of what they propose, and those on idle decisions."""
    live = decisions_in_force(folder)
    told = [
        replace(item, refused=answer_to(item.proposal, live).refusal) if item.proposal else item
        for item in result.findings
    ]
    return [*told, *_idle(folder)]


def _idle(folder: Folder) -> list[Finding]:
    """Return findings on picks and refusals that meet nothing, if those of the last run hold."""
    from lodewalk.services.rocks.idle import idle_findings
    from lodewalk.services.stale import pending

    due = (row.step for row in pending(folder, to="picks").steps)
    if not product_path(folder, "pick_notes").exists() or "picks" in due:
        return []
    return [
        Finding(row["kind"], row["instrument"], None, None, row["severity"], row["text"])
        for row in idle_findings(folder).frame.iter_rows(named=True)
    ]


def checked(folder: Folder) -> CheckResult:
    """Return the verdicts as last made, without running anything.

    Raises
    ------
    FolderError
        Before the first check.
    """
    path = product_path(folder, "check")
    if not path.exists():
        raise FolderError("The survey hasn't been checked yet. Run it first.")
    result = check_result(json.loads(path.read_text(encoding="utf-8")))
    return replace(result, findings=_told(folder, result))


def check_result(found: dict[str, Any]) -> CheckResult:
    """Return the check document as a result."""
    days = [
        CheckedDay(
            **day
            | {
                "base": CheckedBase(
                    **day["base"]
                    | {"intervals": [BaseInterval(**row) for row in day["base"]["intervals"]]}
                ),
                "lines": [CheckedLine(**line) for line in day["lines"]],
            }
        )
        for day in found["days"]
    ]
    again = found["rewalk"]
    return CheckResult(
        days,
        [
            ClockState(**row | {"days": [ClockDay(**day) for day in row["days"]]})
            for row in found["clock"]
        ],
        [CheckedTest(**row) for row in found["tests"]],
        [CoveredLine(**row) for row in found["coverage"]],
        Missed(**found["missed"]),
        [_finding(row) for row in found["findings"]],
        Rewalk(**again | {"spans": [RewalkSpan(**span) for span in again["spans"]]}),
    )


def _finding(row: dict[str, Any]) -> Finding:
    """Return a finding of the check document; before proposals were data it held none."""
    proposal = row.get("proposal")
    return Finding(**row | {"proposal": Proposal(**proposal) if proposal else None})
