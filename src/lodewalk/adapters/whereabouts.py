"""Whether places lie where a reference system serves, and what is likely wrong where they don't."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import area_of_use, crs_title, utm_crs_for
from lodewalk.errors import InputError

FloatArray = NDArray[np.float64]

#: A survey may reach this far over the edge of the area that its system is meant for.
MARGIN_DEG = 3.0


def inside(
    latitude: FloatArray, longitude: FloatArray, *, crs: str, margin_deg: float = MARGIN_DEG
) -> NDArray[np.bool_]:
    """Tell whether places lie in the area of a system, or not far outside it.

    Parameters
    ----------
    latitude, longitude : arrays, same shape
        Places [deg].
    crs : str
        The reference system whose area of use counts.
    margin_deg : float, optional
        How far outside still counts [deg].

    Examples
    --------
    >>> inside(np.array([-27.5, 27.5]), np.array([-48.5, -48.5]), crs="EPSG:31982").tolist()
    [True, False]
    """
    west, south, east, north = area_of_use(crs)
    beyond = (longitude - west + margin_deg) % 360 > (east - west) % 360 + 2 * margin_deg
    whole = (east - west) >= 360.0
    level = (south - margin_deg <= latitude) & (latitude <= north + margin_deg)
    return np.asarray(level & (~beyond | whole))


def zone_beside(latitude: float, longitude: float, *, crs: str) -> str | None:
    """Return the UTM zone of a place that lies a little outside the area of a system, if it does.

    Examples
    --------
    >>> zone_beside(-25.0, -47.5, crs="EPSG:31982")
    'WGS 84 / UTM zone 23S (EPSG:32723)'
    """
    if inside(np.array([latitude]), np.array([longitude]), crs=crs, margin_deg=0.0)[0]:
        return None
    try:
        zone = utm_crs_for(longitude, latitude)
    except InputError:
        return None
    return None if crs_title(zone) == crs_title(crs) else crs_title(zone)


def why_outside(latitude: float, longitude: float, *, crs: str) -> str:
    """Say what is likely wrong with a place that lies outside the area of a system.

    Examples
    --------
    >>> why_outside(27.5, -48.5, crs="EPSG:31982")
    'The latitude has the wrong sign (hemisphere), or set crs to WGS 84 / UTM zone 22N \
(EPSG:32622).'
    """
    place = np.array([latitude]), np.array([longitude])
    try:
        there = f"set crs to {crs_title(utm_crs_for(longitude, latitude))}"
    except InputError as error:
        there = f"take a system made for there ({error.rule.rstrip('.')})"
    trials = (
        ("Latitude and longitude are swapped", place[1], place[0]),
        ("The latitude has the wrong sign (hemisphere)", -place[0], place[1]),
        ("The longitude has the wrong sign (east or west)", place[0], -place[1]),
        ("Both signs are wrong (north or south, east or west)", -place[0], -place[1]),
    )
    for said, north, east in trials:
        if abs(float(north[0])) <= 90.0 and bool(inside(north, east, crs=crs)[0]):
            return f"{said}, or {there}."
    return f"Another zone or system: {there}, if the file is right."
