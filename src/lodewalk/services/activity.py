"""How disturbed the field was: K index, or activity where a K index can't be had."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.formats.registry import recognise
from lodewalk.formats.scan import check_size
from lodewalk.methods.geomagnetic.k_index import (
    KIntervals,
    k_index,
    k_of_range,
    scalar_activity,
)
from lodewalk.records import Table
from lodewalk.services.reading import check_file, column_map_of, zone_of
from lodewalk.steps.time import to_utc
from lodewalk.zones import checked_zone

#: Lower limit of K = 9 at Niemegk, on which the scale of middle latitudes rests (ISGI).
USUAL_K9_NT = 500.0
#: Pairs of horizontal components, the first that is there is taken.
PAIRS = (
    ("north_nT", "east_nT"),
    ("horizontal_nT", "sensor_east_nT"),
    ("horizontal_nT", "declination_deg"),
)


@dataclass(frozen=True)
class Interval:
    """One 3-hour UT interval; `k` is null where it can't be a K index."""

    start_utc: str
    k: int | None
    activity: str
    range_nT: float | None
    complete: bool


@dataclass(frozen=True)
class ActivityResult:
    """Activity of a record, interval by interval."""

    k9_nT: float
    components: list[str]
    remarks: list[str]
    intervals: list[Interval]


@dataclass(frozen=True)
class _Series:
    """A record in order of time."""

    seconds: NDArray[np.float64]
    columns: Mapping[str, NDArray[np.float64]]
    place: tuple[float, float] | None


def activity(
    files: Sequence[Path], *, k9_nT: float | None = None, time_zone: str | None = None
) -> ActivityResult:
    """Return the activity of the record that the files hold together.

    Parameters
    ----------
    files : sequence of Path
        IAGA-2002 files, or delimited text of a scalar base.
    k9_nT : float, optional
        Lower limit of K = 9 at the site [nT]; 500 nT, that of middle latitudes, if left out.
    time_zone : str, optional
        Zone of the times of delimited text that doesn't say it.

    Raises
    ------
    InputError
        For a file that can't be read or holds no field.
    """
    series = _joined([_read(path, time_zone) for path in files])
    limit = USUAL_K9_NT if k9_nT is None else k9_nT
    remarks = []
    if k9_nT is None:
        remarks.append(
            f"K9 taken as {USUAL_K9_NT:g} nT, that of middle latitudes; give the site's own with "
            "--k9 if there is one."
        )
    longitude = series.place[1] if series.place else None
    pair = next((pair for pair in PAIRS if all(_has(series, name) for name in pair)), None)
    if pair:
        found = k_index(
            series.seconds, *_horizontal(series, pair), k9_nT=limit, longitude_deg=longitude
        )
        return ActivityResult(limit, list(pair), remarks, _k_rows(found, limit))
    if not _has(series, "total_field_nT"):
        raise InputError(
            "The record holds neither two horizontal components nor a total field.",
            value=", ".join(sorted(series.columns)),
            remedy="Give a file with X and Y, H and E, H and D, or F.",
        )
    remarks.append("A scalar record has no K index; the activity is its counterpart.")
    words = scalar_activity(
        series.seconds, series.columns["total_field_nT"], k9_nT=limit, longitude_deg=longitude
    )
    rows = zip(words.start_s, words.activity, words.range_nT, words.complete, strict=True)
    intervals = [
        Interval(_stamp(start), None, str(word), _finite(size), bool(complete))
        for start, word, size, complete in rows
    ]
    return ActivityResult(limit, ["total_field_nT"], remarks, intervals)


def _read(path: Path, time_zone: str | None) -> _Series:
    """Read one file as a series."""
    check_file(path)
    form = recognise(path, role="base")
    check_size(path)
    role = "observatory" if form.name == "iaga2002" else "base"
    column_map, _ = column_map_of(path, form, role=role)
    content = form.reader().read(path, role=role, column_map=column_map)
    given = checked_zone(time_zone, key=None) if time_zone else None
    zone = zone_of(content, given=given, file=path.name)
    frame = content.table.frame
    seconds = to_utc(frame["recorded_time"], zone=zone, file=path.name, lines=frame["line_in_file"])
    return _Series(seconds, _columns(content.table), content.place)


def _columns(table: Table) -> dict[str, NDArray[np.float64]]:
    """Return the field columns of a table by their name in an observatory record."""
    names = {name for pair in PAIRS for name in pair} | {"total_field_nT"}
    columns = {name: table.floats(name) for name in names if table.has(name)}
    if table.has("raw_nT"):
        columns["total_field_nT"] = table.floats("raw_nT")
    return columns


def _joined(parts: list[_Series]) -> _Series:
    """Join the records of several files in order of time; the first of equal times counts."""
    seconds = np.concatenate([part.seconds for part in parts])
    order = np.argsort(seconds, kind="stable")
    order = order[np.isfinite(seconds[order])]
    order = order[np.concatenate(([True], np.diff(seconds[order]) > 0))] if order.size else order
    names = set.intersection(*(set(part.columns) for part in parts))
    columns = {n: np.concatenate([part.columns[n] for part in parts])[order] for n in names}
    if not any(np.isfinite(values).any() for values in columns.values()):
        raise InputError("The files hold no field that they all have.")
    place = next((part.place for part in parts if part.place), None)
    return _Series(seconds[order], columns, place)


def _has(series: _Series, name: str) -> bool:
    """Tell whether a component is there and not all missing."""
    return name in series.columns and bool(np.isfinite(series.columns[name]).any())


def _horizontal(series: _Series, pair: tuple[str, str]) -> list[NDArray[np.float64]]:
    """Return two horizontal components at a right angle; declination turned into nT."""
    first, second = (series.columns[name] for name in pair)
    if pair[1] == "declination_deg":
        second = np.nanmean(first) * np.radians(second - np.nanmean(second))
    return [first, second]


def _k_rows(found: KIntervals, limit: float) -> list[Interval]:
    """Return K indices as intervals; an incomplete one has none."""
    words = ("quiet", "quiet", "unsettled", "unsettled", "active", *["storm"] * 5)
    rows = []
    for start, k, size in zip(found.start_s, found.k, found.range_nT, strict=True):
        proven = k_of_range(size, k9_nT=limit)
        word = words[int(proven)] if np.isfinite(proven) else "unknown"
        if np.isnan(k) and word == "quiet":
            word = "unknown"
        whole = bool(np.isfinite(k))
        rows.append(Interval(_stamp(start), int(k) if whole else None, word, _finite(size), whole))
    return rows


def _stamp(seconds: float) -> str:
    """Return Unix seconds as ISO 8601."""
    return f"{np.datetime64(int(seconds), 's')}Z"


def _finite(value: float) -> float | None:
    """Return a rounded number, or None where missing."""
    return round(float(value), 3) if np.isfinite(value) else None
