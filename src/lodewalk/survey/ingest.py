"""Joining raw files, their column maps and the readers into the first records."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import polars as pl

from lodewalk.formats.delimited import ColumnMap
from lodewalk.formats.registry import format_named
from lodewalk.records import Document, Record, Table
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import RawFile, display_names, read_ledger
from lodewalk.survey.store import table_class


def read_role(folder: Folder, entries: Sequence[RawFile], *, role: str) -> dict[str, Record]:
    """Read all raw files of one role.

    Returns
    -------
    dict
        ``ROLE_files``, a document that lists the files in row order, and ``ROLE_recorded``,
        the table of all their rows. Files stand in order of their first recorded time, so
        the order of adding does not matter.
    """
    read = sorted(
        ((entry, _read(folder, entry)) for entry in entries),
        key=lambda pair: (_first_time(pair[1]), pair[0].sha256),
    )
    names = display_names(read_ledger(folder))
    about = [_about(entry, table, names[entry.sha256]) for entry, table in read]
    files = Document({"files": about})
    kind = table_class(f"{role}_recorded")
    frames = _apart([table.frame for _, table in read])
    joined = kind(pl.concat(frames, how="diagonal")) if frames else kind.empty()
    return {f"{role}_files": files, f"{role}_recorded": joined}


def _apart(frames: list[pl.DataFrame]) -> list[pl.DataFrame]:
    """Return the frames with shapes numbered on from file to file, so that they stay apart."""
    found, start = [], 0
    for frame in frames:
        if "shape" in frame.columns:
            frame = frame.with_columns(pl.col("shape") + start)
            start = 1 + int(frame["shape"].max() or 0)  # type: ignore[arg-type]
        found.append(frame)
    return found


def _read(folder: Folder, entry: RawFile) -> Table:
    """Read one raw file as its ledger entry says."""
    column_map = ColumnMap.from_dict(dict(entry.column_map)) if entry.column_map else None
    reader = format_named(entry.format).reader()
    return reader.read(folder.raw / entry.name, role=entry.role, column_map=column_map).table


def _first_time(table: Table) -> datetime:
    """Return the first recorded time that is there, or the earliest possible."""
    if "recorded_time" in table.frame.columns:
        times = table.frame["recorded_time"].drop_nulls()
        if len(times):
            first: datetime = times[0]
            return first
    return datetime.min


def _about(entry: RawFile, table: Table, name: str) -> dict[str, Any]:
    """Return what later steps need to know of a file."""
    position: Mapping[str, Any] = (entry.column_map or {}).get("position") or {}
    return {
        "name": name,
        "sha256": entry.sha256,
        "instrument": entry.instrument,
        "zone": entry.zone,
        "rows": len(table),
        "position": dict(position),
    }
