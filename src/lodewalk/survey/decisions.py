"""Decisions: what a person decided, with reason, person and time; appended, never rewritten."""

import json
import os
import uuid
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from lodewalk.errors import FolderError, InputError
from lodewalk.survey.clock import now_utc
from lodewalk.survey.folder import Folder

KINDS = ("clock", "drop", "keep")


@dataclass(frozen=True)
class Decision:
    """One decision.

    `target` names an instrument with a span of time as recorded, or reading ids:
    ``{"instrument": "R1", "start": "2026-03-10T12:00:00", "end": "..."}`` or
    ``{"readings": ["3f2a9c01:17"]}``. `withdraws` is the id of a decision that is taken back.
    """

    id: str
    kind: str
    target: dict[str, Any]
    value: Any
    reason: str
    who: str
    when_utc: str
    withdraws: str | None = None

    def effect(self) -> dict[str, Any]:
        """Return what a product depends on: neither id, person, reason nor time."""
        return {"kind": self.kind, "target": self.target, "value": self.value}


def read_decisions(folder: Folder) -> list[Decision]:
    """Return all lines as written, withdrawn ones too."""
    path = folder.decisions_file
    if not path.exists():
        return []
    decisions = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if line.strip():
            try:
                decisions.append(Decision(**json.loads(line)))
            except (ValueError, TypeError) as error:
                raise FolderError(
                    f"decisions/{path.name}, line {number}, is damaged ({error}). "
                    "Mend or remove that line."
                ) from error
    return decisions


def in_force(decisions: Iterable[Decision], kinds: tuple[str, ...]) -> list[Decision]:
    """Return the decisions of these kinds that were not withdrawn, in the order taken."""
    known = list(decisions)
    withdrawn = {item.withdraws for item in known if item.withdraws}
    live = [item for item in known if item.kind in kinds and item.id not in withdrawn]
    return [item for item in live if not item.withdraws]


def append_decision(
    folder: Folder,
    *,
    kind: str,
    target: dict[str, Any],
    value: Any,
    reason: str,
    who: str,
    withdraws: str | None = None,
) -> Decision:
    """Append one decision and flush it to the disk.

    Raises
    ------
    InputError
        For an unknown kind or an empty reason or person.
    """
    if kind not in KINDS:
        raise InputError(f"A decision is one of {', '.join(KINDS)}.", value=kind)
    if not (reason.strip() and who.strip()):
        raise InputError("A decision needs a reason and the person who took it.")
    decision = Decision(uuid.uuid4().hex, kind, target, value, reason, who, now_utc(), withdraws)
    path = folder.decisions_file
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(asdict(decision), sort_keys=True) + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    return decision
