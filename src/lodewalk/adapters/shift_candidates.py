"""Mistakes that shift coordinates as a whole, for one reference system and one place.

Everything comes from the EPSG database that the projection library carries; no grid file and no
network is used.
"""

import copy
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import (
    WGS84,
    _system,
    _transformer,
    area_of_use,
    check_projected,
    to_geographic,
)
from lodewalk.errors import InputError
from lodewalk.methods.checks.walked.shift import ShiftCandidate

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

Floats = NDArray[np.float64]
#: Wrong easting and northing from the right ones.
Mistake = Callable[[Floats, Floats], tuple[Floats, Floats]]

#: International foot [m], exact.
FOOT_M: Final = 0.3048

#: Scale on the central meridian, zone width [deg] and false northing in the south [m] of UTM.
UTM_SCALE: Final = 0.9996
UTM_ZONE_DEG: Final = 6.0
UTM_SOUTH_M: Final = 10_000_000.0

#: Mistakes nearer to each other than this are one [m].
ALIKE_M: Final = 8.0

#: Sd of an older datum's shift, from one place to another of its area [m] (common practice).
DATUM_SD_M: Final = 5.0

#: Half the distance over which a mistake's turning and scaling is taken [m].
SPAN_M: Final = 500.0

#: How far outside a system's area a place may lie [deg].
MARGIN_DEG: Final = 1.0

#: Width from which an area is the whole world [deg].
WORLD_WIDE_DEG: Final = 350.0

#: Datums of satellite times; older ones have ellipsoids of their own.
SATELLITE_ELLIPSOIDS: Final = ("GRS 1980", "WGS 84")


def shift_candidates(
    crs: str, *, easting_m: float, northing_m: float, min_shift_m: float = 10.0
) -> tuple[ShiftCandidate, ...]:
    """List the mistakes that could have shifted coordinates at a place.

    Parameters
    ----------
    crs : str
        Projected reference system of the survey, such as ``EPSG:31982``.
    easting_m, northing_m : float
        Right coordinates of a place in the middle of the survey [m].
    min_shift_m : float
        Smaller shifts can't be told from errors of fixes and are left out [m] (default 10).

    Returns
    -------
    tuple of ShiftCandidate
        Older national datums whose area holds the place, as latitude and longitude and as grid
        coordinates; neighbouring UTM zones; a missing false northing or easting, or one too
        many; swapped axes; lost signs; feet. Empty where the place lies outside the area of
        `crs`, for then the coordinates can't be right.

    Raises
    ------
    InputError
        For a system that `check_projected` refuses.

    Notes
    -----
    The shift of a datum is that of the best operation between it and WGS84 that needs no grid
    file, ballpark ones left out, good to some metres. Datums on the ellipsoids WGS84 and GRS80
    agree within a metre or two and are left out, so are those of the whole world, and those not
    counted in degrees from Greenwich.

    Takes some tenths of a second the first time for a place, so ask only when a shift was seen.

    Examples
    --------
    >>> found = shift_candidates("EPSG:31982", easting_m=500000.0, northing_m=7013000.0)
    >>> [item.name for item in found if "SAD69" in item.name]
    ['datum Corrego Alegre 1970-72 or SAD69 or SAD69(96) as latitude and longitude', 'datum SAD69 \
or SAD69(96) as grid coordinates']
    """
    check_projected(crs)
    try:
        longitude, latitude = to_geographic(easting_m, northing_m, crs=crs)
    except InputError:
        return ()
    if not _inside(crs, float(longitude), float(latitude)):
        return ()
    place = (float(easting_m), float(northing_m))
    return _candidates(crs, place, (float(longitude), float(latitude)), float(min_shift_m))


@lru_cache(maxsize=16)
def _candidates(
    crs: str, place: tuple[float, float], geographic: tuple[float, float], min_shift: float
) -> tuple[ShiftCandidate, ...]:
    """Return the mistakes at a place whose latitude and longitude are known."""
    made = [
        item
        for kind, mistakes in (
            ("as latitude and longitude", _datums_geographic(crs, geographic)),
            ("as grid coordinates", _datums_projected(crs, geographic)),
        )
        for item in _alike_joined(mistakes, place, kind)
    ]
    made += [
        found
        for name, mistake in (*_zones(crs), *_false_origin(crs), *_axes(crs))
        if (found := _candidate(name, mistake, place, accuracy=1.0)) is not None
    ]
    return tuple(
        item
        for item in made
        if np.hypot(item.easting_m, item.northing_m) >= min_shift or _turns(item)
    )


def _turns(item: ShiftCandidate) -> bool:
    """Tell whether a mistake turns or scales coordinates."""
    return not np.allclose(item.matrix, np.eye(2), atol=0.05)


def _inside(crs: str, longitude: float, latitude: float) -> bool:
    """Tell whether a place lies in the area that a system is meant for."""
    west, south, east, north = area_of_use(crs)
    width = (east - west) % 360.0 or 360.0
    past = (longitude - west + MARGIN_DEG) % 360.0
    return bool(
        past <= width + 2 * MARGIN_DEG and south - MARGIN_DEG <= latitude <= north + MARGIN_DEG
    )


