"""Many upright prisms along the axes of the grid, at many points, and their derivatives."""

import math

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT
from lodewalk.validation import FloatArray

#: Points and pairs of a point and a prism that are worked on at once, to stay in the cache.
POINTS_AT_ONCE, PAIRS_AT_ONCE = 512, 8192


def prisms_field(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    bounds: ArrayLike,
    magnetisation: ArrayLike,
) -> VectorField:
    """Return the field of upright prisms whose sides run along the axes, outside them.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement outside all prisms [m].
    bounds : array, shape (n_prisms, 6)
        West, east, south and north side, bottom and top of each prism [m].
    magnetisation : array, shape (n_prisms, 3) or (3,)
        North, east and down part of the magnetisation [A/m], of each prism or of all.

    Returns
    -------
    tuple of three arrays
        Field towards north, east and down [nT]; not finite on an edge.

    Raises
    ------
    InputError
        For bounds of another shape, out of order or not finite.

    Notes
    -----
    Second derivatives of ``1 / r`` over a prism are sums over corners, of
    ``-atan(y z / (x r))`` and ``ln(z + r)`` [1]_. Here the four logarithms of the edges that run
    one way are one, of the product of ``(r1 + r2 + l) / (r1 + r2 - l)``, and the eight arc
    tangents of the two faces across an axis are one, of the product of their halves as complex
    numbers, ``x r + sqrt((x**2 + y**2) (x**2 + z**2)) + i y z``; outside the body the third
    diagonal term is less the sum of the others.

    References
    ----------
    .. [1] Bhattacharyya, B. K. (1964), Magnetic anomalies due to prism-shaped bodies with
       arbitrary polarization, Geophysics 29(4), 517-531, doi:10.1190/1.1439386 (from memory;
       derived anew here).

    Examples
    --------
    >>> _, _, down = prisms_field(0.0, 0.0, 0.0, bounds=[[-20.0, 20.0, -5e4, 5e4, -110.0, -10.0]],
    ...     magnetisation=[0.0, 0.0, 0.397887])
    >>> round(float(down), 3)
    147.584
    """
    blocks, own = _checked(bounds, magnetisation)
    points = np.broadcast_arrays(
        *(np.asarray(part, dtype=float) for part in (easting_m, northing_m, height_m))
    )
    flat = np.column_stack([part.ravel() for part in points])
    total = _fields(flat, blocks, own[:, [1, 0, 2]] * [1.0, 1.0, -1.0])
    east, north, up = (FIELD_CONSTANT * part.reshape(points[0].shape) for part in total)
    return north, east, -up


def prism_slopes(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    bounds: ArrayLike,
    magnetisation: ArrayLike,
) -> FloatArray:
    """Return the derivatives of one prism's field with respect to its bounds and magnetisation.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement outside the prism [m].
    bounds : array, shape (6,)
        West, east, south and north side, bottom and top [m].
    magnetisation : array, shape (3,)
        North, east and down part of the magnetisation [A/m].

    Returns
    -------
    array, shape (9, 3, ...)
        Derivatives of the field towards north, east and down with respect to the six bounds
        [nT/m], then to the three parts of the magnetisation [nT m/A].

    Raises
    ------
    InputError
        For bounds of another shape, out of order or not finite.

    Notes
    -----
    A moving face adds a layer: third derivatives of ``1 / r`` over the face, such as
    ``-x z / (r (x**2 + y**2))`` at its corners (derived here).

    Examples
    --------
    >>> slopes = prism_slopes(0.0, 0.0, 0.0, bounds=[-5.0, 5.0, -5.0, 5.0, -30.0, -20.0],
    ...     magnetisation=[0.0, 0.0, 1.0])
    >>> slopes.shape, bool(slopes[5, 2] > 0.0)
    ((9, 3), True)
    """
    block, own = _checked(np.reshape(bounds, (1, -1)), magnetisation)
    points = [np.asarray(part, dtype=float) for part in (easting_m, northing_m, height_m)]
    sides = [[block[0, 2 * i + end] - points[i] for end in range(2)] for i in range(3)]
    shape = np.broadcast(*points).shape
    along = own[0, [1, 0, 2]] * [1.0, 1.0, -1.0]
    slopes = np.empty((9, 3, *shape))
    for axis in range(3):
        for end in range(2):
            layer = _layer(sides, axis, end)
            part = np.tensordot(layer, along, axes=([1], [0]))
            slopes[2 * axis + end] = part if end else -part
    for number, unit in enumerate(np.eye(3)):
        slopes[6 + number] = prisms_field(*points, bounds=block, magnetisation=unit)
    slopes[:6] = FIELD_CONSTANT * slopes[:6, [1, 0, 2]]
    slopes[:6, 2] *= -1.0
    return slopes


