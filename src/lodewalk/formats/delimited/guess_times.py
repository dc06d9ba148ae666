"""Guess how times and dates are written, and in which zone."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from lodewalk.formats.delimited.guess_layout import CLOCK, DATE

STAMP_PARTS = re.compile(rf"(?P<day>{DATE.pattern})(?P<gap>[T ]+)(?P<clock>.+)")
MONTHS = r"[A-Za-z]{3}"
NAMED_ZONE = re.compile(r"\b(?:UTC|GMT)\b(?! ?[+-])", re.IGNORECASE)
NAMED_OFFSET = re.compile(r"\b(?:UTC|GMT) ?([+-])(\d{1,2})(?::?(\d\d))?\b", re.IGNORECASE)
OWN_OFFSET = re.compile(r".*:\d\d(?:[.,]\d*)? ?(?:Z|UTC|GMT|[+-]\d\d:?\d\d)", re.IGNORECASE)


@dataclass
class Guess:
    """A format, with what speaks against it.

    Parameters
    ----------
    text : str
        "iso", "unix" or strptime directives.
    doubts : list of str
        Plain sentences.
    """

    text: str
    doubts: list[str] = field(default_factory=list)


def guess_stamp(values: Sequence[str]) -> Guess | None:
    """Guess the format of texts that hold date and time of day; None where they do not.

    Examples
    --------
    >>> guess_stamp(["31/01/2025 08:15:00"]).text
    '%d/%m/%Y %H:%M:%S%.f'
    """
    parts = [STAMP_PARTS.fullmatch(value) for value in values]
    if not values or not all(parts):
        compact = all(re.fullmatch(r"\d{8}T\d{6}(?:[.,]\d*)?Z?", value) for value in values)
        return Guess("iso") if values and compact else None
    matched = [part for part in parts if part is not None]
    day = guess_date([part["day"] for part in matched])
    clock = guess_clock([part["clock"] for part in matched])
    if day is None or clock is None:
        return None
    doubts = [*day.doubts, *clock.doubts]
    if day.text == "iso" and clock.text == "iso":
        return Guess("iso", doubts)
    texts = [part["clock"] for part in matched]
    day_text = "%Y-%m-%d" if day.text == "iso" else day.text
    clock_text = _spelt_clock(texts) if clock.text == "iso" else clock.text
    return Guess(f"{day_text}{matched[0]['gap']}{clock_text}", doubts)


def _spelt_clock(texts: Sequence[str]) -> str:
    """Return the directives of times of day in ISO form."""
    form = "%H:%M:%S%.f" if re.match(r"\d+:\d+:\d", texts[0]) else "%H:%M"
    return form + ("%z" if all(OWN_OFFSET.fullmatch(text) for text in texts) else "")


def guess_clock(values: Sequence[str]) -> Guess | None:
    """Guess the format of times of day; None where they are none.

    Examples
    --------
    >>> guess_clock(["81500", "81510"]).text
    '%H%M%S%.f'
    """
    if not values:
        return None
    if all(CLOCK.fullmatch(value) or OWN_OFFSET.fullmatch(value) for value in values):
        if any(re.search(r"[AaPp][Mm]", value) for value in values):
            seconds = ":%S" if values[0].count(":") == 2 else ""
            blank = " " if " " in values[0] else ""
            return Guess(f"%I:%M{seconds}{blank}%p")
        return Guess("iso")
    if all(re.fullmatch(r"\d{3,6}(?:\.\d*)?", value) and _is_hhmmss(value) for value in values):
        return Guess("%H%M%S%.f")
    return None


def _is_hhmmss(value: str) -> bool:
    """Tell whether a number can be hours, minutes and seconds."""
    whole = value.split(".")[0].zfill(6)
    return int(whole[:2]) < 24 and int(whole[2:4]) < 60 and int(whole[4:6]) < 60


def guess_date(values: Sequence[str]) -> Guess | None:
    """Guess the format of dates; None where they are none.

    Where day and month can't be told apart the day is taken first, and the doubt said.

    Examples
    --------
    >>> guess_date(["05/13/2025"]).text, guess_date(["05/04/2025"]).doubts
    ('%m/%d/%Y', ['Day and month of 05/04/2025 can stand in either order.'])
    """
    if not values:
        return None
    if all(re.fullmatch(r"\d{4}-\d\d-\d\d", value) for value in values):
        return Guess("iso")
    if all(re.fullmatch(r"\d{5,8}", value) for value in values):
        return _digits(values)
    separators = {sign for value in values for sign in re.sub(r"[A-Za-z0-9]", "", value)}
    if len(separators) != 1:
        return None
    sign = separators.pop()
    parts = [tuple(value.split(sign)) for value in values]
    if any(len(part) != 3 for part in parts):
        return None
    if all(re.fullmatch(MONTHS, part[1]) for part in parts):
        return Guess(sign.join(("%d", "%b", _year(parts[0][2]))))
    if not all(text.isdigit() for part in parts for text in part):
        return None
    if len(parts[0][0]) == 4:
        return Guess(sign.join(("%Y", "%m", "%d")))
    return _ordered(values, [(int(a), int(b)) for a, b, _ in parts], sign, _year(parts[0][2]))


def _year(text: str) -> str:
    """Return the directive of a year."""
    return "%Y" if len(text) == 4 else "%y"


def _ordered(
    values: Sequence[str], pairs: list[tuple[int, int]], sign: str, year: str
) -> Guess | None:
    """Tell day and month apart."""
    day_first = all(1 <= a <= 31 and 1 <= b <= 12 for a, b in pairs)
    month_first = all(1 <= a <= 12 and 1 <= b <= 31 for a, b in pairs)
    if not (day_first or month_first):
        return None
    order = ("%d", "%m") if day_first else ("%m", "%d")
    doubts = []
    if day_first and month_first:
        doubts.append(f"Day and month of {values[0]} can stand in either order.")
    return Guess(sign.join((*order, year)), doubts)


def _digits(values: Sequence[str]) -> Guess | None:
    """Guess the order of dates written as one number."""
    if all(len(value) == 8 for value in values):
        fits = {
            form: all(_is_date(value, form) for value in values)
            for form in ("%Y%m%d", "%d%m%Y", "%m%d%Y")
        }
    else:
        full = [value.zfill(6) for value in values]
        fits = {
            form: all(len(value) == 6 and _is_date(value, form) for value in full)
            for form in ("%d%m%y", "%y%m%d", "%m%d%y")
        }
    good = [form for form, fit in fits.items() if fit]
    if not good:
        return None
    doubts = []
    if len(good) > 1:
        doubts.append(f"The date {values[0]} can be read as {' or '.join(good)}.")
    return Guess(good[0], doubts)


def _is_date(value: str, form: str) -> bool:
    """Tell whether digits make a date of this form, of 1990 to 2068."""
    sizes = {"Y": 4, "y": 2, "m": 2, "d": 2}
    place, parts = 0, {}
    for name in form.replace("%", ""):
        parts[name] = int(value[place : place + sizes[name]])
        place += sizes[name]
    year = parts.get("Y", 2000 + parts.get("y", 0))
    recent = 1990 <= year <= 2068
    return recent and 1 <= parts["m"] <= 12 and 1 <= parts["d"] <= 31


def guess_zone(values: Sequence[str], texts: Sequence[str]) -> tuple[str, str] | None:
    """Return the zone that values or texts of the head carry, and why; None where none does.

    Parameters
    ----------
    values : sequence of str
        Times as written.
    texts : sequence of str
        Names of the time columns, and lines of the head.

    Examples
    --------
    >>> guess_zone(["08:00:00"], ["Time (UTC-3)"])[0]
    '-03:00'
    """
    if values and all(OWN_OFFSET.fullmatch(value) for value in values):
        return "UTC", f"each time carries its offset from UTC, such as {values[0]}"
    offsets = {match[0]: match for text in texts for match in NAMED_OFFSET.finditer(text)}
    if len(offsets) == 1:
        match = next(iter(offsets.values()))
        hours = int(match[2])
        if hours <= 14:
            zone = f"{match[1]}{hours:02d}:{match[3] or '00'}"
            return ("UTC" if zone[1:] == "00:00" else zone), f"the file says {match[0]}"
    if not offsets and any(NAMED_ZONE.search(text.replace("_", " ")) for text in texts):
        return "UTC", "the file says UTC or GMT"
    return None
