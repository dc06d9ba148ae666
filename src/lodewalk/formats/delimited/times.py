"""Fields to times as recorded."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import ColumnMap
from lodewalk.formats.delimited.layout import Fields
from lodewalk.formats.delimited.time_format import TimeFormat
from lodewalk.formats.delimited.time_plan import TimePlan, time_plan
from lodewalk.formats.delimited.values import numbers, row_error, texts
from lodewalk.records.table import RECORDED_TIME

SECOND_US = 1_000_000
DAY_US = 86_400 * SECOND_US
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
FIRST_YEAR, LAST_YEAR = 1970, 2100
ISO_TIMES = (
    "%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M",
    "%Y%m%dT%H%M%S%.f",
)  # fmt: skip
ISO_DATES = ("%Y-%m-%d", "%Y%m%d")
ISO_CLOCKS = ("%H:%M:%S%.f", "%H:%M", "%H%M%S%.f")
OFFSET = r"\s*(Z|z|UTC|GMT|[+-]\d\d(?::?\d\d)?)$"
# Without a format an offset must follow minutes or seconds, so that a date's last part is none.
OFFSET_AFTER_CLOCK = r"(?::\d\d(?:[.,]\d*)?|T\d{6}(?:[.,]\d*)?)" + OFFSET
Offset = pl.Series | timedelta
REMEDY = "Correct [time] in the column map, or the value."


@dataclass(frozen=True)
class RecordedTimes:
    """The time of each row.

    Parameters
    ----------
    times : polars.Series of Datetime("us")
        As written, or UTC where each row carries its offset; null where missing.
    zone : str, optional
        Time zone or scale of `times`, None where nothing says it.
    understood : tuple of str
        Plain sentences.
    """

    times: pl.Series
    zone: str | None
    understood: tuple[str, ...]


def recorded_times(fields: Fields, column_map: ColumnMap) -> RecordedTimes:
    """Put the time of each row together.

    Parameters
    ----------
    fields : Fields
        The split rows.
    column_map : ColumnMap
        Says which parts there are and how they are written.

    Raises
    ------
    InputError
        For a time that does not fit its format, with the line.
    SettingsError
        When the map does not give a whole time.
    """
    plan = time_plan(column_map)
    if plan is None:
        empty = pl.Series("recorded_time", [None] * fields.frame.height, dtype=RECORDED_TIME)
        return RecordedTimes(empty, None, ("The rows have no time.",))
    notes: list[str] = []
    zone: str | None
    if plan.day == "time" and column_map.time.format == "unix":
        seconds = numbers(fields, "time", column_map)
        micro = (seconds * SECOND_US).round().clip(-(2**53), 2**53).cast(pl.Int64)
        times, zone = micro.cast(RECORDED_TIME), "UTC"
    elif plan.day == "time":
        times, zone = _whole_times(fields, column_map)
    else:
        times, zone = _joined_times(fields, column_map, plan, notes)
    if zone is not None:
        notes.append("Each time carries its offset from UTC; times are given in UTC.")
    times = times.alias("recorded_time")
    _check_years(fields, times)
    return RecordedTimes(times, _zone(column_map, zone, fields), tuple(notes))


def _zone(column_map: ColumnMap, zone: str | None, fields: Fields) -> str | None:
    """Return the zone of text or map, or raise when they differ."""
    chosen = column_map.time.zone
    if zone is not None and chosen not in (None, zone):
        raise InputError(
            "The times carry their own offset from UTC, so no other zone can hold.",
            file=fields.file,
            value=chosen,
            remedy="Leave time.zone out; or spell the letter in time.format to pass over it.",
        )
    return zone or chosen


def _check_years(fields: Fields, times: pl.Series) -> None:
    """Raise for a year that no survey can have."""
    outside = (times < datetime(FIRST_YEAR, 1, 1)) | (times >= datetime(LAST_YEAR + 1, 1, 1))
    if not outside.any():
        return
    raise row_error(
        fields,
        outside,
        f"The year of a time must lie in {FIRST_YEAR} to {LAST_YEAR}.",
        value=times.cast(pl.String),
        remedy=REMEDY,
    )


def _whole_times(fields: Fields, column_map: ColumnMap) -> tuple[pl.Series, str | None]:
    """Parse the column that holds day and time of day."""
    rule = column_map.time
    parsed = rule.parsed_format
    if parsed is None:
        formats = list(ISO_TIMES)
    elif parsed.has_year:
        formats = [parsed.text]
    else:
        formats = [f"%Y {parsed.text}"]
    text = _clean(fields, "time", column_map, parsed)
    text, offset = _without_offsets(fields, text, parsed)
    if parsed is not None and not parsed.has_year:
        text = f"{rule.year} " + text
    times = _parse(text, formats)
    _check_parsed(fields, text, times, "time", formats)
    if offset is None:
        return times, None
    return times - offset, "UTC"


def _clean(
    fields: Fields, name: str, column_map: ColumnMap, parsed: TimeFormat | None
) -> pl.Series:
    """Return texts of a time or date with a decimal point and leading zeros."""
    text = texts(fields, name, column_map)
    if column_map.decimal == ",":
        text = text.str.replace(",", ".", literal=True)
    if parsed is not None and parsed.digits:
        whole = text.str.extract(r"^(\d+)", 1)
        text = (whole.str.zfill(parsed.digits) + text.str.replace(r"^\d+", "")).fill_null(text)
    return text


def _parse(text: pl.Series, formats: list[str]) -> pl.Series:
    """Parse by the first format, and what fails by the next."""
    times = _to_datetime(text, formats[0])
    for other in formats[1:]:
        if times.null_count() == text.null_count():
            break
        times = times.fill_null(_to_datetime(text, other))
    return times


def _to_datetime(text: pl.Series, pattern: str) -> pl.Series:
    """Parse by one format; null where the text does not fit."""
    # A lazy frame lets the table library parse blocks side by side.
    expression = pl.col("text").str.to_datetime(pattern, time_unit="us", strict=False)
    return pl.DataFrame({"text": text}).lazy().select(expression).collect().to_series()


def _check_parsed(
    fields: Fields, text: pl.Series, parsed: pl.Series, name: str, formats: list[str]
) -> None:
    """Raise for the first text that does not fit its format."""
    if parsed.null_count() == text.null_count():
        return
    wrong = text.is_not_null() & parsed.is_null()
    raise row_error(
        fields,
        wrong,
        f"{name} does not fit the format {formats[0]}.",
        value=fields.frame[name],
        remedy=REMEDY,
    )


def _without_offsets(
    fields: Fields, text: pl.Series, parsed: TimeFormat | None
) -> tuple[pl.Series, Offset | None]:
    """Return texts without their offsets from UTC, and the offsets as durations."""
    if parsed is not None and not parsed.has_offset:
        return text, None
    pattern = OFFSET if parsed is not None else OFFSET_AFTER_CLOCK
    present = text.drop_nulls()
    if parsed is None and not present.head(1).str.contains(pattern).any():
        return text, None
    if present.str.ends_with("Z").all():
        return text.str.strip_suffix("Z").str.strip_chars_end(), timedelta(0)
    marks = text.str.extract(pattern, 1)
    lacking = text.is_not_null() & marks.is_null()
    if lacking.any():
        raise row_error(
            fields,
            lacking,
            "Some times carry an offset from UTC and this one does not.",
            value=fields.frame["time"],
            remedy="Give all rows the same form, or split the file.",
        )
    return text.str.replace(OFFSET, ""), _durations(marks)


def _durations(marks: pl.Series) -> pl.Series:
    """Turn offsets such as Z, +02 or -03:30 into durations."""
    digits = marks.str.replace(":", "", literal=True)
    hours = digits.str.slice(1, 2).cast(pl.Int64, strict=False).fill_null(0)
    minutes = digits.str.slice(3, 2).cast(pl.Int64, strict=False).fill_null(0)
    sign = digits.str.starts_with("-").cast(pl.Int64) * -2 + 1
    return (sign * (hours * 3600 + minutes * 60) * SECOND_US).cast(pl.Duration("us"))


def _joined_times(
    fields: Fields, column_map: ColumnMap, plan: TimePlan, notes: list[str]
) -> tuple[pl.Series, str | None]:
    """Add the day and the time of day."""
    clock, offset = _clock_us(fields, column_map, plan)
    if plan.day == "setting":
        start = date.fromisoformat(str(column_map.time.date)).toordinal() - EPOCH_ORDINAL
        shift = _turns(clock, DAY_US // 2)
        if np.any(shift):
            notes.append("The time of day passes midnight; later rows are of the next day.")
        days = start + pl.Series(shift)
    else:
        days = _days(fields, column_map, plan, notes).cast(pl.Int32).cast(pl.Int64)
    times = (days * DAY_US + clock).cast(RECORDED_TIME)
    return (times, None) if offset is None else (times - offset, "UTC")


def _clock_us(
    fields: Fields, column_map: ColumnMap, plan: TimePlan
) -> tuple[pl.Series, Offset | None]:
    """Return microseconds since midnight, and any offset from UTC."""
    if plan.clock == "time":
        parsed = column_map.time.parsed_format
        formats = list(ISO_CLOCKS) if parsed is None else [parsed.text]
        text = _clean(fields, "time", column_map, parsed)
        text, offset = _without_offsets(fields, text, parsed)
        dated = _parse("1970-01-01 " + text, [f"%Y-%m-%d {item}" for item in formats])
        _check_parsed(fields, text, dated, "time", formats)
        return dated.dt.timestamp("us"), offset
    if plan.clock == "seconds_of_day":
        seconds = _within(fields, column_map, "seconds_of_day", 0, 86_401)
        return (seconds * SECOND_US).round().cast(pl.Int64), None
    names = [name for name in ("hour", "minute", "second") if name in column_map.columns]
    total = pl.Series([0.0] * fields.frame.height)
    for name, size, limit in zip(names, (3600, 60, 1), (24, 60, 61), strict=False):
        part = _within(fields, column_map, name, 0, limit)
        if name != names[-1]:
            _check_whole(fields, part, name)
        total = total + (part * (size * SECOND_US)).round()
    return total.cast(pl.Int64), None


def _within(fields: Fields, column_map: ColumnMap, name: str, low: float, high: float) -> pl.Series:
    """Return a part of a time from `low` to below `high`."""
    part = numbers(fields, name, column_map)
    outside = (part < low) | (part >= high)
    if outside.any():
        rule = f"{name} must lie in {low:g} to below {high:g}."
        raise row_error(fields, outside, rule, value=fields.frame[name], remedy=REMEDY)
    return part


def _check_whole(fields: Fields, part: pl.Series, name: str) -> None:
    """Raise for a part of a time that is no whole number."""
    broken = part != part.floor()
    if broken.any():
        raise row_error(
            fields, broken, f"{name} must be a whole number.", value=part, remedy=REMEDY
        )


def _days(fields: Fields, column_map: ColumnMap, plan: TimePlan, notes: list[str]) -> pl.Series:
    """Return the date of each row."""
    if plan.day == "date":
        parsed = column_map.time.parsed_date_format
        formats = list(ISO_DATES) if parsed is None else [parsed.text]
        text = _clean(fields, "date", column_map, parsed)
        if parsed is not None and not parsed.has_year:
            text = f"{column_map.time.year} " + text
            formats = [f"%Y {formats[0]}"]
        dates = _parse(text + " 00:00", [f"{item} %H:%M" for item in formats])
        _check_parsed(fields, text, dates, "date", formats)
        return dates.dt.date()
    names, form = (["day_of_year"], "%Y-%j") if plan.day == "day_of_year" else (
        ["month", "day"], "%Y-%m-%d"
    )  # fmt: skip
    parts = [_whole(fields, column_map, name) for name in names]
    year = _years(fields, column_map, plan, parts, notes)
    width = 3 if plan.day == "day_of_year" else 2
    text = year.cast(pl.String)
    for part in parts:
        text = text + "-" + part.cast(pl.String).str.zfill(width)
    dates = _parse(text + " 00:00", [f"{form} %H:%M"])
    if dates.null_count() != text.null_count():
        wrong = text.is_not_null() & dates.is_null()
        raise row_error(fields, wrong, "The date does not exist.", value=text, remedy=REMEDY)
    return dates.dt.date()


def _whole(fields: Fields, column_map: ColumnMap, name: str) -> pl.Series:
    """Return a part of a date as whole numbers."""
    part = _within(fields, column_map, name, 0, 10_000)
    _check_whole(fields, part, name)
    return part.cast(pl.Int64)


def _years(
    fields: Fields, column_map: ColumnMap, plan: TimePlan, parts: list[pl.Series], notes: list[str]
) -> pl.Series:
    """Return the year of each row: from its column, or counted on from the setting."""
    if plan.year_from_column:
        year = _whole(fields, column_map, "year")
        if (year < 100).any():
            notes.append("Years of two digits are taken as 1969 to 2068.")
        century = pl.when(year < 69).then(2000).when(year < 100).then(1900).otherwise(0)
        return year + pl.select(century).to_series().cast(pl.Int64)
    place = parts[0] if len(parts) == 1 else parts[0] * 31 + parts[1]
    shift = _turns(place, 180)
    if np.any(shift):
        notes.append("The date passes the turn of the year; later rows are of the next year.")
    return pl.Series(shift) + int(column_map.time.year or 0)


def _turns(counter: pl.Series, half: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return how often a counter has started anew before each row.

    A fall by more than half its span is a new start; such a rise is a row out of order.
    """
    filled = counter.fill_null(strategy="forward").fill_null(strategy="backward").fill_null(0)
    change = np.diff(filled.to_numpy().astype(np.int64), prepend=filled[0] if len(filled) else 0)
    return np.cumsum((change < -half).astype(np.int64) - (change > half).astype(np.int64))
