"""Names of time zones and scales."""

import re
from difflib import get_close_matches
from zoneinfo import ZoneInfo, available_timezones

from lodewalk.errors import SettingsError

FIXED_OFFSET = re.compile(r"[+-](?:0\d|1[0-4]):[0-5]\d")
CHOICES = 'Use "UTC", "GPS", an IANA name such as "America/Bahia", or "+hh:mm".'


def checked_zone(name: str, *, key: str | None = "time.zone") -> str:
    """Return the time zone or scale if it is known.

    Parameters
    ----------
    name : str
        "UTC", "GPS" (GPS time, ahead of UTC by the leap seconds since 1980), a name of the
        IANA time zone database, or a fixed offset "+hh:mm".
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
    >>> checked_zone("-03:00"), checked_zone("gps")
    ('-03:00', 'GPS')
    """
    if name.upper() in ("UTC", "GPS"):
        return name.upper()
    if FIXED_OFFSET.fullmatch(name):
        return name
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        near = get_close_matches(name, sorted(available_timezones()), n=3)
        hint = f" Did you mean {' or '.join(near)}?" if near else ""
        rule = f"{key} names an unknown time zone." if key else "This time zone is unknown."
        raise SettingsError(rule, value=name, remedy=CHOICES + hint) from error
    return name
