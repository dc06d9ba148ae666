"""Kernel of the quick fit of a thick dyke under independent noise: starts, steps, sums.

Readings come whitened with level and slope projected out: `base` holds two orthonormal rows,
`weight` one over the standard deviation. A shape is position, logarithm of the depth below the
lowest sensor, and the smooth scale of the squared half width of `Problem`.
"""

import math

import numpy as np
from numba import njit

from lodewalk.methods.inversion._problem import BELOW_THIN
from lodewalk.methods.inversion._quick_math import angles, logarithms
from lodewalk.validation import FloatArray

#: Most steps from a start, and the share of the cost below which no step is worth going.
_STEPS, _ENOUGH = 40, 1e-9
#: Share of the squared depth below which a squared half width is taken in by a series.
_NARROW = 2e-3
#: Half widths in depths from which the steps begin.
_BEGIN = np.array([0.3, 1.0, 3.0])
#: Share of the squared half width in the squared depth that a sheet takes for a dyke.
_SHARE = 0.5
#: Steps before starts are compared, and how far above the best cost one goes on.
_ROUGH, _NEAR = 4, 1.5
#: Cost above that of the differences of neighbours from which more starts are tried, how many.
_EXPECTED, _TRIED = 1.15, 3
#: Of the scan: readings that it looks at, places, depths, the least depth in lengths, their ratio.
_LOOKED, _PLACES, _DEPTHS, _SHALLOW, _RATIO = 64, 32, 7, 0.008, 1.8
#: Rounds of the linear start; of its rows, which hold the reading and which power of the place, and
#: where the sums that hold no reading, one or two begin.
_ROUNDS = 4
_READING, _POWER, _FIRST = (1, 1, 0, 0, 0, 0, 1), (1, 0, 0, 1, 2, 3, 2), (0, 7, 13)


@njit(nogil=True, cache=True, error_model="numpy")
def _curves(
    x: FloatArray, rise: FloatArray, weight: FloatArray, shape: FloatArray, fc: FloatArray,
    fs: FloatArray, work: FloatArray,
) -> float:  # fmt: skip
    """Fill the two whitened curves of a shape; return the squared half width."""
    below = math.exp(shape[1])
    square = BELOW_THIN * below**2 * math.expm1(shape[2])
    if abs(square) < _NARROW * below**2:
        _narrow(x, rise, weight, shape[0], below, square, fc, fs)
    else:
        _wide(x, rise, shape[0], below, square, work)
        angle, log = (fc, fs) if square > 0.0 else (fs, fc)
        logarithms(work[0], log)
        angles(work[1], work[2], angle)
        share = 0.5 / math.sqrt(abs(square))
        for i in range(x.size):
            angle[i] *= weight[i] * share
            log[i] *= weight[i] * 0.5 * share
    return square


@njit(nogil=True, cache=True, error_model="numpy")
def _wide(
    x: FloatArray, rise: FloatArray, position: float, below: float, square: float,
    work: FloatArray,
) -> None:  # fmt: skip
    """Fill what the curves are the logarithm and the angle of: one value, then two."""
    half = math.sqrt(abs(square))
    over, up = (half, 0.0) if square > 0.0 else (0.0, half)
    for i in range(x.size):
        away, deep = x[i] - position, below + rise[i]
        far = away * away + deep * deep
        both, cross = far + abs(square), 2.0 * (away * over + deep * up)
        work[0, i] = (both + cross) / (both - cross)
        work[1, i], work[2, i] = 2.0 * (deep * over + away * up), far - abs(square)


@njit(nogil=True, cache=True, error_model="numpy")
def _narrow(
    x: FloatArray, rise: FloatArray, weight: FloatArray, position: float, below: float,
    square: float, fc: FloatArray, fs: FloatArray,
) -> None:  # fmt: skip
    """Fill the curves of a dyke far narrower than deep, by a series."""
    for i in range(x.size):
        away, deep = x[i] - position, below + rise[i]
        far = 1.0 / (away * away + deep * deep)
        one = complex(away * far, -deep * far)
        over = square * one * one
        value = 1j * one * (1.0 + over * (1 / 3 + over * (1 / 5 + over * (1 / 7 + over / 9))))
        fc[i], fs[i] = weight[i] * value.real, weight[i] * value.imag


