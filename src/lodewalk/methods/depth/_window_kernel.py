"""Kernel of the fit of a body and thin sheets beside it: curves, slopes and the search.

The formulas are those of `lodewalk.methods.inversion.models.shape_curves`, and are tested against
them; here they stand once more so that a whole search runs compiled. Plain loops over numbers
throughout: what works on whole arrays takes many times as long to compile.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lodewalk.validation import FloatArray

SHEET, DYKE, CONTACT, CYLINDER, SPHERE, FINITE, STEP = range(7)
CODES = {
    "thin sheet": SHEET, "dyke": DYKE, "contact": CONTACT, "cylinder": CYLINDER, "sphere": SPHERE,
    "finite dyke": FINITE, "step": STEP,
}  # fmt: skip
#: Below this share of the square of a distance, a width is taken in by a series.
NARROW = 1e-3
#: A column with a smaller share than this of its own is like the others.
LIKE = 1e-11
ITERATIONS = 80
#: Fall of the squares still promised under which a search ends.
RESTED = 1e-3


@njit(nogil=True, cache=True, error_model="numpy")
def _inverse(z: complex) -> complex:  # pragma: no cover
    """Return one over a number, with less code than is good for numbers of any size."""
    return z.conjugate() * (1.0 / (z.real * z.real + z.imag * z.imag))


@njit(nogil=True, cache=True, error_model="numpy")
def _logarithm(z: complex) -> complex:  # pragma: no cover
    """Return the logarithm of a number."""
    square = z.real * z.real + z.imag * z.imag
    return complex(0.5 * np.log(square), np.arctan2(z.imag, z.real))


@njit(nogil=True, cache=True, error_model="numpy")
def _strip(z: complex, square: float) -> tuple[complex, complex, complex]:  # pragma: no cover
    """Return the function of a level strip, its change with place and with the square."""
    inverse = _inverse(z)
    over = inverse * inverse * square
    change = _inverse(z * z - square) * -1j
    if abs(over.real) + abs(over.imag) < NARROW:
        series = 1.0 + over * (1 / 3 + over * (1 / 5 + over * (1 / 7 + over * (1 / 9))))
        rising = 1 / 3 + over * (2 / 5 + over * (3 / 7 + over * (4 / 9 + over * (5 / 11))))
        return inverse * series * 1j, change, inverse * inverse * inverse * rising * 1j
    root = np.sqrt(abs(square))
    half = complex(root, 0.0) if square > 0.0 else complex(0.0, root)
    value = _logarithm((z + half) * _inverse(z - half)) * half.conjugate() * (0.5j / abs(square))
    return value, change, (change * z + value) * (-0.5 / square)


@njit(nogil=True, cache=True, error_model="numpy")
def _long_body(
    code: int, z: complex, shape: FloatArray, columns: FloatArray, slopes: FloatArray, i: int
) -> None:  # pragma: no cover
    """Write the function of a long body at one place, and its slopes by the body's shape."""
    bottomed, wide = code in (FINITE, STEP), code in (DYKE, FINITE)
    thick, slant, turning = 0.0, 0.0, 0.0
    first = 3 if code == FINITE else 2
    if bottomed:
        turn = shape[first + 1] * (np.pi / 180.0)
        thick, slant = shape[first] - shape[1], np.cos(turn) / np.sin(turn)
        turning = thick / np.sin(turn) ** 2 * (np.pi / 180.0)
    total, across, down, widening = 0j, 0j, 0j, 0j
    # the top, and less the bottom
    for side in range(2 if bottomed else 1):
        place = z + complex(-slant, 1.0) * (side * thick)
        inverse = _inverse(place)
        value, change, width = inverse * 1j, inverse * inverse * -1j, 0j
        if wide:
            value, change, width = _strip(place, shape[2])
        elif code == CYLINDER:
            value = inverse * inverse * -1.0
            change = value * inverse * -2.0
        elif code == CONTACT:
            value, change = _logarithm(z * (1.0 / shape[1])) * 1j + np.pi, inverse * 1j
        elif code == STEP:
            value, change = _logarithm(place) * 1j, inverse * 1j
        sign = 1.0 - 2.0 * side
        total += value * sign
        across -= change * sign
        widening += width * sign
        if side == 0:
            down += change * 1j
        else:
            # the top's depth makes the body thinner
            down -= change * slant
            bottom, dip = change * complex(slant, -1.0), change * -turning
            slopes[first, 0, i], slopes[first, 1, i] = bottom.real, bottom.imag
            slopes[first + 1, 0, i], slopes[first + 1, 1, i] = dip.real, dip.imag
    if code == CONTACT:
        down -= complex(0.0, 1.0 / shape[1])
    columns[0, i], columns[1, i] = total.real, total.imag
    slopes[0, 0, i], slopes[0, 1, i] = across.real, across.imag
    slopes[1, 0, i], slopes[1, 1, i] = down.real, down.imag
    if wide:
        slopes[2, 0, i], slopes[2, 1, i] = widening.real, widening.imag


