"""Comparing a record with the one that was rebuilt: what differs, where, and by how much.

Text, flags, verdicts, counts and what is missing must be the same. Numbers may differ by 1e-6 nT,
1e-6 m and 1e-6 s; those of another unit by 1e-6 or a billionth of their size; values of a grid,
which is found by iteration, by 1e-3 of their unit.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.records import Document, Grid, GridSet, Record, Table
from lodewalk.records.table import Column

LIMIT, GRID_LIMIT = 1e-6, 1e-3
#: Part of its size by which a number of another unit may differ, and the units without that.
ROUNDING, STRICT = 1e-9, ("nT", "m", "s")
#: Differences of one product that are told.
MOST_TOLD = 20

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """Where a product differs: the worst row of a column, or a place that is of another kind.

    `row` counts from 1; `place` names it where it has a name. `limit` is what is allowed, null
    where nothing is. `within` tells whether the difference is allowed in the second grade.
    """

    product: str
    file: str
    column: str
    row: int | None
    place: str
    packaged: str
    rebuilt: str
    difference: float | None
    unit: str
    limit: float | None
    count: int
    within: bool


@dataclass(frozen=True)
class _Found:
    """A difference without the product it is in."""

    column: str
    row: int | None
    place: str
    packaged: str
    rebuilt: str
    difference: float | None = None
    unit: str = ""
    limit: float | None = None
    count: int = 1

    @property
    def within(self) -> bool:
        """Whether it is allowed."""
        return None not in (self.difference, self.limit) and self.difference <= self.limit  # type: ignore[operator]


def compare(product: str, file: str, packaged: Record, rebuilt: Record) -> list[Difference]:
    """Return what differs between a packaged product and the rebuilt one, the worst first.

    Parameters
    ----------
    product, file : str
        How it is called, and its file in the package.
    packaged, rebuilt : Record
        Two tables, two sets of grids or two documents.

    Returns
    -------
    list of Difference
        At most `MOST_TOLD`; those that aren't allowed come first.

    Examples
    --------
    >>> old, new = Document({"datum_nT": 22950.0}), Document({"datum_nT": 22950.001})
    >>> [(row.column, row.within) for row in compare("datum", "datum.json", old, new)]
    [('datum_nT', False)]
    """
    if isinstance(packaged, Table) and isinstance(rebuilt, Table):
        found = list(_tables(packaged, rebuilt))
    elif isinstance(packaged, GridSet) and isinstance(rebuilt, GridSet):
        found = list(_grids(packaged, rebuilt))
    elif isinstance(packaged, Document) and isinstance(rebuilt, Document):
        found = list(_documents(packaged.values, rebuilt.values, ""))
    else:
        found = [_Found("", None, "kind", type(packaged).__name__, type(rebuilt).__name__)]
    found.sort(key=lambda one: (one.within, -(one.difference or 0.0)))
    return [Difference(product, file, **vars(one), within=one.within) for one in found[:MOST_TOLD]]


def _tables(old: Table, new: Table) -> Iterator[_Found]:
    """Yield what differs between two tables: names, number of rows, then column by column."""
    if old.frame.columns != new.frame.columns:
        columns = [", ".join(table.frame.columns) for table in (old, new)]
        yield _Found("", None, "columns", columns[0], columns[1])
        return
    if len(old) != len(new):
        yield _Found("", None, "rows", str(len(old)), str(len(new)))
        return
    schema = {column.name: column for column in old.SCHEMA}
    names = _row_names(old)
    for name in old.frame.columns:
        yield from _columns(schema[name], old.frame[name], new.frame[name], names)


def _row_names(table: Table) -> list[str]:
    """Return what each row is called, where the table tells it."""
    for name in ("reading_id", "body", "name", "line", "lineament"):
        if name in table.frame.columns and table.frame[name].dtype == pl.String:
            return [value or "" for value in table.frame[name].to_list()]
    return []


def _columns(column: Column, old: pl.Series, new: pl.Series, names: list[str]) -> Iterator[_Found]:
    """Yield the worst difference of a column, and the first of those that have no size."""
    if old.dtype != new.dtype:
        yield _Found(column.name, None, "type", str(old.dtype), str(new.dtype))
        return
    time = isinstance(old.dtype, pl.Datetime)
    number = time or old.dtype.is_float()
    other = old.is_null() != new.is_null() if number else old.ne_missing(new)
    places = other.arg_true().to_list()
    if places:
        yield _told(column.name, names, places[0], old, new, count=len(places))
    if number:
        yield from _worst(column, names, old, new)


def _floats(series: pl.Series) -> Values:
    """Return a column of numbers, or of times in seconds, as float64; NaN where missing."""
    if series.dtype.is_float():
        return series.cast(pl.Float64).fill_null(float("nan")).to_numpy()
    return series.to_physical().cast(pl.Float64).fill_null(float("nan")).to_numpy()


def _told(
    column: str, names: list[str], row: int, old: pl.Series, new: pl.Series, *, count: int
) -> _Found:
    """Return a difference that has no size."""
    place = names[row] if names else ""
    return _Found(column, row + 1, place, _shown(old[row]), _shown(new[row]), count=count)


def _worst(
    column: Column, names: list[str], before: pl.Series, after: pl.Series
) -> Iterator[_Found]:
    """Yield the worst difference of two columns of numbers or times, if any.

    Microseconds since 1970 are whole numbers that float64 holds exactly.
    """
    time = isinstance(before.dtype, pl.Datetime)
    scale, unit = (1e-6, "s") if time else (1.0, column.unit)
    old, new = _floats(before), _floats(after)
    apart = scale * np.nan_to_num(np.abs(old - new), nan=0.0, posinf=np.inf)
    apart[_one_missing(old, new)] = np.inf
    if not apart.any():
        return
    size = np.maximum(np.abs(np.nan_to_num(old)), np.abs(np.nan_to_num(new)))
    limits = np.full(size.shape, LIMIT) if unit in STRICT else np.maximum(LIMIT, ROUNDING * size)
    worst = int(np.argmax(apart / limits))
    yield _Found(
        column.name, worst + 1, names[worst] if names else "", _shown(before[worst]),
        _shown(after[worst]), _finite(apart[worst]), unit, float(limits[worst]),
        int(np.count_nonzero(apart)),
    )  # fmt: skip


def _one_missing(old: Values, new: Values) -> NDArray[np.bool_]:
    """Return where one of two values is missing or without bound and the other is not the same."""
    same = (np.isnan(old) & np.isnan(new)) | (old == new)
    return np.asarray(~same & ~(np.isfinite(old) & np.isfinite(new)))


def _finite(value: float) -> float | None:
    """Return a number that JSON can hold."""
    return float(value) if np.isfinite(value) else None


def _grids(old: GridSet, new: GridSet) -> Iterator[_Found]:
    """Yield what differs between two sets of grids."""
    names = [", ".join(grid.name for grid in grids.grids) for grids in (old, new)]
    if names[0] != names[1]:
        yield _Found("", None, "grids", names[0], names[1])
        return
    for before, after in zip(old.grids, new.grids, strict=True):
        yield from _grid(before, after)


def _grid(old: Grid, new: Grid) -> Iterator[_Found]:
    """Yield the worst node of a grid, or what differs of its mesh."""
    meshes = [(g.values.shape, g.west_m, g.south_m, g.spacing_m, g.crs, g.unit) for g in (old, new)]
    if meshes[0] != meshes[1]:
        yield _Found(old.name, None, "mesh", str(meshes[0]), str(meshes[1]))
        return
    masks = np.isnan(old.values) != np.isnan(new.values)
    if masks.any():
        row, column = (int(part[0]) for part in np.nonzero(masks))
        yield _node(old, new, row, column, None, int(masks.sum()))
    apart = np.nan_to_num(np.abs(old.values - new.values))
    if apart.any():
        row, column = (int(part) for part in np.unravel_index(np.argmax(apart), apart.shape))
        yield _node(old, new, row, column, float(apart[row, column]), int(np.count_nonzero(apart)))


def _node(old: Grid, new: Grid, row: int, column: int, apart: float | None, count: int) -> _Found:
    """Return the difference at a node."""
    place = f"easting {old.eastings[column]:.1f} m, northing {old.northings[row]:.1f} m"
    shown = [repr(float(grid.values[row, column])) for grid in (old, new)]
    return _Found(old.name, row + 1, place, shown[0], shown[1], apart, old.unit, GRID_LIMIT, count)


def _documents(old: Any, new: Any, name: str) -> Iterator[_Found]:
    """Yield what differs between two plain values, down to their leaves."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in sorted({*old, *new}):
            place = f"{name}.{key}" if name else str(key)
            if key in old and key in new:
                yield from _documents(old[key], new[key], place)
            else:
                there = ["there" if key in one else "none" for one in (old, new)]
                yield _Found(place, None, "", there[0], there[1])
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield _Found(name, None, "entries", str(len(old)), str(len(new)))
            return
        for count, (before, after) in enumerate(zip(old, new, strict=True), 1):
            yield from _documents(before, after, f"{name}[{count}]")
    elif _numbers(old, new):
        if old != new:
            unit = _unit(name)
            limit = LIMIT if unit in STRICT else max(LIMIT, ROUNDING * max(abs(old), abs(new)))
            yield _Found(name, None, "", repr(old), repr(new), abs(old - new), unit, limit)
    elif old != new:
        yield _Found(name, None, "", _shown(old), _shown(new))


def _numbers(old: Any, new: Any) -> bool:
    """Tell whether two values are numbers that may differ; whole ones are counts and may not."""
    kinds = {type(old), type(new)}
    return float in kinds and kinds <= {int, float}


def _unit(name: str) -> str:
    """Return the unit that ends a key."""
    last = name.rpartition(".")[2].partition("[")[0]
    return last.rpartition("_")[2] if "_" in last else ""


def _shown(value: Any) -> str:
    """Return a value for print."""
    text = "missing" if value is None else str(value)
    return text if len(text) <= 120 else f"{text[:119]}…"
