"""What is understood of a file before it is added: nothing in the survey changes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError, LodewalkError
from lodewalk.formats.registry import ROLES, SET_ASIDE
from lodewalk.services.add import WITHOUT_TIMES, ReadFile, read_file
from lodewalk.services.intake.columns import (
    LINES,
    LONGEST,
    FileColumn,
    file_columns,
    head_lines,
    map_of_kin,
)
from lodewalk.services.intake.lacking import lacking, unread
from lodewalk.services.intake.names import likely_instrument
from lodewalk.services.intake.overlap import time_doubts
from lodewalk.services.intake.roles import likely_role
from lodewalk.services.intake.spans import Span, read_span
from lodewalk.services.place import zone_doubt
from lodewalk.services.reading import with_zone
from lodewalk.survey.ledger import RawFile, file_digest, read_ledger, same_content
from lodewalk.zones import checked_zone

if TYPE_CHECKING:
    from lodewalk.records import Table
    from lodewalk.survey.folder import Folder

ROWS = 6
#: Words of a rule, and the field of a form that it is about.
FIELDS = (
    ("columns can't be told", "columns"), ("role", "role"), ("time zone", "time_zone"),
    ("time.zone", "time_zone"), ("instrument", "instrument"),
    ("column", "columns"), ("delimiter", "columns"), ("decimal", "columns"), ("time.", "columns"),
)  # fmt: skip
SAY_COLUMNS = "Say what each column is, or confirm what is proposed."


@dataclass(frozen=True)
class Refused:
    """Why a file can't be taken as it is, in the words of the command line, and where."""

    text: str
    rule: str
    file: str | None
    line: int | None
    value: str | None
    remedy: str | None
    field: str | None


@dataclass(frozen=True)
class FirstRows:
    """The first rows as they were understood, with the unit of each column."""

    columns: list[str]
    units: list[str]
    rows: list[list[str]]


@dataclass(frozen=True)
class FilePreview:
    """What was understood of a file; `refused` says why it can't be added as it is.

    `held` names the same content where the survey has it already, and `unchanged` tells that
    adding it again would change nothing. `map_from` says where the column map comes from: given,
    kept (of the same file), like (of the file `like`, which has the same columns) or proposed.
    `unread` names the columns that nothing reads, `lacking` says what the role can't do without.
    """

    file: str
    size_bytes: int
    sha256: str
    role: str
    instrument: str
    format: str | None
    readings: int
    zone: str | None
    asks_zone: bool
    span: Span | None
    crs: str | None
    understood: list[str]
    first: FirstRows
    head: list[str]
    columns: list[FileColumn]
    column_map: dict[str, Any] | None
    map_from: str | None
    like: str | None
    confidence: float | None
    doubts: list[str]
    unread: list[str]
    lacking: list[str]
    held: str | None
    held_role: str | None
    unchanged: bool
    refused: Refused | None


@dataclass(frozen=True)
class _Map:
    """A column map with where it comes from."""

    values: dict[str, Any] | None = None
    source: str | None = None
    like: str | None = None
    instrument: str | None = None
    zone: str | None = None
    confidence: float | None = None
    doubts: tuple[str, ...] = ()


