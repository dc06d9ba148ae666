"""How often the field is too disturbed to walk: odds of stand-by at a place."""

from typing import Final, Literal

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.activity_latitude import geomagnetic_latitude_deg, usual_k9_nT
from lodewalk.methods.geomagnetic.k_index import CLASS_LIMITS_PERCENT
from lodewalk.validation import check_positive

Span = Literal["day", "morning"]

#: Range in three hours from which a crew stands by: K = 5 where K9 is 500 nT (common practice). On
#: such days a record breaks 3 nT over two minutes on two days in three.
STAND_BY_NT: Final = 70.0

#: A sunspot minimum, and the next as guessed from cycles of eleven years [yr] (from memory).
LAST_MINIMUM, CYCLE_YEARS = 2019.9, 11.0

#: Lowest class of the table below, which goes on to 9.
_LOWEST_CLASS: Final = 2

#: Shares of days, and of spans of six hours, with Kp of class 2, 3 ... 9 or more at some time:
#: tenth and ninetieth percentile over the years of each quarter of the sunspot cycle, and over all.
#: Counted by ``bench/count_storms.py`` in Kp as published by GFZ (CC BY 4.0), 67 whole years from
#: 1958 to 2024.
SHARES: Final[dict[tuple[str, str], tuple[tuple[float, ...], tuple[float, ...]]]] = {
    ("day", "any"): (
        (0.7699, 0.4904, 0.2236, 0.0696, 0.0153, 0.0016, 0.0000, 0.0000),
        (0.9792, 0.8619, 0.6367, 0.3705, 0.1532, 0.0559, 0.0230, 0.0082),
    ),
    ("day", "0"): (
        (0.7225, 0.3711, 0.1413, 0.0345, 0.0104, 0.0016, 0.0000, 0.0000),
        (0.9475, 0.7580, 0.4335, 0.2024, 0.0696, 0.0340, 0.0121, 0.0038),
    ),
    ("day", "1"): (
        (0.8742, 0.5997, 0.2951, 0.1327, 0.0479, 0.0137, 0.0027, 0.0000),
        (0.9795, 0.8630, 0.6247, 0.3507, 0.1849, 0.0658, 0.0301, 0.0082),
    ),
    ("day", "2"): (
        (0.8822, 0.6840, 0.3871, 0.1642, 0.0533, 0.0068, 0.0014, 0.0000),
        (0.9822, 0.8865, 0.6909, 0.4282, 0.1863, 0.0602, 0.0233, 0.0096),
    ),
    ("day", "3"): (
        (0.7501, 0.4744, 0.2135, 0.0532, 0.0101, 0.0000, 0.0000, 0.0000),
        (0.9789, 0.8342, 0.5937, 0.3537, 0.1288, 0.0356, 0.0110, 0.0036),
    ),
    ("morning", "any"): (
        (0.5013, 0.2458, 0.0897, 0.0217, 0.0049, 0.0005, 0.0000, 0.0000),
        (0.8665, 0.6618, 0.3938, 0.1807, 0.0621, 0.0222, 0.0085, 0.0023),
    ),
    ("morning", "0"): (
        (0.4158, 0.1680, 0.0545, 0.0128, 0.0034, 0.0005, 0.0000, 0.0000),
        (0.7742, 0.4788, 0.2400, 0.0849, 0.0302, 0.0135, 0.0045, 0.0008),
    ),
    ("morning", "1"): (
        (0.6278, 0.3175, 0.1345, 0.0537, 0.0184, 0.0041, 0.0008, 0.0000),
        (0.8673, 0.6436, 0.3841, 0.1822, 0.0769, 0.0299, 0.0121, 0.0029),
    ),
    ("morning", "2"): (
        (0.6750, 0.4049, 0.1810, 0.0677, 0.0186, 0.0018, 0.0002, 0.0000),
        (0.8898, 0.6935, 0.4345, 0.2146, 0.0732, 0.0248, 0.0086, 0.0035),
    ),
    ("morning", "3"): (
        (0.4899, 0.2536, 0.0887, 0.0197, 0.0025, 0.0000, 0.0000, 0.0000),
        (0.8469, 0.6214, 0.3792, 0.1794, 0.0521, 0.0129, 0.0032, 0.0008),
    ),
}


