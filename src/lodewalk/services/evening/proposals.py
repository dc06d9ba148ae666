"""Refusing what a finding proposes: a decision that changes no number and can be withdrawn."""

from collections.abc import Mapping
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
    proposed = [item.proposal for item in checked(folder).findings if item.proposal]
    return [item for item in proposed if not answer_to(item, live).answered]


def decline(
    folder: Folder, about: Mapping[str, str | None], *, reason: str, who: str
) -> DecideResult:
    """Refuse what a finding of the last check proposes.

    No step reads the refusal, so no number changes. It holds what was proposed: once a finding
    proposes another value, or a bridge that rests on something else, that one waits again.

    Parameters
    ----------
    folder : Folder
        The survey, checked.
    about : mapping of str to str or None
        Kind, instrument, start and end of the proposal; None where that needn't be told.

    Raises
    ------
    FolderError
        Before the first check.
    InputError
        Where not one proposal that waits is meant.
    """
    with locked(folder):
        known = waiting(folder)
        meant = [
            item for item in known
            if all(given in (None, getattr(item, name)) for name, given in about.items())
        ]  # fmt: skip
        if len(meant) != 1:
            told = "; ".join(item.command for item in meant or known) or "none"
            raise InputError(
                "Several proposals fit this." if meant else "No proposal that waits fits this.",
                value=" ".join(given for given in about.values() if given),
                remedy=f"Waiting are: {told}.",
            )
        value = asdict(meant[0])
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
