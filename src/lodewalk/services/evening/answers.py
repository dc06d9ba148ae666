"""Whether a decision in force answers what a finding proposes, and which lines a finding names."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from lodewalk.services.decide import DecideResult
from lodewalk.services.evening.proposals import Proposal

#: An offset or lag is the proposed one when it differs by no more, which is how it is printed [s].
SAME_S = {"clock": 0.1, "lag": 0.05}
#: A move at a moment no further from the proposed one is the same move.
SAME_MOMENT = timedelta(minutes=1)
#: Lines that a text calls so: "line 7", "lines 7, 8 and 9".
CALLED = re.compile(r"\blines? ((?:[^\s,;:.]+)(?:(?:, | and )[^\s,;:.]+)*)", re.IGNORECASE)


@dataclass(frozen=True)
class Answer:
    """What stands about a proposal: a decision that answers it, or another one in its place.

    `answered` is the id of the decision that takes or refuses the proposal; `standing` that of
    the one in force for its span, which may say something else.
    """

    answered: str | None = None
    standing: str | None = None


def answer_to(
    proposal: Proposal, live: Iterable[DecideResult], span: tuple[str | None, str | None]
) -> Answer:
    """Return what stands about a proposal.

    Parameters
    ----------
    proposal : Proposal
        What a finding proposes.
    live : iterable of DecideResult
        Decisions in force in the order taken; the later one counts.
    span : pair of str or None
        What the proposal is about, as the instrument recorded it; None for an open end.
    """
    about = [
        row for row in live
        if row.kind == proposal.kind and row.target.get("instrument") == proposal.instrument
    ]  # fmt: skip
    if proposal.kind == "move":
        return _sure([row for row in about if _same_moment(proposal.start, row.target["start"])])
    meeting = [row for row in about if _meets(_ends(row), span)]
    if proposal.kind not in SAME_S or not meeting:
        return _sure(meeting)
    last = meeting[-1]
    return _sure([last]) if _says(proposal, last, span) else Answer(standing=last.id)


def _sure(found: Sequence[DecideResult]) -> Answer:
    """Return that the last of these decisions is the answer."""
    return Answer(found[-1].id, found[-1].id) if found else Answer()


def _says(proposal: Proposal, row: DecideResult, span: tuple[str | None, str | None]) -> bool:
    """Tell whether a decision has the proposed value, or 0 to refuse it, for all of the span."""
    name, wanted = (
        ("offset_s", proposal.offset_s) if proposal.kind == "clock" else ("lag_s", proposal.lag_s)
    )
    value = (row.value or {}).get(name)
    if value is None or wanted is None:
        return False
    near = abs(value - wanted) <= SAME_S[proposal.kind] + 1e-9
    return (near or value == 0) and _covers(_ends(row), span)


def _ends(row: DecideResult) -> tuple[str | None, str | None]:
    """Return the span of a decision as recorded."""
    return row.target.get("start"), row.target.get("end")


def _meets(one: tuple[str | None, str | None], other: tuple[str | None, str | None]) -> bool:
    """Tell whether two spans share a moment; None is an open end."""
    return _before(one[0], other[1]) and _before(other[0], one[1])


def _covers(one: tuple[str | None, str | None], other: tuple[str | None, str | None]) -> bool:
    """Tell whether one span holds the other."""
    begins = one[0] is None or (other[0] is not None and _before(one[0], other[0]))
    ends = one[1] is None or (other[1] is not None and _before(other[1], one[1]))
    return begins and ends


def _before(start: str | None, end: str | None) -> bool:
    """Tell whether a start lies before an end, or either is open."""
    return start is None or end is None or _time(start) <= _time(end)


def _same_moment(one: str | None, other: str | None) -> bool:
    """Tell whether two moments are hardly apart."""
    return bool(one and other) and abs(_time(str(one)) - _time(str(other))) <= SAME_MOMENT


def _time(text: str) -> datetime:
    """Return a time as recorded."""
    return datetime.fromisoformat(text)


def lines_named(text: str, names: Iterable[str], instrument: str | None = None) -> list[str]:
    """Return the lines that a text names, sorted.

    A name of letters and digits counts wherever it stands; one that could be a number or a common
    word only where the text calls it a line.

    Examples
    --------
    >>> lines_named("up to 7 nT on lines 12, 30 and 5.", ["5", "7", "12", "30"])
    ['12', '30', '5']
    >>> lines_named("the gap of 20 s with 7 readings", ["7", "20"])
    []
    >>> lines_named("under 95%: L05, L08.", ["L05", "L08", "95"])
    ['L05', 'L08']
    """
    called = {
        name for part in CALLED.findall(text) for name in re.split(r", | and ", part)
    }  # fmt: skip
    words = set(re.sub(r"[,:;.()]", " ", text).split())
    return sorted(
        name for name in set(names)
        if name in called or (name in words and name != instrument and _distinct(name))
    )  # fmt: skip


def _distinct(name: str) -> bool:
    """Tell whether a name has letters before digits, as no number, amount or unit has."""
    return re.fullmatch(r"[A-Za-z]+[-_]?\d+\w*", name) is not None
