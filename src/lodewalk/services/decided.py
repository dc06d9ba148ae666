"""What a person decided, in words for whoever checks the survey."""

from collections.abc import Iterable, Iterator

from lodewalk.handover.content import Decided
from lodewalk.services.decision_words import DOES, about_of, value_of
from lodewalk.survey.decisions import Decision, in_force

#: Kinds that the report tells; ticks of checklists are told elsewhere.
KINDS = tuple(kind for kind in DOES if kind != "tick")


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
    for one in in_force(taken, KINDS):
        when = one.when_utc.isoformat(timespec="minutes")[:16] + "Z"
        yield Decided(
            DOES[one.kind], about_of(one.target), value_of(one), one.reason, one.who, when
        )
