"""Which columns and settings together give the time of a row."""

from dataclasses import dataclass

from lodewalk.errors import SettingsError
from lodewalk.formats.delimited.column_map import ColumnMap

CHOICES = (
    "Give time; or date and time; or year, month, day and hour, minute, second; or day_of_year "
    "and seconds_of_day; with time.year or time.date for what the file lacks."
)


@dataclass(frozen=True)
class TimePlan:
    """Where day and time of day come from.

    Parameters
    ----------
    day : str
        "time" (the column time holds both), "date", "month", "day_of_year", or "setting" for
        `time.date`.
    clock : str
        "time", "hour" or "seconds_of_day".
    year_from_column : bool
        Whether a column gives the year.
    """

    day: str
    clock: str
    year_from_column: bool


def time_plan(column_map: ColumnMap) -> TimePlan | None:
    """Return how the time is put together, None where the map names no time.

    Raises
    ------
    SettingsError
        When something is missing or two things contradict each other.

    Examples
    --------
    >>> time_plan(ColumnMap.from_dict({"columns": {"date": 1, "time": 2}}))
    TimePlan(day='date', clock='time', year_from_column=False)
    """
    columns, rule = column_map.columns, column_map.time
    clocks: list[str] = [name for name in ("time", "hour", "seconds_of_day") if name in columns]
    days: list[str] = [name for name in ("date", "month", "day_of_year") if name in columns]
    days += ["setting"] * (rule.date is not None)
    if not clocks and not days and not ({"year", "day", "minute", "second"} & set(columns)):
        return None
    if "time" in columns and _holds_day(column_map, days):
        days.append("time")
    _check_one(clocks, "the time of day")
    _check_one(days, "the day")
    plan = TimePlan(days[0], clocks[0], "year" in columns)
    _check_year(column_map, plan)
    _check_companions(column_map, plan)
    _check_formats(column_map, plan)
    return plan


def _holds_day(column_map: ColumnMap, days: list[str]) -> bool:
    """Tell whether the column time holds the day as well."""
    parsed = column_map.time.parsed_format
    if parsed is not None:
        return parsed.has_day
    return column_map.time.format == "unix" or not days


def _check_one(found: list[str], what: str) -> None:
    """Raise unless exactly one source is there."""
    if not found:
        raise SettingsError(f"The column map does not say {what}.", remedy=CHOICES)
    if len(found) > 1:
        shown = ["time.date" if name == "setting" else f"columns.{name}" for name in found]
        raise SettingsError(f"{' and '.join(shown)} both give {what}.", remedy="Keep one of them.")


def _check_year(column_map: ColumnMap, plan: TimePlan) -> None:
    """Raise unless the year comes from exactly one place."""
    parsed = column_map.time.parsed_format if plan.day == "time" else None
    if plan.day == "date":
        parsed = column_map.time.parsed_date_format
    complete = plan.day in ("time", "date") and (parsed is None or parsed.has_year)
    sources = ["the format"] * (complete or plan.day == "setting")
    sources += ["columns.year"] * plan.year_from_column
    sources += ["time.year"] * (column_map.time.year is not None)
    if not sources:
        raise SettingsError("The column map does not say the year.", remedy="Set time.year.")
    if len(sources) > 1:
        raise SettingsError(f"{' and '.join(sources)} both give the year.",
                            remedy="Keep one of them.")  # fmt: skip


def _check_companions(column_map: ColumnMap, plan: TimePlan) -> None:
    """Raise for a part of a date or time that stands alone."""
    columns = set(column_map.columns)
    if (plan.day == "month") != ("day" in columns):
        raise SettingsError("columns.month and columns.day need each other.", remedy=CHOICES)
    if plan.clock != "hour" and columns & {"minute", "second"}:
        raise SettingsError("columns.minute and columns.second need columns.hour.", remedy=CHOICES)
    if "second" in columns and "minute" not in columns:
        raise SettingsError("columns.second needs columns.minute.", remedy=CHOICES)
    if plan.year_from_column and plan.day in ("time", "date"):
        raise SettingsError("columns.year can't go with a date in one column.",
                            remedy="Set time.year where the format has no year.")  # fmt: skip


def _check_formats(column_map: ColumnMap, plan: TimePlan) -> None:
    """Raise when a format lacks what its column has to give."""
    clock, day = column_map.time.parsed_format, column_map.time.parsed_date_format
    if plan.clock == "time" and clock is not None and not clock.has_clock:
        raise SettingsError("time.format has no hour and minute.", value=column_map.time.format)
    if plan.day == "date" and day is not None and not (day.has_day and not day.has_clock_part):
        raise SettingsError(
            "time.date_format must give a day and no time of day.",
            value=column_map.time.date_format,
        )
