"""Adding raw files: recognise, read, check, and only then copy."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError
from lodewalk.formats.registry import ROLES, SET_ASIDE, Format, format_named, recognise
from lodewalk.services.extent import extent
from lodewalk.services.place import check_place
from lodewalk.services.reading import check_file, check_pairs, column_map_of, zone_of
from lodewalk.services.set_aside import set_aside
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import (
    RawFile,
    read_ledger,
    same_content,
    store_raw,
    unique_name,
    write_ledger,
)
from lodewalk.survey.lock import locked
from lodewalk.zones import checked_zone

if TYPE_CHECKING:
    from lodewalk.formats.content import Content
    from lodewalk.formats.delimited import ColumnMap

DEFAULT_INSTRUMENT = {"base": "base", "rover": "rover", "track": "track", "older": "older"}
#: Roles whose files hold no times.
WITHOUT_TIMES = ("area", "exclusion", "terrain", "hand_meter", "known")
#: Formats whose files are tables of text, with lines of a bounded length.
IN_LINES = ("delimited", "nmea", "iaga2002", "hand_meter", "known")


@dataclass(frozen=True)
class AddedFile:
    """What was understood of one file."""

    file: str
    stored_as: str
    role: str
    instrument: str
    format: str
    rows: int
    zone: str
    sha256: str
    understood: list[str]


@dataclass(frozen=True)
class AddResult:
    """The files that were added."""

    files: list[AddedFile]


@dataclass(frozen=True)
class ReadFile:
    """One file that was read and checked, not yet stored."""

    source: Path
    format: Format
    column_map: "ColumnMap | None"
    content: "Content"
    zone: str
    sha256: str
    remarks: tuple[str, ...]
    old: RawFile | None


def add_files(
    folder: Folder,
    files: Sequence[Path],
    *,
    role: str,
    instrument: str | None = None,
    columns: Path | None = None,
    time_zone: str | None = None,
) -> AddResult:
    """Copy files into `raw/` and enter them in the ledger, all of them or none.

    A file that is in the survey already may be added again to be read in another way: with
    another zone, column map, instrument or role. Its bytes stay as they are.

    Parameters
    ----------
    folder : Folder
        The survey.
    files : sequence of Path
        Files as recorded.
    role : str
        One of base, rover, track, observatory, plan, notes, older, area, exclusion, terrain,
        hand_meter, known; or set_aside, for files of the survey that no step is to read any longer.
    instrument : str, optional
        Name of the instrument; the role's name when left out.
    columns : Path, optional
        Column map for delimited text; proposed from the file when left out.
    time_zone : str, optional
        Zone of the recorded times where the file doesn't say it.

    Raises
    ------
    InputError
        For a file that can't be read, is in the survey already, or lies outside the survey.
    """
    if role == SET_ASIDE:
        return AddResult([about_aside(entry) for entry in set_aside(folder, files)])
    if role not in ROLES:
        raise InputError(f"A role is one of {', '.join((*ROLES, SET_ASIDE))}.", value=role)
    zone = checked_zone(time_zone, key=None) if time_zone else None
    given = None if instrument is None else _checked_name(instrument)
    added = []
    with locked(folder):
        entries = read_ledger(folder)
        read = [
            read_file(folder, entries, path, role=role, columns=columns, zone=zone)
            for path in files
        ]
        _check_twice(read)
        with _all_or_none(folder) as stored:
            for item in read:
                entry = _entry(folder, entries, item, role=role, instrument=given)
                if item.old:
                    entry = replace(item.old, **entry.reading(), former_role="", aside_note="")
                    _check_other_way(item.old, entry, file=item.source.name)
                    entries[entries.index(item.old)] = entry
                else:
                    stored.append(entry.name)
                    entry = store_raw(folder, item.source, entry)
                    entries.append(entry)
                added.append(_about(item, entry, _joins(entries, entry)))
            write_ledger(folder, entries)
    return AddResult(added)


@contextmanager
def _all_or_none(folder: Folder) -> Iterator[list[str]]:
    """Yield a list for the names of the files stored; they are taken back on an error."""
    stored: list[str] = []
    try:
        yield stored
    except BaseException:
        for name in stored:
            (folder.raw / name).unlink(missing_ok=True)
        raise


def _checked_name(name: str) -> str:
    """Return the name of an instrument, or raise when it can't stand in a table."""
    if not re.fullmatch(r"[^\W_][\w .+-]{0,39}", name):
        raise InputError(
            "The name of an instrument has letters, digits, blanks and . + - _, 40 at most.",
            value=name,
            remedy="Take a short one, such as R1.",
        )
    return name


