"""The package that lies in the survey's own folder: made, told, found again."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from lodewalk.errors import InputError
from lodewalk.services.pack import PackResult, pack
from lodewalk.services.report_state import basis, report_state
from lodewalk.steps.context import Reporter
from lodewalk.survey.clock import now_utc
from lodewalk.survey.contents import own_file
from lodewalk.survey.files import write_json
from lodewalk.survey.folder import Folder

NOTE = "made.json"


@dataclass(frozen=True)
class PackageState:
    """Whether there is a package, when it was made, and why it no longer holds; none if it does.

    `message` is what can be said to whoever receives it.
    """

    there: bool
    file: str
    size_bytes: int
    made_utc: str | None
    sha256: str | None
    files: int
    products: int
    stale: list[str]
    message: str


def pack_here(
    folder: Folder,
    *,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PackResult:
    """Make the package in the survey's own folder; a former one is replaced. See `pack`."""
    folder.package.mkdir(exist_ok=True)
    made = pack(folder, _place(folder), force=True, reporter=reporter, cancelled=cancelled)
    note = asdict(made) | {"made_utc": now_utc(), "basis": basis(folder)}
    write_json(folder.package / NOTE, note)
    return made


def package_state(folder: Folder) -> PackageState:
    """Say whether there is a package and whether it holds, without making or reading it."""
    path, note = _place(folder), _note(folder)
    if not path.is_file():
        return PackageState(False, path.name, 0, None, None, 0, 0, ["it was never made"], "")
    why = []
    if not note or path.stat().st_size != note["size_bytes"]:
        why.append("it is not known what it was made of")
    elif note["basis"] != basis(folder) or report_state(folder).stale:
        why.append("the survey changed since")
    return PackageState(
        True,
        path.name,
        path.stat().st_size,
        note.get("made_utc"),
        note.get("sha256"),
        note.get("files", 0),
        note.get("products", 0),
        why,
        _message(folder, path.name, note),
    )


def package_file(folder: Folder) -> Path:
    """Return the path of the package.

    Raises
    ------
    InputError
        When there is none, or a link stands in its place.
    """
    path = _place(folder)
    if not path.is_file():
        raise InputError("There is no package yet.", remedy="Make it first.")
    return own_file(folder, path)


def _place(folder: Folder) -> Path:
    """Return where the package lies."""
    return folder.package / f"{folder.path.resolve().name}.zip"


def _note(folder: Folder) -> dict[str, Any]:
    """Return what was written down of the package; nothing where that is gone or damaged."""
    try:
        found = json.loads((folder.package / NOTE).read_text(encoding="utf-8"))
        whole = isinstance(found, dict) and {"size_bytes", "basis"} <= set(found)
    except (OSError, ValueError):
        return {}
    return found if whole else {}


def _message(folder: Folder, name: str, note: dict[str, Any]) -> str:
    """Return what to say to the receiver."""
    survey = folder.settings.survey
    return (
        f"{name} holds the survey {survey.name} ({survey.crs}): the files as recorded, every "
        "decision, the corrected readings, grids, layers and the report. Begin with "
        "survey/report/report.html; README.txt says what is where.\n\n"
        f"SHA-256 of the zip: {note.get('sha256') or 'not known'}\n"
        "To check that no file changed on its way, unpack it and run: "
        "sha256sum --check SHA256SUMS\n"
        f"To rebuild all numbers from the raw files and compare: lodewalk verify {name}\n\n"
        "This survey is not a clearance for explosives or for buried services; local codes and "
        "licensed practice come first."
    )
