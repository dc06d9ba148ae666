"""The reference field: IGRF-14 at the places and the epoch of a survey."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.geomagnetic.coefficients import (
    check_epochs,
    igrf_coefficient_change,
    igrf_coefficients,
    igrf_series,
)
from lodewalk.methods.geomagnetic.harmonics import (
    Components,
    broadcast_together,
    synthesise,
)
from lodewalk.validation import FloatArray


@dataclass(frozen=True, eq=False)
class FieldElements:
    """The elements of a field vector, as arrays of one shape.

    Parameters
    ----------
    declination_deg : array
        From true north, positive east [degrees].
    inclination_deg : array
        From the horizontal, positive down [degrees].
    horizontal_nT, total_nT : array
        Horizontal and total intensity [nT].
    """

    declination_deg: FloatArray
    inclination_deg: FloatArray
    horizontal_nT: FloatArray
    total_nT: FloatArray


def igrf_field(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
    *,
    decimal_year: ArrayLike,
) -> Components:
    """Return the IGRF-14 main field in the local geodetic frame.

    Parameters
    ----------
    latitude_deg, longitude_deg : array
        Geodetic position on WGS84 [degrees]; any longitude may be wrapped. NaN is missing.
    height_m : array
        Height above the ellipsoid, not above sea level [m].
    decimal_year : float or array
        Epoch, 1900.0 to 2030.0 [yr]. One epoch for all points is the usual case, since the base
        record of a survey already holds the change in time. An array is broadcast with the
        places, costs twice as much, and may hold NaN for a missing time.

    Returns
    -------
    north, east, down : array
        Components of the field [nT]; NaN where the place or the time is missing.

    Raises
    ------
    InputError
        If a value is out of range or the shapes do not fit together.

    Notes
    -----
    See `synthesise` for the series and `igrf_coefficients` for the change in time. The model holds
    the field of the Earth's core on scales above about 3000 km (degree 13) [1]_. The fields of
    rocks and of currents above the ground come on top: a few hundred nT is nothing unusual (common
    practice).

    References
    ----------
    .. [1] Alken et al. (2021). International Geomagnetic Reference Field: the thirteenth
       generation. Earth, Planets and Space 73, 49. doi:10.1186/s40623-020-01288-x

    Examples
    --------
    >>> north, east, down = igrf_field(-33.0, [21.0, 21.5], 850.0, decimal_year=2025.4)
    >>> north.shape
    (2,)
    """
    if np.ndim(decimal_year) == 0:
        coefficients = igrf_coefficients(float(np.asarray(decimal_year)))
        return synthesise(coefficients, latitude_deg, longitude_deg, height_m)
    return _field_at_epochs(latitude_deg, longitude_deg, height_m, decimal_year)


def igrf_change(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
    *,
    decimal_year: float,
) -> Components:
    """Return the yearly change of the IGRF-14 main field in the local geodetic frame.

    Parameters
    ----------
    latitude_deg, longitude_deg, height_m : array
        As in `igrf_field`.
    decimal_year : float
        Epoch, 1900.0 to 2030.0 [yr].

    Returns
    -------
    north, east, down : array
        Change of the components [nT/yr], constant within each five years of the model.

    Raises
    ------
    InputError
        If a value is out of range or the shapes do not fit together.

    Examples
    --------
    >>> north, east, down = igrf_change(-33.0, 21.0, 850.0, decimal_year=2025.4)
    >>> north.shape
    ()
    """
    change = igrf_coefficient_change(decimal_year)
    return synthesise(change, latitude_deg, longitude_deg, height_m)


def total_field(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
    *,
    decimal_year: ArrayLike,
) -> FloatArray:
    """Return the total intensity of the IGRF-14 main field.

    Parameters
    ----------
    latitude_deg, longitude_deg, height_m, decimal_year : array
        As in `igrf_field`.

    Returns
    -------
    array
        Total intensity [nT].

    Raises
    ------
    InputError
        If a value is out of range or the shapes do not fit together.

    Examples
    --------
    It falls by some 0.02 nT a metre with height.

    >>> ground, mast = total_field(60.0, 20.0, [0.0, 10.0], decimal_year=2025.4)
    >>> f"{ground - mast:.2f}"
    '0.23'
    """
    north, east, down = igrf_field(latitude_deg, longitude_deg, height_m, decimal_year=decimal_year)
    total: FloatArray = np.sqrt(north * north + east * east + down * down)
    return total


def total_field_change(field: Components, change: Components) -> FloatArray:
    """Return the change of the total intensity that a change of the vector makes.

    Parameters
    ----------
    field : tuple of three arrays
        North, east and down components of the field [nT].
    change : tuple of three arrays
        Their change [nT/yr].

    Returns
    -------
    array
        Change of the total intensity [nT/yr]; NaN where there is no field.

    Notes
    -----
    dF/dt = B . (dB/dt) / F.

    Examples
    --------
    >>> total_field_change((3.0, 0.0, 4.0), (10.0, 99.0, 0.0))
    array(6.)
    """
    vector, rate = np.asarray(field), np.asarray(change)
    total = np.sqrt((vector * vector).sum(axis=0))
    result = np.full(total.shape, np.nan)
    np.divide((vector * rate).sum(axis=0), total, out=result, where=total > 0)
    return result


def direction_change(field: Components, change: Components) -> tuple[FloatArray, FloatArray]:
    """Return the change of declination and inclination that a change of the vector makes.

    Parameters
    ----------
    field : tuple of three arrays
        North, east and down components of the field [nT].
    change : tuple of three arrays
        Their change [nT/yr].

    Returns
    -------
    declination, inclination : array
        Change of each [deg/yr]; NaN where the field is vertical or missing.

    Notes
    -----
    ``dD/dt = (X dY/dt - Y dX/dt) / H**2`` and ``dI/dt = (H dZ/dt - Z dH/dt) / F**2``.

    Examples
    --------
    >>> east, _ = direction_change((30000.0, 0.0, 0.0), (0.0, 30.0, 0.0))
    >>> f"{east:.4f}"
    '0.0573'
    """
    (north, east, down), (d_north, d_east, d_down) = np.asarray(field), np.asarray(change)
    level = np.hypot(north, east)
    turn, dip = np.full(level.shape, np.nan), np.full(level.shape, np.nan)
    some = level > 0
    np.divide(north * d_east - east * d_north, level**2, out=turn, where=some)
    np.divide(north * d_north + east * d_east, level, out=dip, where=some)
    dip = (level * d_down - down * dip) / (level**2 + down**2)
    return np.degrees(turn), np.degrees(dip)


def field_elements(north_nT: ArrayLike, east_nT: ArrayLike, down_nT: ArrayLike) -> FieldElements:
    """Return declination, inclination, horizontal and total intensity.

    Parameters
    ----------
    north_nT, east_nT, down_nT : array
        Components of the field [nT].

    Returns
    -------
    FieldElements
        With `declination_deg`, `inclination_deg`, `horizontal_nT` and `total_nT`. Where the field
        is vertical the declination has no meaning and is 0.

    Examples
    --------
    >>> elements = field_elements(0.0, 30000.0, 30000.0)
    >>> float(elements.declination_deg), float(elements.inclination_deg)
    (90.0, 45.0)
    """
    north, east, down = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (north_nT, east_nT, down_nT))
    )
    horizontal = np.hypot(north, east)
    return FieldElements(
        declination_deg=np.degrees(np.arctan2(east, north)),
        inclination_deg=np.degrees(np.arctan2(down, horizontal)),
        horizontal_nT=horizontal,
        total_nT=np.hypot(horizontal, down),
    )


def _field_at_epochs(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
    decimal_year: ArrayLike,
) -> Components:
    """Start each point from the set before its epoch and add the change since."""
    latitude, longitude, height, years = broadcast_together(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=height_m,
        decimal_year=decimal_year,
    )
    check_epochs(years)
    epochs = igrf_series().epochs
    before = np.minimum(np.searchsorted(epochs, years, side="right"), len(epochs) - 1) - 1
    field = np.full((3, *years.shape), np.nan)
    for i in np.unique(before[~np.isnan(years)]):
        here = (before == i) & ~np.isnan(years)
        place = (latitude[here], longitude[here], height[here])
        start = synthesise(igrf_coefficients(epochs[i]), *place)
        change = synthesise(igrf_coefficient_change(epochs[i]), *place)
        field[:, here] = np.array(start) + (years[here] - epochs[i]) * np.array(change)
    north, east, down = field
    return north, east, down
