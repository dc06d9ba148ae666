"""Guess what columns without known names hold, and how their times are written."""

import re
import statistics
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from lodewalk.formats.delimited.guess_layout import Layout
from lodewalk.formats.delimited.guess_times import Guess, guess_clock, guess_date, guess_stamp

if TYPE_CHECKING:
    from lodewalk.formats.delimited.detect import Findings

FIELD_RANGE_NT = (15_000.0, 75_000.0)
SMALL_STEP_NT = 1_000.0
UNIX_RANGE_S = (631_152_000.0, 3_155_760_000.0)  # 1990 to 2070
NARROW_DEG = 2.0
# Observatories name the total field F and its components X, Y, Z and H, after a code of three
# letters or alone.
TOTAL = re.compile(r"(?:[A-Z]{3})?F\b|f\b")
COMPONENT = re.compile(r"(?:[A-Z]{3})?[XYZH]\b|(?:b|mag[ _]?)?[xyzh]\b|B[xyzXYZhH]\b")


def column_texts(layout: Layout, place: int) -> list[str]:
    """Return the values of one column that are neither empty nor a mark of a missing value."""
    gone = set(layout.column_map.missing)
    return [fields[place] for fields in layout.rows if fields[place] not in gone]


def column_numbers(layout: Layout, place: int) -> list[float] | None:
    """Return one column as numbers, None where one is none."""
    sign = layout.column_map.decimal
    try:
        return [float(text.replace(sign, ".")) for text in column_texts(layout, place)]
    except ValueError:
        return None


def by_values(
    layout: Layout, columns: dict[str, int], role: str, found: "Findings"
) -> dict[str, int]:
    """Add the columns that can be told by their values alone.

    Parameters
    ----------
    layout : Layout
        The rows looked at.
    columns : dict
        Columns known by name, counted from 0.
    role : str
        Role of the file.
    found : Findings
        Takes reasons and doubts.
    """
    columns = dict(columns)
    _find_times(layout, columns, found)
    if role in ("base", "rover") and "field" not in columns:
        _find_field(layout, columns, found)
    if layout.names is None and not {"latitude", "easting"} & set(columns):
        _find_angles(layout, columns, found)
    return columns


def _free(layout: Layout, columns: dict[str, int]) -> list[int]:
    """Return the columns without a meaning yet."""
    return [place for place in range(len(layout.rows[0])) if place not in columns.values()]


def _find_times(layout: Layout, columns: dict[str, int], found: "Findings") -> None:
    """Find columns of times and dates."""
    if {"time", "hour", "seconds_of_day"} & set(columns):
        _find_date(layout, columns, found)
        return
    for place in _free(layout, columns):
        texts = column_texts(layout, place)
        if guess_stamp(texts) is not None:
            columns["time"] = place
            found.reasons.append(f"Column {place + 1} holds dates with times.")
            return
        clock = guess_clock(texts)
        if clock is not None and ":" in texts[0]:
            columns["time"] = place
            found.reasons.append(f"Column {place + 1} holds times of day.")
            _find_date(layout, columns, found)
            return


def _find_date(layout: Layout, columns: dict[str, int], found: "Findings") -> None:
    """Find a column of dates beside one of times of day."""
    if {"date", "month", "day_of_year"} & set(columns) or "time" not in columns:
        return
    if guess_stamp(column_texts(layout, columns["time"])) is not None:
        return
    for place in _free(layout, columns):
        texts = column_texts(layout, place)
        if texts and any(sign in texts[0].strip("-") for sign in "-/.") and guess_date(texts):
            columns["date"] = place
            found.reasons.append(f"Column {place + 1} holds dates.")
            return


def _find_field(layout: Layout, columns: dict[str, int], found: "Findings") -> None:
    """Find the column that can be the total field."""
    likely = [place for place in _free(layout, columns) if _like_field(layout, place)]
    likely = _without_components(layout, likely)
    if not likely:
        return
    columns["field"] = likely[0]
    found.reasons.append(
        f"Column {likely[0] + 1} lies in {FIELD_RANGE_NT[0]:,.0f} to {FIELD_RANGE_NT[1]:,.0f} "
        "with small steps, as a total field in nT does."
    )
    if len(likely) > 1:
        others = listed([str(place + 1) for place in likely[1:]])
        word = "Column" if len(likely) == 2 else "Columns"
        found.doubt(f"{word} {others} can be the field as well.", factor=0.5)
    else:
        found.confidence *= 0.9


def _without_components(layout: Layout, likely: list[int]) -> list[int]:
    """Return the column named F where there is one, else those not named as components."""
    if layout.names is None:
        return likely
    names = layout.names
    total = [place for place in likely if TOTAL.fullmatch(names[place])]
    return total or [place for place in likely if not COMPONENT.match(names[place])]


def listed(words: list[str], limit: int = 6) -> str:
    """Return words for a sentence, cut where they are many.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a", "b", "c"], limit=2)
    ('a, b, c', 'a, b and 1 more')
    """
    text = ", ".join(words[:limit])
    return text if len(words) <= limit else f"{text} and {len(words) - limit} more"


