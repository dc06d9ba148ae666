"""Offset of GPS time from UTC."""

from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray

#: First UTC second at which GPS - UTC has the value beside it, IERS Bulletin C.
GPS_MINUS_UTC_S: Final = (
    ("1980-01-06", 0), ("1981-07-01", 1), ("1982-07-01", 2), ("1983-07-01", 3),
    ("1985-07-01", 4), ("1988-01-01", 5), ("1990-01-01", 6), ("1991-01-01", 7),
    ("1992-07-01", 8), ("1993-07-01", 9), ("1994-07-01", 10), ("1996-01-01", 11),
    ("1997-07-01", 12), ("1999-01-01", 13), ("2006-01-01", 14), ("2009-01-01", 15),
    ("2012-07-01", 16), ("2015-07-01", 17), ("2017-01-01", 18),
)  # fmt: skip
#: Until this date no further leap second comes: IERS Bulletin C as of July 2026, by the list
#: "leapseconds" of the tz database.
GPS_MINUS_UTC_KNOWN_UNTIL: Final = "2027-06-28"


def gps_minus_utc(gps_s: ArrayLike) -> FloatArray:
    """Return GPS time minus UTC at given GPS times.

    Parameters
    ----------
    gps_s : array_like, shape (n,)
        Times on the GPS scale, counted like Unix seconds [s].

    Returns
    -------
    array, shape (n,)
        Whole seconds to take off to get UTC [s]; NaN where the time is NaN.

    Raises
    ------
    InputError
        For a time before the GPS epoch, 1980-01-06.

    Notes
    -----
    The leap seconds announced by IERS Bulletin C, the last one at the end of 2016; the test
    compares them with the list in the tz database. After `GPS_MINUS_UTC_KNOWN_UNTIL` the last
    value is kept, which a leap second announced since would make wrong by one second; whoever
    calls this says so.

    Examples
    --------
    >>> float(gps_minus_utc(1_773_144_018.0))
    18.0
    """
    times = np.asarray(gps_s, dtype=float)
    dates = [datetime.fromisoformat(date).replace(tzinfo=UTC) for date, _ in GPS_MINUS_UTC_S]
    offsets = np.array([offset for _, offset in GPS_MINUS_UTC_S], dtype=float)
    starts = np.array([date.timestamp() for date in dates]) + offsets
    if np.any(times < starts[0]):
        raise InputError(
            "GPS time begins on 1980-01-06.",
            value=float(np.nanmin(times)),
            remedy="Is the date of the file right?",
        )
    place = np.searchsorted(starts, np.nan_to_num(times, nan=starts[0]), side="right") - 1
    return np.where(np.isnan(times), np.nan, offsets[place])
