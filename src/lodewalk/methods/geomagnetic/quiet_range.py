"""How far the total field moves on a quiet day: a rough range for place and season."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.geomagnetic.activity_latitude import (
    dip_latitude_deg,
    geomagnetic_latitude_deg,
    usual_k9_nT,
)
from lodewalk.validation import FloatArray

#: Range of the northward field on the dip equator, away from the electrojet, at equinox and
#: middling sunspot numbers [nT] (from memory).
EQUATOR_RANGE_NT: Final = 60.0

#: Twice-daily over daily part of the potential, and internal over external part (from memory).
_SECOND_HARMONIC, _INDUCED = 0.5, 0.4

#: Electrojet: what it adds on the dip equator, in parts of the above, and its half-width (from
#: memory).
ELECTROJET, ELECTROJET_DEG = 1.2, 2.5

#: In summer as much more, in winter as much less, at middle latitudes and beyond (from memory).
_SEASON: Final = 0.35

#: Sunspot minimum, maximum, and from day to day either way (from memory).
_MINIMUM, _MAXIMUM, _DAY_TO_DAY = 0.75, 1.4, 0.3

#: Irregular movement that a quiet day may hold: the middle of class K = 2, 15 nT for a K9 of 500.
_IRREGULAR: Final = 15.0 / 500.0

#: And the least that any day holds: the middle of class K = 0, 2.3 nT for a K9 of 500.
_CALMEST: Final = 2.3 / 500.0


@dataclass(frozen=True)
class QuietRange:
    """Range of the total field on a day without disturbance.

    Parameters
    ----------
    low_nT, high_nT : float
        From a calm day at sunspot minimum to a day that just counts as quiet at maximum [nT].
    regular_nT : float
        Of the regular daily variation at middling sunspot numbers [nT].
    dip_latitude_deg, geomagnetic_latitude_deg : float
        On which it depends [deg].
    electrojet : bool
        Whether the place lies under the equatorial electrojet, within five degrees of dip latitude.
    """

    low_nT: float
    high_nT: float
    regular_nT: float
    dip_latitude_deg: float
    geomagnetic_latitude_deg: float
    electrojet: bool


def quiet_range(
    latitude_deg: float,
    longitude_deg: float,
    *,
    inclination_deg: float,
    decimal_year: float,
) -> QuietRange:
    """Return the range of the total field to expect on a quiet day.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Geodetic position [deg].
    inclination_deg : float
        Inclination of the field there [deg], positive down.
    decimal_year : float
        Epoch [yr]; its part of the year is the season.

    Returns
    -------
    QuietRange
        A range and not a number, since days differ by far more than the rule is exact.

    Raises
    ------
    InputError
        For a place, an inclination or an epoch out of range.

    Notes
    -----
    A rule of our own, its numbers from memory of what textbooks say [1]_, none fitted. The regular
    variation is `daily_variation` in dip latitude, times 60 nT on the dip equator, more under the
    electrojet, 35 % more or less in summer and winter. From that, `low_nT` takes sunspot minimum
    and a weak day, or the movement of K = 0 where that is more, `high_nT` maximum and a strong day,
    with the movement of K = 2 by the site's K = 9 limit. Under the auroral oval that last part is
    nearly all.

    References
    ----------
    .. [1] Chapman, S. and Bartels, J. (1940). Geomagnetism. Oxford University Press (from memory).

    Examples
    --------
    >>> found = quiet_range(55.3, -3.2, inclination_deg=69.6, decimal_year=2003.25)
    >>> found.low_nT < 15 < found.high_nT, found.electrojet
    (True, False)
    """
    dip = float(dip_latitude_deg(inclination_deg))
    geomagnetic = float(
        geomagnetic_latitude_deg(latitude_deg, longitude_deg, decimal_year=decimal_year)
    )
    north, down = daily_variation(dip, np.arange(0.0, 24.0, 0.25))
    north = north * (1.0 + ELECTROJET * np.exp(-((dip / ELECTROJET_DEG) ** 2)))
    angle = np.radians(inclination_deg)
    field = north * np.cos(angle) + down * np.sin(angle)
    regular = EQUATOR_RANGE_NT * float(np.ptp(field)) * _season(latitude_deg, decimal_year)
    k9 = float(usual_k9_nT(geomagnetic))
    return QuietRange(
        low_nT=max(regular * _MINIMUM * (1.0 - _DAY_TO_DAY), _CALMEST * k9),
        high_nT=regular * _MAXIMUM * (1.0 + _DAY_TO_DAY) + _IRREGULAR * k9,
        regular_nT=regular,
        dip_latitude_deg=dip,
        geomagnetic_latitude_deg=geomagnetic,
        electrojet=abs(dip) < 2.0 * ELECTROJET_DEG,
    )


def daily_variation(
    dip_latitude_deg: float, local_hour: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the shape of the regular daily variation, northward and downward.

    Parameters
    ----------
    dip_latitude_deg : float
        Dip latitude [deg].
    local_hour : array
        Local solar time [h].

    Returns
    -------
    north, down : array
        In parts of the northward range on the dip equator.

    Notes
    -----
    The field of two whirls of current by day, from the leading daily and twice-daily terms of the
    potential, ``P21 cos(t) - 0.5 P32 cos(2 t)``, with an induced part of 0.4 of the external one
    (Schmidt's functions; ``north = dV / d theta``, ``down = (n e - (n + 1) i) P``). The eastward
    part is left out: it lies across the field nearly everywhere.

    Examples
    --------
    At noon the field points more north on the dip equator and less in middle latitudes.

    >>> equator, middle = (daily_variation(d, np.array([12.0]))[0][0] for d in (0.0, 50.0))
    >>> bool(equator > 0 > middle)
    True
    """
    hours = np.asarray(local_hour, dtype=float)
    north, down = _two_terms(dip_latitude_deg, hours)
    return north / _equator_span(), down / _equator_span()


def _two_terms(dip_latitude_deg: float, hours: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return both components in units of the daily term's external coefficient."""
    colatitude = np.radians(90.0 - dip_latitude_deg)
    sine, cosine = np.sin(colatitude), np.cos(colatitude)
    time = 2.0 * np.pi * hours / 24.0
    first, second = np.cos(time), -_SECOND_HARMONIC * np.cos(2.0 * time)
    p21, p32 = np.sqrt(3.0) * sine * cosine, 0.5 * np.sqrt(15.0) * cosine * sine**2
    slope21 = np.sqrt(3.0) * (cosine**2 - sine**2)
    slope32 = 0.5 * np.sqrt(15.0) * (2.0 * sine * cosine**2 - sine**3)
    north = (1.0 + _INDUCED) * (slope21 * first + slope32 * second)
    down = (2.0 - 3.0 * _INDUCED) * p21 * first + (3.0 - 4.0 * _INDUCED) * p32 * second
    return north, down


def _equator_span() -> float:
    """Return the northward range on the dip equator, over a day in steps of a quarter hour."""
    north, _ = _two_terms(0.0, np.arange(0.0, 24.0, 0.25))
    return float(np.ptp(north))


def _season(latitude_deg: float, decimal_year: float) -> float:
    """Return the factor of the season: none at the equator, whole from 30 degrees on."""
    summer = -np.cos(2.0 * np.pi * (decimal_year % 1.0 + 10.0 / 365.0))
    return float(1.0 + _SEASON * np.clip(latitude_deg / 30.0, -1.0, 1.0) * summer)
