"""`lodewalk activity`: how disturbed the field was."""

from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, columns, emit


def activity(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Base or observatory.")],
    k9: Annotated[
        float | None, typer.Option(min=1, help="Lower limit of K = 9 at the site [nT].")
    ] = None,
    time_zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Zone of times in files that don't say one.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Give the K index (two horizontal components) or the activity (scalar record)."""
    from lodewalk.services.activity import activity as activity_service

    result = activity_service(files, k9_nT=k9, time_zone=time_zone)
    rows = [["interval (UT)", "K", "activity", "range"]]
    for item in result.intervals:
        size = "" if item.range_nT is None else f"{item.range_nT:.1f} nT"
        rows.append([item.start_utc, "-" if item.k is None else str(item.k), item.activity, size])
    emit(result, as_json=as_json, lines=[*columns(rows), *result.remarks])
