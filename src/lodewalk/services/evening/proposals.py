"""Refusing what a finding proposes: a decision that changes no number and can be withdrawn."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from lodewalk.errors import InputError
from lodewalk.services.check import checked
from lodewalk.services.decide import DecideResult, decisions_in_force, result_of
from lodewalk.services.evening.answers import answer_to
from lodewalk.steps.proposed import Proposal
from lodewalk.survey.decisions import append_decision
from lodewalk.survey.folder import Folder
from lodewalk.survey.lock import locked

#: What of a proposal says which decision is meant; the rest is its value.
TARGET = ("instrument", "start", "end")


def waiting(folder: Folder) -> list[Proposal]:
    """Return the proposals of the last check that nobody has taken or refused.

    Raises
    ------
    FolderError
        Before the first check.
    """
    live = decisions_in_force(folder)
    found = [item.proposal for item in checked(folder).findings if item.proposal]
    proposed = dict.fromkeys(found)  # what two findings propose is one
    return [item for item in proposed if not answer_to(item, live).answered]


def decline(folder: Folder, about: Mapping[str, object], *, reason: str, who: str) -> DecideResult:
    """Refuse what a finding of the last check proposes.

    No step reads the refusal, so no number changes. It holds what was proposed: once a finding
    proposes another value, or a bridge that rests on something else, that one waits again.

    Parameters
    ----------
    folder : Folder
        The survey, checked.
    about : mapping
        What is told of the proposal, by the names of its fields: each has to be as proposed now,
        None as well. What isn't told may be anything.

    Raises
    ------
    FolderError
        Before the first check.
    InputError
        Where not one proposal that waits is meant, as where it has changed since it was shown.
    """
    with locked(folder):
        value = asdict(_meant(waiting(folder), about))
        target = {name: value.pop(name) for name in TARGET}
        made = append_decision(
            folder,
            kind="decline",
            target=target,
            value={"proposed": value.pop("kind"), **value},
            reason=reason,
            who=who,
        )
    return result_of(made)


def _meant(known: Sequence[Proposal], about: Mapping[str, object]) -> Proposal:
    """Return the one proposal that is as told, or raise with those that wait."""
    meant = _fitting(known, about)
    if len(meant) == 1:
        return meant[0]
    place = {name: about[name] for name in ("kind", *TARGET) if name in about}
    rule = "No proposal that waits fits this."
    if meant:
        rule = "Several proposals fit this."
    elif _fitting(known, place):
        rule = "Another value is proposed there by now: look at it again."
    told = "; ".join(item.command for item in meant or known) or "none"
    value = " ".join(str(given) for given in place.values() if given)
    raise InputError(rule, value=value, remedy=f"Waiting are: {told}.")


def _fitting(known: Sequence[Proposal], about: Mapping[str, object]) -> list[Proposal]:
    """Return the proposals whose fields are as told."""
    return [
        item for item in known if all(getattr(item, name) == given for name, given in about.items())
    ]
