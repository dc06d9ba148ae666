"""A point dipole, and the sphere whose outside field it is."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.bodies.anomaly import VectorField, induced_magnetisation
from lodewalk.units import MAGNETIC_CONSTANT
from lodewalk.validation import FloatArray, check_positive

#: mu0 / 4 pi in nT m / A.
FIELD_CONSTANT = MAGNETIC_CONSTANT / (4.0 * np.pi) * 1e9


def sphere_moment(ambient_nT: ArrayLike, *, radius_m: float, susceptibility: float) -> FloatArray:
    """Return the moment that the ambient field induces in a sphere.

    Parameters
    ----------
    ambient_nT : array, shape (3,)
        North, east and down part of the ambient field [nT].
    radius_m : float
        Radius [m], above zero.
    susceptibility : float
        Susceptibility [SI].

    Returns
    -------
    array, shape (3,)
        Moment [A m2].

    Raises
    ------
    InputError
        For a radius not above zero or a susceptibility of -1 or less.

    Notes
    -----
    ``m = (4/3) pi R**3 k / (1 + k/3) F / mu0`` [1]_: exact for a sphere of uniform
    susceptibility in a uniform field, demagnetisation included.

    References
    ----------
    .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press, chapters 4 and 5 (from memory),
       doi:10.1017/CBO9780511549816.

    Examples
    --------
    >>> moment = sphere_moment([0.0, 0.0, 50000.0], radius_m=10.0, susceptibility=0.01)
    >>> round(float(moment[2]), 1)
    1661.1
    """
    check_positive(radius_m, name="Radius")
    magnetisation = induced_magnetisation(
        ambient_nT, susceptibility=susceptibility, demagnetisation=1.0 / 3.0
    )
    return 4.0 / 3.0 * np.pi * radius_m**3 * magnetisation


def dipole_field(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    centre: ArrayLike,
    moment: ArrayLike,
) -> VectorField:
    """Return the field of a point dipole, or of a magnetised sphere outside it.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement [m].
    centre : array, shape (3,)
        Easting, northing and height of the dipole [m].
    moment : array, shape (3,)
        North, east and down part of its moment [A m2].

    Returns
    -------
    tuple of three arrays
        Field towards north, east and down [nT]; NaN at the dipole itself.

    Notes
    -----
    ``B = (mu0 / 4 pi) (3 (m.u) u - m) / r**3`` with ``u`` the unit vector from the dipole to
    the point [1]_.

    References
    ----------
    .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press, chapter 4 (from memory), doi:10.1017/CBO9780511549816.

    Examples
    --------
    1 A m2 at 1 m: 200 nT on its axis.

    >>> _, _, down = dipole_field(0.0, 0.0, 1.0, centre=[0, 0, 0], moment=[0, 0, 1])
    >>> round(float(down), 6)
    200.0
    """
    source_east, source_north, source_height = np.asarray(centre, dtype=float)
    m_north, m_east, m_down = np.asarray(moment, dtype=float)
    north = np.asarray(northing_m, dtype=float) - source_north
    east = np.asarray(easting_m, dtype=float) - source_east
    down = source_height - np.asarray(height_m, dtype=float)
    square = north * north + east * east + down * down
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = FIELD_CONSTANT / (square * np.sqrt(square))
        along = 3.0 * (m_north * north + m_east * east + m_down * down) / square
        return (
            scale * (along * north - m_north),
            scale * (along * east - m_east),
            scale * (along * down - m_down),
        )


def dipole_slopes(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    centre: ArrayLike,
    moment: ArrayLike,
) -> FloatArray:
    """Return the derivatives of a dipole's field with respect to its centre and moment.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement [m].
    centre : array, shape (3,)
        Easting, northing and height of the dipole [m].
    moment : array, shape (3,)
        North, east and down part of its moment [A m2].

    Returns
    -------
    array, shape (6, 3, ...)
        Derivatives of the field towards north, east and down with respect to easting, northing
        and height of the centre [nT/m], then to the three parts of the moment [nT/(A m2)].

    Notes
    -----
    The field of `dipole_field`, differentiated: ``dB_i/dm_k = C (3 r_i r_k / r**5 - d_ik / r**3)``
    and ``dB_i/dr_k = 3 C (m_k r_i + m_i r_k + (m.r) d_ik - 5 (m.r) r_i r_k / r**2) / r**5``.

    Examples
    --------
    >>> slopes = dipole_slopes(0.0, 0.0, 1.0, centre=[0, 0, 0], moment=[0, 0, 1])
    >>> slopes[2, 2].round(6).tolist(), slopes[5, 2].round(6).tolist()
    (600.0, 200.0)
    """
    east, north, height = np.asarray(centre, dtype=float)
    r = np.broadcast_arrays(
        np.asarray(northing_m, dtype=float) - north,
        np.asarray(easting_m, dtype=float) - east,
        height - np.asarray(height_m, dtype=float),
    )
    own = np.asarray(moment, dtype=float)
    square = r[0] * r[0] + r[1] * r[1] + r[2] * r[2]
    third = FIELD_CONSTANT / (square * np.sqrt(square))
    along = own[0] * r[0] + own[1] * r[1] + own[2] * r[2]
    slopes = np.empty((6, 3, *square.shape))
    for number, (k, sign) in enumerate(((1, -1.0), (0, -1.0), (2, 1.0))):
        for i in range(3):
            part = own[k] * r[i] + own[i] * r[k] - 5.0 * along * r[i] * r[k] / square
            part = part + along if i == k else part
            slopes[number, i] = sign * 3.0 * third / square * part
    for k in range(3):
        for i in range(3):
            slopes[3 + k, i] = third * (3.0 * r[i] * r[k] / square - (i == k))
    return slopes
