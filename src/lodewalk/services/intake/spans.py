"""From when to when files record: one that is looked at, and those that the survey holds."""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lodewalk.errors import LodewalkError
from lodewalk.formats.registry import SET_ASIDE, format_named
from lodewalk.services.add import WITHOUT_TIMES
from lodewalk.survey.ledger import RawFile
from lodewalk.zones import clock_of

if TYPE_CHECKING:
    from lodewalk.records import Table
    from lodewalk.survey.folder import Folder

NOT_ONE_ZONE = ("UTC", "GPS")


@dataclass(frozen=True)
class Span:
    """From when to when a file records: in UTC, and in the survey's own zone where it has one."""

    start_utc: str
    end_utc: str
    start_local: str | None
    end_local: str | None
    local_zone: str | None


def read_span(table: "Table", zone: str, local: str) -> Span | None:
    """Return from when to when a table records."""
    from lodewalk.steps.time import to_utc

    if not table.has("recorded_time"):
        return None
    seconds = to_utc(table.frame["recorded_time"], zone=zone)
    seconds = seconds[np.isfinite(seconds)]
    if not seconds.size:
        return None
    own = local or (zone if zone not in NOT_ONE_ZONE else "")
    ends = [datetime.fromtimestamp(float(end), UTC) for end in (seconds.min(), seconds.max())]
    utc = [f"{end:%Y-%m-%dT%H:%M:%S}Z" for end in ends]
    there = [_local(end, own) for end in ends]
    return Span(utc[0], utc[1], there[0], there[1], own or None)


def _local(time: datetime, zone: str) -> str | None:
    """Return a time in a zone of the database or with a fixed offset."""
    if not zone or zone in NOT_ONE_ZONE:
        return None
    return f"{time.astimezone(clock_of(zone)):%Y-%m-%dT%H:%M:%S}"


def held_span(folder: "Folder", entry: RawFile, local: str) -> Span | None:
    """Return the span of a file, None where it holds no times or can't be read any more."""
    if entry.role in (*WITHOUT_TIMES, SET_ASIDE):
        return None
    return _read_span(folder.raw / entry.name, _Key(entry), local)


class _Key:
    """A ledger entry that a cache can hold: it is known by its content and how it is read."""

    def __init__(self, entry: RawFile) -> None:
        self.entry = entry
        self._parts = (entry.sha256, repr(sorted(entry.reading().items())))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self._parts == other._parts

    def __hash__(self) -> int:
        return hash(self._parts)


@lru_cache(maxsize=1000)
def _read_span(path: Path, key: _Key, local: str) -> Span | None:
    """Read the span of a file, once for each content and way of reading."""
    from lodewalk.formats.delimited import ColumnMap

    entry = key.entry
    chosen = ColumnMap.from_dict(dict(entry.column_map)) if entry.column_map else None
    try:
        reader = format_named(entry.format).reader()
        table = reader.read(path, role=entry.role, column_map=chosen).table
        return read_span(table, entry.zone, local)
    except (LodewalkError, OSError):
        return None
