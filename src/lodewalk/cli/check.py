"""`lodewalk check`: findings and verdicts."""

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey

SIGNS = {"keep": "+", "doubt": "?", "re-walk": "x"}


def check(directory: Survey, as_json: AsJson = False) -> None:
    """Say of each day and line whether to keep it, doubt it or walk it again."""
    from lodewalk.services.check import check as check_service

    with progress() as reporter:
        result = check_service(open_survey(directory), reporter=reporter)
    lines = []
    for day in result.days:
        lines.append(f"{day.date}  {SIGNS[day.verdict]} {day.verdict}  {'; '.join(day.reasons)}")
        lines += columns(
            [
                ["", SIGNS[line.verdict], line.line, line.instrument, line.start_utc[11:16],
                 f"{line.length_m:.0f} m", line.verdict, "; ".join(line.reasons)]
                for line in day.lines
            ]
        )  # fmt: skip
    lines += [f"{item.severity}: {item.text}" for item in result.findings]
    lines.append(f"To walk again: {result.rewalk.length_m:.0f} m")
    emit(result, as_json=as_json, lines=lines)
