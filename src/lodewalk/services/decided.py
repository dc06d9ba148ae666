"""What a person decided, in words for whoever checks the survey."""

from collections.abc import Iterable, Iterator

from lodewalk.handover.content import Decided
from lodewalk.steps.bridges import SOURCES
from lodewalk.survey.decisions import Decision, Target, in_force

#: What a decision of each kind does.
KINDS = {
    "clock": "clock set right",
    "lag": "lag set right",
    "drop": "dropped",
    "keep": "kept in spite of a check",
    "bridge": "gap of the base bridged",
    "move": "base moved",
    "test": "marked as a test",
    "pick": "pick added",
    "refuse": "refused in the interpretation",
    "decline": "proposal refused",
}
#: Values by their name in a decision: word and unit.
VALUES = {
    "offset_s": ("clock minus UTC", "s"),
    "lag_s": ("field late by", "s"),
    "sd_s": ("sd", "s"),
    "error_95_nT": ("error (95 %)", "nT"),
    "strike_deg": ("strike", "deg"),
    "proposed": ("to", ""),
    "source": ("by", ""),
}
#: What a refused proposal was to do.
PROPOSED = {
    "clock": "set the clock right",
    "lag": "set the lag right",
    "drop": "drop the span",
    "bridge": "bridge the gap",
    "move": "count the base as moved",
}
#: Words for values that are codes, by their name in a decision.
CODES = {"proposed": PROPOSED, "source": SOURCES}


def decided(taken: Iterable[Decision]) -> Iterator[Decided]:
    """Yield what is in force, in the order taken; ticks of checklists are told elsewhere.

    Parameters
    ----------
    taken : iterable of Decision
        All lines as written, withdrawn ones too.

    Examples
    --------
    >>> list(decided([]))
    []
    """
    for one in in_force(taken, tuple(KINDS)):
        when = one.when_utc.isoformat(timespec="minutes")[:16] + "Z"
        yield Decided(KINDS[one.kind], _about(one.target), _value(one), one.reason, one.who, when)


def _about(target: Target) -> str:
    """Say which readings, or which span of an instrument, a decision is about."""
    if target.readings:
        return ", ".join(target.readings)
    if target.start is None and target.end is None:
        return f"{target.instrument}, all its record"
    start, end = target.start or "its begin", target.end or "its end"
    return f"{target.instrument}, {start} to {end} as recorded"


def _value(one: Decision) -> str:
    """Return the value of a decision with its units."""
    found = {} if one.value is None else one.value.model_dump(mode="json")
    told = []
    for name, value in found.items():
        if value not in (None, "", False):
            word, unit = VALUES.get(name, (name, ""))
            value = CODES.get(name, {}).get(value, value)
            told.append(f"{word} {value} {unit}".strip())
    return ", ".join(told)
