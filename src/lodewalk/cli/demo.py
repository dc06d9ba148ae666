"""`lodewalk demo`: the whole job on an invented survey."""

from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, emit, progress


def demo(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="New folder for the demo.")],
    seed: Annotated[int, typer.Option(min=0, help="The same seed gives the same files.")] = 7,
    as_json: AsJson = False,
) -> None:
    """Write the demo survey with its known truth, run the whole job, say where to look."""
    from lodewalk.services.demo_job import demo as demo_service

    with progress() as reporter:
        result = demo_service(directory, seed=seed, reporter=reporter)
    compiled = (
        f"{result.compile_seconds:.1f} s of it compiled kernels, once for this machine"
        if result.compile_seconds
        else "all kernels were compiled already"
    )
    emit(
        result,
        as_json=as_json,
        lines=[
            f"{result.readings_total} readings, {result.readings_kept} kept; written in "
            f"{result.write_seconds:.1f} s, run in {result.run_seconds:.1f} s, report in "
            f"{result.report_seconds:.1f} s; {compiled}.",
            f"map     {result.map}",
            f"report  {result.report}",
            f"truth   {result.truth}",
            f"Look next: lodewalk check {result.folder}",
            f"Before going: lodewalk feasibility {result.before_going}, then lodewalk plan "
            f"{result.before_going}",
        ],
    )
