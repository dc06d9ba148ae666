"""The two-dimensional dyke of any width, dip and field, and its place in plan.

Along a profile, distance runs towards the profile's azimuth; depths are below the sensor. The
dip is measured from the profile's direction: under 90 degrees the dyke goes down towards larger
distances. With the profile to the right of the strike this is the usual right-hand rule.
"""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT
from lodewalk.validation import FloatArray, check_positive, check_within


def dyke_anomaly(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    half_width_m: float,
    dip_deg: float,
    susceptibility: float,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
    bottom_depth_m: float = np.inf,
) -> FloatArray:
    """Return the projected total-field anomaly of a dyke magnetised by induction.

    Parameters
    ----------
    distance_m : array
        Distance along a profile across the strike from the middle of the dyke's top [m].
    depth_m : float
        Depth of the flat top below the sensor [m], above zero.
    half_width_m : float
        Half the horizontal width [m], above zero.
    dip_deg : float
        Dip from the profile's direction [deg], above 0 and below 180.
    susceptibility : float
        Susceptibility [SI]; demagnetisation is left out.
    strength_nT, inclination_deg : float
        Ambient field [nT] and its inclination [deg], positive down.
    profile_azimuth_deg : float
        Azimuth of the profile from magnetic north [deg], clockwise.
    bottom_depth_m : float
        Depth of the flat bottom below the sensor [m]; by default the dyke has none.

    Returns
    -------
    array
        Anomaly [nT].

    Raises
    ------
    InputError
        For a depth or width not above zero, a dip outside 0 to 180 or a bottom above the top.

    Notes
    -----
    The thick dyke of [1]_: ``(k F c sin(d) / 2 pi) [(th1 - th2) sin(2 I' - d) +
    ln(r2 / r1) cos(2 I' - d)]`` with ``c = sin(I)**2 + (cos(I) cos(b))**2``,
    ``I' = atan2(sin(I), cos(I) cos(b))``, dip ``d``, azimuth ``b``, and distances and angles
    to the two edges of the top. A dyke with a bottom is the difference of two. It holds for a
    strike length many times the depth and an anomaly far below ``F``.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> anomaly = dyke_anomaly(0.0, depth_m=10.0, half_width_m=20.0, dip_deg=90.0,
    ...     susceptibility=0.01, strength_nT=50000.0, inclination_deg=90.0,
    ...     profile_azimuth_deg=0.0)
    >>> round(float(anomaly), 4)
    176.2082
    """
    amplitude, index = dyke_index(
        dip_deg=dip_deg,
        susceptibility=susceptibility,
        strength_nT=strength_nT,
        inclination_deg=inclination_deg,
        profile_azimuth_deg=profile_azimuth_deg,
    )
    angle, log_ratio = _edges(distance_m, depth_m, bottom_depth_m, half_width_m, dip_deg)
    turn = np.radians(index)
    return np.asarray(amplitude * (angle * np.cos(turn) - log_ratio * np.sin(turn)))


def index_dyke_anomaly(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    half_width_m: float,
    amplitude_nT: float,
    index_angle_deg: float,
) -> FloatArray:
    """Return the anomaly of a bottomless dyke whose dip and field stand in one angle.

    Parameters
    ----------
    distance_m : array
        Distance along a profile across the strike from the middle of the dyke's top [m].
    depth_m, half_width_m : float
        Depth of the top below the sensor and half the width [m], both above zero.
    amplitude_nT : float
        Amplitude [nT], as from `dyke_index`.
    index_angle_deg : float
        Index angle [deg]: 0 for a symmetric high, 180 for a symmetric low, 90 and -90 for
        antisymmetric curves.

    Returns
    -------
    array
        Anomaly [nT].

    Raises
    ------
    InputError
        For a depth or width not above zero.

    Notes
    -----
    ``A [(th1 - th2) cos(Q) - ln(r2 / r1) sin(Q)]``: the form to fit, since dip, azimuth,
    inclination and remanence can't be told apart from one profile [1]_.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> curve = index_dyke_anomaly([-5.0, 5.0], depth_m=10.0, half_width_m=2.0,
    ...     amplitude_nT=100.0, index_angle_deg=0.0)
    >>> bool(curve[0] == curve[1])
    True
    """
    angle, log_ratio = _edges(distance_m, depth_m, np.inf, half_width_m, 90.0)
    turn = np.radians(index_angle_deg)
    return np.asarray(amplitude_nT * (angle * np.cos(turn) - log_ratio * np.sin(turn)))


def dyke_index(
    *,
    dip_deg: float,
    susceptibility: float,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
) -> tuple[float, float]:
    """Return amplitude and index angle of a dyke magnetised by induction.

    Parameters
    ----------
    dip_deg, susceptibility, strength_nT, inclination_deg, profile_azimuth_deg : float
        As for `dyke_anomaly`.

    Returns
    -------
    amplitude_nT, index_angle_deg : float
        Amplitude ``k F c sin(d) / 2 pi`` [nT] and index angle ``2 I' - d - 90`` in -180 to
        180 [deg].

    Raises
    ------
    InputError
        For a dip outside 0 to 180, an inclination outside -90 to 90 or a field not above zero.

    Notes
    -----
    Equations as for `dyke_anomaly`.

    Examples
    --------
    >>> amplitude, index = dyke_index(dip_deg=90.0, susceptibility=0.01, strength_nT=50000.0,
    ...     inclination_deg=90.0, profile_azimuth_deg=0.0)
    >>> round(amplitude, 3), round(index, 9)
    (79.577, 0.0)
    """
    _check_dip(dip_deg)
    check_positive(strength_nT, name="Strength of the ambient field")
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    dip, inclination = np.radians(dip_deg), np.radians(inclination_deg)
    down = np.sin(inclination)
    along = np.cos(inclination) * np.cos(np.radians(profile_azimuth_deg))
    share = down**2 + along**2
    amplitude = susceptibility * strength_nT * share * np.sin(dip) / (2.0 * np.pi)
    index = 2.0 * np.degrees(np.arctan2(down, along)) - dip_deg - 90.0
    return float(amplitude), float((index + 180.0) % 360.0 - 180.0)


