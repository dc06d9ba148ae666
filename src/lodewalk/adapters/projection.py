"""Projected and geographic coordinates: the seam to pyproj, without any network.

Longitude and latitude are degrees on WGS84 unless another geographic system is named;
easting and northing are metres. The order is always longitude, latitude and easting, northing.
"""

import re
from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import check_within

if TYPE_CHECKING:
    from pyproj import CRS, Proj, Transformer

FloatArray = NDArray[np.float64]

WGS84 = "EPSG:4326"
UTM_SOUTH_LIMIT_DEG, UTM_NORTH_LIMIT_DEG = -80.0, 84.0
#: A UTM zone as people call it; the letter is the half of the earth.
UTM_WORDS = re.compile(r"\bUTM\s*(?:zone)?\s*(\d{1,2})\s*([NS])\b", re.IGNORECASE)
STRETCHED = "Popular Visualisation Pseudo Mercator"


def to_projected(
    longitude: ArrayLike, latitude: ArrayLike, *, crs: str, geographic: str = WGS84
) -> tuple[FloatArray, FloatArray]:
    """Turn longitude and latitude into easting and northing.

    Parameters
    ----------
    longitude, latitude : array-like, same shape
        Position [deg]; NaN where missing.
    crs : str
        Projected coordinate reference system, such as ``EPSG:31982``.
    geographic : str, optional
        System of longitude and latitude; WGS84 by default, as GPS receivers give it.

    Returns
    -------
    easting, northing : arrays, shape of the input
        Position [m]; NaN where the input is.

    Raises
    ------
    InputError
        For a system that `check_projected` refuses, a latitude or longitude out of range, or a
        position that the projection can't hold.

    Notes
    -----
    Between two datums the best operation of the EPSG database that needs no grid file from the
    network is taken; where that is a mere shift of seven parameters it may be wrong by metres.

    Examples
    --------
    >>> easting, northing = to_projected(-51.0, 0.0, crs="EPSG:32622")
    >>> float(easting.round(3)), float(northing.round(3))
    (500000.0, 0.0)
    """
    check_projected(crs)
    check_geographic(geographic)
    check_within(latitude, name="Latitude", low=-90, high=90, unit="degrees")
    check_within(longitude, name="Longitude", low=-180, high=360, unit="degrees")
    return _transformed(_transformer(geographic, crs), longitude, latitude)


def to_geographic(
    easting: ArrayLike, northing: ArrayLike, *, crs: str, geographic: str = WGS84
) -> tuple[FloatArray, FloatArray]:
    """Turn easting and northing into longitude and latitude; the inverse of `to_projected`.

    Parameters
    ----------
    easting, northing : array-like, same shape
        Position [m]; NaN where missing.
    crs : str
        Projected coordinate reference system, such as ``EPSG:31982``.
    geographic : str, optional
        System of longitude and latitude; WGS84 by default.

    Returns
    -------
    longitude, latitude : arrays, shape of the input
        Position [deg]; NaN where the input is.

    Raises
    ------
    InputError
        For a system that `check_projected` refuses or a position outside the projection.

    Examples
    --------
    >>> longitude, latitude = to_geographic(500000.0, 0.0, crs="EPSG:32622")
    >>> float(longitude.round(9)), abs(float(latitude.round(9)))
    (-51.0, 0.0)
    """
    check_projected(crs)
    return _transformed(_transformer(crs, geographic), easting, northing)


def between(
    first: ArrayLike, second: ArrayLike, *, source: str, target: str
) -> tuple[FloatArray, FloatArray]:
    """Turn coordinates of any system, of files of others, into those of another.

    Parameters
    ----------
    first, second : array-like, same shape
        Longitude and latitude [deg], or easting and northing in the unit of the system; NaN
        where missing.
    source, target : str
        Reference systems, such as ``EPSG:4674``.

    Returns
    -------
    first, second : arrays, shape of the input
        The same places in the target; NaN where the input is.

    Raises
    ------
    InputError
        For an unknown system or a place that the target can't hold.

    Examples
    --------
    >>> easting, northing = between(-51.0, 0.0, source="EPSG:4326", target="EPSG:32622")
    >>> float(easting.round(3)), float(northing.round(3))
    (500000.0, 0.0)
    """
    if source == target:
        return np.array(first, dtype=np.float64), np.array(second, dtype=np.float64)
    return _transformed(_transformer(source, target), first, second)


