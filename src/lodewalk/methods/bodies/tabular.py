"""Thin sheets and contacts in two dimensions, of any dip and in any field.

Conventions as for the dyke: distance runs towards the profile's azimuth, depths are below the
sensor, and the dip is measured from the profile's direction.
"""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dyke import dyke_index
from lodewalk.validation import FloatArray, check_positive


def sheet_anomaly(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    thickness_m: float,
    dip_deg: float,
    susceptibility: float,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
    bottom_depth_m: float = np.inf,
) -> FloatArray:
    """Return the projected total-field anomaly of a thin sheet magnetised by induction.

    Parameters
    ----------
    distance_m : array
        Distance along a profile across the strike from the sheet's upper edge [m].
    depth_m : float
        Depth of the upper edge below the sensor [m], above zero.
    thickness_m : float
        Thickness across the sheet [m], above zero and far below the depth.
    dip_deg, susceptibility, strength_nT, inclination_deg, profile_azimuth_deg : float
        As for `dyke_anomaly`.
    bottom_depth_m : float
        Depth of the lower edge below the sensor [m]; by default the sheet has none.

    Returns
    -------
    array
        Anomaly [nT].

    Raises
    ------
    InputError
        For a depth or thickness not above zero, a dip outside 0 to 180 or a bottom above the top.

    Notes
    -----
    ``(k F c t / 2 pi) (h cos(Q) + x sin(Q)) / (x**2 + h**2)`` with ``c`` and the index angle
    ``Q`` of `dyke_index` [1]_: what the dyke comes to as its half width ``t / (2 sin(d))``
    shrinks. In error by about ``(t / h)**2 / 12``. Demagnetisation is left out.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> anomaly = sheet_anomaly(0.0, depth_m=10.0, thickness_m=2.0, dip_deg=90.0,
    ...     susceptibility=0.01, strength_nT=50000.0, inclination_deg=90.0,
    ...     profile_azimuth_deg=0.0)
    >>> round(float(anomaly), 4)
    15.9155
    """
    check_positive(depth_m, name="Depth of the top")
    check_positive(thickness_m, name="Thickness")
    amplitude, index = dyke_index(
        dip_deg=dip_deg,
        susceptibility=susceptibility,
        strength_nT=strength_nT,
        inclination_deg=inclination_deg,
        profile_azimuth_deg=profile_azimuth_deg,
    )
    width = thickness_m / np.sin(np.radians(dip_deg))
    distance = np.asarray(distance_m, dtype=float)
    curve = _edge_line(distance, depth_m, index)
    if np.isfinite(_checked_bottom(bottom_depth_m, depth_m)):
        shift = (bottom_depth_m - depth_m) / np.tan(np.radians(dip_deg))
        curve = curve - _edge_line(distance - shift, bottom_depth_m, index)
    return np.asarray(amplitude * width * curve)


def contact_anomaly(
    distance_m: ArrayLike,
    *,
    depth_m: float,
    dip_deg: float,
    susceptibility: float,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
    bottom_depth_m: float = np.inf,
) -> FloatArray:
    """Return the projected total-field anomaly of a contact or step.

    Parameters
    ----------
    distance_m : array
        Distance along a profile across the strike from the contact's upper edge [m]; the
        magnetic side is that of positive distances.
    depth_m : float
        Depth of the upper edge below the sensor [m], above zero.
    dip_deg, susceptibility, strength_nT, inclination_deg, profile_azimuth_deg : float
        As for `dyke_anomaly`; the susceptibility is that of the magnetic side less the other.
    bottom_depth_m : float
        Depth of the lower edge below the sensor [m]; by default the contact has none. With one
        it is the step of a layer that ends, or that a fault throws down out of reach.

    Returns
    -------
    array
        Anomaly [nT]. Without a bottom its level is free unless the index angle is 0 or 180, and
        the logarithm is zero above the edge.

    Raises
    ------
    InputError
        For a depth not above zero, a dip outside 0 to 180 or a bottom above the top.

    Notes
    -----
    ``A [(pi / 2 + atan(x / h)) cos(Q) + ln(r / h) sin(Q)]`` with ``A`` and ``Q`` of
    `dyke_index`: the dyke of [1]_ whose other edge lies far away. A step is the difference of
    two levels, without a free constant.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> low, high = contact_anomaly([-1e9, 1e9], depth_m=10.0, dip_deg=90.0,
    ...     susceptibility=0.01, strength_nT=50000.0, inclination_deg=90.0,
    ...     profile_azimuth_deg=0.0)
    >>> round(float(high - low), 4)
    250.0
    """
    check_positive(depth_m, name="Depth of the top")
    amplitude, index = dyke_index(
        dip_deg=dip_deg,
        susceptibility=susceptibility,
        strength_nT=strength_nT,
        inclination_deg=inclination_deg,
        profile_azimuth_deg=profile_azimuth_deg,
    )
    turn = np.radians(index)
    distance = np.asarray(distance_m, dtype=float)
    angle = np.pi / 2.0 + np.arctan(distance / depth_m)
    scaled = np.hypot(distance, depth_m)
    if np.isfinite(_checked_bottom(bottom_depth_m, depth_m)):
        below = distance - (bottom_depth_m - depth_m) / np.tan(np.radians(dip_deg))
        angle = angle - (np.pi / 2.0 + np.arctan(below / bottom_depth_m))
        log = np.log(scaled / np.hypot(below, bottom_depth_m))
    else:
        log = np.log(scaled / depth_m)
    return np.asarray(amplitude * (angle * np.cos(turn) + log * np.sin(turn)))


def _edge_line(distance: FloatArray, depth: float, index_deg: float) -> FloatArray:
    """Return the curve of a line of poles at an edge."""
    turn = np.radians(index_deg)
    curve = (depth * np.cos(turn) + distance * np.sin(turn)) / (distance**2 + depth**2)
    return np.asarray(curve)


def _checked_bottom(bottom_depth_m: float, depth_m: float) -> float:
    """Return the bottom's depth, which must be below the top's."""
    if not bottom_depth_m > depth_m:
        raise InputError("The bottom of a body must lie below its top.", value=bottom_depth_m)
    return bottom_depth_m