def read_file(
    folder: Folder,
    entries: list[RawFile],
    path: Path,
    *,
    role: str,
    columns: Path | None,
    zone: str | None,
) -> ReadFile:
    """Read and check one file without changing anything.

    Of a file that is in the survey already, what isn't said now stays as it was.
    """
    from lodewalk.formats.scan import check_size, hash_and_scan

    check_file(path)
    form = _format(path, role=role, columns=columns)
    if form.name in IN_LINES:  # XML and JSON may stand on one line
        check_size(path)
    sha256 = hash_and_scan(path).sha256
    known = same_content(entries, sha256)
    old = known if known and known.role == role else None
    kept = old.column_map if old else None
    column_map, remarks = column_map_of(
        path, form, role=role, columns=columns, kept=kept, zone=zone
    )
    check_pairs(column_map, path.name)
    content = form.reader().read(path, role=role, column_map=column_map)
    if len(content.table) == 0:
        raise InputError("The file holds no rows.", file=path.name)
    fallback = old.zone if old else folder.settings.survey.time_zone
    told = "UTC"  # the ledger wants one; these files hold no times
    if role not in WITHOUT_TIMES:
        told = zone_of(content, given=zone, fallback=fallback, file=path.name)
    _check_times(content.table, told, path.name)
    _check_local_grid(content.table, column_map, path.name)
    check_place(content.table, column_map, folder.settings.survey.crs, path.name)
    remarks = (*remarks, *extent(content.table, folder.settings, role=role, file=path.name))
    return ReadFile(path, form, column_map, content, told, sha256, remarks, known)


def _format(path: Path, *, role: str, columns: Path | None) -> Format:
    """Return the format of a file; with a column map it is delimited text."""
    if columns is None:
        return recognise(path, role=role)
    form = format_named("delimited")
    if role not in form.roles:
        raise InputError(
            f"A column map is for delimited text, which serves as {', '.join(form.roles)}.",
            file=path.name,
            value=role,
            remedy="Leave the column map out.",
        )
    return form


@dataclass(frozen=True)
class ProposeResult:
    """A draft of a column map."""

    file: str
    column_map: str
    confidence: float
    reasons: list[str]
    doubts: list[str]


def propose_map(path: Path, *, role: str, out: Path) -> ProposeResult:
    """Write a draft of the column map of a file, to be checked by a person.

    Raises
    ------
    InputError
        For a file that isn't text.
    """
    from lodewalk.formats.delimited import propose
    from lodewalk.survey.files import write_text

    check_file(path)
    proposal = propose(path, role=role)
    notes = [f"# {line}" for line in (*proposal.reasons, *proposal.doubts)]
    write_text(out, "\n".join([*notes, proposal.column_map.to_toml()]))
    return ProposeResult(
        path.name,
        str(out),
        round(proposal.confidence, 3),
        list(proposal.reasons),
        list(proposal.doubts),
    )


