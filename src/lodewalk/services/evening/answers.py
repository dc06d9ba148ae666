"""Whether a decision in force answers what a finding proposes, and which lines a finding names."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from lodewalk.services.decide import DecideResult
from lodewalk.steps.proposed import Proposal

#: An offset or lag is the proposed one when it differs by no more, which is how it is printed [s].
SAME_S = {"clock": 0.1, "lag": 0.05}
#: Where the value of each kind stands.
NUMBERS = {"clock": "offset_s", "lag": "lag_s"}
#: A moment no further from the proposed one is the same.
SAME_MOMENT = timedelta(minutes=1)
#: Kinds of which two may meet in one reading, and are two all the same.
APART = ("bridge", "drop")
#: The error of a bridge is the same where it changes by no more than this share of it.
SAME_ERROR = 0.2
#: Lines that a text calls so: "line 7", "lines 7, 8 and 9".
CALLED = re.compile(r"\blines? ((?:[^\s,;:.]+)(?:(?:, | and )[^\s,;:.]+)*)", re.IGNORECASE)
#: Begin and end of a span as recorded, None where open.
Span = tuple[str | None, str | None]


@dataclass(frozen=True)
class Refusal:
    """The refusal of a proposal; once the evidence proposes something else it no longer `holds`."""

    id: str
    reason: str
    who: str
    when_utc: str
    holds: bool


@dataclass(frozen=True)
class Answer:
    """What stands about a proposal: a decision that answers it, or another one in its place.

    `answered` is the id of the decision that takes or refuses the proposal; `standing` that of
    the one in force for its span, which may say something else.
    """

    answered: str | None = None
    standing: str | None = None
    refusal: Refusal | None = None


def answer_to(proposal: Proposal, live: Iterable[DecideResult]) -> Answer:
    """Return what stands about a proposal.

    Parameters
    ----------
    proposal : Proposal
        What a finding proposes.
    live : iterable of DecideResult
        Decisions in force in the order taken; the later one counts.
    """
    own = [row for row in live if row.target.get("instrument") == proposal.instrument]
    decided = _decided(proposal, [row for row in own if row.kind == proposal.kind])
    declined = [row for row in own if row.kind == "decline" and _declines(row, proposal)]
    last = next((row for row in reversed(declined) if _holds(row, proposal)), None)
    order = [row.id for row in own]
    if last and decided.answered and order.index(decided.answered) > order.index(last.id):
        return decided
    if last:
        return Answer(last.id, decided.standing, _refusal(last, holds=True))
    lapsed = _refusal(declined[-1], holds=False) if declined and not decided.answered else None
    return Answer(decided.answered, decided.standing, lapsed)


def _refusal(row: DecideResult, *, holds: bool) -> Refusal:
    """Return a refusal for print."""
    return Refusal(row.id, row.reason, row.who, row.when_utc, holds)


def _decided(proposal: Proposal, about: Sequence[DecideResult]) -> Answer:
    """Return what decisions of the proposed kind on its instrument say of it."""
    if proposal.kind == "move":
        return _sure([row for row in about if _same_moment(proposal.start, row.target["start"])])
    meeting = [row for row in about if _meets(_ends(row), _span(proposal))]
    if proposal.kind == "drop":
        return _sure([row for row in meeting if _covers(_ends(row), _span(proposal))])
    if proposal.kind not in SAME_S or not meeting:
        return _sure(meeting)
    last = meeting[-1]
    value = (last.value or {}).get(NUMBERS[proposal.kind])
    says = _near(proposal, value) and _covers(_ends(last), _span(proposal))
    return _sure([last]) if says else Answer(standing=last.id)


def _sure(found: Sequence[DecideResult]) -> Answer:
    """Return that the last of these decisions is the answer."""
    return Answer(found[-1].id, found[-1].id) if found else Answer()


def _declines(row: DecideResult, proposal: Proposal) -> bool:
    """Tell whether a refusal is about such a proposal, whatever its value was."""
    if (row.value or {}).get("proposed") != proposal.kind:
        return False
    if proposal.kind == "move":
        return _same_moment(proposal.start, row.target["start"])
    if proposal.kind in APART:
        return _overlaps(_ends(row), _span(proposal))
    return _meets(_ends(row), _span(proposal))


def _holds(row: DecideResult, proposal: Proposal) -> bool:
    """Tell whether what was refused is what is proposed now."""
    value = row.value or {}
    if proposal.kind == "move":
        return True
    if proposal.kind in SAME_S and not _near(proposal, value.get(NUMBERS[proposal.kind])):
        return False
    if proposal.kind == "bridge" and not _same_bridge(proposal, value):
        return False
    return _covers(_ends(row), _span(proposal), slack=SAME_MOMENT)


def _near(proposal: Proposal, value: float | None) -> bool:
    """Tell whether an offset or a lag is the proposed one."""
    wanted = getattr(proposal, NUMBERS[proposal.kind])
    if value is None or wanted is None:
        return False
    return bool(abs(value - wanted) <= SAME_S[proposal.kind] + 1e-9)


def _same_bridge(proposal: Proposal, value: dict[str, object]) -> bool:
    """Tell whether a bridge rests on the same and is about as sure as the one refused."""
    old, new = value.get("error_95_nT"), proposal.error_95_nT
    if value.get("source") != proposal.source or not isinstance(old, float) or new is None:
        return False
    return abs(new - old) <= SAME_ERROR * old + 1e-9


def _span(proposal: Proposal) -> Span:
    """Return the span of a proposal as recorded."""
    return proposal.start, proposal.end


def _ends(row: DecideResult) -> Span:
    """Return the span of a decision as recorded."""
    return row.target.get("start"), row.target.get("end")


def _meets(one: Span, other: Span) -> bool:
    """Tell whether two spans share a moment; None is an open end."""
    return _before(one[0], other[1]) and _before(other[0], one[1])


def _overlaps(one: Span, other: Span) -> bool:
    """Tell whether two spans are the same or share more than a moment; None is an open end."""
    least = -timedelta.resolution
    return one == other or (_before(one[0], other[1], least) and _before(other[0], one[1], least))


def _covers(one: Span, other: Span, *, slack: timedelta = timedelta(0)) -> bool:
    """Tell whether one span holds the other, but for the slack at either end."""
    begins = one[0] is None or (other[0] is not None and _before(one[0], other[0], slack))
    ends = one[1] is None or (other[1] is not None and _before(other[1], one[1], slack))
    return begins and ends


def _before(start: str | None, end: str | None, slack: timedelta = timedelta(0)) -> bool:
    """Tell whether a start lies before an end, or either is open."""
    return start is None or end is None or _time(start) <= _time(end) + slack


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
