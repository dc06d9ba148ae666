"""Which rows of a role's table come from which file and instrument."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar, cast

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.records import Document, Record, Table

Value = TypeVar("Value")


@dataclass(frozen=True)
class FileRows:
    """The rows of one raw file."""

    name: str
    sha256: str
    instrument: str
    zone: str
    position: Mapping[str, Any]
    start: int
    stop: int

    @property
    def rows(self) -> slice:
        """The rows as a slice."""
        return slice(self.start, self.stop)


def file_rows(files: Document) -> list[FileRows]:
    """Return the rows of each file, in row order.

    Examples
    --------
    >>> one = {"name": "a.csv", "sha256": "00", "instrument": "R1", "zone": "UTC", "rows": 3,
    ...        "position": {}}
    >>> file_rows(Document({"files": [one]}))[0].rows
    slice(0, 3, None)
    """
    start = 0
    spans = []
    for item in files["files"]:
        stop = start + item["rows"]
        about = {key: value for key, value in item.items() if key != "rows"}
        spans.append(FileRows(**about, start=start, stop=stop))
        start = stop
    return spans


def instruments(files: Document) -> list[str]:
    """Return the names of the instruments, sorted."""
    return sorted({item["instrument"] for item in files["files"]})


def rows_of(files: Document, instrument: str) -> NDArray[np.int64]:
    """Return the row numbers of one instrument, in row order."""
    spans = [np.arange(f.start, f.stop) for f in file_rows(files) if f.instrument == instrument]
    return np.concatenate(spans) if spans else np.zeros(0, dtype=np.int64)


def in_time_order(
    files: Document, seconds: NDArray[np.float64]
) -> Iterator[tuple[str, NDArray[np.int64]]]:
    """Yield each instrument with its rows in order of time; rows without a time are left out."""
    for name in instruments(files):
        yield name, timed(rows_of(files, name), seconds)


def timed(rows: NDArray[np.int64], seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return rows in order of time; those without a time are left out.

    Examples
    --------
    >>> timed(np.arange(3), np.array([5.0, np.nan, 4.0])).tolist()
    [2, 0]
    """
    known = rows[np.isfinite(seconds[rows])]
    return known[np.argsort(seconds[known], kind="stable")]


def at_distinct_times(rows: NDArray[np.int64], seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return rows that stand in order of time, only the first of each time.

    Examples
    --------
    >>> at_distinct_times(np.arange(3), np.array([4.0, 4.0, 5.0])).tolist()
    [0, 2]
    """
    return rows[np.diff(seconds[rows], prepend=-np.inf) > 0]


def spread(files: Document, about: str) -> pl.Series:
    """Return what is known of each file, such as its ``instrument``, for each of its rows."""
    values = [item[about] for item in files["files"] for _ in range(item["rows"])]
    return pl.Series(values, dtype=pl.String)


def reading_ids(files: Document, recorded: Table) -> pl.Series:
    """Return the id of each row: first digits of the raw file's digest, colon, line in it."""
    digits = spread(files, "sha256").str.slice(0, 8)
    return digits + ":" + recorded.frame["line_in_file"].cast(pl.String)


def file_of_row(spans: list[FileRows], row: int) -> FileRows:
    """Return the file that a row comes from."""
    return next(span for span in spans if span.start <= row < span.stop)


def own_value(values: Mapping[str, Value], instrument: str) -> Value:
    """Return the setting of an instrument, or the default under ``*``.

    Examples
    --------
    >>> own_value({"*": 2.0, "R1": 1.8}, "R2")
    2.0
    """
    return values.get(instrument, values["*"])


def table(inputs: Mapping[str, Record], name: str) -> Table:
    """Return the input `name` as a table."""
    return cast("Table", inputs[name])


def document(inputs: Mapping[str, Record], name: str) -> Document:
    """Return the input `name` as a document."""
    return cast("Document", inputs[name])


def passage_of_readings(inputs: Mapping[str, Record]) -> NDArray[np.int64]:
    """Return the passage of each rover reading, -1 off the lines."""
    number: NDArray[np.int64] = (
        table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    )
    return number
