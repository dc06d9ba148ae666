"""The ledger: the list of raw files with their digest, size, role and how to read them."""

import hashlib
import shutil
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from lodewalk.errors import FolderError, InputError
from lodewalk.survey.clock import now_utc
from lodewalk.survey.files import write_json, write_with
from lodewalk.survey.folder import Folder

BLOCK = 1 << 20


@dataclass(frozen=True)
class RawFile:
    """One entry of the ledger.

    `column_map` is kept whole, so that the survey can be rebuilt from its folder alone.
    `former_role` is the one that a file which is set aside had before, `aside_note` says why.
    `mtime_ns` and `size` are the fast path of the comparison; the digest decides.
    """

    name: str
    sha256: str
    size: int
    mtime_ns: int
    role: str
    instrument: str
    format: str
    zone: str
    column_map: Mapping[str, Any] | None
    original_name: str
    added_utc: str
    former_role: str = ""
    aside_note: str = ""

    def reading(self) -> dict[str, Any]:
        """Return how the file is read: all that a person said of it."""
        return {
            "role": self.role,
            "instrument": self.instrument,
            "format": self.format,
            "zone": self.zone,
            "column_map": self.column_map,
        }


_ENTRIES = TypeAdapter(list[RawFile])


def _written(entry: RawFile) -> dict[str, Any]:
    """Return an entry as the ledger holds it; what is told of one set aside only where it is."""
    aside = ("former_role", "aside_note")
    return {key: value for key, value in asdict(entry).items() if key not in aside or value}


def display_names(entries: Iterable[RawFile]) -> dict[str, str]:
    """Return the name of each file, by its digest, whatever the order of adding.

    Files with one original name are told apart by their digests.
    """
    known = list(entries)
    count = Counter(entry.original_name.casefold() for entry in known)
    return {
        entry.sha256: entry.original_name
        if count[entry.original_name.casefold()] == 1
        else with_digest(entry.original_name, entry.sha256)
        for entry in known
    }


def with_digest(name: str, sha256: str) -> str:
    """Return a file name with the first digits of the digest.

    Examples
    --------
    >>> with_digest("day1.csv", "3f2a9c01d4e7")
    'day1-3f2a9c01.csv'
    """
    path = Path(name)
    return f"{path.stem}-{sha256[:8]}{path.suffix}"


def read_ledger(folder: Folder) -> list[RawFile]:
    """Return the entries in the order of adding.

    Raises
    ------
    FolderError
        When the ledger is damaged.
    """
    if not folder.ledger_file.exists():
        if any(path.is_file() for path in folder.raw.glob("[!.]*")):
            raise FolderError("raw/ holds files, but raw/ledger.json is gone. Restore it.")
        return []
    try:
        return _ENTRIES.validate_json(folder.ledger_file.read_bytes())
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise FolderError(
            f"raw/ledger.json is damaged ({place}: {first['msg']}). Restore it."
        ) from error


def write_ledger(folder: Folder, entries: list[RawFile]) -> None:
    """Write the whole ledger atomically."""
    write_json(folder.ledger_file, [_written(entry) for entry in entries])


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    total = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(BLOCK):
            total.update(block)
    return total.hexdigest()


def same_content(entries: Iterable[RawFile], sha256: str) -> RawFile | None:
    """Return the entry of the file with this content, or None."""
    return next((entry for entry in entries if entry.sha256 == sha256), None)


def unique_name(folder: Folder, entries: list[RawFile], name: str, sha256: str) -> str:
    """Return `name`, made unique by the digest where another raw file has it."""
    taken = {entry.name.casefold() for entry in entries} | {folder.ledger_file.name}
    there = folder.raw / name
    leftover = there.exists() and file_digest(there) == sha256
    if name.casefold() not in taken and (leftover or not there.exists()):
        return name
    return with_digest(name, sha256)


def store_raw(folder: Folder, source: Path, entry: RawFile) -> RawFile:
    """Copy a file into `raw/`, check the copy and return the entry for the ledger."""
    target = folder.raw / entry.name
    write_with(target, lambda part: shutil.copyfile(source, part))
    if file_digest(target) != entry.sha256:
        target.unlink()
        raise InputError("The file changed while it was copied.", file=source.name)
    target.chmod(0o444)
    status = target.stat()
    return replace(entry, size=status.st_size, mtime_ns=status.st_mtime_ns, added_utc=now_utc())


def check_raw(folder: Folder, entries: list[RawFile], *, rehash: bool = False) -> None:
    """Raise when a raw file is missing or no longer the one that was added.

    Size and file time are the fast path; a change, or `rehash`, compares the content.
    """
    for entry in entries:
        path = folder.raw / entry.name
        if not path.exists():
            raise InputError("The raw file is gone.", file=entry.name, remedy="Put it back.")
        status = path.stat()
        same = (status.st_size, status.st_mtime_ns) == (entry.size, entry.mtime_ns)
        if (rehash or not same) and file_digest(path) != entry.sha256:
            raise InputError(
                "The raw file is no longer the one that was added.",
                file=entry.name,
                remedy="Put the original back; a changed file must be added under its own name.",
            )