def is_geographic(crs: str) -> bool:
    """Tell whether a system is one of latitude and longitude.

    Raises
    ------
    InputError
        For an unknown system.

    Examples
    --------
    >>> is_geographic("EPSG:4674"), is_geographic("EPSG:31982")
    (True, False)
    """
    return bool(_system(crs).is_geographic)


def grid_convergence_deg(longitude: ArrayLike, latitude: ArrayLike, *, crs: str) -> FloatArray:
    """Return the angle from true north to grid north, clockwise positive [deg].

    An azimuth from grid north is the azimuth from true north minus this angle; so the
    direction of magnetic north on the grid is the declination minus this angle.

    Parameters
    ----------
    longitude, latitude : array-like, same shape
        Position [deg].
    crs : str
        Projected coordinate reference system, such as ``EPSG:31982``.

    Returns
    -------
    array, shape of the input
        Convergence [deg].

    Raises
    ------
    InputError
        As for `to_projected`.

    Notes
    -----
    The sign is opposite to that of the Geocentric Datum of Australia technical manual
    (version 2.4, ICSM 2014), which adds its convergence to a true azimuth.

    Examples
    --------
    >>> float(grid_convergence_deg(-50.0, -10.0, crs="EPSG:32722").round(3))
    -0.174
    """
    check_projected(crs)
    check_within(latitude, name="Latitude", low=-90, high=90, unit="degrees")
    factors = _projection(crs).get_factors(
        np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
    )
    return np.asarray(factors.meridian_convergence, dtype=np.float64)


def geodesic_lengths_m(longitude: ArrayLike, latitude: ArrayLike) -> FloatArray:
    """Return the length of the geodesic from each point to the next, on WGS84 [m].

    Parameters
    ----------
    longitude, latitude : array-like, shape (n,)
        Position [deg].

    Returns
    -------
    array, shape (n - 1,)
        Lengths [m]; NaN beside a missing position, empty for fewer than two points.

    Notes
    -----
    Karney's method, as PROJ carries it; good to nanometres over any distance.

    References
    ----------
    Karney, C. F. F. (2013). Algorithms for geodesics. Journal of Geodesy 87, 43-55.
    doi:10.1007/s00190-012-0578-z

    Examples
    --------
    >>> float(geodesic_lengths_m([0.0, 1.0], [0.0, 0.0]).round(3)[0])
    111319.491
    """
    from pyproj import Geod

    east = np.asarray(longitude, dtype=float)
    north = np.asarray(latitude, dtype=float)
    if east.size < 2:
        return np.empty(0)
    _, _, length = Geod(ellps="WGS84").inv(east[:-1], north[:-1], east[1:], north[1:])
    return np.asarray(length, dtype=np.float64)


def check_projected(
    crs: str, *, longitude: float | None = None, latitude: float | None = None
) -> None:
    """Raise unless `crs` is a projected system in metres, east and north, true in distance.

    Parameters
    ----------
    crs : str
        Coordinate reference system, such as ``EPSG:31982``.
    longitude, latitude : float, optional
        A place in the survey [deg]; with it the remedy names the UTM zone; it serves near a pole
        too, beyond the area that it is meant for.

    Raises
    ------
    InputError
        For an unknown, geographic, foot-based, south-oriented or web-map system.

    Examples
    --------
    >>> check_projected("EPSG:31982")
    """
    broken = _broken_rule(crs)
    if broken is None:
        return
    example = _utm_meant(crs) or "EPSG:32723 (WGS 84 / UTM zone 23S)"
    if longitude is not None and latitude is not None:
        example = crs_title(_utm_code(longitude, latitude))
    raise InputError(broken, value=crs, remedy=f"Take a projected one in metres, e.g. {example}.")