@njit(nogil=True, cache=True, error_model="numpy")
def _weights(
    fc: FloatArray, fs: FloatArray, base: FloatArray, data: FloatArray, sums: FloatArray
) -> float:
    """Solve the weights of the two curves into `sums`; return the drop of the cost."""
    cc = cs = ss = c0 = c1 = s0 = s1 = cy = sy = 0.0
    for i in range(fc.size):
        c, s, e0, e1, y = fc[i], fs[i], base[0, i], base[1, i], data[i]
        cc += c * c
        cs += c * s
        ss += s * s
        c0 += c * e0
        c1 += c * e1
        s0 += s * e0
        s1 += s * e1
        cy += c * y
        sy += s * y
    cc -= c0 * c0 + c1 * c1
    cs -= c0 * s0 + c1 * s1
    ss -= s0 * s0 + s1 * s1
    cc, ss = cc * (1.0 + 1e-13) + 1e-300, ss * (1.0 + 1e-13) + 1e-300
    whole = cc * ss - cs * cs
    if not whole > 0.0:
        whole = 1e-13 * cc * ss
    sums[0], sums[1] = (ss * cy - cs * sy) / whole, (cc * sy - cs * cy) / whole
    sums[2], sums[3], sums[4], sums[5] = cc, cs, ss, whole
    sums[6], sums[7], sums[8], sums[9] = c0, c1, s0, s1
    return float(sums[0] * cy + sums[1] * sy)


@njit(nogil=True, cache=True, error_model="numpy")
def _slopes(
    x: FloatArray, rise: FloatArray, weight: FloatArray, shape: FloatArray, square: float,
    fc: FloatArray, fs: FloatArray, sums: FloatArray, slopes: FloatArray,
) -> None:  # fmt: skip
    """Fill the slopes of the model with the shape, shape (3, n), before projection."""
    below = math.exp(shape[1])
    cosine, sine = sums[0], sums[1]
    widen = BELOW_THIN * below**2 * math.exp(shape[2])
    if abs(square) < _NARROW * below**2:
        _narrow_widening(x, rise, weight, shape[0], below, square, sums, slopes[2])
    for i in range(x.size):
        away, deep = x[i] - shape[0], below + rise[i]
        # -i (C - i S) / (z^2 - u), the slope with the place times the weights
        re, im = away * away - deep * deep - square, 2.0 * away * deep
        size = weight[i] / (re * re + im * im)
        re, im = re * size, -im * size
        slopes[0, i] = sine * re - cosine * im
        slopes[1, i] = sine * im + cosine * re
    if abs(square) >= _NARROW * below**2:
        halved = 0.5 / square
        for i in range(x.size):
            away, deep = x[i] - shape[0], below + rise[i]
            moved = slopes[1, i] * deep - slopes[0, i] * away
            slopes[2, i] = -(moved + cosine * fc[i] + sine * fs[i]) * halved
    for i in range(x.size):
        slopes[1, i] = below * slopes[1, i] + 2.0 * square * slopes[2, i]
        slopes[2, i] *= widen


@njit(nogil=True, cache=True, error_model="numpy")
def _narrow_widening(
    x: FloatArray, rise: FloatArray, weight: FloatArray, position: float, below: float,
    square: float, sums: FloatArray, widening: FloatArray,
) -> None:  # fmt: skip
    """Fill the slope with the squared half width of a dyke far narrower than deep."""
    both = complex(sums[1], sums[0])
    for i in range(x.size):
        away, deep = x[i] - position, below + rise[i]
        far = 1.0 / (away * away + deep * deep)
        one = complex(away * far, -deep * far)
        over = square * one * one
        rising = 1 / 3 + over * (2 / 5 + over * (3 / 7 + over * 4 / 9))
        widening[i] = weight[i] * (both * one * one * one * rising).real


@njit(nogil=True, cache=True, error_model="numpy")
def _normal(
    data: FloatArray, sums: FloatArray, rows: FloatArray, matrix: FloatArray, pull: FloatArray
) -> float:  # fmt: skip
    """Fill the normal equations of the shape across everything linear; return the cost."""
    c, s = sums[0], sums[1]
    e0, e1 = c * sums[6] + s * sums[8], c * sums[7] + s * sums[9]
    slopes, rest = rows[:3], rows[7]
    for i in range(data.size):
        rest[i] = data[i] - c * rows[3, i] - s * rows[4, i] + e0 * rows[5, i] + e1 * rows[6, i]
    both = np.dot(slopes, rows.T)
    pull[:] = both[:, 7]
    for i in range(3):
        for j in (3, 4):
            both[i, j] -= both[i, 5] * sums[2 * j] + both[i, 6] * sums[2 * j + 1]
    for i in range(3):
        for j in range(i + 1):
            taken = (sums[4] * both[i, 3] - sums[3] * both[i, 4]) * both[j, 3]
            taken += (sums[2] * both[i, 4] - sums[3] * both[i, 3]) * both[j, 4]
            held = both[i, 5] * both[j, 5] + both[i, 6] * both[j, 6]
            matrix[i, j] = matrix[j, i] = both[i, j] - held - taken / sums[5]
    return float(np.dot(rest, rest))


