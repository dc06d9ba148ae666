"""The field of a spherical-harmonic model at any points."""

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.coefficients import GaussCoefficients
from lodewalk.methods.geomagnetic.ellipsoid import Direction, geocentric_direction
from lodewalk.units import REFERENCE_RADIUS_KM
from lodewalk.validation import FloatArray, check_within

Components = tuple[FloatArray, FloatArray, FloatArray]

#: Heights above the ellipsoid [m] that make sense for a field of internal sources.
LOWEST_M: Final = -20_000.0
HIGHEST_M: Final = 1e7

#: Radius of the Earth's core [m]: below it the series has sources and no meaning.
_CORE_RADIUS_M = 3.48e6

#: Points handled at a time: the temporaries stay in the cache and memory use does not grow.
_CHUNK = 16_384


def synthesise(
    coefficients: GaussCoefficients,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
) -> Components:
    """Return the field of a spherical-harmonic model in the local geodetic frame.

    Parameters
    ----------
    coefficients : GaussCoefficients
        The model at one epoch [nT], or its yearly change [nT/yr].
    latitude_deg, longitude_deg : array
        Geodetic position on WGS84 [degrees]; any longitude may be wrapped. NaN is missing.
    height_m : array
        Height above the ellipsoid, -20 km to 10 000 km [m]. The three are broadcast.

    Returns
    -------
    north, east, down : array
        Components of the field, in the unit of the coefficients; NaN where the place is missing.

    Raises
    ------
    InputError
        If a value is out of range or the shapes do not fit together.

    Notes
    -----
    The field is minus the gradient of

        V = a sum_n (a/r)^(n+1) sum_m [g cos(m lon) + h sin(m lon)] P_n^m(cos theta),

    a = 6371.2 km, with Schmidt semi-normalised P [1]_, turned from geocentric to geodetic north
    and down. It holds outside the sources: not inside a body of rock that is itself magnetic. At a
    pole, north and east are those of the meridian that is given.

    References
    ----------
    .. [1] Winch et al. (2005). Geomagnetism and Schmidt quasi-normalization. Geophysical Journal
       International 160, 487-504. doi:10.1111/j.1365-246X.2004.02472.x

    Examples
    --------
    An axial dipole on the equator: the horizontal field is that at the reference radius, scaled.

    >>> dipole = GaussCoefficients(g=[[0.0, 0.0], [-30000.0, 0.0]], h=[[0.0, 0.0], [0.0, 0.0]])
    >>> north, east, down = synthesise(dipole, 0.0, 0.0, 0.0)
    >>> f"{north:.6f} {30000 * (6371.2 / 6378.137) ** 3:.6f}"
    '29902.220474 29902.220474'
    """
    places, shape = _flat_places(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m
    )
    check_within(places[0], name="latitude_deg", low=-90.0, high=90.0, unit="degrees")
    check_within(places[2], name="height_m", low=LOWEST_M, high=HIGHEST_M, unit="m")
    field = np.empty((3, places[0].size))
    for part in _parts(places[0].size):
        latitude, longitude, height = (values[part] for values in places)
        vertical = np.sin(np.radians(latitude)), np.cos(np.radians(latitude))
        direction = geocentric_direction(*vertical, height)
        spherical = _spherical_field(coefficients, direction, longitude)
        field[:, part] = _geodetic_frame(spherical, direction, *vertical)
    return _components(field, shape)


