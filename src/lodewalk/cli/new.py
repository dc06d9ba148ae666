"""`lodewalk new`: an empty survey folder."""

from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, emit


def new(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.")],
    name: Annotated[str, typer.Option(help="Name of the survey.")],
    crs: Annotated[str, typer.Option(help="Projected reference system, such as EPSG:31982.")],
    time_zone: Annotated[str, typer.Option(help="Zone of times in files that don't say one.")] = "",
    as_json: AsJson = False,
) -> None:
    """Make an empty survey folder with a commented survey.toml."""
    from lodewalk.services.new import new_survey

    own = {"survey": {"time_zone": time_zone}} if time_zone else {}
    result = new_survey(directory, name=name, crs=crs, settings=own)
    emit(
        result,
        as_json=as_json,
        lines=[
            f"Made the survey folder {result.folder}.",
            f"Next: look through {result.settings_file}, then",
            f"  lodewalk add {directory} BASE_FILE --role base",
        ],
    )
