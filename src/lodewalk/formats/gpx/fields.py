"""Positions, numbers and times of GPX points."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NoReturn

from lodewalk.errors import InputError
from lodewalk.formats.words import counted

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
TIME = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)(?:[.,](\d{1,12}))?(Z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
UNIX_DAY = date(1970, 1, 1).toordinal()

#: No GPS time lies before the first week of the system, 6 January 1980 (IS-GPS-200).
FIRST_GPS_MICROSECOND = (date(1980, 1, 6).toordinal() - UNIX_DAY) * 86_400_000_000


def position(attributes: Mapping[str, str], *, file: str, line: int) -> tuple[float, float]:
    """Return latitude and longitude [deg] of a point, or raise with its line.

    Examples
    --------
    >>> position({"lat": "-27.5", "lon": "-48.25"}, file="walk.gpx", line=3)
    (-27.5, -48.25)
    """
    found = [_degrees(attributes.get(name), file=file, line=line) for name in ("lat", "lon")]
    latitude, longitude = found
    if abs(latitude) > 90.0:
        swapped = abs(longitude) <= 90.0 and abs(latitude) <= 180.0
        raise InputError(
            "Latitude must lie in -90 to 90 degrees.",
            file=file,
            line=line,
            value=latitude,
            remedy="Are latitude and longitude swapped?" if swapped else "",
        )
    if abs(longitude) > 180.0:
        rule = "Longitude must lie in -180 to 180 degrees."
        raise InputError(rule, file=file, line=line, value=longitude)
    return latitude, longitude


def number(text: str | None, *, name: str, file: str, line: int) -> float | None:
    """Return the number of an element, None where it is absent, empty or says not a number.

    Examples
    --------
    >>> number("12.5", name="height", file="walk.gpx", line=3)
    12.5
    """
    if text is None or text.casefold() in ("", "nan"):
        return None
    if not NUMBER.fullmatch(text):
        raise InputError(f"The {name} must be a number.", file=file, line=line, value=text)
    return float(text)


def _degrees(text: str | None, *, file: str, line: int) -> float:
    """Return an angle that must be there."""
    if text is None or not NUMBER.fullmatch(text.strip()):
        rule = "A point must have latitude and longitude as numbers."
        raise InputError(rule, file=file, line=line, value=text)
    return float(text)


@dataclass
class Times:
    """Reads the times of a file and counts what was odd about them."""

    without_zone: int = 0
    impossible: int = 0
    first_impossible: int = 0

    def read(self, text: str | None, *, file: str, line: int) -> int | None:
        """Return UTC microseconds since 1970; None where absent or impossible as a GPS time.

        Examples
        --------
        >>> Times().read("2024-03-01T02:00:00.5+02:00", file="walk.gpx", line=3)
        1709251200500000
        """
        if not text:
            return None
        match = TIME.fullmatch(text)
        if match is None:
            _refuse_time(text, file=file, line=line)
        *whole, fraction, zone = match.groups()
        found = _microseconds([int(part) for part in whole], fraction or "", zone or "Z")
        if found is None or found < FIRST_GPS_MICROSECOND:
            self.impossible += 1
            self.first_impossible = self.first_impossible or line
            return None
        self.without_zone += zone is None
        return found

    def notes(self) -> list[str]:
        """Say what was odd."""
        notes = []
        if self.impossible:
            notes.append(
                f"{counted(self.impossible, 'time')} can't be of a GPS receiver, first in line "
                f"{self.first_impossible}: taken as missing."
            )
        if self.without_zone:
            notes.append(f"{counted(self.without_zone, 'time')} without a zone: taken as UTC.")
        return notes


def _refuse_time(text: str, *, file: str, line: int) -> NoReturn:
    """Say how a time must look."""
    raise InputError(
        "A time must look like 2024-03-01T09:30:00Z.", file=file, line=line, value=text
    )


def _microseconds(whole: list[int], fraction: str, zone: str) -> int | None:
    """Return UTC microseconds since 1970, None for a date or time of day that doesn't exist."""
    year, month, day, hour, minute, second = whole
    try:
        days = date(year, month, day).toordinal() - UNIX_DAY
    except ValueError:
        return None
    if hour > 23 or minute > 59 or second > 60:  # 60 is a leap second
        return None
    seconds = ((days * 24 + hour) * 60 + minute) * 60 + second
    if zone != "Z":
        offset = int(zone[1:3]) * 60 + int(zone[-2:])
        seconds -= (-60 if zone[0] == "-" else 60) * offset
    return seconds * 1_000_000 + int(fraction.ljust(6, "0")[:6])
