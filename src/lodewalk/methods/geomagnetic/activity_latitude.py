"""The latitudes on which the field's variation depends, and how loud it usually is there."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.geomagnetic.coefficients import igrf_coefficients
from lodewalk.methods.geomagnetic.ellipsoid import geodetic_to_geocentric
from lodewalk.validation import FloatArray, check_within

#: Range of K = 9 [nT] that observatories use, by geomagnetic latitude. 750 at 58 is that of
#: Eskdalemuir and Port-aux-Francais, 500 the common one of middle latitudes (both read in the index
#: service's list); the rest is from memory and rounded.
K9_BY_LATITUDE: Final = (
    (0.0, 300.0),
    (35.0, 300.0),
    (45.0, 400.0),
    (50.0, 500.0),
    (55.0, 550.0),
    (58.0, 750.0),
    (62.0, 1000.0),
    (64.0, 1500.0),
    (66.0, 2000.0),
    (70.0, 2500.0),
    (73.0, 2500.0),
    (80.0, 1500.0),
    (90.0, 1000.0),
)


def dip_latitude_deg(inclination_deg: ArrayLike) -> FloatArray:
    """Return the latitude at which a dipole along the axis would have an inclination.

    Parameters
    ----------
    inclination_deg : array
        Inclination [deg], positive down.

    Returns
    -------
    array
        Dip latitude [deg], 0 on the dip equator, positive where the field points down.

    Raises
    ------
    InputError
        For an inclination outside -90 to 90.

    Notes
    -----
    ``tan(latitude) = tan(I) / 2``, of the field of a dipole.

    Examples
    --------
    >>> round(float(dip_latitude_deg(63.4349)), 2)
    45.0
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    angle = np.radians(np.asarray(inclination_deg, dtype=float))
    return np.asarray(np.degrees(np.arctan2(np.sin(angle), 2.0 * np.cos(angle))))


def geomagnetic_latitude_deg(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, *, decimal_year: float
) -> FloatArray:
    """Return the latitude from the equator of the dipole of IGRF-14.

    Parameters
    ----------
    latitude_deg, longitude_deg : array
        Geodetic position [deg].
    decimal_year : float
        Epoch, 1900.0 to 2030.0 [yr].

    Returns
    -------
    array
        Geomagnetic latitude [deg], positive towards the northern pole.

    Raises
    ------
    InputError
        For a latitude or an epoch out of range.

    Notes
    -----
    Disturbance is ordered by it rather than by latitude. It is the angle from the plane across the
    vector ``-(g11, h11, g10)`` of the dipole.

    Examples
    --------
    >>> round(float(geomagnetic_latitude_deg(55.3, -3.2, decimal_year=2003.0)), 1)
    57.6
    """
    check_within(latitude_deg, name="Latitude", low=-90, high=90, unit="degrees")
    model = igrf_coefficients(decimal_year)
    dipole = -np.array([model.g[1, 1], model.h[1, 1], model.g[1, 0]])
    polar, _ = geodetic_to_geocentric(latitude_deg, np.zeros(np.shape(latitude_deg)))
    lat, lon = np.radians(polar), np.radians(np.asarray(longitude_deg, dtype=float))
    towards = (np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat))
    sine = sum(a * b for a, b in zip(dipole, towards, strict=True)) / np.linalg.norm(dipole)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def usual_k9_nT(geomagnetic_latitude_deg: ArrayLike) -> FloatArray:  # noqa: N802 -- nT is the unit
    """Return the range that counts as K = 9 at a geomagnetic latitude.

    Parameters
    ----------
    geomagnetic_latitude_deg : array
        Geomagnetic latitude [deg].

    Returns
    -------
    array
        Range in three hours [nT], between the values of `K9_BY_LATITUDE`.

    Raises
    ------
    InputError
        For a latitude outside -90 to 90.

    Notes
    -----
    K is made so that each of its classes is about as frequent everywhere: what differs from place
    to place is this range. Amplitudes scale with it [1]_.

    References
    ----------
    .. [1] International Service of Geomagnetic Indices, K index, https://isgi.unistra.fr/.

    Examples
    --------
    >>> float(usual_k9_nT(-50.0))
    500.0
    """
    check_within(
        geomagnetic_latitude_deg, name="Geomagnetic latitude", low=-90, high=90, unit="degrees"
    )
    latitudes, ranges = np.array(K9_BY_LATITUDE).T
    return np.asarray(np.interp(np.abs(geomagnetic_latitude_deg), latitudes, ranges))
