"""`lodewalk pack`: the delivery package."""

from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, columns, emit, progress
from lodewalk.services.opening import open_survey


def pack(
    directory: Survey,
    out: Annotated[Path, typer.Argument(metavar="OUT.zip", help="Package to write.")],
    force: Annotated[bool, typer.Option("--force", help="Replace a file of this name.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write the whole survey with its report as one zip that another person can verify."""
    from lodewalk.services.pack import pack as pack_service

    with progress() as reporter:
        result = pack_service(open_survey(directory), out, force=force, reporter=reporter)
    rows = [
        ["package", result.package],
        ["holds", f"{result.files} files, {result.products} products, "
                  f"{result.unpacked_bytes / 1e6:.1f} MB in {result.size_bytes / 1e6:.1f} MB"],
        ["brought up", f"{len(result.steps_run)} steps" if result.steps_run else "nothing"],
        ["report", "written" if result.report_written else "was up to date"],
        ["sha256", result.sha256],
    ]  # fmt: skip
    if result.left_out:
        rows.append(["not as products", f"{', '.join(result.left_out)}: no longer up to date"])
    emit(result, as_json=as_json, lines=columns(rows))
