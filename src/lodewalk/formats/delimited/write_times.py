"""Times as the texts that a column map asks for."""

import polars as pl

from lodewalk.formats.delimited.column_map import ColumnMap
from lodewalk.formats.delimited.time_plan import TimePlan

SECOND_US = 1_000_000
ISO_STAMP, ISO_DATE, ISO_CLOCK = "%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d", "%H:%M:%S%.f"


def time_texts(
    times: pl.Series, ours: str, column_map: ColumnMap, plan: TimePlan | None
) -> pl.Series:
    """Return one part of the times as text, null where missing.

    Parameters
    ----------
    times : polars.Series of Datetime("us")
        Times as recorded.
    ours : str
        Our name of the part, such as "time" or "seconds_of_day".
    column_map : ColumnMap
        Says how the part is written.
    plan : TimePlan, optional
        How the parts go together.
    """
    if ours == "time":
        return _stamp(times, column_map, plan)
    if ours == "date":
        parsed = column_map.time.parsed_date_format
        return times.dt.strftime(ISO_DATE if parsed is None else parsed.text)
    whole = {
        "year": times.dt.year(),
        "month": times.dt.month(),
        "day": times.dt.day(),
        "day_of_year": times.dt.ordinal_day(),
    }
    if ours in whole:
        return whole[ours].cast(pl.String)
    return _clock_part(times, ours, column_map)


def _stamp(times: pl.Series, column_map: ColumnMap, plan: TimePlan | None) -> pl.Series:
    """Return what the column time holds."""
    if column_map.time.format == "unix":
        return _seconds(times.dt.timestamp("us"))
    parsed = column_map.time.parsed_format
    if parsed is None:
        return times.dt.strftime(ISO_STAMP if plan and plan.day == "time" else ISO_CLOCK)
    return times.dt.strftime(parsed.text + ("Z" if parsed.has_offset else ""))


def _clock_part(times: pl.Series, ours: str, column_map: ColumnMap) -> pl.Series:
    """Return hour, minute, second or seconds of the day; the last one carries the rest."""
    micro = times.dt.timestamp("us") % (86_400 * SECOND_US)
    if ours == "seconds_of_day":
        return _seconds(micro)
    size = {"hour": 3600, "minute": 60, "second": 1}[ours] * SECOND_US
    limit = {"hour": 24, "minute": 60, "second": 60}[ours]
    smaller = {"hour": "minute", "minute": "second", "second": None}[ours]
    if smaller in column_map.columns:
        return (micro // size % limit).cast(pl.String)
    if ours == "second":
        return _seconds(micro % (60 * SECOND_US))
    return (micro % (limit * size) / size).cast(pl.String)


def _seconds(micro: pl.Series) -> pl.Series:
    """Write microseconds as seconds with six decimals."""
    rest = (micro % SECOND_US).cast(pl.String).str.zfill(6)
    return (micro // SECOND_US).cast(pl.String) + "." + rest
