"""The evening's part of the report: clocks, tests, checklists, coverage, what to walk again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lodewalk.records import Document

PASSED = {True: "passed", False: "failed", None: "no tolerance applies"}


@dataclass(frozen=True)
class ClockRow:
    """What is known of one clock."""

    instrument: str
    state: str
    offset_s: float | None
    sd_s: float | None
    method: str
    text: str
    positions: str
    decided_s: float | None
    by_day: bool


@dataclass(frozen=True)
class TestRow:
    """One test of set-up or cleanliness."""

    day: str
    instrument: str
    test: str
    result: str
    text: str


@dataclass(frozen=True)
class TickRow:
    """One item of a set-up checklist."""

    day: str
    instrument: str
    text: str
    who: str
    when: str


@dataclass(frozen=True)
class CoverageRow:
    """How much of a line is covered."""

    line: str
    length_m: float
    covered_share: float
    longest_gap_m: float
    off_line_m: float | None


@dataclass(frozen=True)
class WalkRow:
    """A line, or a part of it, to walk again."""

    line: str
    part: str
    length_m: float
    why: str


@dataclass(frozen=True)
class Evening:
    """What the evening's check says beside the verdicts."""

    clocks: tuple[ClockRow, ...] = ()
    tests: tuple[TestRow, ...] = ()
    ticks: tuple[TickRow, ...] = ()
    coverage: tuple[CoverageRow, ...] = ()
    walks: tuple[WalkRow, ...] = ()
    walk_text: str = ""
    missed_text: str = ""
    lag_text: tuple[str, ...] = ()


def evening_of(check: Document | None, ticks: Sequence[Mapping[str, Any]] = ()) -> Evening:
    """Return the evening's part from the check document and the ticks of the checklists.

    Examples
    --------
    >>> evening_of(None).walks
    ()
    """
    listed = tuple(
        TickRow(
            item["day"], item["instrument"], item["text"], item["who"] or "", item["when_utc"] or ""
        )
        for item in ticks
    )
    if check is None:
        return Evening(ticks=listed)
    values = check.values
    return Evening(
        clocks=tuple(_clock(row) for row in values.get("clock", ())),
        tests=tuple(
            TestRow(
                row["day"],
                row["instrument"],
                f"{row['test']} {row['item']}".strip(),
                PASSED[row["passed"]],
                row["text"],
            )
            for row in values.get("tests", ())
        ),
        ticks=listed,
        coverage=tuple(CoverageRow(**row) for row in values.get("coverage", ())),
        walks=tuple(
            WalkRow(row["line"], "whole" if row["whole"] else "part", row["length_m"], row["why"])
            for row in values.get("rewalk", {}).get("spans", ())
        ),
        walk_text=_walk_text(values.get("rewalk", {})),
        missed_text=_missed_text(values.get("findings", ())),
        lag_text=tuple(row["text"] for row in values.get("findings", ()) if row["kind"] == "lag"),
    )


def _clock(row: Mapping[str, Any]) -> ClockRow:
    """Return one clock for print."""
    return ClockRow(
        row["instrument"],
        row["state"],
        row["offset_s"],
        row["sd_s"],
        row["method"],
        " ".join(filter(None, [row.get("text", ""), *_clock_more(row)])),
        row.get("position_clock") or "",
        row.get("decided_s"),
        row.get("decided_s") is None and any(day["decided_s"] for day in row.get("days") or []),
    )


def _clock_more(row: Mapping[str, Any]) -> list[str]:
    """Return the drift of a clock, and its days where they differ, in words."""
    said = []
    if row.get("drift_s_per_h") is not None:
        said.append(f"Drift {row['drift_s_per_h']:+.2f} s/h, sd {row['drift_sd_s_per_h']:.2f} s/h.")
    days = [day for day in row.get("days") or [] if day["offset_s"] is not None]
    if len({day["offset_s"] for day in days}) > 1:
        parts = [f"{d['day']} {d['offset_s']:+.1f} s (sd {d['sd_s']:.1f} s)" for d in days]
        said.append(f"By day: {', '.join(parts)}.")
    decided = [
        f"{d['day']} {d['decided_s']:+.1f} s" for d in row.get("days") or [] if d["decided_s"]
    ]
    if decided and row.get("decided_s") is None:
        said.append(f"Decided by day: {', '.join(decided)}.")
    return said


def _walk_text(again: Mapping[str, Any]) -> str:
    """Return how much there is to walk again, in words."""
    if not again.get("spans"):
        return "Nothing has to be walked again."
    return (
        f"{again['length_m']:.0f} m on lines and {again['between_m']:.0f} m between them, about "
        f"{again['minutes']} minutes at the survey's own pace, in the order below; the route is "
        f"in {again['gpx']}."
    )


def _missed_text(findings: Sequence[Mapping[str, Any]]) -> str:
    """Return what the check says of targets that could still hide."""
    return next((row["text"] for row in findings if row["kind"] == "targets"), "")
