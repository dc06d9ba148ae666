"""Names of time zones and scales."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo
from difflib import get_close_matches
from zoneinfo import ZoneInfo, available_timezones

from lodewalk.errors import SettingsError

FIXED_OFFSET = re.compile(r"[+-](?:0\d|1[0-4]):[0-5]\d")
#: A fixed offset as people write it: +3, UTC+3, GMT-03:30, +0300.
LOOSE_OFFSET = re.compile(
    r"(?:UTC|GMT)?\s*([+\N{MINUS SIGN}-])\s*(\d{1,2})(?::?([0-5]\d))?", re.IGNORECASE
)
ABBREVIATION = re.compile(r"[A-Za-z]{3,5}")
#: Winter and summer, since an abbreviation may hold in one of them only.
SEASONS = (datetime(2026, 1, 1), datetime(2026, 7, 1))
CHOICES = (
    'Use "UTC", "GPS", an offset such as "+03:00" (clocks ahead of UTC), or an IANA name '
    'such as "America/Bahia".'
)
ZERO = timedelta(0)


def checked_zone(name: str, *, key: str | None = "time.zone") -> str:
    """Return the time zone or scale if it is known, a fixed offset as "+hh:mm".

    Parameters
    ----------
    name : str
        "UTC", "GPS" (GPS time, ahead of UTC by the leap seconds since 1980), a name of the
        IANA time zone database, or a fixed offset: "+hh:mm", "+3", "UTC+3".
    key : str or None
        The setting that is named in the error; None where the zone isn't from a setting.

    Raises
    ------
    SettingsError
        For an unknown zone, with the nearest known names.

    References
    ----------
    IANA, Time Zone Database, https://www.iana.org/time-zones.

    Examples
    --------
    >>> checked_zone("-03:00"), checked_zone("gps"), checked_zone("UTC+3")
    ('-03:00', 'GPS', '+03:00')
    """
    if name.upper() in ("UTC", "GPS"):
        return name.upper()
    offset = _offset(name)
    if offset:
        return offset
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        rule = f"{key} names an unknown time zone." if key else "This time zone is unknown."
        raise SettingsError(rule, value=name, remedy=CHOICES + _hint(name)) from error
    return name


def clock_of(zone: str) -> tzinfo:
    """Return what tells the time of a zone of the database, or with a fixed offset.

    Examples
    --------
    >>> clock_of("-03:30").utcoffset(None)
    datetime.timedelta(days=-1, seconds=73800)
    """
    if FIXED_OFFSET.fullmatch(zone):
        fixed = datetime.fromisoformat(f"2000-01-01T00:00:00{zone}").tzinfo
        assert fixed is not None
        return fixed
    return ZoneInfo(zone)


def _offset(name: str) -> str | None:
    """Return a fixed offset as "+hh:mm", None for what is none."""
    match = LOOSE_OFFSET.fullmatch(name.strip())
    if match is None:
        return None
    sign = "+" if match[1] == "+" else "-"
    offset = f"{sign}{int(match[2]):02d}:{match[3] or '00'}"
    return offset if FIXED_OFFSET.fullmatch(offset) else None


def _hint(name: str) -> str:
    """Say what an unknown zone may mean: an abbreviation's offsets, or the nearest names."""
    if ABBREVIATION.fullmatch(name):
        meant = dict(_abbreviated(name.upper()))
        if meant:
            told = " or ".join(f"{offset} (as in {meant[offset]})" for offset in sorted(meant))
            return f" {name} is no name of a zone; it can stand for {told}."
    near = get_close_matches(name, sorted(available_timezones()), n=3)
    return f" Did you mean {' or '.join(near)}?" if near else ""


def _abbreviated(short: str) -> Iterator[tuple[str, str]]:
    """Yield each offset that an abbreviation stands for, with a zone that has it."""
    for name in sorted((one for one in available_timezones() if "/" in one), reverse=True):
        zone = ZoneInfo(name)
        for when in SEASONS:
            if zone.tzname(when) == short:
                minutes = round((zone.utcoffset(when) or ZERO).total_seconds() / 60)
                sign = "-" if minutes < 0 else "+"
                yield f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}", name
