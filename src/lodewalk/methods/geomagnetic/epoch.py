"""From UTC seconds to the decimal year in which geomagnetic models count."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray

#: Seconds of 0001-01-01 and 10000-01-01: outside them a number is no time of a survey.
_EARLIEST, _LATEST = -62_135_596_800.0, 253_402_300_800.0


def decimal_year(unix_seconds: ArrayLike) -> FloatArray:
    """Return the decimal year of times in UTC.

    Parameters
    ----------
    unix_seconds : array
        POSIX seconds, UTC; NaN is missing [s].

    Returns
    -------
    array
        Year plus the part of that year gone by [yr]; NaN where the time is missing.

    Raises
    ------
    InputError
        If a time lies outside the years 1 to 9999, as milliseconds taken for seconds do.

    Notes
    -----
    The part is counted in the length of the year at hand, 365 or 366 days (common practice), so
    that 1 January at 00:00 is a whole number. POSIX seconds know no leap seconds.

    Examples
    --------
    Noon on 2 July, the middle of a year of 365 days.

    >>> float(decimal_year(1751457600.0))
    2025.5
    """
    seconds = np.asarray(unix_seconds, dtype=np.float64)
    outside = (seconds < _EARLIEST) | (seconds >= _LATEST)
    if outside.any():
        raise InputError(
            "Times must lie in the years 1 to 9999.",
            value=float(seconds[outside].flat[0]),
            remedy="Are they seconds since 1970?",
        )
    known = np.where(np.isnan(seconds), 0.0, seconds)
    years = np.floor(known).astype("datetime64[s]").astype("datetime64[Y]")
    begin, end = (_unix_seconds(years + step) for step in (0, 1))
    return np.asarray(1970 + years.astype(np.int64) + (seconds - begin) / (end - begin))


def _unix_seconds(years: np.typing.NDArray[np.datetime64]) -> FloatArray:
    """Return the POSIX seconds at which each year begins."""
    return years.astype("datetime64[s]").astype(np.float64)
