"""Kernel of the fit of a body and thin sheets beside it: curves, slopes and the search.

The formulas are those of `lodewalk.methods.inversion.models.shape_curves`, and are tested against
them; here they stand once more so that a whole search runs compiled.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lodewalk.validation import FloatArray

ComplexArray = NDArray[np.complex128]

SHEET, DYKE, CONTACT, CYLINDER, SPHERE, FINITE, STEP = range(7)
CODES = {
    "thin sheet": SHEET, "dyke": DYKE, "contact": CONTACT, "cylinder": CYLINDER, "sphere": SPHERE,
    "finite dyke": FINITE, "step": STEP,
}  # fmt: skip
#: Below this share of the square of a distance, a width is taken in by a series.
NARROW = 1e-3
ITERATIONS = 80
#: Fall of the squares still promised under which a search ends.
RESTED = 1e-3


@njit(nogil=True, cache=True, error_model="numpy")
def _strip(z: complex, square: float) -> tuple[complex, complex, complex]:  # pragma: no cover
    """Return the function of a level strip, its change with place and with the square."""
    over = square / z**2
    change = -1j / (z**2 - square)
    if abs(over) < NARROW:
        series = 1.0 + over * (1 / 3 + over * (1 / 5 + over * (1 / 7 + over / 9)))
        rising = 1 / 3 + over * (2 / 5 + over * (3 / 7 + over * (4 / 9 + over * 5 / 11)))
        return 1j / z * series, change, 1j / z**3 * rising
    half = np.sqrt(complex(square))
    value = 1j * np.log((z + half) / (z - half)) / (2.0 * half)
    return value, change, (-change * z - value) / (2.0 * square)


@njit(nogil=True, cache=True, error_model="numpy")
def _point(
    code: int, z: complex, shape: FloatArray, found: ComplexArray
) -> None:  # pragma: no cover
    """Write the function of a long body at one place, and its slopes by the body's shape."""
    if code == SHEET:
        found[0] = 1j / z
        found[1] = found[0] / z
    elif code == CYLINDER:
        found[0] = -1.0 / z**2
        found[1] = 2.0 * found[0] / z
    elif code == CONTACT:
        found[0] = np.pi + 1j * np.log(z / shape[1])
        found[1] = -1j / z
    elif code == DYKE:
        value, change, widening = _strip(z, shape[2])
        found[0], found[1], found[3] = value, -change, widening
    found[2] = -1j * found[1]
    if code == CONTACT:
        found[2] -= 1j / shape[1]


@njit(nogil=True, cache=True, error_model="numpy")
def _with_bottom(
    code: int, z: complex, shape: FloatArray, found: ComplexArray
) -> None:  # pragma: no cover
    """Write the function of a body with a bottom at one place, and its slopes by the shape."""
    first = 3 if code == FINITE else 2
    thick, turn = shape[first] - shape[1], np.radians(shape[first + 1])
    slant = 1.0 / np.tan(turn)
    below = z + thick * (1j - slant)
    if code == FINITE:
        value, top, widening = _strip(z, shape[2])
        under, bottom, less = _strip(below, shape[2])
        found[3] = widening - less
    else:
        value, top = 1j * np.log(z), 1j / z
        under, bottom = 1j * np.log(below), 1j / below
    found[0] = value - under
    found[1] = bottom - top
    found[2] = 1j * top - bottom * slant
    found[first + 1] = -bottom * (1j - slant)
    found[first + 2] = -bottom * thick / np.sin(turn) ** 2 * (np.pi / 180.0)


@njit(nogil=True, cache=True, error_model="numpy")
def _sphere(
    x: float, h: float, columns: FloatArray, slopes: FloatArray, i: int
) -> None:  # pragma: no cover
    """Write the three curves of a dipole at one place, and their slopes."""
    square = x * x + h * h
    fifth = square**-2.5
    even, odd, radial = 1.5 * (h * h - x * x) * fifth, 3.0 * x * h * fifth, 0.5 * square**-1.5
    columns[0, i], columns[1, i], columns[2, i] = even, odd, radial
    third = -3.0 * radial / square
    slopes[0, 0, i] = 3.0 * x * fifth + 5.0 * x / square * even
    slopes[0, 1, i] = -3.0 * h * fifth + 5.0 * x / square * odd
    slopes[0, 2, i] = -third * x
    slopes[1, 0, i] = 3.0 * h * fifth - 5.0 * h / square * even
    slopes[1, 1, i] = 3.0 * x * fifth - 5.0 * h / square * odd
    slopes[1, 2, i] = third * h


@njit(nogil=True, cache=True, error_model="numpy")
def body_curves(
    code: int, distance: FloatArray, rise: FloatArray, shape: FloatArray, columns: FloatArray,
    slopes: FloatArray,
) -> None:  # fmt: skip # pragma: no cover
    """Write a body's curves, shape (k, n), and their slopes by its shape, shape (q, k, n)."""
    found = np.zeros(6, dtype=np.complex128)
    for i in range(distance.size):
        x, h = distance[i] - shape[0], shape[1] + rise[i]
        if code == SPHERE:
            _sphere(x, h, columns, slopes, i)
            continue
        if code in (FINITE, STEP):
            _with_bottom(code, complex(x, h), shape, found)
        else:
            _point(code, complex(x, h), shape, found)
        columns[0, i], columns[1, i] = found[0].real, found[0].imag
        for q in range(shape.size):
            slopes[q, 0, i], slopes[q, 1, i] = found[q + 1].real, found[q + 1].imag