def _like_field(layout: Layout, place: int) -> bool:
    """Tell whether numbers look like a total field: in range, small steps, no counter."""
    values = column_numbers(layout, place)
    if not values:
        return False
    low, high = FIELD_RANGE_NT
    inside = [value for value in values if low <= value <= high]
    if len(inside) < 0.8 * len(values):
        return False
    steps = [b - a for a, b in pairwise(inside)]
    if not steps:
        return True
    one_way = min(steps) > 0 or max(steps) < 0
    counting = one_way and all(value.is_integer() for value in inside)  # a clock or a counter
    return not counting and statistics.median(abs(step) for step in steps) < SMALL_STEP_NT


def _find_angles(layout: Layout, columns: dict[str, int], found: "Findings") -> None:
    """Find latitude and longitude: two neighbours with decimals and a narrow range."""
    free = _free(layout, columns)
    for first, second in pairwise(free):
        if second == first + 1 and _like_angle(layout, first) and _like_angle(layout, second):
            values = column_numbers(layout, first) or []
            swapped = max(abs(value) for value in values) > 90
            latitude, longitude = (second, first) if swapped else (first, second)
            columns["latitude"], columns["longitude"] = latitude, longitude
            found.reasons.append(
                f"Columns {latitude + 1} and {longitude + 1} look like latitude and longitude."
            )
            if not swapped:
                found.doubt("Latitude is taken to stand before longitude.", factor=0.8)
            return


def _like_angle(layout: Layout, place: int) -> bool:
    """Tell whether numbers look like angles of a small area."""
    values = column_numbers(layout, place)
    sign = layout.column_map.decimal
    texts = column_texts(layout, place)
    if not values or any(len(text.partition(sign)[2]) < 4 for text in texts):
        return False
    narrow = max(values) - min(values) < NARROW_DEG
    return narrow and max(abs(value) for value in values) <= 180


def time_settings(
    layout: Layout, columns: dict[str, int], references: dict[str, Any], found: "Findings"
) -> dict[str, Any]:
    """Return the settings of the time, and take out columns that cannot go with it.

    Parameters
    ----------
    layout : Layout
        The rows looked at.
    columns : dict
        Our columns, counted from 0; changed in place.
    references : dict
        The same as names or numbers; changed in place.
    found : Findings
        Takes reasons and doubts.
    """
    settings: dict[str, Any] = {}
    _keep_one_day(columns, references)
    if "time" in columns:
        _set_clock(layout, columns, references, settings, found)
    if "date" in columns:
        guess = guess_date(column_texts(layout, columns["date"]))
        if guess is None:
            found.doubt("The form of the dates is not known.", factor=0.3)
        else:
            _take(guess, "date_format", settings, found)
    return settings


def _keep_one_day(columns: dict[str, int], references: dict[str, Any]) -> None:
    """Where the day stands in more than one form, keep the plainest."""
    if "date" in columns:
        _drop(("year", "month", "day", "day_of_year"), columns, references)
    elif {"month", "day"} <= set(columns):
        _drop(("day_of_year",), columns, references)
    else:
        _drop(("month", "day"), columns, references)
    if "hour" in columns:
        _drop(("seconds_of_day",), columns, references)


def _take(guess: Guess, key: str, settings: dict[str, Any], found: "Findings") -> None:
    """Keep a guess with its doubts."""
    settings[key] = guess.text
    for doubt in guess.doubts:
        found.doubt(doubt, factor=0.5)


def _drop(names: tuple[str, ...], columns: dict[str, int], references: dict[str, Any]) -> None:
    """Take columns out."""
    for name in names:
        columns.pop(name, None)
        references.pop(name, None)


def _set_clock(
    layout: Layout, columns: dict[str, int], references: dict[str, Any],
    settings: dict[str, Any], found: "Findings",
) -> None:  # fmt: skip
    """Find out how the column time is written."""
    texts = column_texts(layout, columns["time"])
    stamp = guess_stamp(texts)
    if stamp is not None:
        _take(stamp, "format", settings, found)
        _drop(("date", "year", "month", "day", "day_of_year", "hour", "minute", "second",
               "seconds_of_day"), columns, references)  # fmt: skip
        return
    values = column_numbers(layout, columns["time"])
    if values and all(UNIX_RANGE_S[0] < value < UNIX_RANGE_S[1] for value in values):
        settings["format"] = "unix"
        _drop(("date", "year", "month", "day", "day_of_year", "hour", "minute", "second",
               "seconds_of_day"), columns, references)  # fmt: skip
        return
    _drop(("hour", "minute", "second", "seconds_of_day"), columns, references)
    clock = guess_clock(texts)
    if clock is not None:
        _take(clock, "format", settings, found)
        if clock.text == "iso" and not {"date", "month", "day_of_year"} & set(columns):
            found.doubt("The file does not say the day: set time.date.", factor=0.5)
    elif values and all(0 <= value < 86_401 for value in values):
        _as_number(columns, references, values, found)
    else:
        found.doubt("The form of the times is not known.", factor=0.3)


def _as_number(
    columns: dict[str, int], references: dict[str, Any], values: list[float], found: "Findings"
) -> None:
    """Take numbers in the column time as hours or as seconds of the day."""
    name = "hour" if max(values) < 24 and any(value % 1 for value in values) else "seconds_of_day"
    columns[name], references[name] = columns.pop("time"), references.pop("time")
    found.doubt(f"The time is taken as {name.replace('_', ' ')}.", factor=0.7)
