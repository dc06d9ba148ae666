"""What `lodewalk check` prints of clocks and findings, from results made by hand."""

import pytest

from lodewalk.cli.check import _clock_lines, _finding_lines
from lodewalk.services.check import CheckResult, ClockDay, ClockState, Finding, Missed, Rewalk
from lodewalk.services.evening.answers import Refusal
from small_survey import CRS, write_small_survey


def clock(days, *, drift=None):
    return ClockState(
        "R1", 3600.2, 0.4, "measured", "zigzag", "", "the track", None, days, drift,
        None if drift is None else 0.1,
    )  # fmt: skip


def day(date, offset):
    sd = None if offset is None else 0.4
    return ClockDay(date, offset, sd, "measured" if offset is not None else "unknown", None)


def result(clocks=(), findings=()):
    missed = Missed(5.0, 0.05, 2.0, 1.0, 0.9, None, None, None, None, 0)
    rewalk = Rewalk(0.0, 0.0, 0, None, [])
    return CheckResult([], list(clocks), [], [], missed, list(findings), rewalk)


def test_days_that_differ_have_a_row_each():
    rows = _clock_lines(result([clock([day("2026-03-10", 0.1), day("2026-03-11", 3600.2)])]))
    assert len(rows) == 3
    assert "+0.1 s" in rows[1]
    assert "on 2026-03-10" in rows[1]
    assert "+3600.2 s" in rows[2]


@pytest.mark.parametrize("other", [3600.2, None])
def test_days_that_agree_have_one_row(other):
    rows = _clock_lines(result([clock([day("2026-03-10", 3600.2), day("2026-03-11", other)])]))
    assert len(rows) == 1


def test_a_drift_is_told():
    assert "drift -2.00 s/h, sd 0.10 s/h" in _clock_lines(result([clock([], drift=-2.0)]))[0]


def test_findings_stand_gravest_first_with_their_time():
    found = [
        Finding("gap", "R1", "2026-03-10T12:53:04.000Z", None, "information", "R1: a gap."),
        Finding("base", None, None, None, "loss", "No base."),
        Finding("clock", "R1", "2026-03-11T09:01:59.000Z", None, "doubt", "R1: off."),
    ]
    rows = _finding_lines(result(findings=found))
    assert [row.split()[0] for row in rows] == ["loss", "doubt", "information"]
    assert "03-11 09:01" in rows[1]
    assert "03-10 12:53" in rows[2]


def test_a_refused_proposal_is_told_with_its_reason_and_one_whose_evidence_changed_as_well():
    def told(*, holds):
        refusal = Refusal("1", "GPS time was set by hand", "AB", "2026-03-11T20:00:00Z", holds)
        clock = Finding("clock", "R1", None, None, "doubt", "R1: off.", None, refusal)
        return _finding_lines(result(findings=[clock]))[0]

    assert told(holds=True).endswith("Refused by AB: GPS time was set by hand")
    assert "the evidence changed" in told(holds=False)
    assert told(holds=False).endswith("; the proposal waits again.")


def test_the_first_command_after_adding_may_be_check(lodewalk, tmp_path):
    """The page of a day needs nothing that the check doesn't bring up itself."""
    truth = write_small_survey(tmp_path, lines=3)
    path = tmp_path / "survey"
    assert lodewalk("new", path, "--name", "New", "--crs", CRS).code == 0
    for file, role in ((truth.base, "base"), (truth.rover, "rover")):
        assert lodewalk("add", path, file, "--role", role, "--instrument", role).code == 0
    shown = lodewalk("check", path)
    assert shown.code == 0, shown.err
    assert shown.out.startswith("Times are UTC.")
    assert list((path / "products" / "days").glob("*.png"))
