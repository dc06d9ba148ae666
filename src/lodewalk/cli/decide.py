"""`lodewalk decide` and `lodewalk tick`: what a person decided, and set-up checklists."""

from typing import TYPE_CHECKING, Annotated

import typer

from lodewalk.cli.output import AsJson, Survey, columns, emit
from lodewalk.errors import InputError
from lodewalk.services.opening import open_survey

if TYPE_CHECKING:
    from lodewalk.services.decide import DecideResult

Who = Annotated[str, typer.Option("--who", help="Initials of the person.")]
Test = Annotated[
    str | None,
    typer.Option(
        help="test: static, side-by-side, turn-around, with, without, check-station or repeat-line."
    ),
]
Proposed = Annotated[
    str | None,
    typer.Option(help="decline: kind that the check proposes: clock, lag, drop, bridge or move."),
]


def decide(
    directory: Survey,
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help="clock, lag, drop, keep, bridge, move, test, decline, withdraw; or list, to see "
            "those in force.",
        ),
    ],
    reason: Annotated[str, typer.Option(help="Why; kept with the decision.")] = "",
    who: Who = "",
    instrument: Annotated[str | None, typer.Option(help="Instrument concerned.")] = None,
    start: Annotated[
        str | None, typer.Option(help="From, as recorded: YYYY-MM-DDTHH:MM:SS.")
    ] = None,
    end: Annotated[str | None, typer.Option(help="To, as recorded.")] = None,
    reading: Annotated[
        list[str] | None, typer.Option(help="A reading_id; can be given again.")
    ] = None,
    offset: Annotated[
        float | None, typer.Option(help="clock: seconds that the clock is ahead of UTC.")
    ] = None,
    lag: Annotated[
        float | None,
        typer.Option(help="lag: seconds from the position's time to the field reading's."),
    ] = None,
    sd: Annotated[
        float | None, typer.Option(help="lag: its standard deviation in seconds, where known.")
    ] = None,
    test: Test = None,
    item: Annotated[str, typer.Option(help="test: what was taken along or left away.")] = "",
    whole: Annotated[
        bool, typer.Option("--whole", help="drop: all of the instrument's record is meant.")
    ] = False,
    proposed: Proposed = None,
    decision: Annotated[
        str | None, typer.Option("--id", help="withdraw: id of the decision, or its beginning.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write down what a person decided: a clock, a lag, what to drop, a gap, a base's move."""
    from lodewalk.services import decide as service

    folder = open_survey(directory)
    if kind == "list":
        found = service.decisions_in_force(folder)
        emit(service.DecisionList(found), as_json=as_json, lines=_rows(found))
        return
    _need(reason, who)
    if kind == "withdraw":
        if not decision:
            raise InputError(
                "Which decision is taken back?",
                remedy="Give --id; `lodewalk decide DIR list` shows them.",
            )
        made = service.withdraw(folder, decision, reason=reason, who=who)
    else:
        made = service.decide(
            folder,
            kind=kind,
            reason=reason,
            who=who,
            instrument=instrument,
            start=start,
            end=end,
            readings=tuple(reading or ()),
            offset_s=offset,
            lag_s=lag,
            sd_s=sd,
            test=test,
            item=item,
            whole=whole,
            proposed=proposed,
        )
    words = ("taken back: " if made.withdraws else "") + made.does
    rest = [made.about, *filter(None, [made.told])]
    emit(made, as_json=as_json, lines=[f"{made.id[:8]}: {', '.join([words, *rest])}"])


def _rows(found: "list[DecideResult]") -> list[str]:
    """Return the decisions in force as lines."""
    rows = [
        [d.id[:8], d.does, d.about, d.told, d.reason, d.who, f"{d.when_utc[:16]}Z"] for d in found
    ]
    return columns(rows) or ["none"]


def _need(reason: str, who: str) -> None:
    """Raise where a reason or a person is lacking."""
    for value, option in ((reason, "--reason"), (who, "--who")):
        if not value.strip():
            raise InputError(
                "A decision has a reason and a person.", remedy=f"Give {option} as well."
            )


def tick(
    directory: Survey,
    items: Annotated[
        list[str] | None, typer.Argument(metavar="ITEM...", help="Items done; none to list all.")
    ] = None,
    instrument: Annotated[str, typer.Option(help="Name of a base or rover, such as B1.")] = "",
    day: Annotated[str, typer.Option(help="Day, YYYY-MM-DD.")] = "",
    who: Who = "",
    as_json: AsJson = False,
) -> None:
    """Tick the set-up checklist of an instrument, or show it."""
    from lodewalk.services import decide as service

    for value, option in ((instrument, "--instrument"), (day, "--day")):
        if not value:
            raise InputError("Whose checklist, and of which day?", remedy=f"Give {option} as well.")
    folder = open_survey(directory)
    result = service.tick(folder, tuple(items or ()), instrument=instrument, day=day, who=who)
    rows = [
        [
            "+" if row.who else "-",
            row.item,
            row.text,
            f"{row.who} {row.when_utc}" if row.who else "",
        ]
        for row in result.items
    ]
    emit(result, as_json=as_json, lines=columns(rows))
