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
#: Columns of the table of constraints.
LOW, HIGH, SPREAD = 0, 1, 2
#: Rows of the table of a profile: the whitening takes six, the basis (of level, slope and
#: neighbours) the rest. One table in place of seven arrays halves the time to compile.
DISTANCE, RISE, READING, WHITENING, BASIS = 0, 1, 2, 3, 9
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
    data: FloatArray,
    place: float,
    depth: float,
    extent: float,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the symmetric and the antisymmetric curve to the first rows of `out`, shape (5, n).

    The other rows are worked in: angles and logarithms go row by row, which is quick. Of `data`
    distance and rise are read.
    """
    angle, log, up, along, ratio = out[0], out[1], out[2], out[3], out[4]
    b = extent
    for i in range(angle.size):
        x, y = data[DISTANCE, i] - place, depth + data[RISE, i]
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
        for i in range(angle.size):
            up[i] += b
        angles(up, along, ratio)
        for i in range(angle.size):
            angle[i] -= ratio[i]
    by_angle, by_log = _factors(family, b)
    for i in range(angle.size):
        angle[i] *= by_angle
        log[i] *= by_log


@njit(nogil=True, cache=True, error_model="numpy")
def _slopes(
    family: int,
    data: FloatArray,
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
    for i in range(data.shape[1]):
        x, y = data[DISTANCE, i] - place, depth + data[RISE, i]
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
def _prepare(rows: FloatArray, k: int, data: FloatArray) -> None:  # pragma: no cover
    """Whiten a row in place and take off what the basis explains."""
    whiten(rows, k, data, WHITENING)
    for m in range(BASIS, data.shape[0]):
        share = _dot(data, m, rows, k)
        for i in range(data.shape[1]):
            rows[k, i] -= share * data[m, i]


@njit(nogil=True, cache=True)
def _dot(a: FloatArray, j: int, b: FloatArray, k: int) -> float:  # pragma: no cover
    """Return the product of a row of one table and a row of another."""
    total = 0.0
    for i in range(a.shape[1]):
        total += a[j, i] * b[k, i]
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def _solve(data: FloatArray, phi: FloatArray, out: FloatArray) -> float:  # pragma: no cover
    """Write p, q and the inverse of their normal matrix to `out`; return the misfit."""
    a = b = d = u = v = whole = 0.0
    for i in range(data.shape[1]):
        one, two, value = phi[0, i], phi[1, i], data[READING, i]
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
def _beyond(value: float, limits: FloatArray, k: int) -> float:  # pragma: no cover
    """Return how far a value lies from a measured one, in its standard deviation."""
    if limits[k, LOW] == limits[k, HIGH]:
        return float((value - limits[k, LOW]) / limits[k, SPREAD])
    return 0.0


@njit(nogil=True, cache=True, error_model="numpy")
def misfit(
    family: int,
    data: FloatArray,
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
) -> float:  # pragma: no cover
    """Return the misfit at place and log depth with the constraints on them.

    `data` holds distance, rise, whitened readings, whitening and basis in its rows.
    """
    depth = np.exp(theta[1])
    curves(family, data, theta[0], depth, extent * depth, phi)
    _prepare(phi, 0, data)
    _prepare(phi, 1, data)
    cost = _solve(data, phi, linear)
    cost += _beyond(theta[0], limits, 0) ** 2 + _beyond(depth, limits, 1) ** 2
    return cost + _beyond(extent * depth, limits, 2) ** 2


@njit(nogil=True, cache=True, error_model="numpy")
def _normal(
    family: int,
    data: FloatArray,
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
    rows: FloatArray,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the Gauss-Newton matrix (3) and half the downhill gradient (2) to `out`."""
    depth = np.exp(theta[1])
    _slopes(family, data, theta[0], depth, extent * depth, linear[0], linear[1], rows)
    for i in range(data.shape[1]):
        phi[2, i] = data[READING, i] - linear[0] * phi[0, i] - linear[1] * phi[1, i]
    cross = np.empty((2, 2))
    part = 0
    for k in range(2):
        _prepare(rows, k, data)
        cross[k, 0], cross[k, 1] = _dot(rows, k, phi, 0), _dot(rows, k, phi, 1)
        out[3 + k] = _dot(rows, k, phi, 2)
        for j in range(k + 1):
            # what the linear parameters take over is no information on place and depth
            taken = cross[k, 0] * (linear[2] * cross[j, 0] + linear[3] * cross[j, 1])
            taken += cross[k, 1] * (linear[3] * cross[j, 0] + linear[4] * cross[j, 1])
            out[part] = _dot(rows, k, rows, j) - taken
            part += 1
    # constraints on place, depth and extent, with the change of each
    for k in range(3):
        value = theta[0] if k == 0 else (depth if k == 1 else extent * depth)
        if limits[k, LOW] == limits[k, HIGH]:
            rate = (1.0 if k == 0 else value) / limits[k, SPREAD]
            which = min(k, 1)
            out[2 * which] += rate**2
            out[3 + which] -= rate * _beyond(value, limits, k)


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
    data: FloatArray,
    theta: FloatArray,
    extent: float,
    limits: FloatArray,
    box: FloatArray,
    phi: FloatArray,
    linear: FloatArray,
    normal: FloatArray,
) -> float:  # pragma: no cover
    """Move place and log depth to the least misfit inside a box; return it (Marquardt's way)."""
    rows = np.empty((2, data.shape[1]))
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
            theta[0], theta[1] = trial[0], trial[1]
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
    out[0] = angle - 360.0 * np.rint((angle - turn) / 360.0)
    out[1] = 0.5 * np.log(square)
    spread = q * q * linear[2] - 2.0 * p * q * linear[3] + p * p * linear[4]
    out[2] = np.degrees(1.0) ** 2 * spread / square**2
    along = p * p * linear[2] + 2.0 * p * q * linear[3] + q * q * linear[4]
    out[3] = along / square**2
    total = 0.0
    for k in range(2):
        low, high, width = limits[3 + k, LOW], limits[3 + k, HIGH], limits[3 + k, SPREAD]
        if width < np.inf:
            value = out[k]
            if k == 0 and low == high:
                value -= 360.0 * np.rint((value - low) / 360.0)
            wide = np.sqrt(width**2 + out[2 + k])
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
    data: FloatArray,
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
    phi = np.empty((5, data.shape[1]))
    linear, normal = np.empty(5), np.empty(5)
    cost = settle(family, data, theta, extent, limits, box, phi, linear, normal)
    found = np.empty(4)
    _taken(linear, limits, 0.0, found)
    turn = found[0]
    place_sd, depth_sd, tied = _spread(normal, box)
    if _log_density(cost, least, known) < NOWHERE:
        _clear(out)
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
            values[k, 5] = values[k, 6] = 0.0
            values[k, 0], values[k, 1] = point[0], point[1]
            values[k, 2], values[k, 3], values[k, 4] = found[0], found[1], found[1] - point[1]
            values[k, 7], values[k, 8], values[k, 9] = found[2], found[3], found[3]
    _moments(logs, values, out)
    out[0] += np.log(place_sd) + np.log(depth_sd)
    return cost


@njit(nogil=True, cache=True)
def _clear(out: FloatArray) -> None:  # pragma: no cover
    """Set all to zero."""
    for k in range(out.size):
        out[k] = 0.0


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
    top, total = -np.inf, 0.0
    for k in range(logs.size):
        top = max(top, logs[k])
    _clear(out)
    out[0] = -np.inf
    if top == -np.inf:
        return
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
    data: FloatArray,
    places: FloatArray,
    log_depths: FloatArray,
    extent: float,
    limits: FloatArray,
    out: FloatArray,
) -> None:  # pragma: no cover
    """Write the misfit at each place (rows) and log depth (columns)."""
    phi = np.empty((5, data.shape[1]))
    linear, theta = np.empty(5), np.empty(2)
    for i in range(places.size):
        for j in range(log_depths.size):
            theta[0], theta[1] = places[i], log_depths[j]
            out[i, j] = misfit(family, data, theta, extent, limits, phi, linear)
