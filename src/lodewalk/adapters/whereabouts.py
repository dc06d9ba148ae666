"""Whether places lie where a reference system serves, and what is likely wrong where they don't."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import area_of_use, crs_title, utm_crs_for
from lodewalk.errors import InputError

FloatArray = NDArray[np.float64]

#: A survey may reach this far over the edge of the area that its system is meant for.
MARGIN_DEG = 3.0


def inside(latitude: FloatArray, longitude: FloatArray, *, crs: str) -> NDArray[np.bool_]:
    """Tell whether places lie in the area of a system, or not far outside it.

    Parameters
    ----------
    latitude, longitude : arrays, same shape
        Places [deg].
    crs : str
        The reference system whose area of use counts.

    Examples
    --------
    >>> inside(np.array([-27.5, 27.5]), np.array([-48.5, -48.5]), crs="EPSG:31982").tolist()
    [True, False]
    """
    west, south, east, north = area_of_use(crs)
    beyond = (longitude - west + MARGIN_DEG) % 360 > (east - west) % 360 + 2 * MARGIN_DEG
    whole = (east - west) >= 360.0
    level = (south - MARGIN_DEG <= latitude) & (latitude <= north + MARGIN_DEG)
    return np.asarray(level & (~beyond | whole))


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
        rule = error.rule.rstrip(".")
        there = f"mind that {rule}; take a projected one made for there"
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
