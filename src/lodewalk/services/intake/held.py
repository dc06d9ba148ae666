"""The files that a survey holds: the list with their spans, setting aside and bringing back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError
from lodewalk.formats.registry import format_named
from lodewalk.services.add import AddResult, about_aside, add_files
from lodewalk.services.intake.preview import map_file
from lodewalk.services.intake.spans import Span, held_span
from lodewalk.services.overview import HeldFile
from lodewalk.services.set_aside import set_aside
from lodewalk.services.signed import signed
from lodewalk.survey.contents import own_file
from lodewalk.survey.ledger import display_names, read_ledger

if TYPE_CHECKING:
    from lodewalk.survey.folder import Folder


@dataclass(frozen=True)
class LedgerRow(HeldFile):
    """A raw file: what it is, how it is read, when it was added, from when to when it records."""

    span: Span | None
    note: str


@dataclass(frozen=True)
class LedgerResult:
    """All raw files in the order of adding."""

    files: list[LedgerRow]


def ledger(folder: "Folder") -> LedgerResult:
    """List the raw files of a survey, with the span of time that each records."""
    entries = read_ledger(folder)
    names = display_names(entries)
    zone = folder.settings.survey.time_zone
    return LedgerResult(
        [
            LedgerRow(
                names[entry.sha256], f"raw/{entry.name}", entry.role, entry.instrument,
                format_named(entry.format).title, entry.size, entry.zone, entry.sha256,
                entry.added_utc, held_span(folder, entry, zone), entry.aside_note,
            )
            for entry in entries
        ]
    )  # fmt: skip


def held_path(folder: "Folder", stored_as: str) -> Path:
    """Return where a file of the survey lies, by the name that the list gives it.

    Raises
    ------
    InputError
        For a name that no file of the survey has.
    """
    name = stored_as.removeprefix("raw/")
    if name not in {entry.name for entry in read_ledger(folder)}:
        raise InputError("The survey holds no such file.", value=stored_as)
    return own_file(folder, folder.raw / name)


def add_as(
    folder: "Folder",
    paths: Sequence[Path],
    *,
    role: str,
    instrument: str | None = None,
    columns: Mapping[str, Any] | None = None,
    time_zone: str | None = None,
) -> AddResult:
    """Add files as `lodewalk.services.add.add_files` does, with a column map of plain values.

    Raises
    ------
    InputError
        As for `add_files`, and for a column map that has a wrong key or value.
    """
    with TemporaryDirectory(prefix="lodewalk-") as place:
        chosen = None if columns is None else map_file(Path(place), columns)
        return add_files(
            folder, paths, role=role, instrument=instrument or None, columns=chosen,
            time_zone=time_zone or None,
        )  # fmt: skip


def put_aside(folder: "Folder", stored_as: str, *, reason: str, who: str) -> AddResult:
    """Set a file aside: it stays in `raw/`, and no step reads it; the ledger keeps why.

    Raises
    ------
    InputError
        For a name that no file has, or one that is set aside already.
    """
    found = set_aside(folder, [held_path(folder, stored_as)], note=signed(reason, who))
    return AddResult([about_aside(entry) for entry in found])
