"""`lodewalk report`: the report with map, sheets and profiles."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey


def report(
    directory: Survey,
    scale: Annotated[
        int | None, typer.Option(help="Scale number of the sheets, such as 2000 for 1:2 000.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Bring products up to date and write report, map, fixed-scale sheets and profiles."""
    from lodewalk.services.report import report as report_service

    with progress() as reporter:
        result = report_service(open_survey(directory), scale=scale, reporter=reporter)
    rows = [
        ["report", result.report],
        ["map", result.map or f"none: {result.problem or 'the grid holds no value'}"],
        ["sheets", result.sheets or "none"],
        ["profiles", result.profiles or "none"],
        ["rocks", f"{len(result.rocks)} files" if result.rocks else "none"],
    ]
    emit(result, as_json=as_json, lines=columns(rows))
