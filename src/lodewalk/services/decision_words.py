"""Decisions in words: what each does, what it is about, and its value with units."""

from lodewalk.steps.proposed import SOURCES
from lodewalk.survey.decisions import Decision, Target

#: What a decision of each kind does.
DOES = {
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
    "tick": "ticked",
}
#: Values by their name in a decision: word and unit.
VALUES = {
    "offset_s": ("clock minus UTC", "s"),
    "lag_s": ("field late by", "s"),
    "sd_s": ("sd", "s"),
    "error_95_nT": ("error (95 %)", "nT"),
    "strike_deg": ("strike", "deg"),
    "proposed": ("", ""),
    "source": ("by", ""),
    "what": ("", ""),
    "name": ("named", ""),
    "compact": ("", ""),
}
#: Codes among the values, in words.
WORDS = {
    "proposed": {
        "clock": "to set a clock right",
        "lag": "to set a lag",
        "drop": "to drop a span",
        "bridge": "to bridge a gap",
        "move": "that the base was moved",
    },
    "source": SOURCES,
    "compact": {"True": "a compact body"},
}


def about_of(target: Target, *, most: int | None = None) -> str:
    """Say which readings, or which span of an instrument, a decision is about.

    Parameters
    ----------
    target : Target
        What the decision is about.
    most : int, optional
        So many readings are named, and the others counted; all when left out.

    Examples
    --------
    >>> about_of(Target(readings=["a:1", "a:2", "a:3"]), most=1)
    'a:1 and 2 more readings'
    """
    named = target.readings[:most]
    if named:
        more = len(target.readings) - len(named)
        return ", ".join(named) + (
            f" and {more} more {'reading' if more == 1 else 'readings'}" if more else ""
        )
    if target.start is None and target.end is None:
        return f"{target.instrument}, all its record"
    start, end = target.start or "its begin", target.end or "its end"
    return f"{target.instrument}, {start} to {end} as recorded"


def value_of(one: Decision) -> str:
    """Return the value of a decision with its units."""
    found = {} if one.value is None else one.value.model_dump(mode="json")
    told = []
    for name, value in found.items():
        if value is not None and value is not False and value != "":  # 0 is a value
            word, unit = VALUES.get(name, (name, ""))
            told.append(f"{word} {_worded(name, value)} {unit}".strip())
    return ", ".join(told)


def _worded(name: str, value: object) -> str:
    """Return a value for print: codes in words, the error of a bridge as its finding tells it."""
    if name == "error_95_nT":
        return f"{value:.1f}"
    return WORDS.get(name, {}).get(str(value), str(value))
