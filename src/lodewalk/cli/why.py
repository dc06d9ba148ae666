"""`lodewalk why`: why a step is stale, how a reading got its value, what a depth rests on."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, emit
from lodewalk.services.opening import open_survey


def why(
    directory: Survey,
    what: Annotated[
        str,
        typer.Argument(
            metavar="STEP-or-READING",
            help="Step, reading_id or FILE:LINE; or the name of a pick or lineament.",
        ),
    ],
    as_json: AsJson = False,
) -> None:
    """Say why a step is stale, or trace a reading or a depth back to raw files and lines."""
    from lodewalk.services.why import WhyStep
    from lodewalk.services.why import why as why_service

    result = why_service(open_survey(directory), what)
    if isinstance(result, WhyStep):
        head = f"Step {result.step} is {'stale' if result.stale else 'up to date'}."
        lines = [head, *(f"  {reason}" for reason in result.reasons)]
        lines.append(f"It reads {', '.join(result.inputs) or 'raw files'}.")
        if result.settings:
            lines.append(f"Its settings are {', '.join(result.settings)}.")
    else:
        lines = result.sentences
    emit(result, as_json=as_json, lines=lines)