def _candidate(
    name: str, mistake: Mistake, place: tuple[float, float], *, accuracy: float
) -> ShiftCandidate | None:
    """Return a mistake as an affine map round a place; None where it can't be made there."""
    step = SPAN_M * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], dtype=np.float64)
    try:
        wrong = np.column_stack(mistake(*(np.array(place) + step).T))
    except InputError:
        return None
    if not np.all(np.isfinite(wrong)):
        return None
    matrix = np.column_stack([wrong[1] - wrong[2], wrong[3] - wrong[4]]) / (2 * SPAN_M)
    if abs(np.linalg.det(matrix)) < 1e-3:
        return None
    shift = wrong[0] - np.array(place)
    rows = tuple((float(row[0]), float(row[1])) for row in matrix)
    return ShiftCandidate(
        name, float(shift[0]), float(shift[1]), *place, (rows[0], rows[1]), accuracy
    )


def _alike_joined(
    mistakes: Iterator[tuple[str, Mistake]], place: tuple[float, float], kind: str
) -> list[ShiftCandidate]:
    """Return datums, those with nearly the same shift under one name."""
    groups: list[tuple[list[str], ShiftCandidate]] = []
    for name, mistake in mistakes:
        found = _candidate(name, mistake, place, accuracy=DATUM_SD_M)
        if found is None:
            continue
        for names, other in groups:
            if np.hypot(*(found.shift_m - other.shift_m)) < ALIKE_M:
                names.append(name)
                break
        else:
            groups.append(([name], found))
    return [
        ShiftCandidate(
            f"datum {' or '.join(names)} {kind}",
            item.easting_m,
            item.northing_m,
            *place,
            item.matrix,
            item.accuracy_m,
        )
        for names, item in groups
    ]


def _datums_geographic(crs: str, place: tuple[float, float]) -> Iterator[tuple[str, Mistake]]:
    """Yield older datums whose latitude and longitude were taken for the survey's own."""
    for name, _, to_old in _older_datums(*_rounded(place)):
        yield name, _through(crs, to_old)


def _rounded(place: tuple[float, float]) -> tuple[float, float]:
    """Return a place to a tenth of a degree: near enough to tell whose area it lies in."""
    return round(place[0], 1), round(place[1], 1)