def preview_file(
    folder: "Folder",
    path: Path,
    *,
    role: str | None = None,
    instrument: str | None = None,
    columns: Mapping[str, Any] | None = None,
    time_zone: str | None = None,
) -> FilePreview:
    """Say what is understood of a file without adding it.

    Parameters
    ----------
    folder : Folder
        The survey.
    path : Path
        The file.
    role : str, optional
        As for `lodewalk.services.add.add_files`; the likeliest one when left out.
    instrument : str, optional
        Name of the instrument; told by the file's name or by its like when left out.
    columns : mapping, optional
        Column map; that of a file with the same columns, or a proposed one, when left out.
    time_zone : str, optional
        Zone of the recorded times where the file doesn't say it.
    """
    entries = read_ledger(folder)
    sha256, known = file_digest(path), None
    known = same_content(entries, sha256)
    wanted = role or _role(folder, entries, path, known)
    found = _map(folder, entries, path, role=wanted, given=columns, known=known)
    named = instrument or likely_instrument(
        path.name, role=wanted, known=known, like=found.instrument, entries=entries
    )
    blank = _blank(path, sha256, wanted, named, found, known)
    try:
        if wanted not in ROLES:
            raise InputError(f"A role is one of {', '.join(ROLES)}.", value=wanted)
        zone = checked_zone(time_zone, key=None) if time_zone else None
        if found.source in ("like", "kept") and found.values:
            found = replace(found, values=with_zone(found.values, zone, path, role=wanted))
            blank = replace(blank, column_map=found.values)
        read = _read(folder, entries, path, role=wanted, found=found, zone=zone or found.zone)
        told = _told(folder, blank, read, instrument=named)
        lacks = lacking(read.content.table, read.column_map, told, entries)
        odd = [
            *zone_doubt(read.content.table, folder.settings.survey.crs),
            *time_doubts(folder, told, entries),
        ]
        return replace(told, lacking=[*lacks, *odd])
    except LodewalkError as error:
        return replace(blank, refused=refusal(error, found.values))


def refusal(error: LodewalkError, column_map: Mapping[str, Any] | None = None) -> Refused:
    """Return an error in its parts, with the field that it is about.

    Where the columns can't be told, the remedy is to say what they are, not to write a file.
    """
    rule = getattr(error, "rule", str(error))
    field = next((name for word, name in FIELDS if word in rule), None)
    if field is None and column_map is not None and getattr(error, "line", None):
        field = "columns"
    value = getattr(error, "value", None)
    remedy = getattr(error, "remedy", None) or ""
    text = str(error)
    if field == "columns" and "lodewalk " in remedy:
        text, remedy = text.replace(remedy, SAY_COLUMNS), SAY_COLUMNS
    return Refused(
        text=text, rule=rule, file=getattr(error, "file", None),
        line=getattr(error, "line", None), value=None if value is None else str(value)[:200],
        remedy=remedy or None, field=field,
    )  # fmt: skip


def map_file(place: Path, columns: Mapping[str, Any]) -> Path:
    """Write a column map where the verbs read it from.

    Raises
    ------
    SettingsError
        For a key or value that a column map doesn't have.
    """
    from lodewalk.formats.delimited import ColumnMap

    path = place / "column map"
    path.write_text(ColumnMap.from_dict(dict(columns)).to_toml(), encoding="utf-8")
    return path


def _role(folder: "Folder", entries: list[RawFile], path: Path, known: RawFile | None) -> str:
    """Return the role that a file has, that one with the same columns has, or the likeliest."""
    if known and known.role in ROLES:
        return known.role
    if known and known.role == SET_ASIDE and known.former_role in ROLES:
        return known.former_role
    like = map_of_kin(folder, entries, path)
    return like[0].role if like else likely_role(path)


def _map(
    folder: "Folder",
    entries: list[RawFile],
    path: Path,
    *,
    role: str,
    given: Mapping[str, Any] | None,
    known: RawFile | None,
) -> _Map:
    """Return the column map to read a file with: given, kept, of its like, or proposed."""
    from lodewalk.formats.delimited import propose
    from lodewalk.formats.registry import recognise

    if given is not None:
        return _Map(dict(given), "given")
    try:
        if recognise(path, role=role).name != "delimited":
            return _Map()
        if known and known.column_map is not None and known.role in (role, "set_aside"):
            return _Map(dict(known.column_map), "kept", zone=known.zone)
        like = map_of_kin(folder, entries, path, role=role)
        if like:
            entry, values = like
            return _Map(values, "like", entry.original_name, entry.instrument, _zone_of(entry))
        made = propose(path, role=role)
    except LodewalkError:
        return _Map()
    values = made.column_map.to_dict()
    return _Map(values, "proposed", confidence=round(made.confidence, 3), doubts=made.doubts)


def _zone_of(entry: RawFile) -> str | None:
    """Return the zone that a person said of a file, None where its map says it."""
    told = ((entry.column_map or {}).get("time") or {}).get("zone")
    return None if told else entry.zone


