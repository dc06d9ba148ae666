"""`lodewalk pick` and `lodewalk refuse`: places that a person wants looked at, or not believed."""

from typing import Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, emit
from lodewalk.errors import InputError
from lodewalk.services.opening import open_survey

Reason = Annotated[str, typer.Option("--reason", help="Why; kept with the decision.")]
Who = Annotated[str, typer.Option("--who", help="Initials of the person.")]


def pick(
    directory: Survey,
    line: Annotated[str | None, typer.Option(help="Survey line it lies on.")] = None,
    distance: Annotated[float | None, typer.Option(help="Distance along the line [m].")] = None,
    easting: Annotated[
        float | None, typer.Option(help="Easting, instead of line and distance [m].")
    ] = None,
    northing: Annotated[float | None, typer.Option(help="Northing, with it [m].")] = None,
    reading: Annotated[
        str | None, typer.Option(help="Or the reading_id of the reading there.")
    ] = None,
    strike: Annotated[
        float | None,
        typer.Option(help="Azimuth of the strike [degrees]; across the line when left out."),
    ] = None,
    compact: Annotated[
        bool, typer.Option("--compact", help="Look for a compact body there, such as a plug.")
    ] = False,
    reason: Reason = "",
    who: Who = "",
    as_json: AsJson = False,
) -> None:
    """Add a place to which a body is fitted; `decide DIR withdraw` takes it back."""
    from lodewalk.services.decide import add_pick

    _need(reason, who)
    made = add_pick(
        open_survey(directory),
        reason=reason,
        who=who,
        reading=reading,
        line=line,
        distance_m=distance,
        easting_m=easting,
        northing_m=northing,
        strike_deg=strike,
        compact=compact,
    )
    name = (made.value or {})["name"]
    told = f"{made.id[:8]}: pick {name} at reading {made.target['readings'][0]}"
    emit(made, as_json=as_json, lines=[told, f"Next: lodewalk {'fit' if compact else 'depth'} DIR"])


def refuse(
    directory: Survey,
    name: Annotated[
        str, typer.Argument(metavar="PICK-or-LINEAMENT", help="Such as R1-L07, or R1 for all.")
    ],
    reason: Reason = "",
    who: Who = "",
    as_json: AsJson = False,
) -> None:
    """Refuse a pick, or a lineament with all its picks; `decide DIR withdraw` takes it back."""
    from lodewalk.services.decide import refuse as refuse_service

    _need(reason, who)
    made = refuse_service(open_survey(directory), name, reason=reason, who=who)
    what = (made.value or {})["what"]
    emit(made, as_json=as_json, lines=[f"{made.id[:8]}: {what} {name} is refused"])


def _need(reason: str, who: str) -> None:
    """Raise where a reason or a person is lacking."""
    for value, option in ((reason, "--reason"), (who, "--who")):
        if not value.strip():
            raise InputError(
                "A decision has a reason and a person.", remedy=f"Give {option} as well."
            )