@njit(nogil=True, cache=True, error_model="numpy")
def _solved(matrix: FloatArray, pull: FloatArray, damping: float, step: FloatArray) -> None:
    """Solve three damped normal equations in closed form."""
    a, b, c = matrix[0, 0], matrix[1, 1], matrix[2, 2]
    a, b, c = a + damping * a + 1e-300, b + damping * b + 1e-300, c + damping * c + 1e-300
    d, e, f = matrix[0, 1], matrix[0, 2], matrix[1, 2]
    x, y, z = b * c - f * f, e * f - d * c, d * f - b * e
    whole = a * x + d * y + e * z
    if not abs(whole) > 1e-300:
        whole = 1e-300
    step[0] = (x * pull[0] + y * pull[1] + z * pull[2]) / whole
    step[1] = (y * pull[0] + (a * c - e * e) * pull[1] + (d * e - a * f) * pull[2]) / whole
    step[2] = (z * pull[0] + (d * e - a * f) * pull[1] + (a * b - d * d) * pull[2]) / whole


@njit(nogil=True, cache=True, error_model="numpy")
def descend_dyke(
    x: FloatArray, rise: FloatArray, weight: FloatArray, rows: FloatArray, data: FloatArray,
    shape: FloatArray, low: FloatArray, high: FloatArray, work: FloatArray, steps: int,
) -> tuple[float, bool, int]:  # fmt: skip
    """Move a shape down to its minimum; return the cost, whether it rested, and steps taken.

    `rows` holds three slopes, two curves, the two rows of the base and residuals; `work` five more
    rows, two of them curves on trial.
    """
    whole = float(np.dot(data, data))
    sums, other = np.empty(10), np.empty(10)
    matrix, pull, step = np.empty((3, 3)), np.empty(3), np.empty(3)
    trial, damping, cost = np.empty(3), 1e-2, 0.0
    square = _curves(x, rise, weight, shape, rows[3], rows[4], work)
    _weights(rows[3], rows[4], rows[5:7], data, sums)
    for count in range(steps):
        _slopes(x, rise, weight, shape, square, rows[3], rows[4], sums, rows)
        cost = _normal(data, sums, rows, matrix, pull)
        better = False
        while damping < 1e8:
            _solved(matrix, pull, damping, step)
            promised = 0.0
            for j in range(3):
                most = 0.25 * (x[-1] - x[0]) if j == 0 else 1.5
                trial[j] = min(max(shape[j] + min(max(step[j], -most), most), low[j]), high[j])
                promised += pull[j] * (trial[j] - shape[j])
            if promised <= _ENOUGH * cost:
                return cost, True, count
            square = _curves(x, rise, weight, trial, work[3], work[4], work)
            drop = _weights(work[3], work[4], rows[5:7], data, other)
            if whole - drop < cost:
                better = True
                break
            damping = max(8.0 * damping, 1e-4)
        if not better:
            return cost, True, count
        damping = max(0.1 * damping, 1e-9)
        shape[:] = trial
        rows[3:5] = work[3:5]
        sums[:] = other
    return cost, False, steps


@njit(nogil=True, cache=True, error_model="numpy")
def _moments(
    x: FloatArray, weight: FloatArray, data: FloatArray, middle: float, scale: float,
    linear: float, square: float, moments: FloatArray,
) -> None:  # fmt: skip
    """Fill sums of powers of the place: of the weights alone, times readings, times squares."""
    v0 = v1 = v2 = v3 = v4 = v5 = v6 = 0.0
    u0 = u1 = u2 = u3 = u4 = u5 = 0.0
    y0 = y1 = y2 = y3 = y4 = 0.0
    for i in range(x.size):
        t = (x[i] - middle) / scale
        w = 1.0 / (t * t - linear * t + square)
        y, v = data[i] * w, weight[i] * w
        a, b, c = v * v, v * y, y * y
        v0 += a
        u0 += b
        y0 += c
        a, b, c = a * t, b * t, c * t
        v1 += a
        u1 += b
        y1 += c
        a, b, c = a * t, b * t, c * t
        v2 += a
        u2 += b
        y2 += c
        a, b, c = a * t, b * t, c * t
        v3 += a
        u3 += b
        y3 += c
        a, b, c = a * t, b * t, c * t
        v4 += a
        u4 += b
        y4 += c
        a, b = a * t, b * t
        v5 += a
        u5 += b
        v6 += a * t
    moments[:7] = (v0, v1, v2, v3, v4, v5, v6)
    moments[7:13] = (u0, u1, u2, u3, u4, u5)
    moments[13:] = (y0, y1, y2, y3, y4)


