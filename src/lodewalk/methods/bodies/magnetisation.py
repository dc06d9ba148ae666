"""How a body is magnetised: demagnetisation by its shape, and remanence."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import elliprd

from lodewalk.errors import InputError
from lodewalk.units import MAGNETIC_CONSTANT
from lodewalk.validation import FloatArray, check_positive

#: Susceptibility from which a body's own field is taken into account [SI] (common practice).
STRONG = 0.1


@dataclass(frozen=True)
class ShapedMagnetisation:
    """Magnetisation of a body [A/m], its demagnetisation factors, and a sentence on them.

    The factors are zero and `told` is empty where demagnetisation isn't applied.
    """

    magnetisation: FloatArray
    factors: FloatArray
    told: str


def demagnetisation_factors(axes_m: ArrayLike) -> FloatArray:
    """Return the demagnetisation factors of an ellipsoid along its axes.

    Parameters
    ----------
    axes_m : array, shape (3,)
        Its three axes, halved or not [m], above zero; infinite ones are allowed.

    Returns
    -------
    array, shape (3,)
        Factors along the same axes; their sum is 1.

    Raises
    ------
    InputError
        For an axis not above zero, or three infinite ones.

    Notes
    -----
    ``N_a = (a b c / 2) int_0^inf ds / ((s + a**2) sqrt((s + a**2)(s + b**2)(s + c**2)))``
    [1]_, which is ``a b c R_D(b**2, c**2, a**2) / 3`` in Carlson's form. Infinite axes stand
    for a thousand times the next: for a cylinder 1/2 across, for a plate 1.

    References
    ----------
    .. [1] Osborn, J. A. (1945), Demagnetizing factors of the general ellipsoid, Physical
       Review, 67, 351-357 (from memory), doi:10.1103/PhysRev.67.351.

    Examples
    --------
    >>> demagnetisation_factors([1.0, 1.0, 1.0]).round(6).tolist()
    [0.333333, 0.333333, 0.333333]
    """
    axes = np.asarray(axes_m, dtype=float)
    finite = axes[np.isfinite(axes)]
    if axes.shape != (3,) or finite.size == 0 or not (axes > 0.0).all():
        raise InputError("An ellipsoid needs three axes above zero.", value=axes.tolist())
    scaled = np.where(np.isfinite(axes), axes, 1e3 * finite.max()) / finite.max()
    squares = scaled**2
    raw = [
        scaled.prod() / 3.0 * elliprd(*np.delete(squares, axis), squares[axis]) for axis in range(3)
    ]
    factors: FloatArray = np.array(raw) / sum(raw)
    return factors


def body_magnetisation(
    ambient_nT: ArrayLike,
    *,
    susceptibility: float,
    remanence_A_m: ArrayLike | None = None,
    factors: ArrayLike = (0.0, 0.0, 0.0),
    axes: ArrayLike = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
) -> FloatArray:
    """Return the magnetisation of a body in the ambient field, remanence included.

    Parameters
    ----------
    ambient_nT : array, shape (3,)
        North, east and down part of the ambient field [nT].
    susceptibility : float
        Susceptibility, less that of the host [SI].
    remanence_A_m : array, shape (3,), optional
        Remanent magnetisation in the same order [A/m]; none by default.
    factors : array, shape (3,)
        Demagnetisation factors along the axes (default none).
    axes : array, shape (3, 3)
        Unit vector of each axis, north, east and down.

    Returns
    -------
    array, shape (3,)
        Magnetisation [A/m].

    Raises
    ------
    InputError
        For a susceptibility of -1 or less.

    Notes
    -----
    Inside ``H = F / mu0 - N M``, so ``M = (k F / mu0 + M_r) / (1 + N k)`` along each axis:
    exact for an ellipsoid (Blakely 1995, section 5.2, from memory).

    Examples
    --------
    A plate across the field with ``k = 1`` takes half.

    >>> body_magnetisation([0.0, 0.0, 40000.0], susceptibility=1.0,
    ...     factors=[0.0, 0.0, 1.0]).round(2).tolist()
    [0.0, 0.0, 15.92]
    """
    if not susceptibility > -1.0:
        raise InputError("Susceptibility must be above -1 SI.", value=susceptibility)
    undamped = susceptibility * np.asarray(ambient_nT, dtype=float) * 1e-9 / MAGNETIC_CONSTANT
    if remanence_A_m is not None:
        undamped = undamped + np.asarray(remanence_A_m, dtype=float)
    frame = np.asarray(axes, dtype=float)
    shares = frame @ undamped / (1.0 + np.asarray(factors, dtype=float) * susceptibility)
    return np.asarray(shares @ frame)


def shaped_magnetisation(
    ambient_nT: ArrayLike,
    *,
    susceptibility: float,
    axes_m: ArrayLike,
    remanence_A_m: ArrayLike | None = None,
    axes: ArrayLike = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
) -> ShapedMagnetisation:
    """Return a body's magnetisation, with demagnetisation where its susceptibility is over 0.1.

    Parameters
    ----------
    ambient_nT : array, shape (3,)
        North, east and down part of the ambient field [nT].
    susceptibility : float
        Susceptibility, less that of the host [SI].
    axes_m : array, shape (3,)
        Sizes of the body along its axes, infinite for endless ones [m].
    remanence_A_m : array, shape (3,), optional
        Remanent magnetisation [A/m]; none by default.
    axes : array, shape (3, 3)
        Unit vector of each axis, north, east and down (default these).

    Returns
    -------
    ShapedMagnetisation
        Magnetisation, factors, and what is to be told of them.

    Raises
    ------
    InputError
        For a susceptibility of -1 or less or sizes not above zero.

    Notes
    -----
    The factors are those of the ellipsoid of the same axes: exact for that, for a sphere and for
    endless cylinders and plates; for a block it is an approximation to its mean.

    Examples
    --------
    >>> shaped = shaped_magnetisation([0.0, 0.0, 50000.0], susceptibility=0.5,
    ...     axes_m=[20.0, 20.0, 20.0])
    >>> shaped.magnetisation.round(3).tolist(), shaped.told
    ([0.0, 0.0, 17.052], 'Susceptibility 0.5: demagnetisation takes 14 % off.')
    """
    factors = np.zeros(3)
    if abs(susceptibility) > STRONG:
        factors = demagnetisation_factors(axes_m)
    found, plain = (
        body_magnetisation(
            ambient_nT, susceptibility=susceptibility, remanence_A_m=remanence_A_m,
            factors=part, axes=axes,
        )
        for part in (factors, np.zeros(3))
    )  # fmt: skip
    told = ""
    if factors.any():
        share = 100.0 * (1.0 - np.linalg.norm(found) / np.linalg.norm(plain))
        told = f"Susceptibility {susceptibility:g}: demagnetisation takes {share:.0f} % off."
    return ShapedMagnetisation(found, factors, told)


def remanent_magnetisation(
    ambient_nT: ArrayLike,
    *,
    susceptibility: float,
    koenigsberger: float,
    inclination_deg: float | None = None,
    declination_deg: float | None = None,
) -> FloatArray:
    """Return a remanence told by its Koenigsberger ratio and direction.

    Parameters
    ----------
    ambient_nT : array, shape (3,)
        North, east and down part of the ambient field [nT].
    susceptibility : float
        Susceptibility of the body itself, not its contrast [SI].
    koenigsberger : float
        Remanent over induced magnetisation, zero or more.
    inclination_deg : float, optional
        Its inclination [deg], positive down; that of the field by default.
    declination_deg : float, optional
        Its declination from the north of the ambient vector [deg]; that of the field by default.

    Returns
    -------
    array, shape (3,)
        North, east and down part of the remanence [A/m].

    Raises
    ------
    InputError
        For a negative ratio or a field of no strength.

    Notes
    -----
    ``M_r = Q |k| F / mu0`` (definition, common practice).

    Examples
    --------
    >>> remanent_magnetisation([0.0, 0.0, 50000.0], susceptibility=0.01, koenigsberger=2.0,
    ...     inclination_deg=0.0, declination_deg=90.0).round(4).tolist()
    [0.0, 0.7958, 0.0]
    """
    north, east, down = np.asarray(ambient_nT, dtype=float)
    strength = float(np.sqrt(north**2 + east**2 + down**2))
    check_positive(strength, name="Strength of the ambient field")
    if not koenigsberger >= 0.0:
        raise InputError("A Koenigsberger ratio can't be negative.", value=koenigsberger)
    own_dip, own_turn = np.arctan2(down, np.hypot(north, east)), np.arctan2(east, north)
    dip = own_dip if inclination_deg is None else np.radians(inclination_deg)
    turn = own_turn if declination_deg is None else np.radians(declination_deg)
    direction = np.array([np.cos(dip) * np.cos(turn), np.cos(dip) * np.sin(turn), np.sin(dip)])
    size = koenigsberger * abs(susceptibility) * strength * 1e-9 / MAGNETIC_CONSTANT
    return np.asarray(size * direction)