def dyke_field(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    half_width_m: float,
    dip_deg: float,
    magnetisation_along: float,
    magnetisation_down: float,
    bottom_depth_m: float = np.inf,
) -> tuple[FloatArray, FloatArray]:
    """Return the field of a dyke of any magnetisation, along the profile and down.

    Parameters
    ----------
    distance_m, depth_m, half_width_m, dip_deg, bottom_depth_m
        As for `dyke_anomaly`.
    magnetisation_along, magnetisation_down : float
        Magnetisation along the profile and downwards [A/m]; the part along the strike has no
        outside field.

    Returns
    -------
    along, down : array
        Field along the profile and downwards [nT].

    Raises
    ------
    InputError
        For a depth or width not above zero, a dip outside 0 to 180 or a bottom above the top.

    Notes
    -----
    The form of `dyke_anomaly` with the ambient direction and the magnetisation kept apart: a
    two-dimensional body's field depends on the sum of their two angles alone.

    Examples
    --------
    >>> along, down = dyke_field(0.0, depth_m=10.0, half_width_m=20.0, dip_deg=90.0,
    ...     magnetisation_along=0.0, magnetisation_down=0.397887)
    >>> round(float(down), 3)
    176.208
    """
    angle, log_ratio = _edges(distance_m, depth_m, bottom_depth_m, half_width_m, dip_deg)
    dip = np.radians(dip_deg)
    scale = 2.0 * FIELD_CONSTANT * np.sin(dip)
    sine = magnetisation_down * np.cos(dip) - magnetisation_along * np.sin(dip)
    cosine = magnetisation_along * np.cos(dip) + magnetisation_down * np.sin(dip)
    return (
        scale * (angle * sine + log_ratio * cosine),
        scale * (angle * cosine - log_ratio * sine),
    )


def profile_distance(
    easting_m: ArrayLike, northing_m: ArrayLike, *, point: ArrayLike, strike_deg: float
) -> FloatArray:
    """Return the distance across the strike of a body from points in plan.

    Parameters
    ----------
    easting_m, northing_m : array
        Points of measurement [m].
    point : array, shape (2,)
        Easting and northing of a point on the middle of the body's top [m].
    strike_deg : float
        Azimuth of the strike [deg], clockwise from grid north.

    Returns
    -------
    array
        Distance [m], positive to the right of the strike. The profile's azimuth is
        ``strike_deg + 90`` from grid north; take off the declination and add the convergence
        to have it from magnetic north.

    Examples
    --------
    >>> float(profile_distance(130.0, 50.0, point=[100.0, 0.0], strike_deg=0.0))
    30.0
    """
    strike = np.radians(strike_deg)
    east, north = np.asarray(point, dtype=float)
    return np.asarray(
        (np.asarray(easting_m, dtype=float) - east) * np.cos(strike)
        - (np.asarray(northing_m, dtype=float) - north) * np.sin(strike)
    )


def _edges(
    distance_m: ArrayLike, depth_m: float, bottom_m: float, half_width_m: float, dip_deg: float
) -> tuple[FloatArray, FloatArray]:
    """Return th1 - th2 and ln(r2 / r1) of the top's edges, less those of the bottom's."""
    check_positive(depth_m, name="Depth of the top")
    check_positive(half_width_m, name="Half width")
    _check_dip(dip_deg)
    if not bottom_m > depth_m:
        raise InputError("The bottom of a dyke must lie below its top.", value=bottom_m)
    distance = np.asarray(distance_m, dtype=float)
    angle, log_ratio = _edges_of_level(distance, depth_m, half_width_m)
    if np.isfinite(bottom_m):
        shift = (bottom_m - depth_m) / np.tan(np.radians(dip_deg))
        below_angle, below_log = _edges_of_level(distance - shift, bottom_m, half_width_m)
        return angle - below_angle, log_ratio - below_log
    return angle, log_ratio


def _edges_of_level(
    distance: FloatArray, depth: float, half_width: float
) -> tuple[FloatArray, FloatArray]:
    """Return the angle that a level strip subtends and ln(r2 / r1) of its edges."""
    square = depth**2 + distance**2
    angle = np.arctan2(2.0 * depth * half_width, square - half_width**2)
    # ln(r2 / r1) = -atanh(2 x b / (x^2 + h^2 + b^2)) keeps its digits for narrow strips
    log_ratio = -np.arctanh(2.0 * distance * half_width / (square + half_width**2))
    return angle, log_ratio


def _check_dip(dip_deg: float) -> None:
    """Raise when a dip is not above 0 and below 180 degrees."""
    if not 0.0 < dip_deg < 180.0:
        raise InputError(
            "Dip must be above 0 and below 180 degrees from the profile's direction.",
            value=dip_deg,
        )