@njit(nogil=True, cache=True, error_model="numpy")
def begin_dyke(x: FloatArray, weight: FloatArray, data: FloatArray) -> tuple[float, float]:
    """Return place and depth of a thin sheet from the readings, by a few linear solutions.

    ``y (x^2 - 2 x0 x + x0^2 + h^2)`` is a cubic in x for a sheet with level and slope: linear
    least squares, each round weighted by the denominator of the one before (Sanathanan and
    Koerner 1963, from memory). Values are not above zero depth where nothing was found.
    """
    middle, scale = 0.5 * (x[0] + x[-1]), 0.5 * (x[-1] - x[0])
    place, depth = 0.0, 1.0
    matrix, moments = np.zeros((7, 7)), np.zeros(18)
    for _ in range(_ROUNDS):
        linear, square = 2.0 * place, place * place + depth * depth
        _moments(x, weight, data, middle, scale, linear, square, moments)
        for j in range(7):
            # powers of t of each row, and how often it holds the reading
            p, m = _POWER[j], _READING[j]
            for k in range(j + 1):
                matrix[j, k] = matrix[k, j] = moments[_FIRST[m + _READING[k]] + p + _POWER[k]]
        for j in range(6):
            matrix[j, j] *= 1.0 + 1e-9
        found = np.linalg.solve(matrix[:6, :6], matrix[:6, 6])
        new_place, new_square = 0.5 * found[0], -found[1]
        if not new_square - new_place * new_place > 1e-5 or abs(new_place) > 1.2:
            return middle + scale * place, -scale * depth
        place, depth = new_place, math.sqrt(new_square - new_place * new_place)
    return middle + scale * place, scale * depth