def _read(
    folder: "Folder",
    entries: list[RawFile],
    path: Path,
    *,
    role: str,
    found: _Map,
    zone: str | None,
) -> ReadFile:
    """Read a file as adding it would."""
    with TemporaryDirectory(prefix="lodewalk-") as place:
        sure = found.source in ("given", "like", "kept")
        chosen = map_file(Path(place), found.values) if sure and found.values else None
        return read_file(folder, entries, path, role=role, columns=chosen, zone=zone)


def _blank(
    path: Path, sha256: str, role: str, instrument: str, found: _Map, known: RawFile | None
) -> FilePreview:
    """Return what can be said of any file, readable or not."""
    lines = head_lines(path)
    columns = _columns(lines, found.values)
    return FilePreview(
        file=path.name, size_bytes=path.stat().st_size, sha256=sha256, role=role,
        instrument=instrument, format=None, readings=0, zone=None, asks_zone=False, span=None,
        crs=None, understood=[], first=FirstRows([], [], []),
        head=[line[:LONGEST] for line in lines[:LINES]], columns=columns,
        column_map=found.values, map_from=found.source, like=found.like,
        confidence=found.confidence, doubts=list(found.doubts),
        unread=unread(columns), lacking=[],
        held=f"raw/{known.name}" if known else None, held_role=known.role if known else None,
        unchanged=False, refused=None,
    )  # fmt: skip


def _columns(lines: list[str], values: dict[str, Any] | None) -> list[FileColumn]:
    """Return the columns of a file as a map splits it; none for a map that is wrong itself."""
    from lodewalk.formats.delimited import ColumnMap

    if values is None:
        return []
    try:
        return file_columns(lines, ColumnMap.from_dict(values))
    except LodewalkError:
        return []


def _told(folder: "Folder", blank: FilePreview, read: ReadFile, *, instrument: str) -> FilePreview:
    """Return what was understood of a file that can be read."""
    table = read.content.table
    timed = blank.role not in WITHOUT_TIMES
    return replace(
        blank,
        format=read.format.title,
        readings=len(table),
        zone=read.zone if timed else None,
        asks_zone=timed and read.content.zone is None,
        span=read_span(table, read.zone, folder.settings.survey.time_zone) if timed else None,
        crs=_crs(table, blank.column_map, folder.settings.survey.crs),
        understood=[*read.remarks, *read.content.understood],
        first=_first_rows(table),
        unchanged=_unchanged(read, role=blank.role, instrument=instrument),
    )


def _unchanged(read: ReadFile, *, role: str, instrument: str) -> bool:
    """Tell whether the survey holds the file already, read in just this way."""
    old = read.old
    if old is None:
        return False
    own = read.column_map.to_dict() if read.column_map else None
    new = {"role": role, "instrument": instrument, "format": read.format.name,
           "zone": read.zone, "column_map": own}  # fmt: skip
    return old.reading() == new


def _crs(table: "Table", column_map: Mapping[str, Any] | None, survey: str) -> str | None:
    """Say in which system places stand in a file; None where it has none."""
    stated = ((column_map or {}).get("position") or {}).get("crs")
    if table.has("crs") and len(table):
        return ", ".join(sorted(set(table.frame["crs"].drop_nulls().to_list())))
    if table.has("latitude_deg"):
        return f"latitude and longitude, {stated or 'WGS84'}; brought to {survey}"
    if table.has("easting_m"):
        return f"{stated}; brought to {survey}" if stated else f"{survey}, the survey's own"
    return None


def _first_rows(table: "Table") -> FirstRows:
    """Return the first rows, without columns that hold nothing."""
    frame = table.frame.head(ROWS)
    schema = {column.name: column for column in table.SCHEMA}
    names = [name for name in frame.columns if frame[name].null_count() < frame.height]
    rows = [[_text(value) for value in row] for row in frame.select(names).iter_rows()]
    return FirstRows(names, [schema[n].unit if n in schema else "" for n in names], rows)


def _text(value: object) -> str:
    """Return one value as a person reads it."""
    if value is None:
        return "–"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="milliseconds")
    return f"{value:.10g}" if isinstance(value, float) else str(value)[:LONGEST]
