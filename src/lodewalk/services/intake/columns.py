"""The columns of a delimited file with their first values, and a map from a file of its kind."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from lodewalk.errors import LodewalkError
from lodewalk.formats.registry import HEAD_BYTES, ROLES

if TYPE_CHECKING:
    from lodewalk.formats.delimited import ColumnMap
    from lodewalk.survey.folder import Folder
    from lodewalk.survey.ledger import RawFile

#: Values shown of each column, and lines shown of a file's head.
VALUES, LINES = 5, 14
LONGEST = 200


@dataclass(frozen=True)
class FileColumn:
    """A column of the file: its number from 1, its name, first values, and what it is taken for."""

    number: int
    name: str
    values: list[str]
    meaning: str | None


@dataclass(frozen=True)
class MapResult:
    """A column map as plain values, and as the text of its file."""

    columns: dict[str, Any]
    toml: str


def column_map_text(
    *, toml: str | None = None, columns: Mapping[str, Any] | None = None
) -> MapResult:
    """Return a column map both ways, from the text of its file or from plain values.

    Raises
    ------
    SettingsError
        For a text that is no TOML, and a key or value that a column map doesn't have.
    """
    from lodewalk.formats.delimited import ColumnMap

    if toml is None:
        made = ColumnMap.from_dict(dict(columns or {}))
    else:
        with TemporaryDirectory(prefix="lodewalk-") as place:
            path = Path(place) / "column map"
            path.write_text(toml, encoding="utf-8")
            made = ColumnMap.from_toml(path)
    return MapResult(made.to_dict(), made.to_toml())


def head_lines(path: Path) -> list[str]:
    """Return the first lines of a text file; none of one that is no text."""
    from lodewalk.formats.delimited.encoding import decode

    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    even = head[: len(head) // 2 * 2] if head[:2] in (b"\xff\xfe", b"\xfe\xff") else head
    cut = even.rpartition(b"\n")[0] if len(head) == HEAD_BYTES and b"\n" in even else even
    try:
        return decode(cut, file=path.name).text.split("\n")
    except LodewalkError:
        return []


def file_columns(lines: Sequence[str], column_map: "ColumnMap") -> list[FileColumn]:
    """Return the columns of a file as a map splits it; none where it splits nothing."""
    from lodewalk.formats.delimited.layout import data_rows, numbered_lines, split_names

    try:
        rows = data_rows(numbered_lines("\n".join(lines)), column_map, file="")
        split = [split_names(raw, column_map) for raw in rows.frame["raw"].to_list()[:VALUES]]
    except (LodewalkError, csv.Error):
        return []
    count = max((len(row) for row in (*split, rows.names or ())), default=0)
    names = [*(rows.names or ()), *[""] * count][:count]
    ours = _meanings(column_map, names)
    return [
        FileColumn(
            place + 1,
            names[place][:LONGEST],
            [row[place][:LONGEST] if place < len(row) else "" for row in split],
            ours.get(place),
        )
        for place in range(count)
    ]


def _meanings(column_map: "ColumnMap", names: Sequence[str]) -> dict[int, str]:
    """Return which of our columns stands at which place."""
    small = [name.casefold() for name in names]
    found = {}
    for ours, theirs in column_map.columns.items():
        if isinstance(theirs, int):
            found[theirs - 1] = ours
        elif theirs.strip().casefold() in small:
            found[small.index(theirs.strip().casefold())] = ours
    return found


def map_of_kin(
    folder: "Folder", entries: Sequence["RawFile"], path: Path, *, role: str | None = None
) -> "tuple[RawFile, dict[str, Any]] | None":
    """Return the latest file of the same columns, and of one role if given, and its map.

    What belongs to that one file alone, the date of its first row, is left out.
    """
    mine = _names(path)
    if mine is None:
        return None
    for entry in reversed(entries):
        kept = folder.raw / entry.name
        other = entry.role not in ((role,) if role else ROLES)
        if entry.column_map is None or other or not kept.exists():
            continue
        if _names(kept) == mine:
            return entry, without_date(entry.column_map)
    return None


def without_date(column_map: Mapping[str, Any]) -> dict[str, Any]:
    """Return a map without the date of a first row."""
    time = dict(column_map.get("time") or {})
    time.pop("date", None)
    return {**column_map, "time": time}


def _names(path: Path) -> tuple[Any, ...] | None:
    """Return what tells a kind of files: delimiter, decimal sign and names of the columns."""
    from lodewalk.formats.delimited.guess_layout import guess_layout

    layout = guess_layout(head_lines(path)[:200], [])
    if layout is None or not layout.names:
        return None
    return layout.column_map.delimiter, layout.names