def _through(crs: str, to_old: "Transformer") -> Mistake:
    """Return the mistake of taking an old latitude and longitude for the survey's."""

    def mistake(easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        right = _pass(_transformer(crs, WGS84), easting, northing)
        return _pass(_transformer(WGS84, crs), *_pass(to_old, *right))

    return mistake


def _datums_projected(crs: str, place: tuple[float, float]) -> Iterator[tuple[str, Mistake]]:
    """Yield older datums whose grid coordinates, in the same projection, were taken."""
    for name, old, to_old in _older_datums(*_rounded(place)):
        from_old = _rebased(crs, old)
        if from_old is not None:
            yield name, _through_grid(crs, to_old, from_old)


def _through_grid(crs: str, to_old: "Transformer", from_old: "Transformer") -> Mistake:
    """Return the mistake of taking grid coordinates on an old datum for the survey's."""

    def mistake(easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        right = _pass(_transformer(crs, WGS84), easting, northing)
        return _pass(from_old, *_pass(to_old, *right))

    return mistake


def _pass(transformer: "Transformer", first: Floats, second: Floats) -> tuple[Floats, Floats]:
    """Transform without raising; what can't be transformed comes out infinite."""
    one, two = transformer.transform(first, second)
    return np.asarray(one, dtype=np.float64), np.asarray(two, dtype=np.float64)


@lru_cache(maxsize=16)
def _older_datums(
    longitude: float, latitude: float
) -> tuple[tuple[str, "CRS", "Transformer"], ...]:
    """Return name, system and way from WGS84 of the older datums whose area holds a place."""
    from pyproj import CRS, Transformer
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType
    from pyproj.exceptions import ProjError

    place = AreaOfInterest(longitude, latitude, longitude, latitude)
    listed = query_crs_info(
        auth_name="EPSG",
        pj_types=[PJType.GEOGRAPHIC_2D_CRS],
        area_of_interest=place,
        contains=True,
    )
    found = []
    for entry in listed:
        area = entry.area_of_use
        if entry.deprecated or area is None or area.east - area.west >= WORLD_WIDE_DEG:
            continue
        system = CRS.from_epsg(entry.code)
        if not _is_older(system):
            continue
        try:
            way = Transformer.from_crs(
                _system(WGS84),
                system,
                always_xy=True,
                area_of_interest=place,  # type: ignore[arg-type]
                allow_ballpark=False,
            )
        except ProjError:
            continue  # nothing but a grid file or a guess leads there
        found.append((str(entry.name), system, way))
    return tuple(found)


def _is_older(system: "CRS") -> bool:
    """Tell whether a datum has an ellipsoid of its own and counts degrees from Greenwich."""
    in_degrees = all(axis.unit_name == "degree" for axis in system.axis_info)
    at_greenwich = system.prime_meridian is None or system.prime_meridian.longitude == 0
    ellipsoid = system.ellipsoid.name if system.ellipsoid else ""
    return in_degrees and at_greenwich and ellipsoid not in SATELLITE_ELLIPSOIDS


def _rebased(crs: str, base: "CRS") -> "Transformer | None":
    """Return the survey's projection on another datum; None where it can't be put there."""
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError, ProjError

    described = _system(crs).to_json_dict()
    if "base_crs" not in described:
        return None
    changed = _without_identity(described) | {"base_crs": base.to_json_dict()}
    try:
        return Transformer.from_crs(base, CRS.from_json_dict(changed), always_xy=True)
    except (CRSError, ProjError):
        return None


def _without_identity(described: Mapping[str, Any]) -> dict[str, Any]:
    """Return a description without the code and the area that belong to the original."""
    dropped = ("id", "ids", "area", "bbox", "usages", "scope")
    return {key: copy.deepcopy(part) for key, part in described.items() if key not in dropped}


def _parameters(crs: str) -> dict[str, float]:
    """Return the parameters of the projection by name."""
    operation = _system(crs).coordinate_operation
    return {part.name: float(part.value) for part in operation.params} if operation else {}


def _is_utm(crs: str) -> bool:
    """Tell whether a system is made as UTM is."""
    own = _parameters(crs)
    return (
        own.get("Scale factor at natural origin") == UTM_SCALE
        and own.get("Longitude of natural origin", 0.5) % UTM_ZONE_DEG == UTM_ZONE_DEG / 2
    )


def _zones(crs: str) -> Iterator[tuple[str, Mistake]]:
    """Yield the two neighbouring UTM zones, where the system is one."""
    from pyproj import CRS, Transformer

    if not _is_utm(crs):
        return
    system = _system(crs)
    for side in (-1, 1):
        described = _without_identity(system.to_json_dict())
        for part in described["conversion"]["parameters"]:
            if part["name"] == "Longitude of natural origin":
                meridian = part["value"] + side * UTM_ZONE_DEG
                part["value"] = (meridian + 180.0) % 360.0 - 180.0
                zone = int((part["value"] + 180.0) // UTM_ZONE_DEG) + 1
        other = Transformer.from_crs(system, CRS.from_json_dict(described), always_xy=True)
        yield (
            f"UTM zone {zone} in place of {_own_zone(crs)}",
            _by(other),
        )


def _by(way: "Transformer") -> Mistake:
    """Return the mistake that a transformation is."""
    return lambda easting, northing: _pass(way, easting, northing)


def _own_zone(crs: str) -> int:
    """Return the number of a UTM zone."""
    return int((_parameters(crs)["Longitude of natural origin"] + 180.0) // UTM_ZONE_DEG) + 1


def _false_origin(crs: str) -> Iterator[tuple[str, Mistake]]:
    """Yield a false easting or northing left out, and a southern one too many."""
    own = _parameters(crs)
    east, north = own.get("False easting", 0.0), own.get("False northing", 0.0)
    if north:
        yield f"false northing of {north:.0f} m missing", _moved(0.0, -north)
    elif _is_utm(crs):
        yield f"false northing of {UTM_SOUTH_M:.0f} m too many", _moved(0.0, UTM_SOUTH_M)
    if east:
        yield f"false easting of {east:.0f} m missing", _moved(-east, 0.0)


def _moved(east: float, north: float) -> Mistake:
    """Return a mistake that shifts everything alike."""
    return lambda easting, northing: (easting + east, northing + north)


def _axes(crs: str) -> Iterator[tuple[str, Mistake]]:
    """Yield swapped axes, lost signs and wrong units."""
    yield "easting and northing swapped", lambda easting, northing: (northing, easting)
    yield "latitude and longitude swapped", _in_degrees(crs, lambda lon, lat: (lat, lon))
    yield "sign of the latitude lost", _in_degrees(crs, lambda lon, lat: (lon, -lat))
    yield "sign of the longitude lost", _in_degrees(crs, lambda lon, lat: (-lon, lat))
    yield "feet in place of metres", lambda easting, northing: (easting / FOOT_M, northing / FOOT_M)
    yield "metres taken for feet", lambda easting, northing: (easting * FOOT_M, northing * FOOT_M)


def _in_degrees(crs: str, change: Mistake) -> Mistake:
    """Return a mistake made in longitude and latitude."""

    def mistake(easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        longitude, latitude = change(*_pass(_transformer(crs, WGS84), easting, northing))
        if np.any(np.abs(latitude) > 90):
            nowhere = np.full(np.shape(easting), np.inf)
            return nowhere, nowhere
        return _pass(_transformer(WGS84, crs), longitude, latitude)

    return mistake