def standby_share(
    latitude_deg: float,
    longitude_deg: float,
    *,
    decimal_year: float | None = None,
    range_nT: float = STAND_BY_NT,
    span: Span = "day",
) -> tuple[float, float]:
    """Return the share of field days on which a crew stands by for a disturbed field.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Geodetic position [deg].
    decimal_year : float, optional
        When, to 2030.0 [yr]: from 2020 on it tells the quarter of the sunspot cycle. Left out, or
        earlier, all years count.
    range_nT : float
        Range in three hours, beyond the quiet daily variation, from which the crew stands by [nT].
    span : {"day", "morning"}
        A whole day of 24 hours, or six hours of it.

    Returns
    -------
    low, high : float
        Share of days in a quiet year and in a disturbed one: one year in ten lies below, one in ten
        above.

    Raises
    ------
    InputError
        For a place off the Earth, a range not above zero, an epoch outside the model or another
        word for the span.

    Notes
    -----
    Classes of K are about as frequent everywhere, and their ranges scale with the K = 9 limit of
    the site (see `usual_k9_nT`). So the share is that of Kp of the class to which `range_nT`
    belongs here, interpolated between classes [1]_. Kp is a mean over middle latitudes and all
    longitudes: by day one place is milder. At Eskdalemuir, 06 to 18 UT in 2003, half as many days
    reached K = 5 as by Kp of the same hours, about as many K = 2, 3 and 4.

    References
    ----------
    .. [1] Matzka et al. (2021). The geomagnetic Kp index and derived indices of geomagnetic
       activity. Space Weather 19, e2020SW002641. doi:10.1029/2020SW002641

    Examples
    --------
    >>> low, high = standby_share(52.0, 10.0)
    >>> 0.05 < low < high < 0.45
    True
    """
    check_positive(range_nT, name="Range to stand by from")
    year = 2025.0 if decimal_year is None else decimal_year
    geomagnetic = geomagnetic_latitude_deg(latitude_deg, longitude_deg, decimal_year=year)
    level = class_level(range_nT, k9_nT=float(usual_k9_nT(geomagnetic)))
    key = (span, _quarter(decimal_year))
    if key not in SHARES:
        raise InputError("A span is a day or a morning.", value=span)
    classes = np.arange(_LOWEST_CLASS, 10)
    low, high = (float(np.interp(level, classes, row)) for row in SHARES[key])
    return low, high


def class_level(range_nT: float, *, k9_nT: float) -> float:
    """Return the class of K that begins at a range, between whole classes too.

    Parameters
    ----------
    range_nT : float
        Range in three hours [nT], above zero.
    k9_nT : float
        Range that counts as K = 9 [nT].

    Returns
    -------
    float
        Class, 1 to 9: whole at the limits of the classes, in between by the logarithm of the range.

    Raises
    ------
    InputError
        If one isn't above zero.

    Examples
    --------
    >>> class_level(70.0, k9_nT=500.0)
    5.0
    """
    check_positive(range_nT, name="Range")
    check_positive(k9_nT, name="k9_nT")
    limits = np.log(np.array(CLASS_LIMITS_PERCENT) / 100.0)
    return float(np.interp(np.log(range_nT / k9_nT), limits, np.arange(1, len(limits) + 1)))


def _quarter(decimal_year: float | None) -> str:
    """Return the quarter of the sunspot cycle, or that any counts."""
    if decimal_year is None or decimal_year < LAST_MINIMUM:
        return "any"
    return str(int(4.0 * ((decimal_year - LAST_MINIMUM) / CYCLE_YEARS % 1.0)))
