"""A table: one polars frame with its schema stated once, checked once and never changed."""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError

UTC_TIME = pl.Datetime("us", "UTC")
RECORDED_TIME = pl.Datetime("us")
MISSING_TIME = np.iinfo(np.int64).min


@dataclass(frozen=True)
class Column:
    """One column of a table: its name, type, unit and meaning.

    An optional column may be absent; a required one may hold nulls only if `nullable`.
    """

    name: str
    dtype: pl.DataType
    unit: str
    text: str
    optional: bool = False
    nullable: bool = False


@dataclass(frozen=True)
class Table:
    """Base of all tables: a frozen class around one polars frame.

    Parameters
    ----------
    frame : polars.DataFrame
        Columns in any order; they are put in the order of the schema.

    Raises
    ------
    InputError
        For a missing or unknown column, a wrong type or a null where none may be.
    """

    frame: pl.DataFrame
    SCHEMA: ClassVar[tuple[Column, ...]] = ()

    def __post_init__(self) -> None:
        present = set(self.frame.columns)
        known = [column.name for column in self.SCHEMA]
        required = {column.name for column in self.SCHEMA if not column.optional}
        self._refuse(required - present, "lacks the column(s)")
        self._refuse(present - set(known), "has unknown column(s)")
        object.__setattr__(self, "frame", self.frame.select([n for n in known if n in present]))
        for column in self.SCHEMA:
            if column.name in present:
                self._check_column(column)

    def _refuse(self, names: set[str], what: str) -> None:
        if names:
            raise InputError(f"{type(self).__name__} {what} {', '.join(sorted(names))}.")

    def _check_column(self, column: Column) -> None:
        series = self.frame[column.name]
        if series.dtype != column.dtype:
            raise InputError(
                f"Column {column.name} of {type(self).__name__} must have the type {column.dtype}.",
                value=str(series.dtype),
            )
        if not (column.nullable or column.optional) and series.null_count():
            raise InputError(
                f"Column {column.name} of {type(self).__name__} may not have missing values.",
                value=f"{series.null_count()} missing",
            )

    def __len__(self) -> int:
        return self.frame.height

    @classmethod
    def empty(cls) -> Self:
        """Return a table without rows that has every required column."""
        required = [column for column in cls.SCHEMA if not column.optional]
        return cls(pl.DataFrame(schema={column.name: column.dtype for column in required}))

    def has(self, name: str) -> bool:
        """Tell whether the optional column `name` is there."""
        return name in self.frame.columns

    def floats(self, name: str) -> NDArray[np.float64]:
        """Return a numeric column as float64, NaN where a value is missing or absent."""
        if not self.has(name):
            return np.full(len(self), np.nan)
        series = self.frame[name].cast(pl.Float64)
        return series.fill_null(float("nan")).to_numpy()

    def strings(self, name: str) -> list[str | None]:
        """Return a text column as a list; None where missing or absent."""
        return self.frame[name].to_list() if self.has(name) else [None] * len(self)

    def booleans(self, name: str) -> NDArray[np.bool_]:
        """Return a logical column without nulls as an array."""
        return self.frame[name].to_numpy()

    def seconds(self, name: str) -> NDArray[np.float64]:
        """Return a time column as Unix seconds (UTC), NaN where missing."""
        series = self.frame[name]
        micro = series.dt.timestamp("us").cast(pl.Float64).fill_null(float("nan"))
        return micro.to_numpy() / 1e6

    def digest(self) -> str:
        """Return the SHA-256 of schema and canonical column bytes, not of any file."""
        total = hashlib.sha256()
        for name, dtype in self.frame.schema.items():
            total.update(json.dumps([name, str(dtype)]).encode())
            for block in _canonical_blocks(self.frame[name]):
                total.update(hashlib.sha256(block).digest())
        total.update(str(len(self)).encode())
        return total.hexdigest()


def _canonical_blocks(series: pl.Series) -> Iterable[bytes | memoryview]:
    """Yield the column as little-endian bytes with one NaN and one mark for a missing value."""
    dtype = series.dtype
    if dtype == pl.String:
        yield series.str.len_bytes().cast(pl.Int64).fill_null(-1).to_numpy().astype("<i8").data
        yield (series.drop_nulls().str.join("").item() or "").encode()
    elif dtype.is_float():
        values = series.cast(pl.Float64).fill_null(float("nan")).to_numpy().astype("<f8")
        if np.isnan(values).any():
            values = np.where(np.isnan(values), np.nan, values)
        yield values.data
    elif dtype == pl.Boolean:
        yield series.cast(pl.Int8).fill_null(-1).to_numpy().astype("<i1").data
    else:
        whole = series.to_physical().cast(pl.Int64).fill_null(MISSING_TIME)
        yield whole.to_numpy().astype("<i8").data


def utc_column(seconds: NDArray[np.float64]) -> pl.Series:
    """Turn Unix seconds into a UTC time column to the microsecond, null where NaN.

    Examples
    --------
    >>> utc_column(np.array([0.5]))[0].isoformat()
    '1970-01-01T00:00:00.500000+00:00'
    """
    micro = pl.Series(np.round(np.asarray(seconds, dtype=float) * 1e6), nan_to_null=True)
    return micro.cast(pl.Int64).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")


def float_column(values: NDArray[np.float64]) -> pl.Series:
    """Turn an array into a float column, null where NaN."""
    return pl.Series(np.asarray(values, dtype=np.float64), nan_to_null=True)
