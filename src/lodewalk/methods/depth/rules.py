"""Depths read from the shape of a profile's anomaly: quick rules, good to about 30 per cent.

Each reads the curves of `read_curves`, takes the raised height off, and gives an error of two
parts: the noise, from the curves' replicates, and what the rule leaves out.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.depth.curves import Curves
from lodewalk.methods.depth.results import DepthRule
from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.validation import FloatArray

#: Peters' divisor, and the range of its true values: Milsom and Eriksen, Field Geophysics,
#: 4th ed., section 3.5.2.
PETERS = 1.6
PETERS_RANGE = (1.2, 2.0)
#: What rules of thumb are good to (same section), as a standard deviation of their logarithm.
RULE_ERROR = 0.3 / NINETY
#: What reading a slope adds to the range of the divisor: common practice.
READ_ERROR = 0.1

#: A rule on one row: place on the profile, depth below the raised level.
Reading = tuple[float, float]
NOTHING: Reading = (np.nan, np.nan)


def peak(gradient: NDArray[np.complex128]) -> int:
    """Return the node of the largest total gradient."""
    return int(np.abs(gradient).argmax())


def middle_of(gradient: NDArray[np.complex128]) -> int:
    """Return the node midway between the outermost points of half the peak of the total gradient.

    Over a wide dyke that is its middle, between the peaks of its edges.
    """
    over = np.flatnonzero(np.abs(gradient) >= 0.5 * np.abs(gradient).max())
    return int((over[0] + over[-1]) // 2)


def width_about(
    distance: FloatArray, values: FloatArray, node: int, level: float
) -> tuple[float, float]:
    """Return where values fall to a level on either side of a node; NaN where they don't.

    Examples
    --------
    >>> width_about(np.arange(5.0), np.array([0.0, 1.0, 2.0, 1.0, 0.0]), 2, 0.5)
    (0.5, 3.5)
    """
    low, high = np.nan, np.nan
    below = np.flatnonzero(values[: node + 1] < level)
    if below.size:
        first = below[-1]
        share = (level - values[first]) / (values[first + 1] - values[first])
        low = distance[first] + share * (distance[first + 1] - distance[first])
    above = np.flatnonzero(values[node:] < level)
    if above.size:
        last = node + above[0]
        share = (level - values[last]) / (values[last - 1] - values[last])
        high = distance[last] + share * (distance[last - 1] - distance[last])
    return float(low), float(high)


def half_slope(curves: Curves) -> DepthRule:
    """Return the depth by Peters' half-slope rule.

    Parameters
    ----------
    curves : Curves
        From `read_curves`.

    Returns
    -------
    DepthRule
        With the range of the divisor in its error. The anomaly is first turned to its symmetric
        form by its phase in the middle of the total gradient, as a dyke's may.

    Notes
    -----
    The distance between the points of half the steepest slope on one flank, over 1.6: the true
    divisor of a dyke runs from 1.2 (thin) to 2.0 (wide) [1]_.

    References
    ----------
    .. [1] Peters, L. J. (1949), The direct approach to magnetic interpretation and its practical
       application, Geophysics, 14(3), 290-320, doi:10.1190/1.1437537 (from memory); range:
       Milsom, J., and Eriksen, A. (2011), Field Geophysics, 4th ed., section 3.5.2.

    Examples
    --------
    >>> from lodewalk.methods.depth import read_curves
    >>> from lodewalk.methods.inversion.results import Profile
    >>> distance = np.linspace(-100.0, 100.0, 81)
    >>> rule = half_slope(read_curves(Profile(distance, 1e4 / (distance**2 + 100.0))))
    >>> rule.depth.low < 10.0 < rule.depth.high
    True
    """

    def read(row: int) -> Reading:
        gradient = curves.gradient[row]
        turned = gradient * np.exp(-1j * np.angle(gradient[middle_of(gradient)]))
        slope = np.abs(turned.imag)
        node = int(slope.argmax())
        low, high = width_about(curves.distance_m, slope, node, 0.5 * slope[node])
        return float(curves.distance_m[node]), (high - low) / PETERS

    error = float(np.hypot(np.log(PETERS / PETERS_RANGE[0]) / NINETY, READ_ERROR))
    return rule_from("half slope", curves, read, rule_error=error, assumes="a dyke of any width")


def total_gradient_width(curves: Curves, *, index: float = 1.0) -> DepthRule:
    """Return the depth from the width of the total gradient (analytic signal) at half its peak.

    Parameters
    ----------
    curves : Curves
        From `read_curves`.
    index : float
        Structural index that is assumed: 0 contact, 1 thin sheet (default), 2 cylinder.

    Returns
    -------
    DepthRule
        Independent of dip and field.

    Raises
    ------
    InputError
        For an index outside 0 to 2.

    Notes
    -----
    The total gradient of an edge is ``c / (x**2 + h**2)**((N + 1) / 2)``, so its full width is
    ``2 h sqrt(2**(2 / (N + 1)) - 1)``: ``2 h`` for a sheet [1]_.

    References
    ----------
    .. [1] Nabighian, M. N. (1972), Geophysics, 37(3), 507-517, doi:10.1190/1.1440276 (from
       memory).

    Examples
    --------
    >>> from lodewalk.methods.depth import read_curves
    >>> from lodewalk.methods.inversion.results import Profile
    >>> distance = np.linspace(-100.0, 100.0, 81)
    >>> rule = total_gradient_width(read_curves(Profile(distance, 1e4 / (distance**2 + 100.0))))
    >>> rule.depth.low < 10.0 < rule.depth.high
    True
    """
    if not 0.0 <= index <= 2.0:
        raise InputError("The structural index of a 2-D body lies in 0 to 2.", value=index)
    share = float(np.sqrt(2.0 ** (2.0 / (index + 1.0)) - 1.0))

    def read(row: int) -> Reading:
        total = np.abs(curves.gradient[row])
        node = int(total.argmax())
        low, high = width_about(curves.distance_m, total, node, 0.5 * total[node])
        return float(curves.distance_m[node]), (high - low) / (2.0 * share)

    assumed = f"a structural index of {index:g}"
    return rule_from("total gradient width", curves, read, rule_error=RULE_ERROR, assumes=assumed)


def tilt_depth(
    curves: Curves, *, turned: bool = True, inclination_deg: float | None = None
) -> DepthRule:
    """Return the depth of a contact from the distance over which the tilt turns by 90 degrees.

    Parameters
    ----------
    curves : Curves
        From `read_curves`.
    turned : bool
        Whether the anomaly is first turned to that of an upright contact at the pole, by its
        phase at the largest total gradient (default); otherwise the tilt is read as it is.
    inclination_deg : float, optional
        Inclination of the field, or 90 for an anomaly reduced to the pole [deg]. Needed where
        the tilt is read as it is.

    Returns
    -------
    DepthRule
        Not valid for a tilt read as it is far from the pole.

    Notes
    -----
    ``tilt = atan(x / h)``, so from -45 to +45 degrees it is ``2 h`` [1]_.

    References
    ----------
    .. [1] Salem, A., Williams, S., Fairhead, J. D., Ravat, D., and Smith, R. (2007), Tilt-depth
       method, The Leading Edge, 26(12), 1502-1505, doi:10.1190/1.2821934 (from memory).

    Examples
    --------
    >>> from lodewalk.methods.depth import read_curves
    >>> from lodewalk.methods.inversion.results import Profile
    >>> distance = np.linspace(-100.0, 100.0, 81)
    >>> rule = tilt_depth(read_curves(Profile(distance, 1e3 * np.arctan(distance / 10.0))))
    >>> rule.depth.low < 10.0 < rule.depth.high
    True
    """
    if not turned and (inclination_deg is None or abs(inclination_deg) < POLE_DEG):
        found = "is not told" if inclination_deg is None else f"is {inclination_deg:g} degrees"
        return DepthRule(
            "tilt depth", None, valid=False,
            reason=f"The inclination {found}; the tilt-depth rule needs an anomaly reduced to the "
            "pole.",
        )  # fmt: skip

    def read(row: int) -> Reading:
        gradient = curves.gradient[row]
        node = peak(gradient) if turned else int(np.abs(gradient.imag).argmax())
        if turned:
            phase = np.unwrap(np.angle(gradient))
            tilt = phase - phase[node]
        else:
            tilt = np.arctan2(gradient.real, np.abs(gradient.imag))
        if tilt[min(node + 1, tilt.size - 1)] < tilt[max(node - 1, 0)]:
            tilt = -tilt
        _, high = width_about(curves.distance_m, -tilt, node, -np.pi / 4.0)
        low, _ = width_about(curves.distance_m, tilt, node, -np.pi / 4.0)
        return float(curves.distance_m[node]), (high - low) / 2.0

    return rule_from("tilt depth", curves, read, rule_error=RULE_ERROR, assumes="a contact")


#: Least inclination at which an upright contact's tilt is read without reduction [deg]: common
#: practice.
POLE_DEG = 75.0


def local_wavenumber(curves: Curves) -> DepthRule:
    """Return depth and structural index from the local wavenumber.

    Parameters
    ----------
    curves : Curves
        From `read_curves`.

    Returns
    -------
    DepthRule
        With the structural index of its own.

    Notes
    -----
    The gradients of an edge or sheet are the parts of one analytic function [1]_,
    ``c / (x - i h)**(N + 1)``. Its phase turns along the profile at the rate
    ``(N + 1) h / (x**2 + h**2)``, the size of the imaginary part of its logarithmic derivative
    ``-(N + 1) / (x - i h)``: a parabola through the reciprocal of the rate about the peak of the
    total gradient, weighted by the power of the gradient, gives ``h`` and ``N``.

    References
    ----------
    .. [1] Nabighian, M. N. (1972), Geophysics, 37(3), 507-517, doi:10.1190/1.1440276 (from
       memory).

    Examples
    --------
    >>> from lodewalk.methods.depth import read_curves
    >>> from lodewalk.methods.inversion.results import Profile
    >>> distance = np.linspace(-100.0, 100.0, 161)
    >>> rule = local_wavenumber(read_curves(Profile(distance, 1e4 / (distance**2 + 100.0))))
    >>> rule.depth.low < 10.0 < rule.depth.high
    True
    """
    indices = np.full(curves.gradient.shape[0], np.nan)

    def read(row: int) -> Reading:
        gradient, second = curves.gradient[row], curves.second[row]
        total = np.abs(gradient)
        node = int(total.argmax())
        near = about_peak(total, node)
        with np.errstate(divide="ignore", invalid="ignore"):
            wavenumber = np.real(second[near] / gradient[near])
        good = wavenumber > 0.0
        if good.sum() < 4:
            return NOTHING
        away = (curves.distance_m[near] - curves.distance_m[node])[good]
        weight = (total[near] * wavenumber)[good]
        top = np.polyfit(away, 1.0 / wavenumber[good], 2, w=weight)
        middle = -top[1] / (2.0 * top[0]) if top[0] > 0.0 else np.nan
        least = np.polyval(top, middle)
        if not (top[0] > 0.0 and least > 0.0):
            return NOTHING
        depth = float(np.sqrt(least / top[0]))
        indices[row] = depth / least - 1.0
        return float(curves.distance_m[node] + middle), depth

    rule = rule_from(
        "local wavenumber", curves, read, rule_error=RULE_ERROR, assumes="one edge alone"
    )
    return with_index(rule, indices)


def euler_profile(curves: Curves, *, half_window_m: float | None = None) -> DepthRule:
    """Return depth and structural index by Euler's equation on the gradients of a profile.

    Parameters
    ----------
    curves : Curves
        From `read_curves`.
    half_window_m : float, optional
        Half the length of the window about the largest total gradient [m]; by default as far as
        the total gradient stays over a third of its peak.

    Returns
    -------
    DepthRule
        With the structural index of its own.

    Notes
    -----
    The gradients obey Euler's equation with the index ``N + 1`` and no base level, so that a
    contact needs no offset: ``(p - p0) G' = -(N + 1) G`` in complex form, solved by least
    squares for place, depth and index (after [1]_).

    References
    ----------
    .. [1] Thompson, D. T. (1982), EULDPH: a new technique for making computer-assisted depth
       estimates from magnetic data, Geophysics, 47(1), 31-37, doi:10.1190/1.1441278 (from
       memory).

    Examples
    --------
    >>> from lodewalk.methods.depth import read_curves
    >>> from lodewalk.methods.inversion.results import Profile
    >>> distance = np.linspace(-100.0, 100.0, 161)
    >>> rule = euler_profile(read_curves(Profile(distance, 1e4 / (distance**2 + 100.0))))
    >>> rule.depth.low < 10.0 < rule.depth.high
    True
    """
    indices = np.full(curves.gradient.shape[0], np.nan)

    def read(row: int) -> Reading:
        gradient, second = curves.gradient[row], curves.second[row]
        node = peak(gradient)
        near = about_peak(np.abs(gradient), node)
        if half_window_m is not None:
            near = np.abs(curves.distance_m - curves.distance_m[node]) <= half_window_m
        away = 1j * (curves.distance_m - curves.distance_m[node])[near]
        # (h + i (x - x0)) G' = (N + 1) G, as `second` is the rate towards the source
        columns = np.stack([second[near], -1j * second[near], -gradient[near]], axis=1)
        design = np.concatenate([columns.real, columns.imag])
        right = -away * second[near]
        found = np.linalg.lstsq(design, np.concatenate([right.real, right.imag]))[0]
        indices[row] = found[2] - 1.0
        return float(curves.distance_m[node] + found[1]), float(found[0])

    rule = rule_from("Euler", curves, read, rule_error=RULE_ERROR, assumes="one edge alone")
    return with_index(rule, indices)


def about_peak(total: FloatArray, node: int) -> NDArray[np.bool_]:
    """Return the nodes next to a peak where values stay over a third of it."""
    under = np.flatnonzero(total < total[node] / 3.0)
    first = under[under < node].max(initial=-1) + 1
    last = under[under > node].min(initial=total.size)
    near = np.zeros(total.size, dtype=bool)
    near[max(first, 0) : last] = True
    near[max(node - 2, 0) : node + 3] = True
    return near


def rule_from(
    method: str,
    curves: Curves,
    read: Callable[[int], Reading],
    *,
    rule_error: float,
    assumes: str,
) -> DepthRule:
    """Return a rule's depth with the noise of the replicates and the rule's own error.

    The error is of the depth's logarithm, so the interval is longer on the deeper side.
    """
    rows = np.array([read(row) for row in range(curves.gradient.shape[0])])
    depths = rows[:, 1] - curves.raised_m
    value, place = float(depths[0]), float(rows[0, 0])
    node = int(np.abs(curves.distance_m - place).argmin()) if np.isfinite(place) else 0
    over = curves.distance_m[peak(curves.gradient[0])]
    edge = min(abs(at - end) for at in (place, over) for end in curves.distance_m[[0, -1]])
    if not np.isfinite(place) or node in (0, curves.distance_m.size - 1):
        reason = "The anomaly is cut by the edge of the profile, or too noisy to be read."
        return DepthRule(method, None, valid=False, reason=reason)
    if not (np.isfinite(value) and value > 0.0):
        reason = "The curve doesn't fall off as the rule needs: a neighbour, the edge or noise."
        return DepthRule(method, None, place, valid=False, reason=reason)
    told = depths[1:][np.isfinite(depths[1:]) & (depths[1:] > 0.0)]
    if told.size < 0.75 * (depths.size - 1):
        reason = "The noise moves the reading too far: a quarter of its replicates have no depth."
        return DepthRule(method, None, place, valid=False, reason=reason)
    noise = float(np.sqrt(np.mean(np.log(told / value) ** 2)))
    # the rule is off by a share of the depth it reads, which is that below the raised level
    spread = float(np.hypot(noise, rule_error * (1.0 + curves.raised_m / value)))
    reason, valid = f"Assumes {assumes}.", True
    if edge < value:
        reason, valid = "The edge of the profile is nearer than the depth.", False
    return DepthRule(method, log_estimate(value, spread), place, valid=valid, reason=reason)


def log_estimate(value: float, spread: float) -> Estimate:
    """Return an estimate whose error is normal in its logarithm.

    Examples
    --------
    >>> log_estimate(10.0, 0.1).high > 11.7
    True
    """
    factor = float(np.exp(NINETY * spread))
    return Estimate(value, value * spread, value / factor, value * factor)


def with_index(rule: DepthRule, indices: FloatArray) -> DepthRule:
    """Return a rule with the structural index of its rows."""
    if rule.depth is None or not np.isfinite(indices[0]):
        return rule
    sd = float(np.nanstd(indices[1:])) if np.isfinite(indices[1:]).any() else np.inf
    value = float(indices[0])
    index = Estimate(value, sd, value - NINETY * sd, value + NINETY * sd, sd < 0.5)
    return DepthRule(rule.method, rule.depth, rule.distance_m, index, rule.valid, rule.reason)
