"""What a run would do now, or after a change that is only thought of, and for how long."""

import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from lodewalk.services.set_aside import as_if_aside, as_if_read_anew
from lodewalk.steps.declarations import STEPS, needed_for
from lodewalk.steps.step import Step
from lodewalk.survey.decisions import read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.graph import key_parts, why_stale
from lodewalk.survey.ledger import RawFile, read_ledger
from lodewalk.survey.state import read_state

#: Journals that are looked through for how long a step took.
JOURNALS = 100
#: Roles of files that a run has something to do with; plans and areas alone give no reading.
RECORDED = ("base", "rover", "track", "observatory")

#: What each step does, by its name, in the order of a run.
ABOUT = {step.name: step.text for step in STEPS}


@dataclass(frozen=True)
class Pending:
    """A step that a run would look at: why it runs, whether that is sure, its last time.

    A step that waits for another is not sure to run: the other may make the same as before.
    """

    step: str
    about: str
    why: list[str]
    sure: bool
    seconds: float | None


@dataclass(frozen=True)
class PendingResult:
    """All steps that a run would look at, in their order; none when all is up to date.

    `files` counts what there is to run on: records of bases, rovers, tracks and observatories.
    """

    steps: list[Pending]
    seconds: float | None
    files: int


def pending(
    folder: Folder,
    *,
    to: str | None = None,
    kinds: Collection[str] = (),
    aside: str | None = None,
    anew: str | None = None,
    role: str | None = None,
) -> PendingResult:
    """Say what a run would do, without running anything.

    Parameters
    ----------
    folder : Folder
        The survey; its `tried` settings count, so that a change can be looked at before it is made.
    to : str, optional
        Last step wanted.
    kinds : collection of str
        Kinds of decisions of which one is thought of: the steps that read it would run.
    aside : str, optional
        A file, as it is stored, that is thought of as set aside.
    anew : str, optional
        A file, as it is stored, that is thought of as read in another way.
    role : str, optional
        The role of that file from then on; the one it has when left out.

    Raises
    ------
    InputError
        For an unknown step or file.
    """
    steps = needed_for(to)
    last = last_seconds(folder)
    entries = read_ledger(folder)
    if aside is not None:
        entries = as_if_aside(entries, aside)
    if anew is not None:
        entries = as_if_read_anew(entries, anew, role)
    found = list(_stale(folder, steps, kinds, entries))
    rows = [
        Pending(step.name, step.text, why, sure, last.get(step.name)) for step, why, sure in found
    ]
    known = [row.seconds for row in rows if row.seconds is not None]
    files = sum(entry.role in RECORDED for entry in entries)
    return PendingResult(rows, round(sum(known), 1) if known else None, files)


def _stale(
    folder: Folder, steps: Sequence[Step], kinds: Collection[str], entries: Sequence[RawFile]
) -> Iterator[tuple[Step, list[str], bool]]:
    """Yield the steps that are stale, why, and whether they are sure to run."""
    state = read_state(folder)
    decisions = read_decisions(folder)
    digests: dict[str, str] = {}
    makers: dict[str, str] = {}
    for step in steps:
        waits = list(dict.fromkeys(makers[name] for name in step.inputs if name in makers))
        why = [f"a decision of kind {kind} changes" for kind in step.decisions if kind in kinds]
        if waits:
            why += [f"step {name} has to run first" for name in waits]
        elif not why:
            parts = key_parts(step, folder, entries=entries, decisions=decisions, digests=digests)
            why = why_stale(folder, step, parts, state.get(step.name))
        if why:
            makers.update(dict.fromkeys(step.products, step.name))
            yield step, why, not waits
        else:
            digests.update({n: s.digest for n, s in state[step.name].products.items()})


def last_seconds(folder: Folder) -> dict[str, float]:
    """Return how long each step took when it last ran [s], as far back as the journals tell."""
    found: dict[str, float] = {}
    wanted = {step.name for step in STEPS}
    for path in sorted(folder.journal.glob("*.json"), reverse=True)[:JOURNALS]:
        if found.keys() >= wanted:
            break
        try:
            rows = json.loads(path.read_text(encoding="utf-8")).get("steps", [])
            took = {row["step"]: float(row["seconds"]) for row in rows if row["ran"]}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            continue  # a journal is for people: a damaged one only leaves a time untold
        found = took | found
    return found
