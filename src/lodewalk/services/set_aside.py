"""Files set aside: they stay in `raw/` and in the ledger, and no step reads them."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.formats.registry import SET_ASIDE
from lodewalk.services.reading import check_file
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import RawFile, file_digest, read_ledger, same_content, write_ledger
from lodewalk.survey.lock import locked


def set_aside(folder: Folder, files: Sequence[Path], *, note: str = "") -> list[RawFile]:
    """Set files of the survey aside, all of them or none; return their entries from before.

    Parameters
    ----------
    folder : Folder
        The survey.
    files : sequence of Path
        The files as they were added, or as they lie in `raw/`.
    note : str
        Why, and who: kept in the ledger.

    Raises
    ------
    InputError
        For a file that isn't in the survey, or is set aside already.
    """
    with locked(folder):
        entries = read_ledger(folder)
        found = [_found(entries, path) for path in files]
        _write(folder, entries, {entry.sha256 for entry in found}, note)
    return found


def set_aside_where(folder: Folder, which: Callable[[RawFile], bool]) -> list[str]:
    """Set every file aside that `which` picks, and return where they lie."""
    with locked(folder):
        entries = read_ledger(folder)
        found = [entry for entry in entries if which(entry)]
        if found:
            _write(folder, entries, {entry.sha256 for entry in found})
    return [f"raw/{entry.name}" for entry in found]


def _found(entries: list[RawFile], path: Path) -> RawFile:
    """Return the entry of a file that can be set aside."""
    check_file(path)
    entry = same_content(entries, file_digest(path))
    if entry is None:
        raise InputError(
            "Only a file that is in the survey can be set aside.",
            file=path.name,
            remedy="Name it as it lies in raw/.",
        )
    if entry.role == SET_ASIDE:
        raise InputError(
            "This file is set aside already.", file=path.name, remedy="Nothing was changed."
        )
    return entry


def _write(folder: Folder, entries: list[RawFile], chosen: set[str], note: str = "") -> None:
    """Write the ledger with some files set aside."""
    write_ledger(folder, _without(entries, chosen, note))


def _without(entries: Sequence[RawFile], chosen: set[str], note: str = "") -> list[RawFile]:
    """Return the entries with some files, by their digests, set aside."""
    return [
        replace(item, role=SET_ASIDE, former_role=item.role, aside_note=note)
        if item.sha256 in chosen
        else item
        for item in entries
    ]


def as_if_aside(entries: Sequence[RawFile], stored_as: str) -> list[RawFile]:
    """Return the entries as they would be with a file set aside, by the name it is stored as.

    Raises
    ------
    InputError
        For a name that no file of the survey has.
    """
    return _without(entries, {_entry(entries, stored_as).sha256})


def as_if_read_anew(
    entries: Sequence[RawFile], stored_as: str, role: str | None = None
) -> list[RawFile]:
    """Return the entries as they would be with a file read in another way, or brought back.

    Parameters
    ----------
    stored_as : str
        The name that the file is stored as.
    role : str, optional
        Its role from then on; the one that it has, or had before it was set aside, when left out.

    Raises
    ------
    InputError
        For a name that no file of the survey has.
    """
    entry = _entry(entries, stored_as)
    # Whatever is read otherwise, each step that reads the file does so again: a zone stands for it.
    other = replace(entry, role=role or entry.former_role or entry.role, zone=f"not {entry.zone}")
    return [other if item is entry else item for item in entries]


def _entry(entries: Sequence[RawFile], stored_as: str) -> RawFile:
    """Return the entry of a file by the name it is stored as."""
    name = stored_as.removeprefix("raw/")
    found = next((entry for entry in entries if entry.name == name), None)
    if found is None:
        raise InputError("The survey holds no such file.", value=stored_as)
    return found
