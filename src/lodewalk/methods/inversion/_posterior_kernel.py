"""Kernels of the posterior of one body: curves, misfit, and the integral over place and depth."""

import numpy as np
from numba import njit

from lodewalk.methods.inversion._quick_math import angles, logarithms
from lodewalk.methods.inversion.whitening import whiten
from lodewalk.validation import FloatArray

STRIP, CONTACT, CYLINDER, STEP = 0, 1, 2, 3
#: Nodes and logarithms of weights of Gauss-Hermite quadrature with five points.
NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
LOG_WEIGHTS = np.log(_WEIGHTS)
#: Quantities whose means and variances are returned: place, log depth, index angle, log strength,
#: and the logarithm of strength over depth.
PLACE, LOG_DEPTH, ANGLE, LOG_STRENGTH, LOG_RATIO = range(5)
QUANTITIES = 5
#: Rows of the table of constraints.
LOW, HIGH, SPREAD = 0, 1, 2
MOST_STEPS = 30
#: Log likelihood under the best at which a piece has no weight, and is not integrated.
NOWHERE = -16.0


@njit(nogil=True, cache=True, error_model="numpy")
def _reciprocal(x: float, y: float) -> tuple[float, float]:  # pragma: no cover
    """Return 1 / (x + iy)."""
    square = x * x + y * y
    return x / square, -y / square


@njit(nogil=True, cache=True, error_model="numpy")
def _factors(family: int, extent: float) -> tuple[float, float]:  # pragma: no cover
    """Return what the angle and the logarithm of a family are multiplied by."""
    if family == STRIP:
        return 0.5 / extent, -0.25 / extent
    if family == STEP:
        return -1.0 / extent, 0.5 / extent
    return -1.0, -0.5


