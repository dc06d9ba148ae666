"""`lodewalk check`: findings and verdicts."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey

if TYPE_CHECKING:
    from lodewalk.services.check import BaseInterval, CheckedDay, CheckResult, ClockState
    from lodewalk.services.evening.answers import Refusal

SIGNS = {"keep": "+", "doubt": "?", "re-walk": "x"}
SEVERITIES = ("loss", "doubt", "information")
PASSED = {True: "passed", False: "failed", None: "figure"}


def check(directory: Survey, as_json: AsJson = False) -> None:
    """Say of each day and line whether to keep it, doubt it or walk it again."""
    from lodewalk.services.check import check as check_service

    with progress() as reporter:
        result = check_service(open_survey(directory), reporter=reporter, pages=True)
    lines = ["Times are UTC."]
    lines += [line for day in result.days for line in _day_lines(day)]
    lines += [*_clock_lines(result), *_test_lines(result), *_finding_lines(result)]
    lines += _rewalk_lines(result)
    emit(result, as_json=as_json, lines=lines)


def _day_lines(day: "CheckedDay") -> Iterator[str]:
    """Yield the verdict of a day and of its lines."""
    yield f"{day.date}  {SIGNS[day.verdict]} {day.verdict}  {'; '.join(day.reasons)}"
    counts = ", ".join(f"{day.minutes[word]} {word}" for word in sorted(day.minutes))
    if counts:
        yield f"  minutes of the base: {counts}"
    yield from (f"  {_interval_text(row)}" for row in day.base.intervals)
    yield from columns(
        [
            ["", SIGNS[line.verdict], line.line, line.instrument, line.start_utc[11:16],
             f"{line.length_m:.0f} m", line.verdict, "; ".join(line.reasons)]
            for line in day.lines
        ]
    )  # fmt: skip
    if day.figure:
        yield f"  figure  {day.figure}"


def _interval_text(row: "BaseInterval") -> str:
    """Return whether a base's interval was enough."""
    if row.interval_s is None or row.answer == "cannot be told":
        return f"{row.instrument}: whether its interval was enough can't be told"
    text = f"{row.instrument}: a reading each {row.interval_s:.3g} s was {row.answer}"
    if row.error_95_nT is not None:
        text += f", 95 % of its minutes err by up to {row.error_95_nT:.2f} nT"
    if row.longest_s is not None:
        text += f"; {row.longest_s:.3g} s would do ({row.basis})"
    return text


def _clock_lines(result: "CheckResult") -> list[str]:
    """Return what is known of each clock."""
    rows = []
    for clock in result.clock:
        size = "" if clock.offset_s is None else f"{clock.offset_s:+.1f} s"
        sd = "" if clock.sd_s is None else f"sd {clock.sd_s:.1f} s"
        method = clock.method
        if clock.drift_s_per_h is not None:
            method += f"; drift {clock.drift_s_per_h:+.2f} s/h, sd {clock.drift_sd_s_per_h:.2f} s/h"
        rows.append(["clock", clock.instrument, clock.state, size, sd, method])
        rows += _clock_days(clock)
    return columns(rows)


def _clock_days(clock: "ClockState") -> list[list[str]]:
    """Return a row a day where the days of a clock differ."""
    known = [day for day in clock.days if day.offset_s is not None]
    if len({day.offset_s for day in known}) < 2:
        return []
    return [
        ["", "", day.state, f"{day.offset_s:+.1f} s", f"sd {day.sd_s:.1f} s", f"on {day.day}"]
        for day in known
    ]


def _test_lines(result: "CheckResult") -> list[str]:
    """Return the tests of set-up and cleanliness."""
    return columns(
        [
            ["test", test.day, test.instrument, test.test, test.item, PASSED[test.passed],
             test.text]
            for test in result.tests
        ]
    )  # fmt: skip


def _finding_lines(result: "CheckResult") -> list[str]:
    """Return the findings with their time, the gravest first."""
    rank = {severity: place for place, severity in enumerate(SEVERITIES)}
    ordered = sorted(result.findings, key=lambda item: rank[item.severity])
    return columns(
        [
            [f.severity, (f.start_utc or "")[5:16].replace("T", " "), f.text + _refused(f.refused)]
            for f in ordered
        ]
    )


def _refused(refusal: "Refusal | None") -> str:
    """Say who refused what a finding proposes, and whether that still counts."""
    if refusal is None:
        return ""
    if refusal.holds:
        return f" Refused by {refusal.who}: {refusal.reason}"
    told = f" Refused by {refusal.who} before the evidence changed ({refusal.reason})"
    return f"{told}; the proposal waits again."


def _rewalk_lines(result: "CheckResult") -> Iterator[str]:
    """Yield what to walk again, in order of walking."""
    again = result.rewalk
    if not again.spans:
        yield "Nothing to walk again."
        return
    yield (
        f"To walk again: {again.length_m:.0f} m on lines and {again.between_m:.0f} m between them, "
        f"about {again.minutes} min; route in {again.gpx}"
    )
    yield from columns(
        [
            ["", str(number), span.line, "whole" if span.whole else "part",
             f"{span.length_m:.0f} m", span.why]
            for number, span in enumerate(again.spans, 1)
        ]
    )  # fmt: skip
