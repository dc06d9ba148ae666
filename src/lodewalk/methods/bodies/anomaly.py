"""From the field of a body to the total-field anomaly that a scalar sensor reads."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.units import MAGNETIC_CONSTANT
from lodewalk.validation import FloatArray, check_positive, check_within

#: Field parts towards north, east and down, each of the shape of the points [nT].
VectorField = tuple[FloatArray, FloatArray, FloatArray]


def ambient_vector(
    *, strength_nT: float, inclination_deg: float, declination_deg: float = 0.0
) -> FloatArray:
    """Return the ambient field as a vector.

    Parameters
    ----------
    strength_nT : float
        Total intensity [nT], above zero.
    inclination_deg : float
        Inclination [deg], positive down.
    declination_deg : float
        Declination from the north of the bodies' frame [deg], positive east. In a projected
        grid this is the declination less the convergence.

    Returns
    -------
    array, shape (3,)
        North, east and down part [nT].

    Raises
    ------
    InputError
        For a strength not above zero or an inclination outside -90 to 90.

    Examples
    --------
    >>> ambient_vector(strength_nT=50000.0, inclination_deg=90.0).round(6).tolist()
    [0.0, 0.0, 50000.0]
    """
    check_positive(strength_nT, name="Strength of the ambient field")
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    dip, turn = np.radians(inclination_deg), np.radians(declination_deg)
    direction = [np.cos(dip) * np.cos(turn), np.cos(dip) * np.sin(turn), np.sin(dip)]
    return strength_nT * np.array(direction)


def induced_magnetisation(
    ambient_nT: ArrayLike, *, susceptibility: float, demagnetisation: float = 0.0
) -> FloatArray:
    """Return the magnetisation that the ambient field induces.

    Parameters
    ----------
    ambient_nT : array, shape (3,)
        North, east and down part of the ambient field [nT].
    susceptibility : float
        Susceptibility [SI].
    demagnetisation : float
        Demagnetisation factor of the shape: 0 for weak bodies (the default), 1/3 for a sphere.

    Returns
    -------
    array, shape (3,)
        Magnetisation [A/m].

    Raises
    ------
    InputError
        For a susceptibility of -1 or less, or a factor outside 0 to 1.

    Notes
    -----
    ``M = k F / (mu0 (1 + N k))`` [1]_, exact for an ellipsoid along one of its axes. With
    ``N = 0`` it overstates a body's magnetisation by about ``N k``: 1 % for a thin sheet across
    the field with ``k = 0.01``.

    References
    ----------
    .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press, section 5.2 (equation from memory),
       doi:10.1017/CBO9780511549816.

    Examples
    --------
    >>> induced_magnetisation([0.0, 0.0, 50000.0], susceptibility=0.01).round(4).tolist()
    [0.0, 0.0, 0.3979]
    """
    if not susceptibility > -1.0:
        raise InputError("Susceptibility must be above -1 SI.", value=susceptibility)
    check_within(demagnetisation, name="Demagnetisation factor", low=0.0, high=1.0)
    effective = susceptibility / (1.0 + demagnetisation * susceptibility)
    return effective * np.asarray(ambient_nT, dtype=float) * 1e-9 / MAGNETIC_CONSTANT


def projected_anomaly(field: VectorField, *, ambient_nT: ArrayLike) -> FloatArray:
    """Return the total-field anomaly as the body's field along the ambient field.

    Parameters
    ----------
    field : tuple of three arrays
        The body's field towards north, east and down [nT].
    ambient_nT : array, shape (3,)
        Ambient field in the same order [nT]; only its direction counts.

    Returns
    -------
    array
        Anomaly [nT].

    Notes
    -----
    The first term of the exact anomaly; the next is of order ``b**2 / (2 F)`` [1]_, so it is
    used where the body's field ``b`` is far below ``F``.

    References
    ----------
    .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press, section 8.3.4 (from memory), doi:10.1017/CBO9780511549816.

    Examples
    --------
    >>> float(projected_anomaly((3.0, 0.0, 4.0), ambient_nT=[0.0, 0.0, 50000.0]))
    4.0
    """
    ambient = np.asarray(ambient_nT, dtype=float)
    north, east, down = ambient / np.linalg.norm(ambient)
    return np.asarray(field[0] * north + field[1] * east + field[2] * down)


def exact_anomaly(field: VectorField, *, ambient_nT: ArrayLike | VectorField) -> FloatArray:
    """Return the total-field anomaly ``|F + b| - |F|``.

    Parameters
    ----------
    field : tuple of three arrays
        The bodies' field ``b`` towards north, east and down [nT].
    ambient_nT : array of shape (3,) or tuple of three arrays
        Ambient field ``F``, one for all points or one for each [nT].

    Returns
    -------
    array
        Anomaly [nT].

    Notes
    -----
    Written as ``(2 F.b + b.b) / (|F + b| + |F|)``, which does not lose digits in the
    difference of two large numbers. Anomalies of bodies don't add up; their fields do, so sum
    the fields first.

    Examples
    --------
    >>> float(exact_anomaly((3.0, 0.0, 0.0), ambient_nT=[0.0, 0.0, 4.0]))
    1.0
    """
    ambient = [np.asarray(part, dtype=float) for part in ambient_nT]  # type: ignore[union-attr]
    along = sum(part * own for part, own in zip(ambient, field, strict=True))
    square = sum(np.square(own) for own in field)
    before = np.sqrt(sum(np.square(part) for part in ambient))
    after = np.sqrt(sum(np.square(p + own) for p, own in zip(ambient, field, strict=True)))
    return np.asarray((2.0 * along + square) / (after + before))


def anomaly_slopes(
    field: VectorField, slopes: ArrayLike, *, ambient_nT: ArrayLike, exact: bool = True
) -> FloatArray:
    """Return the derivatives of the total-field anomaly from those of the field.

    Parameters
    ----------
    field : tuple of three arrays
        The bodies' field towards north, east and down [nT].
    slopes : array, shape (n_parameters, 3, ...)
        Derivatives of its parts with respect to each parameter.
    ambient_nT : array, shape (3,)
        Ambient field in the same order [nT].
    exact : bool
        Of the difference of magnitudes (default), else of the projected anomaly.

    Returns
    -------
    array, shape (n_parameters, ...)
        Derivatives of the anomaly.

    Notes
    -----
    ``d|F + b| = (F + b).db / |F + b|``; projected, ``F.db / |F|``.

    Examples
    --------
    >>> anomaly_slopes((0.0, 0.0, 0.0), [[1.0, 0.0, 0.0]], ambient_nT=[30.0, 0.0, 40.0]).tolist()
    [0.6]
    """
    ambient = np.asarray(ambient_nT, dtype=float)
    whole = [part + (own if exact else 0.0) for part, own in zip(ambient, field, strict=True)]
    size = np.sqrt(sum(np.square(part) for part in whole))
    parts = np.asarray(slopes, dtype=float)
    return np.asarray(sum(whole[i] * parts[:, i] for i in range(3)) / size)