@njit(nogil=True, cache=True, error_model="numpy")
def curves(
    family: int,
    distance: FloatArray,
    rise: FloatArray,
    place: float,
    depth: float,
    extent: float,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the symmetric and the antisymmetric curve to the first rows of `out`, shape (5, n).

    The other rows are worked in: angles and logarithms go row by row, which is quick.
    """
    angle, log, up, along, ratio = out[0], out[1], out[2], out[3], out[4]
    b = extent
    for i in range(distance.size):
        x, y = distance[i] - place, depth + rise[i]
        square = x * x + y * y
        up[i], along[i], ratio[i] = y, x, square
        if family == STRIP:
            both, cross = square + b * b, 2.0 * x * b
            up[i], along[i], ratio[i] = 2.0 * b * y, square - b * b, (both + cross) / (both - cross)
        elif family == STEP:
            ratio[i] = (x * x + (y + b) * (y + b)) / square
        elif family == CYLINDER:
            angle[i], log[i] = (y * y - x * x) / square**2, -2.0 * x * y / square**2
    if family == CYLINDER:
        return
    logarithms(ratio, log)
    angles(up, along, angle)
    if family == STEP:
        for i in range(distance.size):
            up[i] += b
        angles(up, along, ratio)
        for i in range(distance.size):
            angle[i] -= ratio[i]
    by_angle, by_log = _factors(family, b)
    for i in range(distance.size):
        angle[i] *= by_angle
        log[i] *= by_log


@njit(nogil=True, cache=True, error_model="numpy")
def _slopes(
    family: int,
    distance: FloatArray,
    rise: FloatArray,
    place: float,
    depth: float,
    extent: float,
    p: float,
    q: float,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the body's change with place and with log depth to `out`, shape (2, n).

    The extent changes with the depth; what only changes the amplitude is left out.
    """
    for i in range(distance.size):
        x, y = distance[i] - place, depth + rise[i]
        e_re = e_im = 0.0
        if family == STRIP:
            a_re, a_im = _reciprocal(x - extent, y)
            b_re, b_im = _reciprocal(x + extent, y)
            d_re, d_im = (a_re - b_re) / (2.0 * extent), (a_im - b_im) / (2.0 * extent)
            e_re, e_im = -(a_re + b_re) / (2.0 * extent), -(a_im + b_im) / (2.0 * extent)
        elif family == CONTACT:
            a_re, a_im = _reciprocal(x, y)
            d_re, d_im = -a_re, -a_im
        elif family == CYLINDER:
            a_re, a_im = _reciprocal(x, y)
            s_re, s_im = a_re * a_re - a_im * a_im, 2.0 * a_re * a_im
            d_re = -2.0 * (s_re * a_im + s_im * a_re)
            d_im = 2.0 * (s_re * a_re - s_im * a_im)
        else:
            a_re, a_im = _reciprocal(x, y)
            b_re, b_im = _reciprocal(x, y + extent)
            d_re, d_im = (b_re - a_re) / extent, (b_im - a_im) / extent
            e_re, e_im = -b_im / extent, b_re / extent
        out[0, i] = -(p * d_im + q * d_re)
        # log depth: depth times i F', and the extent that grows along with it
        out[1, i] = depth * (p * d_re - q * d_im) + extent * (p * e_im + q * e_re)


@njit(nogil=True, cache=True)
def _prepare(
    row: FloatArray, step: FloatArray, gain: FloatArray, scale: FloatArray, basis: FloatArray
) -> None:  # pragma: no cover
    """Whiten a row in place and take off what the basis explains."""
    whiten(row, step, gain, scale, row)
    for k in range(basis.shape[0]):
        share = 0.0
        for i in range(row.size):
            share += basis[k, i] * row[i]
        for i in range(row.size):
            row[i] -= share * basis[k, i]


@njit(nogil=True, cache=True)
def _dot(a: FloatArray, b: FloatArray) -> float:  # pragma: no cover
    """Return the product of two rows."""
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def _solve(y: FloatArray, phi: FloatArray, out: FloatArray) -> float:  # pragma: no cover
    """Write p, q and the inverse of their normal matrix to `out`; return the misfit."""
    a = b = d = u = v = whole = 0.0
    for i in range(y.size):
        one, two, value = phi[0, i], phi[1, i], y[i]
        a += one * one
        b += one * two
        d += two * two
        u += one * value
        v += two * value
        whole += value * value
    det = a * d - b * b
    det = max(det, 1e-12 * a * d)
    out[2], out[3], out[4] = d / det, -b / det, a / det
    out[0] = out[2] * u + out[3] * v
    out[1] = out[3] * u + out[4] * v
    return float(whole - out[0] * u - out[1] * v)


@njit(nogil=True, cache=True, error_model="numpy")
def _beyond(value: float, limits: FloatArray) -> float:  # pragma: no cover
    """Return how far a value lies from a measured one, in its standard deviation."""
    if limits[LOW] == limits[HIGH]:
        return float((value - limits[LOW]) / limits[SPREAD])
    return 0.0


@njit(nogil=True, cache=True, error_model="numpy")
def misfit(
    family: int,
    data: tuple[FloatArray, ...],
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
) -> float:  # pragma: no cover
    """Return the misfit at place and log depth with the constraints on them.

    `data` holds distance, rise, whitened readings, and the step, gain and scale of the whitening
    and the basis of level, slope and neighbours.
    """
    distance, rise, y, step, gain, scale, basis = data
    depth = np.exp(theta[1])
    curves(family, distance, rise, theta[0], depth, extent * depth, phi)
    _prepare(phi[0], step, gain, scale, basis)
    _prepare(phi[1], step, gain, scale, basis)
    cost = _solve(y, phi, linear)
    cost += _beyond(theta[0], limits[0]) ** 2 + _beyond(depth, limits[1]) ** 2
    return cost + _beyond(extent * depth, limits[2]) ** 2


@njit(nogil=True, cache=True, error_model="numpy")
def _normal(
    family: int,
    data: tuple[FloatArray, ...],
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
    rows: FloatArray,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the Gauss-Newton matrix (3) and half the downhill gradient (2) to `out`."""
    distance, rise, y, step, gain, scale, basis = data
    depth = np.exp(theta[1])
    _slopes(
        family, distance, rise, theta[0], depth, extent * depth, linear[0], linear[1], rows
    )  # fmt: skip
    residual = phi[2]
    for i in range(y.size):
        residual[i] = y[i] - linear[0] * phi[0, i] - linear[1] * phi[1, i]
    down = np.empty(2)
    cross = np.empty((2, 2))
    for k in range(2):
        _prepare(rows[k], step, gain, scale, basis)
        cross[k, 0], cross[k, 1] = _dot(rows[k], phi[0]), _dot(rows[k], phi[1])
        down[k] = _dot(rows[k], residual)
    part = 0
    for k in range(2):
        for j in range(k + 1):
            # what the linear parameters take over is no information on place and depth
            taken = cross[k, 0] * (linear[2] * cross[j, 0] + linear[3] * cross[j, 1])
            taken += cross[k, 1] * (linear[3] * cross[j, 0] + linear[4] * cross[j, 1])
            out[part] = _dot(rows[k], rows[j]) - taken
            part += 1
    out[3], out[4] = down[0], down[1]
    _bounded(theta[0], 1.0, limits[0], out, 0)
    _bounded(depth, depth, limits[1], out, 1)
    _bounded(extent * depth, extent * depth, limits[2], out, 1)


@njit(nogil=True, cache=True, error_model="numpy")
def _bounded(
    value: float, change: float, limits: FloatArray, out: FloatArray, which: int
) -> None:  # pragma: no cover
    """Add a constraint on a value to matrix and gradient; `change` is its derivative."""
    if limits[LOW] == limits[HIGH]:
        rate = change / limits[SPREAD]
        out[2 * which] += rate**2
        out[3 + which] -= rate * _beyond(value, limits)


@njit(nogil=True, cache=True, error_model="numpy")
def _edge_outside(
    family: int, theta: FloatArray, extent: float, box: FloatArray
) -> bool:  # pragma: no cover
    """Return whether an edge of a strip lies outside the box of places."""
    half = extent * np.exp(theta[1]) if family == STRIP else 0.0
    return bool(theta[0] - half < box[0, 0] or theta[0] + half > box[1, 0])


@njit(nogil=True, cache=True, error_model="numpy")
def _keep_in(
    family: int, theta: FloatArray, extent: float, box: FloatArray
) -> None:  # pragma: no cover
    """Move a strip so that both edges lie inside the box of places."""
    if family == STRIP:
        half = min(extent * np.exp(theta[1]), 0.5 * (box[1, 0] - box[0, 0]))
        theta[0] = min(max(theta[0], box[0, 0] + half), box[1, 0] - half)


@njit(nogil=True, cache=True, error_model="numpy")
def settle(
    family: int,
    data: tuple[FloatArray, ...],
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    box: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
    normal: FloatArray,
) -> float:  # pragma: no cover
    """Move place and log depth to the least misfit inside a box; return it (Marquardt's way)."""
    rows = np.empty((2, data[0].size))
    trial = np.empty(2)
    cost = misfit(family, data, theta, extent, limits, phi, linear)
    _normal(family, data, theta, extent, limits, phi, linear, rows, normal)
    damping = 1e-3
    for _ in range(MOST_STEPS):
        a, b, d = normal[0] * (1 + damping), normal[1], normal[2] * (1 + damping)
        det = max(a * d - b * b, 1e-300)
        move = (d * normal[3] - b * normal[4]) / det, (a * normal[4] - b * normal[3]) / det
        for k in range(2):
            step = min(max(move[k], -box[2, k]), box[2, k])
            trial[k] = min(max(theta[k] + step, box[0, k]), box[1, k])
        _keep_in(family, trial, extent, box)
        new = misfit(family, data, trial, extent, limits, phi, linear)
        if new <= cost:
            gain = cost - new
            theta[:] = trial
            cost = new
            _normal(family, data, theta, extent, limits, phi, linear, rows, normal)
            damping = max(damping * 0.1, 1e-9)
            if gain < 1e-4:
                return cost
        else:
            damping *= 10.0
            if damping > 1e6:
                break
    return misfit(family, data, theta, extent, limits, phi, linear)


@njit(nogil=True, cache=True, error_model="numpy")
def _log_density(cost: float, least: float, known: float) -> float:  # pragma: no cover
    """Return the log likelihood of a misfit above the least; Student's where the noise is told."""
    if np.isinf(known):
        return -0.5 * (cost - least)
    return float(-0.5 * (known + 1.0) * np.log1p(max((cost - least) / known, -0.5)))


@njit(nogil=True, cache=True, error_model="numpy")
def _taken(
    linear: FloatArray, limits: FloatArray, turn: float, out: FloatArray
) -> float:  # pragma: no cover
    """Write index angle, log strength and their variances; return the constraints' log density.

    The angle stands within half a turn of `turn`.
    """
    p, q = linear[0], linear[1]
    square = max(p * p + q * q, 1e-300)
    angle = np.degrees(np.arctan2(-q, p))
    out[0] = angle - 360.0 * np.round((angle - turn) / 360.0)
    out[1] = 0.5 * np.log(square)
    spread = q * q * linear[2] - 2.0 * p * q * linear[3] + p * p * linear[4]
    out[2] = np.degrees(1.0) ** 2 * spread / square**2
    along = p * p * linear[2] + 2.0 * p * q * linear[3] + q * q * linear[4]
    out[3] = along / square**2
    total = 0.0
    for k in range(2):
        bound = limits[3 + k]
        width = bound[SPREAD]
        if width < np.inf:
            value = out[k]
            if k == 0 and bound[LOW] == bound[HIGH]:
                value -= 360.0 * np.round((value - bound[LOW]) / 360.0)
            wide = np.sqrt(width**2 + out[2 + k])
            low, high = bound[LOW], bound[HIGH]
            off = value - low if value < low else (value - high if value > high else 0.0)
            total -= 0.5 * (off / wide) ** 2
            if low == high:
                share = out[2 + k] / wide**2
                out[k] -= share * off
                out[2 + k] *= 1.0 - share
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def integrate(
    family: int,
    data: tuple[FloatArray, ...],
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    box: FloatArray,
    least: float,
    known: float,
    out: FloatArray,
) -> float:  # pragma: no cover
    """Settle, then integrate over place and log depth; return the least misfit.

    `out` takes the log of the integral, then the means of the quantities and their
    variances. Gauss-Hermite points around the least misfit are weighted with the true density.
    """
    phi = np.empty((5, data[0].size))
    linear, normal = np.empty(5), np.empty(5)
    cost = settle(family, data, theta, extent, limits, box, phi, linear, normal)
    found = np.empty(4)
    _taken(linear, limits, 0.0, found)
    turn = found[0]
    place_sd, depth_sd, tied = _spread(normal, box)
    if _log_density(cost, least, known) < NOWHERE:
        out[:] = 0.0
        out[0] = _log_density(cost, least, known) + np.log(2.0 * np.pi * place_sd * depth_sd)
        out[1], out[2], out[3], out[4], out[5] = theta[0], theta[1], found[0], found[1], found[1]
        return cost
    count = NODES.size
    logs, values = np.empty(count * count), np.empty((count * count, 2 * QUANTITIES))
    point = np.empty(2)
    for i in range(count):
        for j in range(count):
            k = i * count + j
            point[1] = theta[1] + depth_sd * NODES[i]
            point[0] = theta[0] + tied * NODES[i] + place_sd * NODES[j]
            logs[k] = -np.inf
            inside = True
            for m in range(2):
                inside = inside and box[0, m] <= point[m] <= box[1, m]
            if not inside or _edge_outside(family, point, extent, box):
                continue
            at = misfit(family, data, point, extent, limits, phi, linear)
            logs[k] = _taken(linear, limits, turn, found) + _log_density(at, least, known)
            logs[k] += LOG_WEIGHTS[i] + LOG_WEIGHTS[j] + 0.5 * (NODES[i] ** 2 + NODES[j] ** 2)
            values[k] = 0.0
            values[k, 0], values[k, 1] = point[0], point[1]
            values[k, 2], values[k, 3], values[k, 4] = found[0], found[1], found[1] - point[1]
            values[k, 7], values[k, 8], values[k, 9] = found[2], found[3], found[3]
    _moments(logs, values, out)
    out[0] += np.log(place_sd) + np.log(depth_sd)
    return cost


@njit(nogil=True, cache=True, error_model="numpy")
def _spread(normal: FloatArray, box: FloatArray) -> tuple[float, float, float]:  # pragma: no cover
    """Return the sd of place at a fixed depth, of log depth, and how place goes with the latter.

    Neither is wider than a third of its box.
    """
    wide = (box[1, 0] - box[0, 0]) / 3.0, (box[1, 1] - box[0, 1]) / 3.0
    place_sd = min(1.0 / np.sqrt(max(normal[0], 1e-300)), wide[0])
    left = normal[2] - normal[1] ** 2 / max(normal[0], 1e-300)
    depth_sd = min(1.0 / np.sqrt(max(left, 1e-300)), wide[1])
    return place_sd, depth_sd, -normal[1] / max(normal[0], 1e-300) * depth_sd


@njit(nogil=True, cache=True, error_model="numpy")
def _moments(logs: FloatArray, values: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """Write log of the sum, means of the quantities, and their variances."""
    top = logs.max()
    out[:] = 0.0
    out[0] = -np.inf
    if top == -np.inf:
        return
    total = 0.0
    for k in range(logs.size):
        weight = np.exp(logs[k] - top)
        if weight == 0.0:
            continue
        total += weight
        for m in range(QUANTITIES):
            out[1 + m] += weight * values[k, m]
    for m in range(QUANTITIES):
        out[1 + m] /= total
    for k in range(logs.size):
        weight = np.exp(logs[k] - top) / total
        if weight == 0.0:
            continue
        for m in range(QUANTITIES):
            about = (values[k, m] - out[1 + m]) ** 2 + values[k, QUANTITIES + m]
            out[1 + QUANTITIES + m] += weight * about
    out[0] = top + np.log(total)


@njit(nogil=True, cache=True, error_model="numpy")
def scan(
    family: int,
    data: tuple[FloatArray, ...],
    places: FloatArray,
    log_depths: FloatArray,
    extent: float,
    limits: FloatArray,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the misfit at each place (rows) and log depth (columns)."""
    phi = np.empty((5, data[0].size))
    linear, theta = np.empty(5), np.empty(2)
    for i in range(places.size):
        for j in range(log_depths.size):
            theta[0], theta[1] = places[i], log_depths[j]
            out[i, j] = misfit(family, data, theta, extent, limits, phi, linear)
