"""Proposals that findings hold, taken apart so that a person can confirm them with a button."""

import re
import shlex
from dataclasses import dataclass
from itertools import pairwise

#: How a finding ends that proposes a decision.
PROPOSED = re.compile(
    r"decide (?P<kind>clock|lag|bridge|move) (?P<rest>--instrument .*?)(?:\.(?:\s|$)|$)"
)
NUMBERS = ("offset", "lag", "sd")


@dataclass(frozen=True)
class Proposal:
    """A decision that is proposed: its kind, instrument, span as recorded, and value."""

    kind: str
    instrument: str
    start: str | None = None
    end: str | None = None
    offset_s: float | None = None
    lag_s: float | None = None
    sd_s: float | None = None


def proposal_in(text: str) -> Proposal | None:
    """Return the decision that the text of a finding proposes, None where it proposes none.

    Examples
    --------
    >>> proposal_in("R2: it moves. To confirm: decide clock --instrument R2 --offset 17.44.")
    Proposal(kind='clock', instrument='R2', start=None, end=None, offset_s=17.44, lag_s=None, \
sd_s=None)
    >>> proposal_in("drop the span by decide drop.") is None
    True
    """
    found = PROPOSED.search(text)
    if found is None:
        return None
    try:
        words = shlex.split(found["rest"])
    except ValueError:
        return None
    options = {
        name.removeprefix("--"): value for name, value in pairwise(words) if name.startswith("--")
    }
    try:
        numbers = {name: float(options[name]) for name in NUMBERS if name in options}
    except ValueError:
        return None
    return Proposal(
        found["kind"], options["instrument"], options.get("start"), options.get("end"),
        numbers.get("offset"), numbers.get("lag"), numbers.get("sd"),
    )  # fmt: skip
