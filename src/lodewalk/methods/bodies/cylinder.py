"""A long horizontal cylinder, and two-dimensional bodies of polygonal section."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT
from lodewalk.validation import FloatArray, check_positive, check_within


def cylinder_anomaly(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    radius_m: float,
    susceptibility: float,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
    demagnetisation: float = 0.0,
) -> FloatArray:
    """Return the projected total-field anomaly of a long horizontal cylinder.

    Parameters
    ----------
    distance_m : array
        Distance along a profile across the cylinder from the point above its axis [m].
    depth_m : float
        Depth of the axis below the sensor [m], above the radius.
    radius_m : float
        Radius [m], above zero.
    susceptibility : float
        Susceptibility [SI].
    strength_nT, inclination_deg : float
        Ambient field [nT] and its inclination [deg], positive down.
    profile_azimuth_deg : float
        Azimuth of the profile from magnetic north [deg], clockwise.
    demagnetisation : float
        Demagnetisation factor across the axis: 0 for weak rocks (the default), 1/2 otherwise.

    Returns
    -------
    array
        Anomaly [nT].

    Raises
    ------
    InputError
        For a radius not above zero, a sensor inside or a factor outside 0 to 1.

    Notes
    -----
    A line of dipoles: ``(k F c / 2)(R / r)**2 cos(2 (I' - p))`` with ``c`` and ``I'`` of
    `dyke_anomaly` and ``p`` the angle below the profile at which the axis lies towards negative
    distances. At the pole ``(k F / 2) R**2 (z**2 - x**2) / (z**2 + x**2)**2`` [1]_.

    References
    ----------
    .. [1] Lowrie, W. (2007), Fundamentals of Geophysics, Cambridge University Press, equation
       11.27 as numbered in a course exercise that was read; the general field is derived here.

    Examples
    --------
    >>> anomaly = cylinder_anomaly(0.0, depth_m=20.0, radius_m=10.0, susceptibility=0.01,
    ...     strength_nT=50000.0, inclination_deg=90.0, profile_azimuth_deg=0.0)
    >>> round(float(anomaly), 4)
    62.5
    """
    check_positive(radius_m, name="Radius")
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    check_within(demagnetisation, name="Demagnetisation factor", low=0.0, high=1.0)
    if not depth_m > radius_m:
        raise InputError("The axis of a cylinder must lie deeper than its radius.", value=depth_m)
    inclination = np.radians(inclination_deg)
    down = np.sin(inclination)
    along = np.cos(inclination) * np.cos(np.radians(profile_azimuth_deg))
    distance = np.asarray(distance_m, dtype=float)
    square = distance**2 + depth_m**2
    # (m.u)^2 twice less m.m, with u from the axis to the point: (distance, -depth)
    parts = 2.0 * (along * distance - down * depth_m) ** 2 / square - (along**2 + down**2)
    effective = susceptibility / (1.0 + demagnetisation * susceptibility)
    return np.asarray(0.5 * effective * strength_nT * radius_m**2 * parts / square)


def polygon_field(
    distance_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    corners: ArrayLike,
    magnetisation_along: float,
    magnetisation_down: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the field of a long body whose section is a polygon.

    Parameters
    ----------
    distance_m, depth_m : array
        Points of measurement outside the body, along the profile and down [m].
    corners : array, shape (n_corners, 2)
        Distance and depth of the section's corners in order, either way round [m].
    magnetisation_along, magnetisation_down : float
        Magnetisation along the profile and downwards [A/m].

    Returns
    -------
    along, down : array
        Field along the profile and downwards [nT]; not finite on a corner.

    Raises
    ------
    InputError
        For fewer than three corners or a section without an area.

    Notes
    -----
    Each side carries the charge ``M.n``; the field of a charged strip is
    ``2 (mu0 / 4 pi) M.n (t ln(r1 / r2) + n a)`` with ``t`` along the side, ``a`` the angle that
    it subtends and ``n`` its normal (the line integrals of [1]_, derived anew here).

    References
    ----------
    .. [1] Talwani, M., and Heirtzler, J. R. (1964), Computation of magnetic anomalies caused by
       two-dimensional structures of arbitrary shape, Computers in the Mineral Industries 1,
       464-480 (from memory).

    Examples
    --------
    >>> corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    >>> _, down = polygon_field(0.0, 0.0, corners=corners, magnetisation_along=0.0,
    ...     magnetisation_down=0.397887)
    >>> round(float(down), 2)
    147.58
    """
    section = np.asarray(corners, dtype=float)
    following = np.roll(section, -1, axis=0)
    cross = section[:, 0] * following[:, 1] - section[:, 1] * following[:, 0]
    if section.ndim != 2 or len(section) < 3 or cross.sum() == 0.0:
        raise InputError("A section must have three corners or more and an area.")
    if cross.sum() < 0.0:
        section, following = following[::-1], section[::-1]
    point = [np.asarray(part, dtype=float) for part in (distance_m, depth_m)]
    total = np.zeros((2, *np.broadcast(*point).shape))
    for first, last in zip(section, following, strict=True):
        side = (last - first) / np.hypot(*(last - first))
        normal = np.array([side[1], -side[0]])
        charge = magnetisation_along * normal[0] + magnetisation_down * normal[1]
        a = [first[i] - point[i] for i in range(2)]
        b = [last[i] - point[i] for i in range(2)]
        log = 0.5 * np.log((a[0] ** 2 + a[1] ** 2) / (b[0] ** 2 + b[1] ** 2))
        angle = np.arctan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
        # `angle` is negative for a point on the outer side
        for axis in range(2):
            total[axis] += charge * (side[axis] * log - normal[axis] * angle)
    total *= 2.0 * FIELD_CONSTANT
    return total[0], total[1]
