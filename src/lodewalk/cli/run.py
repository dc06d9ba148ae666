"""`lodewalk run`: bring the products up to date."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey


def run(
    directory: Survey,
    to: Annotated[str | None, typer.Option(metavar="STEP", help="Last step wanted.")] = None,
    rehash: Annotated[
        bool, typer.Option("--rehash", help="Compare the content of every raw file.")
    ] = False,
    threads: Annotated[int, typer.Option(min=1, max=64, help="Results don't depend on it.")] = 2,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Dask scheduler (tcp://HOST:PORT) whose workers are used instead of threads; "
            "results don't depend on it.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Bring products up to date; show which step ran and why."""
    from lodewalk.services.run import run as run_service

    folder = open_survey(directory)
    with progress() as reporter:
        result = run_service(
            folder,
            to=to,
            rehash=rehash,
            workers=threads,
            scheduler=scheduler,
            reporter=reporter,
        )
    rows = [
        [item.step, f"{item.seconds:.2f} s" if item.ran else "up to date", "; ".join(item.why)]
        for item in result.steps
    ]
    lines = columns(rows)
    if result.readings:
        lines.append(f"{result.readings.total} readings, {result.readings.kept} kept")
    if result.problem:
        lines.append(f"no grid: {result.problem}")
    lines += [f"changed: {change.text}" for change in result.changes]
    emit(result, as_json=as_json, lines=[*lines, *result.products])