def _checked(bounds: ArrayLike, magnetisation: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return bounds and magnetisation, one row a prism."""
    blocks = np.ascontiguousarray(bounds, dtype=float)
    if blocks.ndim != 2 or blocks.shape[1] != 6 or not np.isfinite(blocks).all():
        raise InputError(
            "A prism has six finite bounds: west, east, south, north, bottom, top.",
            value=blocks.shape,
        )
    if not (blocks[:, ::2] < blocks[:, 1::2]).all():
        raise InputError(
            "West, south and bottom of a prism must lie below its east, north and top.",
            value=blocks[~(blocks[:, ::2] < blocks[:, 1::2]).all(axis=1)][0].tolist(),
        )
    own = np.broadcast_to(np.asarray(magnetisation, dtype=float), (len(blocks), 3))
    return blocks, own


def _layer(sides: list[list[FloatArray]], axis: int, end: int) -> NDArray[np.float64]:
    """Return the derivative of the tensor with respect to a face's place, shape (3, 3, ...)."""
    one, two = [other for other in range(3) if other != axis]
    x = sides[axis][end]
    layer = np.zeros((3, 3, *np.broadcast(x, sides[one][0], sides[two][0]).shape))
    for first in range(2):
        for second in range(2):
            sign = 1.0 if first == second else -1.0
            y, z = sides[one][first], sides[two][second]
            r = np.sqrt(x * x + y * y + z * z)
            # 0 on the line of an edge, where the two corners cancel
            by_one = sign / (r * _above_zero(x * x + y * y))
            by_two = sign / (r * _above_zero(x * x + z * z))
            layer[one, one] -= y * z * by_one
            layer[two, two] -= y * z * by_two
            layer[axis, one] -= x * z * by_one
            layer[axis, two] -= x * y * by_two
            layer[one, two] += sign / r
    layer[axis, axis] = -layer[one, one] - layer[two, two]
    for i, j in ((axis, one), (axis, two), (one, two)):
        layer[j, i] = layer[i, j]
    return layer


def _above_zero(square: FloatArray) -> FloatArray:
    """Return a square, infinite where it is zero."""
    return np.where(square > 0.0, square, np.inf)


def _fields(points: FloatArray, blocks: FloatArray, own: FloatArray) -> FloatArray:
    """Return the field of all prisms at each point towards east, north and up, without C."""
    total = np.zeros((3, len(points)))
    # one room for all: pages of memory asked for anew would take longer than the sums
    room = np.empty(7 * max(PAIRS_AT_ONCE, POINTS_AT_ONCE))
    for low in range(0, len(points), POINTS_AT_ONCE):
        here = np.ascontiguousarray(points[low : low + POINTS_AT_ONCE].T)
        some = max(1, PAIRS_AT_ONCE // here.shape[1])
        for start in range(0, len(blocks), some):
            part = slice(start, start + some)
            count = (7, len(blocks[part]), here.shape[1])
            terms = room[: math.prod(count)].reshape(count)
            _arguments(here, blocks[part], terms)
            with np.errstate(divide="ignore", invalid="ignore"):
                np.log(terms[:3], out=terms[:3])
            np.arctan2(terms[5:], terms[3:5], out=terms[3:5])
            _add(terms, own[part], total[:, low : low + POINTS_AT_ONCE])
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def _add(terms: FloatArray, own: FloatArray, total: FloatArray) -> None:  # pragma: no cover
    """Add the field of each prism, from its logarithms and arc tangents."""
    for b in range(terms.shape[1]):
        m_x, m_y, m_z = own[b, 0], own[b, 1], own[b, 2]
        for at in range(terms.shape[2]):
            xy, xz, yz = terms[0, b, at], terms[1, b, at], terms[2, b, at]
            xx, yy = -2.0 * terms[3, b, at], -2.0 * terms[4, b, at]
            total[0, at] += xx * m_x + xy * m_y + xz * m_z
            total[1, at] += xy * m_x + yy * m_y + yz * m_z
            total[2, at] += xz * m_x + yz * m_y - (xx + yy) * m_z


@njit(nogil=True, cache=True, error_model="numpy")
def _arguments(points: FloatArray, blocks: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """Put the arguments of logarithms (xy, xz, yz) and arc tangents (xx, yy) into `out`."""
    for b in range(len(blocks)):
        west, east, south, north, bottom, top = blocks[b]
        width, length, extent = east - west, north - south, top - bottom
        for at in range(points.shape[1]):
            x0, x1 = west - points[0, at], east - points[0, at]
            y0, y1 = south - points[1, at], north - points[1, at]
            z0, z1 = bottom - points[2, at], top - points[2, at]
            xx0, xx1, yy0, yy1, zz0, zz1 = x0 * x0, x1 * x1, y0 * y0, y1 * y1, z0 * z0, z1 * z1
            # from the point to the edges that run along each axis
            x00, x01, x10, x11 = _roots(yy0, yy1, zz0, zz1)
            y00, y01, y10, y11 = _roots(xx0, xx1, zz0, zz1)
            z00, z01, z10, z11 = _roots(xx0, xx1, yy0, yy1)
            # and to the corners: west, then east
            r00, r01, r10, r11 = _roots(xx0 + yy0, xx0 + yy1, zz0, zz1)
            s00, s01, s10, s11 = _roots(xx1 + yy0, xx1 + yy1, zz0, zz1)
            out[0, b, at] = _ratio(extent, r00 + r01, r10 + r11, s00 + s01, s10 + s11)
            out[1, b, at] = _ratio(length, r00 + r10, r01 + r11, s00 + s10, s01 + s11)
            out[2, b, at] = _ratio(width, r00 + s00, r01 + s01, r10 + s10, r11 + s11)
            p, q = _face(x0, y0, y1, z0, z1, r00, r01, r10, r11, z00, z01, y00, y01)
            v, w = _face(x1, y0, y1, z0, z1, s00, s01, s10, s11, z10, z11, y10, y11)
            out[3, b, at], out[5, b, at] = p * v + q * w, p * w - q * v
            p, q = _face(y0, x0, x1, z0, z1, r00, r01, s00, s01, z00, z10, x00, x01)
            v, w = _face(y1, x0, x1, z0, z1, r10, r11, s10, s11, z01, z11, x10, x11)
            out[4, b, at], out[6, b, at] = p * v + q * w, p * w - q * v


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _roots(
    a0: float, a1: float, b0: float, b1: float
) -> tuple[float, float, float, float]:  # pragma: no cover
    """Return the roots of the sums of two squares and two others."""
    return math.sqrt(a0 + b0), math.sqrt(a0 + b1), math.sqrt(a1 + b0), math.sqrt(a1 + b1)


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _ratio(
    side: float, low: float, lower: float, upper: float, high: float
) -> float:  # pragma: no cover
    """Return what four parallel edges give, from the sums of their corners' distances."""
    above = (low + side) * (high + side) * (lower - side) * (upper - side)
    below = (low - side) * (high - side) * (lower + side) * (upper + side)
    return above / below


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _face(
    x: float,
    y0: float,
    y1: float,
    z0: float,
    z1: float,
    r00: float,
    r01: float,
    r10: float,
    r11: float,
    a0: float,
    a1: float,
    b0: float,
    b1: float,
) -> tuple[float, float]:  # pragma: no cover
    """Return a complex number whose angle is half the sum of a face's four arc tangents."""
    away = abs(x)
    turn = math.copysign(1.0, x)
    p = away * r11 + a1 * b1
    q = away * r00 + a0 * b0
    v = away * r10 + a1 * b0
    w = away * r01 + a0 * b1
    # in line with an edge both parts are zero: that corner has no angle
    p += p == 0.0
    q += q == 0.0
    v += v == 0.0
    w += w == 0.0
    one, two, three, four = turn * y1 * z1, turn * y0 * z0, -turn * y1 * z0, -turn * y0 * z1
    p, one = p * q - one * two, p * two + q * one
    v, three = v * w - three * four, v * four + w * three
    return p * v - one * three, p * three + v * one