@njit(nogil=True, cache=True, error_model="numpy")
def _scanned(
    x: FloatArray, rise: FloatArray, weight: FloatArray, data: FloatArray,
    places: FloatArray, depths: FloatArray,
) -> None:  # fmt: skip
    """Fill the best places of a thin sheet along the profile and its depth at each."""
    every = max(x.size // _LOOKED, 1)
    first, second, rest = (
        weight[every // 2 :: every].copy(),
        x[every // 2 :: every],
        data[every // 2 :: every].copy(),
    )
    first /= math.sqrt(np.dot(first, first))
    second = second * weight[every // 2 :: every]
    second -= np.dot(first, second) * first
    second /= math.sqrt(np.dot(second, second))
    rest -= np.dot(first, rest) * first
    rest -= np.dot(second, rest) * second
    drops, deep = np.zeros(_PLACES), np.empty(_PLACES)
    for k in range(_PLACES):
        place = x[0] + (x[-1] - x[0]) * (k + 0.5) / _PLACES
        for m in range(_DEPTHS):
            below = (x[-1] - x[0]) * _SHALLOW * _RATIO**m
            cc = cs = ss = c0 = c1 = s0 = s1 = cy = sy = 0.0
            for j in range(rest.size):
                i = every // 2 + j * every
                away, down = x[i] - place, below + rise[i]
                size = weight[i] / (away * away + down * down)
                c, s, e0, e1, y = down * size, away * size, first[j], second[j], rest[j]
                cc += c * c
                cs += c * s
                ss += s * s
                c0 += c * e0
                c1 += c * e1
                s0 += s * e0
                s1 += s * e1
                cy += c * y
                sy += s * y
            cc -= c0 * c0 + c1 * c1
            cs -= c0 * s0 + c1 * s1
            ss -= s0 * s0 + s1 * s1
            drop = (ss * cy * cy - 2.0 * cs * cy * sy + cc * sy * sy) / max(
                cc * ss - cs * cs, 1e-9 * cc * ss
            )
            if drop > drops[k]:
                drops[k], deep[k] = drop, below
    for k in range(places.size):
        best = int(np.argmax(drops))
        places[k] = x[0] + (x[-1] - x[0]) * (best + 0.5) / _PLACES
        depths[k] = deep[best]
        drops[max(best - 2, 0) : best + 3] = -1.0


@njit(nogil=True, cache=True, error_model="numpy")
def _from_sheet(
    x: FloatArray, rise: FloatArray, weight: FloatArray, rows: FloatArray, data: FloatArray,
    low: FloatArray, high: FloatArray, work: FloatArray, place: float, depth: float,
    shape: FloatArray,
) -> tuple[float, bool]:  # fmt: skip
    """Find the least cost from the widths that a sheet may stand for.

    Every start goes a few steps, those that stay near the best go to their ends.
    """
    trials, costs = np.empty((_BEGIN.size, 3)), np.empty(_BEGIN.size)
    for k in range(_BEGIN.size):
        ratio = _BEGIN[k]
        trials[k, 0] = place
        trials[k, 1] = math.log(depth / math.sqrt(1.0 + _SHARE * ratio * ratio))
        trials[k, 2] = math.log1p(ratio * ratio / BELOW_THIN)
        for j in range(3):
            trials[k, j] = min(max(trials[k, j], low[j]), high[j])
        costs[k] = descend_dyke(x, rise, weight, rows, data, trials[k], low, high, work, _ROUGH)[0]
    least, best, rested = np.min(costs), np.inf, False
    for k in range(_BEGIN.size):
        if costs[k] <= _NEAR * least and not (np.isfinite(best) and _same(trials[k], shape)):
            cost, ended, _ = descend_dyke(
                x, rise, weight, rows, data, trials[k], low, high, work, _STEPS
            )
            if cost < best:
                best, rested = cost, ended
                shape[:] = trials[k]
    return best, rested


@njit(nogil=True, cache=True)
def _same(one: FloatArray, other: FloatArray) -> bool:
    """Return whether two shapes lie so close that they end in the same minimum."""
    below = math.exp(one[1])
    return bool(
        abs(one[0] - other[0]) < 0.05 * below
        and abs(one[1] - other[1]) < 0.05
        and abs(one[2] - other[2]) < 0.1
    )


@njit(nogil=True, cache=True, error_model="numpy")
def lowest_dyke(
    x: FloatArray, rise: FloatArray, weight: FloatArray, rows: FloatArray, data: FloatArray,
    low: FloatArray, high: FloatArray, work: FloatArray, shape: FloatArray,
) -> tuple[float, bool]:  # fmt: skip
    """Find the shape of the least cost from the readings alone; return the cost, whether it rested.

    Where the linear start leads to more than the differences of neighbours let expect, the best
    places of a thin sheet along the profile are tried as well.
    """
    place, depth = begin_dyke(x, weight, data)
    best, rested, third = np.inf, False, np.empty(3)
    if depth > 0.0:
        best, rested = _from_sheet(
            x, rise, weight, rows, data, low, high, work, place, depth, shape
        )
    rough = 0.0
    for i in range(2, x.size - 2):
        bend = data[i - 2] - 4.0 * (data[i - 1] + data[i + 1]) + 6.0 * data[i] + data[i + 2]
        rough += bend * bend / 70.0
    if best > _EXPECTED * rough * x.size / (x.size - 4):
        places, depths = np.empty(_TRIED), np.empty(_TRIED)
        _scanned(x, rise, weight, data, places, depths)
        for k in range(_TRIED):
            cost, ended = _from_sheet(
                x, rise, weight, rows, data, low, high, work, places[k], depths[k], third
            )
            if cost < best:
                best, rested = cost, ended
                shape[:] = third
    return best, rested


@njit(nogil=True, cache=True)
def lowest_dykes(
    x: FloatArray, rise: FloatArray, weight: FloatArray, base: FloatArray, data: FloatArray,
    low: FloatArray, high: FloatArray,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return shapes, shape (m, 3), and costs of many rows of data; rested as a cost above zero.

    A cost with the sign turned stands for a search that did not come to rest.
    """
    work, rows = np.empty((5, x.size)), np.empty((8, x.size))
    rows[5:7] = base
    shapes, costs = np.empty((len(data), 3)), np.empty(len(data))
    for i in range(len(data)):
        cost, rested = lowest_dyke(x, rise, weight, rows, data[i], low, high, work, shapes[i])
        costs[i] = cost if rested else -max(cost, 1e-300)
    return shapes, costs
