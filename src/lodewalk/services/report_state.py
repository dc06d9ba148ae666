"""Whether the report still says what the survey does."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lodewalk import __version__
from lodewalk.errors import InputError
from lodewalk.services.stale import pending
from lodewalk.survey.clock import now_utc
from lodewalk.survey.contents import own_file
from lodewalk.survey.files import write_json
from lodewalk.survey.folder import Folder
from lodewalk.survey.state import read_state

#: Beside the report: when it was made, and of what.
NOTE = "made.json"


@dataclass(frozen=True)
class ReportState:
    """Whether there is a report, when it was made, and why it no longer holds; none if it does."""

    there: bool
    made_utc: str | None
    scale: int | None
    stale: list[str]
    size_bytes: int


def report_state(folder: Folder) -> ReportState:
    """Say whether there is a report and whether it holds, without running anything.

    Raises
    ------
    LodewalkError
        For settings or a ledger that can't be read.
    """
    path = folder.report / "report.html"
    if not path.exists():
        return ReportState(False, None, None, ["it was never written"], 0)
    made = _note(folder)
    why = []
    waiting = len(pending(folder).steps)
    if waiting:
        why.append(f"{waiting} {'step has' if waiting == 1 else 'steps have'} to run first")
    if made.get("lodewalk", __version__) != __version__:
        why.append(f"lodewalk {made['lodewalk']} wrote it, this is {__version__}")
    if not made:
        why.append("it is not known what it was made of")
    elif made.get("basis") != basis(folder):
        why.append("settings, decisions or products changed since")
    size = path.stat().st_size
    return ReportState(True, made.get("made_utc"), made.get("scale"), why, size)


def note_report(folder: Folder, *, scale: int | None) -> None:
    """Write down of what the report was made; `scale` is the one asked for."""
    note = {
        "made_utc": now_utc(),
        "basis": basis(folder),
        "scale": scale,
        "lodewalk": __version__,
    }
    write_json(folder.report / NOTE, note)


def _note(folder: Folder) -> dict[str, Any]:
    """Return what was written down of the report; nothing where that is gone or damaged."""
    try:
        found = json.loads((folder.report / NOTE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def basis(folder: Folder) -> str:
    """Return a digest of all that a report tells: settings, decisions, ledger, products."""
    total = hashlib.sha256()
    for path in (folder.settings_file, folder.decisions_file, folder.ledger_file):
        content = path.read_bytes() if path.exists() else b""
        total.update(hashlib.sha256(content).digest())
    digests = {
        name: stored.digest
        for made in read_state(folder).values()
        for name, stored in made.products.items()
    }
    total.update(json.dumps(digests, sort_keys=True).encode())
    return total.hexdigest()


def report_file(folder: Folder) -> Path:
    """Return the path of the report.

    Raises
    ------
    InputError
        When it was never written, or a link stands in its place.
    """
    path = folder.report / "report.html"
    if not path.is_file():
        raise InputError("There is no report yet.", remedy="Write it first.")
    return own_file(folder, path)
