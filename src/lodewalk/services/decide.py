"""Taking a decision: what a person decided, checked and appended; and ticking a checklist."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lodewalk.errors import InputError
from lodewalk.steps.set_up import CHECKLISTS
from lodewalk.survey.decisions import Decision, append_decision, in_force, read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.lock import locked

KINDS = ("clock", "drop", "keep", "bridge", "test", "tick")


@dataclass(frozen=True)
class DecideResult:
    """The decision as it was written down."""

    id: str
    kind: str
    target: dict[str, Any]
    value: dict[str, Any] | None
    reason: str
    who: str
    when_utc: str
    withdraws: str | None


@dataclass(frozen=True)
class DecisionList:
    """The decisions in force."""

    decisions: list[DecideResult]


@dataclass(frozen=True)
class TickedItem:
    """One item of a checklist, with who ticked it and when; null while it isn't ticked."""

    instrument: str
    day: str
    item: str
    text: str
    who: str | None
    when_utc: str | None


@dataclass(frozen=True)
class TickResult:
    """The checklists of a day."""

    items: list[TickedItem]


def decide(
    folder: Folder,
    *,
    kind: str,
    reason: str,
    who: str,
    instrument: str | None = None,
    start: str | None = None,
    end: str | None = None,
    readings: tuple[str, ...] = (),
    offset_s: float | None = None,
    test: str | None = None,
    item: str = "",
) -> DecideResult:
    """Append a decision; nothing is run yet.

    Raises
    ------
    InputError
        For an instrument that the survey doesn't have, or a decision that isn't complete.
    """
    if instrument is not None:
        _check_instrument(folder, instrument)
    target = {"readings": list(readings), "instrument": instrument, "start": start, "end": end}
    value: Mapping[str, Any] | None = None
    if kind == "clock":
        if offset_s is None:
            raise InputError(
                "A clock decision needs the offset, that clock minus UTC.",
                remedy="Give --offset with the seconds that the clock is ahead; behind is below 0.",
            )
        value = {"offset_s": offset_s}
    elif kind == "test":
        value = {"test": test, "item": item}
    elif kind == "tick":
        value = {"item": item}
    with locked(folder):
        made = append_decision(
            folder, kind=kind, target=target, value=value, reason=reason, who=who
        )
    return _result(made)


def withdraw(folder: Folder, decision: str, *, reason: str, who: str) -> DecideResult:
    """Take a decision back, by its id or the beginning of it.

    Raises
    ------
    InputError
        When no decision in force, or more than one, has this id.
    """
    with locked(folder):
        live = in_force(read_decisions(folder), KINDS)
        found = [item for item in live if item.id.startswith(decision)]
        if len(found) != 1:
            raise InputError(
                "No single decision in force has this id.",
                value=decision,
                remedy=f"In force are {', '.join(item.id for item in live) or 'none'}.",
            )
        old = found[0]
        made = append_decision(
            folder,
            kind=old.kind,
            target=old.target.model_dump(mode="json"),
            value=None if old.value is None else old.value.model_dump(mode="json"),
            reason=reason,
            who=who,
            withdraws=old.id,
        )
    return _result(made)


def decisions_in_force(folder: Folder) -> list[DecideResult]:
    """Return the decisions that count, ticks left out, in the order taken."""
    kinds = tuple(kind for kind in KINDS if kind != "tick")
    return [_result(item) for item in in_force(read_decisions(folder), kinds)]


def _result(made: Decision) -> DecideResult:
    """Return a decision as plain values."""
    return DecideResult(**made.model_dump(mode="json"))


def _check_instrument(folder: Folder, instrument: str) -> None:
    """Raise when no file is of this instrument."""
    known = sorted({entry.instrument for entry in read_ledger(folder) if entry.instrument})
    if instrument not in known:
        raise InputError(
            "No file of this survey is of this instrument.",
            value=instrument,
            remedy=f"Instruments are {', '.join(known) or 'none yet: add files first'}.",
        )


def tick(
    folder: Folder, items: tuple[str, ...], *, instrument: str, day: str, who: str
) -> TickResult:
    """Tick items of an instrument's set-up checklist on a day.

    Raises
    ------
    InputError
        For an unknown instrument, or an item that its checklist doesn't have.
    """
    _check_instrument(folder, instrument)
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", day):
        raise InputError("A day is written YYYY-MM-DD.", value=day)
    known = [item.name for item in CHECKLISTS[role_of(folder, instrument)]]
    for item in items:
        if item not in known:
            raise InputError(
                "The checklist has no such item.",
                value=item,
                remedy=f"Items are {', '.join(known)}.",
            )
    for item in items:
        decide(
            folder,
            kind="tick",
            reason="done",
            who=who,
            instrument=instrument,
            start=f"{day}T00:00:00",
            end=f"{day}T23:59:59",
            item=item,
        )
    return checklists(folder, days=((day, instrument),))


def role_of(folder: Folder, instrument: str) -> str:
    """Return base or rover, whichever an instrument records as."""
    roles = {entry.role for entry in read_ledger(folder) if entry.instrument == instrument}
    return "base" if "base" in roles else "rover"


def checklists(folder: Folder, *, days: tuple[tuple[str, str], ...]) -> TickResult:
    """Return the checklist of each day and instrument, ticked or not."""
    ticks = {
        ((item.target.start or "")[:10], item.target.instrument, _item(item)): item
        for item in in_force(read_decisions(folder), ("tick",))
    }
    rows = []
    for day, instrument in days:
        for entry in CHECKLISTS[role_of(folder, instrument)]:
            made = ticks.get((day, instrument, entry.name))
            rows.append(
                TickedItem(
                    instrument,
                    day,
                    entry.name,
                    entry.text,
                    made.who if made else None,
                    made.when_utc.strftime("%Y-%m-%dT%H:%M:%SZ") if made else None,
                )
            )
    return TickResult(rows)


def _item(decision: Decision) -> str:
    """Return the item that a tick is about."""
    return str(getattr(decision.value, "item", ""))
