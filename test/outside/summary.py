"""What the outside checks found, printed at the end of the run.

Lines travel as properties of the test reports, so they also arrive from parallel test processes.
"""

import pytest

FIGURE = "outside figure"
NOT_REACHABLE = "outside data: registry not reachable"

_PRINTED = pytest.StashKey[bool]()


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    reports = [
        report
        for outcome in ("passed", "failed", "error", "skipped")
        for report in terminalreporter.stats.get(outcome, [])
        if isinstance(report, pytest.TestReport) and "outside" in report.keywords
    ]
    if not reports or config.stash.get(_PRINTED, False):
        return
    config.stash[_PRINTED] = True
    skipped = sum(NOT_REACHABLE in str(report.longrepr) for report in reports if report.skipped)
    ran = sum(report.when == "call" and not report.skipped for report in reports)
    terminalreporter.section("outside checks")
    for report in reports:
        for name, line in report.user_properties:
            if name == FIGURE:
                terminalreporter.write_line(line)
    terminalreporter.write_line(
        f"outside data: {ran} checks run, {skipped} skipped because the registry was not reachable"
    )
