"""What is known before going, read straight from the raw files: nothing is run or written."""

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger

if TYPE_CHECKING:
    from lodewalk.records import Record

#: Roles of files that tell of a survey to come.
ROLES = ("area", "exclusion", "terrain", "hand_meter")


def inputs_before(folder: Folder, *, without: tuple[str, ...] = ()) -> dict[str, "Record"]:
    """Return what the steps before going take, read from the raw files.

    Parameters
    ----------
    folder : Folder
        The survey.
    without : tuple of str
        Roles that are to be left empty.
    """
    held = read_ledger(folder)
    found: dict[str, Record] = {}
    for role in ROLES:
        own = [item.reading() | {"sha256": item.sha256} for item in held if item.role == role]
        key = "" if role in without else json.dumps(own, sort_keys=True, default=str)
        found |= _read(folder.path, role, key)
    return found


@lru_cache(maxsize=16)
def _read(path: Path, role: str, key: str) -> Mapping[str, "Record"]:
    """Read the files of a role; `key` says which they are, so that they are read once."""
    from lodewalk.survey.ingest import read_role

    folder = Folder(path)
    entries = [item for item in read_ledger(folder) if item.role == role] if key else []
    return read_role(folder, entries, role=role)


def picked_for(folder: Folder, step: str) -> dict[str, Any]:
    """Return the settings that a step reads, tried ones where the folder has them."""
    from lodewalk.steps.declarations import step_named
    from lodewalk.survey.settings import picked

    return picked(folder.settings, step_named(step).settings)