def _utm_meant(text: str) -> str | None:
    """Return the title of the zone that is written as people call it, None for anything else.

    Examples
    --------
    >>> _utm_meant("UTM 37S")
    'WGS 84 / UTM zone 37S (EPSG:32737)'
    """
    match = UTM_WORDS.search(text)
    if match is None or not 1 <= int(match[1]) <= 60:
        return None
    return crs_title(f"EPSG:32{'6' if match[2].upper() == 'N' else '7'}{int(match[1]):02d}")


def check_geographic(crs: str) -> None:
    """Raise unless `crs` is a system of latitude and longitude.

    Raises
    ------
    InputError
        For an unknown system or one that isn't in degrees.

    Examples
    --------
    >>> check_geographic("EPSG:4674")
    """
    if not _system(crs).is_geographic:
        raise InputError(
            "Latitude and longitude need a geographic reference system.",
            value=crs,
            remedy="Take one in degrees, e.g. EPSG:4326 (WGS 84), or call the columns easting and "
            "northing.",
        )


def utm_crs_for(longitude: float, latitude: float) -> str:
    """Return the code of the WGS84 UTM zone of a place.

    The plain six-degree zones are meant, as the EPSG database defines each code's area; the
    wider zones that topographic maps use around Norway and Svalbard are left out.

    Raises
    ------
    InputError
        South of 80° S or north of 84° N, where UTM ends.

    Examples
    --------
    >>> utm_crs_for(-48.5, -27.6)
    'EPSG:32722'
    """
    check_within(longitude, name="Longitude", low=-180, high=360, unit="degrees")
    if not UTM_SOUTH_LIMIT_DEG <= latitude <= UTM_NORTH_LIMIT_DEG:
        raise InputError(
            "UTM serves from 80° S to 84° N only.",
            value=latitude,
            remedy="Name the system yourself: the zone of the longitude serves here too, "
            f"{crs_title(_utm_code(longitude, latitude))}.",
        )
    return _utm_code(longitude, latitude)


def systems_named(words: str, *, most: int = 20) -> list[tuple[str, str, str]]:
    """Return projected systems of the EPSG register whose number, name or area holds all words.

    Parameters
    ----------
    words : str
        Words in any order, such as ``SIRGAS 22S``; upper and lower case are alike.
    most : int, optional
        How many to return; those whose name alone holds all words come first.

    Returns
    -------
    list of tuple
        Code, name and area in words; those that `check_projected` refuses are left out.

    Examples
    --------
    >>> systems_named("WGS 84 UTM zone 33N")[0][:2]
    ('EPSG:32633', 'WGS 84 / UTM zone 33N')
    """
    wanted = words.lower().split()
    if not wanted:
        return []
    hits = [item for item in _register() if all(word in item[3] for word in wanted)]
    hits.sort(key=lambda item: not all(word in item[1].lower() for word in wanted))
    found = (item[:3] for item in hits if _broken_rule(item[0]) is None)
    return list(islice(found, most))


@lru_cache(maxsize=1)
def _register() -> list[tuple[str, str, str, str]]:
    """Return code, name, area, and all of them to be searched, of each projected system."""
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType

    rows = []
    for item in query_crs_info("EPSG", [PJType.PROJECTED_CRS]):
        code = f"EPSG:{item.code}"
        area = (item.area_of_use.name if item.area_of_use else None) or ""
        rows.append((code, item.name, area, f"{code} {item.name} {area}".lower()))
    return rows


def area_of_use(crs: str) -> tuple[float, float, float, float]:
    """Return the area that a system is meant for: west, south, east, north [deg].

    West is greater than east where the area crosses the date line. A system without a stated
    area gets the whole Earth.

    Examples
    --------
    >>> west, _, east, _ = area_of_use("EPSG:31982")
    >>> round(west), round(east)
    (-54, -48)
    """
    area = _system(crs).area_of_use
    return area.bounds if area else (-180.0, -90.0, 180.0, 90.0)


