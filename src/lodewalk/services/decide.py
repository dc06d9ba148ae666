"""Taking a decision: what a person decided, checked and appended; and ticking a checklist."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from lodewalk.errors import InputError
from lodewalk.services.decide_places import (
    check_azimuth,
    check_finite,
    next_name,
    reading_named,
    reading_of,
    reading_there,
)
from lodewalk.services.decision_words import DOES, about_of, value_of
from lodewalk.steps.set_up import CHECKLISTS
from lodewalk.survey.decisions import Decision, append_decision, in_force, read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.lock import locked

KINDS = (
    "clock", "lag", "drop", "keep", "bridge", "move", "test", "tick", "pick", "refuse", "decline",
)  # fmt: skip
#: So many readings that a decision is about are named in words.
NAMED = 3
#: What an instrument that a decision is about must have recorded as.
ROLES = {"bridge": ("base",), "move": ("base",), "test": ("rover",), "lag": ("rover",)}

#: Kinds that have a command of their own, and how it is called.
OWN_COMMAND = {
    "tick": "lodewalk tick DIR ITEM... --instrument NAME --day YYYY-MM-DD --who INITIALS",
    "pick": "lodewalk pick DIR --line LINE --distance M --reason TEXT --who INITIALS",
    "refuse": "lodewalk refuse DIR NAME --reason TEXT --who INITIALS",
}
#: What a kind can't do without, why, and what to give.
NEEDED = {
    "clock": (
        "offset",
        "A clock decision needs the offset, that clock minus UTC.",
        "Give the offset: the seconds that the clock is ahead; behind is below 0.",
    ),
    "lag": (
        "lag",
        "A lag decision needs the time of the field reading less that of the position.",
        "Give the lag: the seconds that the field comes late; early is below 0.",
    ),
    "decline": (
        "proposed",
        "To decline a proposal takes the kind of decision that is proposed.",
        "Give the kind proposed: clock, lag, drop, bridge or move, as the check tells it.",
    ),
}


@dataclass(frozen=True)
class DecideResult:
    """The decision as it was written down; `does`, `about` and `told` say it in words."""

    id: str
    kind: str
    target: dict[str, Any]
    value: dict[str, Any] | None
    reason: str
    who: str
    when_utc: str
    withdraws: str | None
    does: str
    about: str
    told: str


@dataclass(frozen=True)
class DecisionList:
    """The decisions in force."""

    decisions: list[DecideResult]


@dataclass(frozen=True)
class TickedItem:
    """One item of a checklist, with who ticked it and when; null while it isn't ticked.

    `id` is that of the decision which ticks it, so that it can be taken back.
    """

    instrument: str
    day: str
    item: str
    text: str
    who: str | None
    when_utc: str | None
    id: str | None = None


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
    lag_s: float | None = None,
    sd_s: float | None = None,
    test: str | None = None,
    item: str = "",
    whole: bool = False,
    proposed: str | None = None,
    source: str | None = None,
    error_95_nT: float | None = None,
    nulls: Collection[str] = (),
) -> DecideResult:
    """Append a decision; nothing is run yet.

    An instrument without a span means all of its record. To drop that, `whole` says it in so
    many words. The kind decline refuses what a finding proposes, see
    `lodewalk.services.evening.proposals`; `proposed` is the kind that is proposed, `source` and
    `error_95_nT` are those of a bridge, and `nulls` names what of the proposal is null rather
    than not told.

    Raises
    ------
    InputError
        For an instrument that the survey doesn't have, a decision that isn't complete, a value
        of another kind, or a drop of an instrument without a span or `whole`.
    """
    given = {
        "offset": (("clock", "decline"), offset_s),
        "lag": (("lag", "decline"), lag_s),
        "sd": (("lag", "decline"), sd_s),
        "test": (("test",), test),
        "item": (("test",), item),
        "proposed": (("decline",), proposed),
        "source": (("decline",), source),
        "error": (("decline",), error_95_nT),
    }
    _check_kind(kind, given)
    check_whole(kind, instrument, whole=whole, spanned=bool(start or end))
    if kind == "decline":
        from lodewalk.services.evening.proposals import decline

        if readings:
            raise InputError("A proposal isn't about readings.", remedy="Leave the readings out.")
        shown = {
            "instrument": instrument, "start": start, "end": end, "offset_s": offset_s,
            "lag_s": lag_s, "sd_s": sd_s, "source": source, "error_95_nT": error_95_nT,
        }  # fmt: skip
        told = {name: one for name, one in shown.items() if one is not None or name in nulls}
        return decline(folder, {"kind": proposed, **told}, reason=reason, who=who)
    if instrument is not None:
        check_instrument(folder, instrument, ROLES.get(kind, ("base", "rover")))
    values: dict[str, Mapping[str, Any]] = {
        "clock": {"offset_s": offset_s},
        "lag": {"lag_s": lag_s, "sd_s": sd_s},
        "test": {"test": test, "item": item},
    }
    target = {"readings": list(readings), "instrument": instrument, "start": start, "end": end}
    with locked(folder):
        made = append_decision(
            folder, kind=kind, target=target, value=values.get(kind), reason=reason, who=who
        )
    return result_of(made)


def add_pick(
    folder: Folder,
    *,
    reason: str,
    who: str,
    reading: str | None = None,
    line: str | None = None,
    distance_m: float | None = None,
    easting_m: float | None = None,
    northing_m: float | None = None,
    strike_deg: float | None = None,
    compact: bool = False,
) -> DecideResult:
    """Add a pick at a reading, or at the kept reading nearest to a place.

    Parameters
    ----------
    reading : str, optional
        Id of the reading; instead of a place.
    line, distance_m : optional
        Line and distance along it [m].
    easting_m, northing_m : float, optional
        Place in the survey's CRS [m].
    strike_deg : float, optional
        Azimuth of the strike from grid north [deg]; straight across the line when left out.
    compact : bool
        Whether a compact body is looked for there, which has no strike.

    Raises
    ------
    InputError
        For an unknown line or reading, a place off the survey, half a place or two, and a strike
        that is no azimuth.
    """
    check_azimuth(strike_deg)
    if compact and strike_deg is not None:
        raise InputError(
            "A compact body has no strike.", value=strike_deg, remedy="Leave the strike out."
        )
    check_finite(distance=distance_m, easting=easting_m, northing=northing_m)
    if reading is not None:
        places = {"line": line, "distance": distance_m, "easting": easting_m}
        reading = reading_named(folder, reading, places | {"northing": northing_m})
    else:
        reading = reading_there(
            folder, line=line, distance_m=distance_m, easting_m=easting_m, northing_m=northing_m
        )
    with locked(folder):
        made = append_decision(
            folder,
            kind="pick",
            target={"readings": [reading]},
            value={
                "name": next_name(folder),
                "strike_deg": strike_deg,
                **({"compact": True} if compact else {}),
            },
            reason=reason,
            who=who,
        )
    return result_of(made)


def refuse(folder: Folder, name: str, *, reason: str, who: str) -> DecideResult:
    """Refuse a pick, or a lineament with all its picks, by the reading that it lies on.

    Raises
    ------
    InputError
        For a name that no pick and no lineament has.
    """
    reading, what = reading_of(folder, name)
    with locked(folder):
        made = append_decision(
            folder,
            kind="refuse",
            target={"readings": [reading]},
            value={"what": what, "name": name},
            reason=reason,
            who=who,
        )
    return result_of(made)


def _check_kind(kind: str, given: Mapping[str, tuple[tuple[str, ...], Any]]) -> None:
    """Raise for a kind with a command of its own, and for a value that lacks or isn't its own.

    `given` holds the kinds that each option is of, and its value.
    """
    if kind in OWN_COMMAND:
        raise InputError(
            f"A decision of kind {kind} is taken by a command of its own.",
            remedy=OWN_COMMAND[kind],
        )
    option, rule, remedy = NEEDED.get(kind, ("", "", ""))
    if option and given[option][1] is None:
        raise InputError(rule, remedy=remedy, means=(option,))
    for option, (owners, value) in given.items():
        if kind in KINDS and kind not in owners and value not in (None, ""):
            raise InputError(
                f"A {kind} decision takes no {option}.",
                value=value,
                remedy=f"Leave it out, or is the kind {owners[0]} meant?",
            )


def check_whole(kind: str, instrument: str | None, *, whole: bool, spanned: bool) -> None:
    """Raise for a drop without a span unless all of the record is said to be meant.

    Raises
    ------
    InputError
        For such a drop, and where `whole` goes with a span or with another kind.
    """
    if whole and (kind != "drop" or spanned or not instrument):
        raise InputError(
            "The whole record goes with a drop of an instrument without a span.",
            remedy="Leave that out, or leave out start and end.",
        )
    if kind == "drop" and instrument and not (spanned or whole):
        raise InputError(
            f"Without a span this would drop all of the record of {instrument}.",
            remedy="Give start and end, or say that the whole record is meant.",
            means=("start", "end", "whole"),
        )


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
    return result_of(made)


def decisions_in_force(folder: Folder) -> list[DecideResult]:
    """Return the decisions that count, ticks left out, in the order taken."""
    kinds = tuple(kind for kind in KINDS if kind != "tick")
    return [result_of(item) for item in in_force(read_decisions(folder), kinds)]


def result_of(made: Decision) -> DecideResult:
    """Return a decision as plain values."""
    return DecideResult(
        **made.model_dump(mode="json"),
        does=DOES[made.kind],
        about=about_of(made.target, most=NAMED),
        told=value_of(made),
    )


def check_instrument(folder: Folder, instrument: str, roles: tuple[str, ...]) -> None:
    """Raise when no file of one of these roles is of this instrument.

    Raises
    ------
    InputError
        For such an instrument.
    """
    entries = read_ledger(folder)
    known = sorted({e.instrument for e in entries if e.instrument and e.role in roles})
    if instrument not in known:
        raise InputError(
            f"No file of role {' or '.join(roles)} is of this instrument.",
            value=instrument,
            remedy=f"Instruments are {', '.join(known) or 'none yet: add files first'}.",
        )


def tick(
    folder: Folder, items: tuple[str, ...], *, instrument: str, day: str, who: str
) -> TickResult:
    """Tick items of an instrument's set-up checklist on a day; return the checklist.

    An item that is ticked already keeps its person and time.

    Raises
    ------
    InputError
        For an unknown instrument, a day that isn't one, or an item that its checklist doesn't
        have.
    """
    check_instrument(folder, instrument, ("base", "rover"))
    _check_day(day)
    known = [item.name for item in CHECKLISTS[role_of(folder, instrument)]]
    for item in items:
        if item not in known:
            raise InputError(
                "The checklist has no such item.",
                value=item,
                remedy=f"Items are {', '.join(known)}.",
            )
    if items and not who.strip():
        raise InputError("A tick has a person.", remedy="Give who ticked it as well.")
    about = {"instrument": instrument, "start": f"{day}T00:00:00", "end": f"{day}T23:59:59"}
    shown = ((day, instrument),)
    if not items:
        return checklists(folder, days=shown)  # only looked at: no lock is needed
    with locked(folder):
        ticked = {row.item for row in checklists(folder, days=shown).items if row.who}
        for item in dict.fromkeys(items):
            if item not in ticked:
                append_decision(
                    folder,
                    kind="tick",
                    target=about,
                    value={"item": item},
                    reason="done",
                    who=who,
                )
    return checklists(folder, days=shown)


def _check_day(day: str) -> None:
    """Raise where a text is no day."""
    try:
        right = datetime.strptime(day, "%Y-%m-%d").strftime("%Y-%m-%d") == day
    except ValueError:
        right = False
    if not right:
        raise InputError("A day is one of the calendar, written YYYY-MM-DD.", value=day)


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
                    made.id if made else None,
                )
            )
    return TickResult(rows)


def _item(decision: Decision) -> str:
    """Return the item that a tick is about."""
    return str(getattr(decision.value, "item", ""))