@njit(nogil=True, cache=True, error_model="numpy")
def _weights(upper: FloatArray, held: FloatArray) -> FloatArray:  # pragma: no cover
    """Return the weights of a basis; a column that is like others has none."""
    count = held.size
    found = np.zeros(count)
    largest = 0.0
    for k in range(count):
        largest = max(largest, abs(upper[k, k]))
    for k in range(count - 1, -1, -1):
        left = held[k]
        for j in range(k + 1, count):
            left -= upper[k, j] * found[j]
        if abs(upper[k, k]) > 1e-11 * largest:
            found[k] = left / upper[k, k]
    return found


@njit(nogil=True, cache=True, error_model="numpy")
def _designed(
    code: int, parts: int, own: int, distance: FloatArray, rise: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:  # pragma: no cover
    """Return columns of body and sheets, the body's slopes, and those of each sheet."""
    count, sheets = distance.size, (shape.size - own) // 2
    columns = np.empty((parts + 2 * sheets, count))
    slopes = np.empty((own, parts, count))
    beside = np.empty((sheets, 2, 2, count))
    body_curves(code, distance, rise, shape[:own], columns[:parts], slopes)
    for k in range(sheets):
        first = parts + 2 * k
        place = shape[own + 2 * k : own + 2 * k + 2]
        body_curves(SHEET, distance, rise, place, columns[first : first + 2], beside[k])
    return columns, slopes, beside


@njit(nogil=True, cache=True, error_model="numpy")
def linearised(
    code: int, parts: int, own: int, distance: FloatArray, rise: FloatArray, turned: FloatArray,
    trend: FloatArray, data: FloatArray, liken: FloatArray, shape: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip # pragma: no cover
    """Return residuals, slopes of the model without its linear part, and the basis of that.

    Residuals end with those of the sheets' depths against the one that they are likened to,
    `liken`: that depth and the standard deviation of the logarithm of the ratio.
    """
    count, sheets = distance.size, (shape.size - own) // 2
    columns, slopes, beside = _designed(code, parts, own, distance, rise, shape)
    design = np.concatenate((columns @ turned, trend))
    size = np.sqrt((design**2).sum(axis=1))
    turning, upper = np.linalg.qr(np.ascontiguousarray((design / size.reshape(-1, 1)).T))
    basis, over = np.ascontiguousarray(turning), np.ascontiguousarray(turning.T)
    held = over @ data
    weights = _weights(upper, held) / size
    raw = np.zeros((shape.size, count))
    for q in range(own):
        for k in range(parts):
            raw[q] += weights[k] * slopes[q, k]
    for s in range(sheets):
        for q in range(2):
            for k in range(2):
                raw[own + 2 * s + q] += weights[parts + 2 * s + k] * beside[s, q, k]
    white = raw @ turned
    white -= (white @ basis) @ over
    left = np.empty(count + sheets)
    left[:count] = data - basis @ held
    rows = np.zeros((shape.size, count + sheets))
    rows[:, :count] = white
    for s in range(sheets):
        deep = shape[own + 2 * s + 1]
        left[count + s] = np.log(liken[0] / deep) / liken[1]
        rows[own + 2 * s + 1, count + s] = 1.0 / (liken[1] * deep)
    return left, rows, basis


@njit(nogil=True, cache=True, error_model="numpy")
def _stepped(
    slopes: FloatArray, left: FloatArray, free: NDArray[np.bool_], damping: float
) -> tuple[FloatArray, float]:  # pragma: no cover
    """Return a damped step of the free parameters, and by how much the squares should fall."""
    rows = slopes[free]
    normal, right = rows @ np.ascontiguousarray(rows.T), rows @ left
    size = np.empty(right.size)
    for k in range(right.size):
        size[k] = np.sqrt(max(normal[k, k], 1e-300))
    for k in range(right.size):
        normal[k] /= size[k] * size
        normal[k, k] += damping + 1e-12
    step = np.zeros(slopes.shape[0])
    part = np.linalg.solve(normal, right / size) / size
    step[free] = part
    return step, float((right * part).sum())


@njit(nogil=True, cache=True, error_model="numpy")
def allowed(code: int, own: int, limits: FloatArray, shape: FloatArray) -> bool:  # pragma: no cover
    """Return whether depths are possible and places within reach of the profile.

    `limits` are the profile's length and middle, the place looked for, the least depth, the
    body's own reach in depths, and the least thickness.
    """
    length, middle, about, least, reach, thick = limits
    depth = shape[1]
    if not (least < depth < 2.0 * length and abs(shape[0] - about) < 0.3 * length):
        return False
    if code in (DYKE, FINITE) and not -(depth**2) < 2.0 * shape[2] < length**2:
        return False
    if code in (FINITE, STEP):
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
    code: int, parts: int, own: int, distance: FloatArray, rise: FloatArray, turned: FloatArray,
    trend: FloatArray, data: FloatArray, liken: FloatArray, limits: FloatArray,
    free: NDArray[np.bool_], start: FloatArray,
) -> tuple[FloatArray, FloatArray, float, float]:  # fmt: skip # pragma: no cover
    """Return shape, slopes and squares at the minimum, and the fall still promised there."""
    shape = start.copy()
    left, slopes, _ = linearised(
        code, parts, own, distance, rise, turned, trend, data, liken, shape
    )
    cost, damping, promised = (left * left).sum(), 1e-2, np.inf
    for _ in range(ITERATIONS):
        step, promised = _stepped(slopes, left, free, damping)
        if promised < RESTED + 1e-6 * cost:
            break
        trial = shape + step
        if allowed(code, own, limits, trial):
            new, changed, _ = linearised(
                code, parts, own, distance, rise, turned, trend, data, liken, trial
            )
            square = (new * new).sum()
            if square < cost:
                shape, left, slopes, cost = trial, new, changed, square
                damping = max(damping / 10.0, 1e-9)
                continue
        damping *= 6.0
        if damping > 1e8:
            break
    return shape, slopes, cost, promised
