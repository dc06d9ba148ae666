"""`lodewalk add`: raw files into a survey."""

from pathlib import Path
from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, emit
from lodewalk.services.opening import open_survey

WITHOUT_TIMES = ("area", "exclusion", "terrain", "hand_meter", "known", "set_aside")


def add(
    directory: Survey,
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Files as recorded.")],
    role: Annotated[
        str,
        typer.Option(
            help="base, rover, track, observatory, plan, notes, older or known; before going: "
            "area, exclusion, terrain or hand_meter; set_aside for a file of the survey that no "
            "step is to read any longer."
        ),
    ],
    instrument: Annotated[
        str | None, typer.Option(help="Name of the instrument, such as R1.")
    ] = None,
    columns: Annotated[
        Path | None, typer.Option(metavar="MAP.toml", help="Column map of delimited text.")
    ] = None,
    time_zone: Annotated[
        str | None,
        typer.Option(metavar="ZONE", help="Zone of the times: UTC, GPS, +03:00 or an IANA name."),
    ] = None,
    propose: Annotated[
        Path | None,
        typer.Option(metavar="MAP.toml", help="Add nothing; write a draft of the column map."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Copy files into raw/, after reading and checking them; say what was understood."""
    from lodewalk.services.add import add_files, propose_map

    folder = open_survey(directory)
    if propose:
        draft = propose_map(files[0], role=role, out=propose)
        told = f"Wrote {draft.column_map}, {draft.confidence:.0%} sure. Check it, then give it with"
        emit(draft, as_json=as_json, lines=[f"{told} --columns.", *draft.reasons, *draft.doubts])
        return
    result = add_files(
        folder, files, role=role, instrument=instrument, columns=columns, time_zone=time_zone
    )
    lines = []
    for item in result.files:
        who = f", instrument {item.instrument}" if item.instrument else ""
        rows = "" if item.role == "set_aside" else f", {item.rows} rows"
        lines.append(f"{item.stored_as}: {item.format}{rows}, role {item.role}{who}")
        if item.role not in WITHOUT_TIMES:
            lines.append(f"  times in {item.zone}")
        lines += [f"  {sentence}" for sentence in item.understood]
    emit(result, as_json=as_json, lines=lines)
