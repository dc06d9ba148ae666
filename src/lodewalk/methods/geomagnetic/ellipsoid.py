"""From a place above the WGS84 ellipsoid to its direction and distance from the Earth's centre."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.units import WGS84_FLATTENING, WGS84_SEMI_MAJOR_M
from lodewalk.validation import FloatArray

_ECCENTRICITY_SQUARED = WGS84_FLATTENING * (2.0 - WGS84_FLATTENING)


class Direction(NamedTuple):
    """Sine and cosine of the geocentric latitude, and the radius [m], of the same points."""

    sine: FloatArray
    cosine: FloatArray
    radius_m: FloatArray


def geocentric_direction(sine: FloatArray, cosine: FloatArray, height_m: FloatArray) -> Direction:
    """Return the sine and cosine of the geocentric latitude, and the radius.

    Parameters
    ----------
    sine, cosine : array
        Of the geodetic latitude on WGS84.
    height_m : array
        Height above the ellipsoid [m].

    Returns
    -------
    Direction
        ``sine``, ``cosine`` and ``radius_m``.

    Notes
    -----
    Exact: with the prime-vertical radius N = a / sqrt(1 - e^2 sin^2 lat) the point lies
    (N + h) cos lat from the axis and (N (1 - e^2) + h) sin lat above the equator, after [1]_.

    References
    ----------
    .. [1] IOGP Publication 373-7-2 (EPSG Guidance Note 7 part 2), conversion from geographic 3D
       to geocentric coordinates (EPSG method 9602).

    Examples
    --------
    >>> place = geocentric_direction(np.array([0.0]), np.array([1.0]), np.array([100.0]))
    >>> place.radius_m
    array([6378237.])
    """
    normal = WGS84_SEMI_MAJOR_M / np.sqrt(1.0 - _ECCENTRICITY_SQUARED * sine * sine)
    from_axis = (normal + height_m) * cosine
    above_equator = (normal * (1.0 - _ECCENTRICITY_SQUARED) + height_m) * sine
    radius = np.sqrt(from_axis * from_axis + above_equator * above_equator)
    return Direction(above_equator / radius, from_axis / radius, radius)


def geodetic_to_geocentric(
    latitude_deg: ArrayLike, height_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return the geocentric latitude and the distance from the Earth's centre.

    Parameters
    ----------
    latitude_deg : array
        Geodetic latitude on WGS84 [degrees].
    height_m : array
        Height above the ellipsoid [m].

    Returns
    -------
    geocentric_latitude_deg, radius_m : array
        [degrees] and [m].

    Notes
    -----
    See `geocentric_direction`. The longitude is the same in both systems.

    Examples
    --------
    >>> latitude, radius = geodetic_to_geocentric(45.0, 0.0)
    >>> f"{latitude:.8f} {radius:.3f}"
    '44.80757678 6367489.544'
    """
    latitude = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    height = np.asarray(height_m, dtype=np.float64)
    place = geocentric_direction(np.sin(latitude), np.cos(latitude), height)
    return np.degrees(np.arctan2(place.sine, place.cosine)), place.radius_m