def crs_title(crs: str) -> str:
    """Return the name of a coordinate reference system with its code.

    Examples
    --------
    >>> crs_title("EPSG:31982")
    'SIRGAS 2000 / UTM zone 22S (EPSG:31982)'
    """
    name = str(_system(crs).name)
    return name if name == crs else f"{name} ({crs})"


def cf_attributes(crs: str) -> dict[str, str | float]:
    """Return the attributes of a CF grid mapping variable, ``crs_wkt`` among them.

    References
    ----------
    CF Conventions 1.11, section 5.6 and appendix F.

    Examples
    --------
    >>> cf_attributes("EPSG:31982")["grid_mapping_name"]
    'transverse_mercator'
    """
    return dict(_system(crs).to_cf())


def crs_from_wkt(wkt: str) -> str:
    """Return the authority code of a well-known text, or the text where it has none.

    Examples
    --------
    >>> crs_from_wkt(str(cf_attributes("EPSG:31982")["crs_wkt"]))
    'EPSG:31982'
    """
    authority = _system(wkt).to_authority()
    return wkt if authority is None else ":".join(authority)


def _utm_code(longitude: float, latitude: float) -> str:
    """Return the code of the UTM zone of a longitude, at any latitude."""
    zone = int((longitude + 180.0) % 360.0 // 6.0) + 1
    return f"EPSG:{(32600 if latitude >= 0 else 32700) + zone}"


def _broken_rule(crs: str) -> str | None:
    """Return the rule that the system breaks, if any."""
    try:
        system = _system(crs)
    except InputError as error:
        return error.rule
    if not system.is_projected:
        return "The coordinate reference system must be projected, not in degrees."
    axes = system.axis_info[:2]
    if any(axis.unit_name != "metre" for axis in axes):
        return "The coordinate reference system must be in metres."
    if {axis.direction for axis in axes} != {"east", "north"}:
        return "The axes of the coordinate reference system must point east and north."
    if system.coordinate_operation and system.coordinate_operation.method_name == STRETCHED:
        return "Distances in a web map's coordinate reference system are stretched."
    return None


@lru_cache(maxsize=64)
def _system(crs: str) -> "CRS":
    """Return the system, or raise for an unknown one."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError
    from pyproj.network import set_network_enabled  # type: ignore[attr-defined]

    set_network_enabled(active=False)
    try:
        return CRS.from_user_input(crs)
    except CRSError:
        raise InputError(
            "The coordinate reference system is unknown.",
            value=crs,
            remedy="Give a code of the EPSG database, such as EPSG:32723.",
        ) from None


@lru_cache(maxsize=64)
def _transformer(source: str, target: str) -> "Transformer":
    """Return the transformation between two systems, x before y."""
    from pyproj import Transformer

    return Transformer.from_crs(_system(source), _system(target), always_xy=True)


@lru_cache(maxsize=64)
def _projection(crs: str) -> "Proj":
    """Return the projection of a projected system."""
    from pyproj import Proj

    return Proj(_system(crs))


def _transformed(
    transformer: "Transformer", first: ArrayLike, second: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Apply a transformation; NaN stays NaN and a point that it can't hold raises."""
    given = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    out = [np.asarray(part, dtype=np.float64) for part in transformer.transform(*given)]
    missing = np.isnan(given[0]) | np.isnan(given[1])
    lost = ~missing & ~(np.isfinite(out[0]) & np.isfinite(out[1]))
    if lost.any():
        where = np.flatnonzero(lost)[0]
        place = tuple(float(np.ravel(part)[where]) for part in given)
        raise InputError(
            "The position lies outside what the coordinate reference system can hold.",
            value=place,
            remedy="Check the system and the order of the two coordinates.",
        )
    return np.where(missing, np.nan, out[0]), np.where(missing, np.nan, out[1])