def _check_times(table: Any, zone: str, file: str) -> None:
    """Raise when a time can't be turned into UTC or lies beyond the reference field."""
    from lodewalk.methods.geomagnetic import IGRF_LAST_YEAR, IGRF_MODEL
    from lodewalk.steps.time import to_utc

    if not table.has("recorded_time"):
        return
    frame = table.frame
    to_utc(frame["recorded_time"], zone=zone, file=file, lines=frame["line_in_file"])
    late = (frame["recorded_time"].dt.year() >= IGRF_LAST_YEAR).fill_null(False).arg_true()
    if len(late):
        raise InputError(
            f"{IGRF_MODEL} ends with the year {IGRF_LAST_YEAR - 1:g}.",
            file=file,
            line=frame["line_in_file"][int(late[0])],
            value=str(frame["recorded_time"][int(late[0])]),
            remedy="Is the date right? If so, a newer lodewalk is needed.",
        )


def _check_local_grid(table: Any, column_map: "ColumnMap | None", file: str) -> None:
    """Raise when a line of a local grid is no number, or its pegs can't tie it."""
    from lodewalk.steps.places import line_number, tie_of

    if column_map is not None and column_map.position.local_grid:
        for name in dict.fromkeys(table.strings("line")):
            line_number(name, file)
        tie_of(column_map.position.model_dump(mode="json"), file)


def _check_twice(read: Sequence[ReadFile]) -> None:
    """Raise when one file is given twice."""
    seen: set[str] = set()
    for item in read:
        if item.sha256 in seen:
            raise InputError(
                "This file is given twice.", file=item.source.name, remedy="Name it once."
            )
        seen.add(item.sha256)


def _check_other_way(old: RawFile, new: RawFile, *, file: str) -> None:
    """Raise when a file that is in the survey is added again without any change."""
    if old.reading() == new.reading():
        raise InputError(
            f"This file is in the survey already, as raw/{old.name} ({old.role}).",
            file=file,
            remedy="Nothing was changed.",
        )


def _entry(
    folder: Folder, entries: list[RawFile], item: ReadFile, *, role: str, instrument: str | None
) -> RawFile:
    """Return the ledger entry of a file that was read."""
    usual = DEFAULT_INSTRUMENT.get(role, "")
    if item.old and item.old.role == role:
        usual = item.old.instrument
    return RawFile(
        name=unique_name(folder, entries, item.source.name, item.sha256),
        sha256=item.sha256,
        size=0,
        mtime_ns=0,
        role=role,
        instrument=usual if instrument is None else instrument,
        format=item.format.name,
        zone=item.zone,
        column_map=item.column_map.to_dict() if item.column_map else None,
        original_name=item.source.name,
        added_utc="",
    )


def _joins(entries: list[RawFile], entry: RawFile) -> list[str]:
    """Say which areas a further one joins."""
    there = [f"raw/{other.name}" for other in entries if other.role == "area" and other != entry]
    if entry.role != "area" or not there:
        return []
    return [
        f"It joins the area that is there already ({', '.join(there)}): both are planned. "
        "A plan that is given an area takes that alone instead."
    ]


def about_aside(entry: RawFile) -> AddedFile:
    """Say that a file is set aside."""
    back = f"From now on no step reads it; role {entry.role} brings it back."
    return AddedFile(
        entry.original_name, f"raw/{entry.name}", SET_ASIDE, entry.instrument,
        format_named(entry.format).title, 0, entry.zone, entry.sha256, [back],
    )  # fmt: skip


def _about(item: ReadFile, entry: RawFile, joins: list[str]) -> AddedFile:
    """Say what was understood of a file."""
    remarks = [*item.remarks, *item.content.understood, *joins]
    if item.old:
        remarks.append("It was in the survey already; from now on it is read in this way.")
    if entry.role == "observatory":
        remarks.append("It is kept for later; no step reads observatory files yet.")
    return AddedFile(
        file=entry.original_name,
        stored_as=f"raw/{entry.name}",
        role=entry.role,
        instrument=entry.instrument,
        format=item.format.title,
        rows=len(item.content.table),
        zone=entry.zone,
        sha256=entry.sha256,
        understood=remarks,
    )