@njit(nogil=True, cache=True, error_model="numpy")
def _sphere(
    x: float, h: float, columns: FloatArray, slopes: FloatArray, i: int
) -> None:  # pragma: no cover
    """Write the three curves of a dipole at one place, and their slopes."""
    square = x * x + h * h
    third = 1.0 / (square * np.sqrt(square))
    fifth = third / square
    even, odd, radial = 1.5 * (h * h - x * x) * fifth, 3.0 * x * h * fifth, 0.5 * third
    columns[0, i], columns[1, i], columns[2, i] = even, odd, radial
    change = -3.0 * radial / square
    slopes[0, 0, i] = 3.0 * x * fifth + 5.0 * x / square * even
    slopes[0, 1, i] = -3.0 * h * fifth + 5.0 * x / square * odd
    slopes[0, 2, i] = -change * x
    slopes[1, 0, i] = 3.0 * h * fifth - 5.0 * h / square * even
    slopes[1, 1, i] = 3.0 * x * fifth - 5.0 * h / square * odd
    slopes[1, 2, i] = change * h


@njit(nogil=True, cache=True, error_model="numpy")
def body_curves(
    code: int, distance: FloatArray, rise: FloatArray, shape: FloatArray, columns: FloatArray,
    slopes: FloatArray,
) -> None:  # fmt: skip # pragma: no cover
    """Write a body's curves, first of shape (k, n), and their slopes by its shape, (q, k, n)."""
    for i in range(distance.size):
        x, h = distance[i] - shape[0], shape[1] + rise[i]
        if code == SPHERE:
            _sphere(x, h, columns, slopes, i)
        else:
            _long_body(code, complex(x, h), shape, columns, slopes, i)