def synthesise_geocentric(
    coefficients: GaussCoefficients,
    geocentric_latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    radius_m: ArrayLike,
) -> Components:
    """Return the field of a spherical-harmonic model in the local geocentric frame.

    Parameters
    ----------
    coefficients : GaussCoefficients
        The model at one epoch [nT], or its yearly change [nT/yr].
    geocentric_latitude_deg, longitude_deg : array
        Geocentric position [degrees]; any longitude may be wrapped. NaN is missing.
    radius_m : array
        Distance from the Earth's centre, above the core [m]. The three are broadcast.

    Returns
    -------
    north, east, down : array
        Components along the meridian, the parallel and towards the Earth's centre, in the unit of
        the coefficients; NaN where the place is missing.

    Raises
    ------
    InputError
        If a value is out of range or the shapes do not fit together.

    Notes
    -----
    See `synthesise`, which differs in the frame only.

    Examples
    --------
    >>> dipole = GaussCoefficients(g=[[0.0, 0.0], [-30000.0, 0.0]], h=[[0.0, 0.0], [0.0, 0.0]])
    >>> north, east, down = synthesise_geocentric(dipole, 90.0, 0.0, 6371.2e3)
    >>> f"{down:.6f}"
    '60000.000000'
    """
    places, shape = _flat_places(
        geocentric_latitude_deg=geocentric_latitude_deg,
        longitude_deg=longitude_deg,
        radius_m=radius_m,
    )
    check_within(places[0], name="geocentric_latitude_deg", low=-90.0, high=90.0, unit="degrees")
    check_within(places[2], name="radius_m", low=_CORE_RADIUS_M, high=1e8, unit="m")
    field = np.empty((3, places[0].size))
    for part in _parts(places[0].size):
        latitude, longitude, radius = (values[part] for values in places)
        direction = Direction(np.sin(np.radians(latitude)), np.cos(np.radians(latitude)), radius)
        field[:, part] = _spherical_field(coefficients, direction, longitude)
    return _components(field, shape)


def broadcast_together(**arrays: ArrayLike) -> list[FloatArray]:
    """Return the named arrays as float64 and broadcast to one shape.

    Raises
    ------
    InputError
        With the shape of each array, if they do not fit together.

    Examples
    --------
    >>> [array.shape for array in broadcast_together(longitude_deg=[20.0, 21.0], height_m=0.0)]
    [(2,), (2,)]
    """
    values = {name: np.asarray(array, dtype=np.float64) for name, array in arrays.items()}
    try:
        return list(np.broadcast_arrays(*values.values()))
    except ValueError:
        rule = f"{', '.join(values)} must have shapes that broadcast to one."
        found = ", ".join(str(array.shape) for array in values.values())
        raise InputError(rule, value=found) from None


def _flat_places(**arrays: ArrayLike) -> tuple[list[FloatArray], tuple[int, ...]]:
    """Return latitude, longitude and height or radius flattened, and their common shape."""
    places = broadcast_together(**arrays)
    if np.isinf(places[1]).any():
        raise InputError("longitude_deg must be finite.", value=np.inf)
    return [array.reshape(-1) for array in places], places[0].shape


def _parts(size: int) -> Iterator[slice]:
    """Cut `size` points into chunks."""
    for start in range(0, size, _CHUNK):
        yield slice(start, min(start + _CHUNK, size))


def _spherical_field(
    coefficients: GaussCoefficients, direction: Direction, longitude_deg: FloatArray
) -> FloatArray:
    """Return the geocentric north, east and down components as rows."""
    # The compiler behind the kernel takes a good part of a second to import.
    from lodewalk.methods.geomagnetic._harmonic_kernel import sum_harmonics

    longitude = np.radians(longitude_deg)
    place = np.empty((5, longitude.size))
    place[0], place[1] = direction.sine, direction.cosine
    place[2], place[3] = np.cos(longitude), np.sin(longitude)
    place[4] = (1000.0 * REFERENCE_RADIUS_KM) / direction.radius_m
    field = np.empty((3, longitude.size))
    sum_harmonics(coefficients.g, coefficients.h, place, field)
    return field


def _geodetic_frame(
    field: FloatArray, direction: Direction, sine: FloatArray, cosine: FloatArray
) -> FloatArray:
    """Turn north and down by the geocentric minus the geodetic latitude (`sine`, `cosine`)."""
    sine_turn = direction.sine * cosine - direction.cosine * sine
    cosine_turn = direction.cosine * cosine + direction.sine * sine
    north, down = field[0].copy(), field[2]
    field[0] = north * cosine_turn - down * sine_turn
    field[2] = north * sine_turn + down * cosine_turn
    return field


def _components(field: FloatArray, shape: tuple[int, ...]) -> Components:
    """Split the rows and give each the shape of the places."""
    north, east, down = field
    return north.reshape(shape), east.reshape(shape), down.reshape(shape)