@njit(nogil=True, cache=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _whitened(rows: FloatArray, lower: FloatArray, white: FloatArray) -> None:  # pragma: no cover
    """Write rows over the readings with the errors made independent, by a lower triangle."""
    for k in range(rows.shape[0]):
        for j in range(lower.shape[0]):
            total = 0.0
            for i in range(j + 1):
                total += rows[k, i] * lower[j, i]
            white[k, j] = total


@njit(nogil=True, cache=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _dot(one: FloatArray, other: FloatArray, count: int) -> float:  # pragma: no cover
    """Return the sum of products, in an order that is quick."""
    total = 0.0
    for m in range(count):
        total += one[m] * other[m]
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def _take_off(
    row: FloatArray, share: float, other: FloatArray, count: int
) -> None:  # pragma: no cover
    """Take a share of another row off a row."""
    for m in range(count):
        row[m] -= share * other[m]


@njit(nogil=True, cache=True, error_model="numpy")
def _based(design: FloatArray, upper: FloatArray) -> None:  # pragma: no cover
    """Turn rows into an orthonormal basis, twice by Gram and Schmidt's way; `upper` makes them.

    Rows that are like those before become nothing.
    """
    parts, count = design.shape
    for k in range(parts):
        size = np.sqrt(_dot(design[k], design[k], count)) + 1e-300
        for j in range(k):
            upper[j, k] = 0.0
        for _ in range(2):
            for j in range(k):
                share = _dot(design[k], design[j], count)
                upper[j, k] += share
                _take_off(design[k], share, design[j], count)
        own = np.sqrt(_dot(design[k], design[k], count))
        upper[k, k] = own if own > LIKE * size else 0.0
        scale = 1.0 / own if own > LIKE * size else 0.0
        for m in range(count):
            design[k, m] *= scale


@njit(nogil=True, cache=True, error_model="numpy")
def _weights(upper: FloatArray, held: FloatArray) -> FloatArray:  # pragma: no cover
    """Return the weights of a basis; a column that is like others has none."""
    found = np.zeros(held.size)
    for k in range(held.size - 1, -1, -1):
        left = held[k]
        for j in range(k + 1, held.size):
            left -= upper[k, j] * found[j]
        if upper[k, k] > 0.0:
            found[k] = left / upper[k, k]
    return found


@njit(nogil=True, cache=True, error_model="numpy")
def _sheets(
    own: int, parts: int, distance: FloatArray, rise: FloatArray, shape: FloatArray,
    columns: FloatArray,
) -> None:  # fmt: skip # pragma: no cover
    """Write the two curves of each thin sheet beside the body."""
    for s in range((shape.size - own) // 2):
        place, depth = shape[own + 2 * s], shape[own + 2 * s + 1]
        for i in range(distance.size):
            x, h = distance[i] - place, depth + rise[i]
            over = 1.0 / (x * x + h * h)
            columns[parts + 2 * s, i], columns[parts + 2 * s + 1, i] = h * over, x * over


@njit(nogil=True, cache=True, error_model="numpy")
def _raw(
    own: int, parts: int, columns: FloatArray, slopes: FloatArray, weights: FloatArray,
    raw: FloatArray,
) -> None:  # fmt: skip # pragma: no cover
    """Write the model's changes with the shape, its weights as they are."""
    for i in range(columns.shape[1]):
        for q in range(own):
            total = 0.0
            for k in range(parts):
                total += weights[k] * slopes[q, k, i]
            raw[q, i] = total
        for s in range((raw.shape[0] - own) // 2):
            even, odd = columns[parts + 2 * s, i], columns[parts + 2 * s + 1, i]
            # the change of i / z is i / z squared
            real, imaginary = 2.0 * even * odd, odd * odd - even * even
            first, second = weights[parts + 2 * s], weights[parts + 2 * s + 1]
            raw[own + 2 * s, i] = first * real + second * imaginary
            raw[own + 2 * s + 1, i] = first * imaginary - second * real


@njit(nogil=True, cache=True, error_model="numpy")
def linearised(
    code: int, parts: int, own: int, distance: FloatArray, rise: FloatArray, lower: FloatArray,
    trend: FloatArray, data: FloatArray, liken: FloatArray, shape: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip # pragma: no cover
    """Return residuals, slopes of the model without its linear part, and the basis of that.

    Residuals end with those of the sheets' depths against the one that they are likened to,
    `liken`: that depth and the standard deviation of the logarithm of the ratio. The basis has
    a row for each column of the model.
    """
    count, sheets = distance.size, (shape.size - own) // 2
    all_parts = parts + 2 * sheets
    columns, basis = np.empty((all_parts, count)), np.empty((all_parts + 2, count))
    slopes = np.empty((own, parts, count))
    body_curves(code, distance, rise, shape, columns, slopes)
    _sheets(own, parts, distance, rise, shape, columns)
    _whitened(columns, lower, basis)
    for i in range(count):
        basis[all_parts, i], basis[all_parts + 1, i] = trend[0, i], trend[1, i]
    upper = np.empty((all_parts + 2, all_parts + 2))
    _based(basis, upper)
    left, held = np.empty(count + sheets), np.empty(all_parts + 2)
    for i in range(count):
        left[i] = data[i]
    for k in range(all_parts + 2):
        held[k] = _dot(left, basis[k], count)
        _take_off(left, held[k], basis[k], count)
    raw, rows = np.empty((shape.size, count)), np.zeros((shape.size, count + sheets))
    _raw(own, parts, columns, slopes, _weights(upper, held), raw)
    _whitened(raw, lower, rows)
    for q in range(shape.size):
        for k in range(all_parts + 2):
            _take_off(rows[q], _dot(rows[q], basis[k], count), basis[k], count)
    for s in range(sheets):
        deep = shape[own + 2 * s + 1]
        left[count + s] = np.log(liken[0] / deep) / liken[1]
        rows[own + 2 * s + 1, count + s] = 1.0 / (liken[1] * deep)
    return left, rows, basis


@njit(nogil=True, cache=True, error_model="numpy")
def _solved(normal: FloatArray, right: FloatArray) -> FloatArray:  # pragma: no cover
    """Return a solution by Cholesky's factor, which takes the place of the lower triangle."""
    number = right.size
    step = right.copy()
    for q in range(number):
        for r in range(q + 1):
            value = normal[q, r]
            for m in range(r):
                value -= normal[q, m] * normal[r, m]
            normal[q, r] = np.sqrt(max(value, 1e-15)) if q == r else value / normal[r, r]
        for m in range(q):
            step[q] -= normal[q, m] * step[m]
        step[q] /= normal[q, q]
    for q in range(number - 1, -1, -1):
        for m in range(q + 1, number):
            step[q] -= normal[m, q] * step[m]
        step[q] /= normal[q, q]
    return step


@njit(nogil=True, cache=True, error_model="numpy")
def _stepped(
    slopes: FloatArray, left: FloatArray, free: NDArray[np.bool_], damping: float
) -> tuple[FloatArray, float]:  # pragma: no cover
    """Return a damped step of the free parameters, and by how much the squares should fall."""
    number, count = slopes.shape
    normal, right, size = np.zeros((number, number)), np.zeros(number), np.ones(number)
    for q in range(number):
        normal[q, q] = 1.0 + damping + 1e-12
        if not free[q]:
            continue
        size[q] = np.sqrt(max(_dot(slopes[q], slopes[q], count), 1e-300))
        right[q] = _dot(slopes[q], left, count) / size[q]
        for r in range(q):
            if free[r]:
                normal[q, r] = _dot(slopes[q], slopes[r], count) / (size[q] * size[r])
    step = _solved(normal, right)
    promised = 0.0
    for q in range(number):
        promised += right[q] * step[q]
        step[q] /= size[q]
    return step, promised


@njit(nogil=True, cache=True, error_model="numpy")
def allowed(code: int, own: int, limits: FloatArray, shape: FloatArray) -> bool:  # pragma: no cover
    """Return whether depths are possible and places within reach of the profile.

    `limits` are the profile's length and middle, the place looked for, the least depth, the
    body's own reach in depths, and the least thickness.
    """
    length, middle, about, least = limits[0], limits[1], limits[2], limits[3]
    reach, thick, depth = limits[4], limits[5], shape[1]
    if not (least < depth < 2.0 * length and abs(shape[0] - about) < 0.3 * length):
        return False
    wide, bottomed = code in (DYKE, FINITE), code in (FINITE, STEP)
    if wide and not -(depth**2) < 2.0 * shape[2] < length**2:
        return False
    if bottomed:
        bottom = shape[3 if code == FINITE else 2]
        if not thick * depth < bottom < 30.0 * length:
            return False
    for k in range(own, shape.size, 2):
        near = abs(shape[k] - middle) < 0.75 * length
        apart = abs(shape[k] - shape[0]) > reach * depth
        if not (near and apart and least < shape[k + 1] < 2.0 * length):
            return False
    return True


@njit(nogil=True, cache=True, error_model="numpy")
def searched(
    code: int, parts: int, own: int, distance: FloatArray, rise: FloatArray, lower: FloatArray,
    trend: FloatArray, data: FloatArray, liken: FloatArray, limits: FloatArray,
    free: NDArray[np.bool_], start: FloatArray,
) -> tuple[FloatArray, FloatArray, float, float]:  # fmt: skip # pragma: no cover
    """Return shape, slopes and squares at the minimum, and the fall still promised there."""
    shape, trial, best = start.copy(), start.copy(), np.zeros((1, 1))
    left, step = np.zeros(1), np.zeros(start.size)
    cost, damping, promised = np.inf, 1e-1, np.inf
    for _ in range(ITERATIONS + 1):
        # one place for the call, as each is compiled anew; the first is of the start
        better = False
        if cost == np.inf or allowed(code, own, limits, trial):
            new, slopes, _basis = linearised(
                code, parts, own, distance, rise, lower, trend, data, liken, trial
            )
            square = _dot(new, new, new.size)
            if square < cost or cost == np.inf:
                better = True
                shape, best, left, cost = trial, slopes, new, square
        damping = max(damping / 10.0, 1e-9) if better else damping * 6.0
        if damping > 1e8:
            break
        step, promised = _stepped(best, left, free, damping)
        if promised < RESTED + 1e-6 * cost:
            break
        trial = np.empty(start.size)
        for q in range(start.size):
            trial[q] = shape[q] + step[q]
    return shape, best, cost, promised
