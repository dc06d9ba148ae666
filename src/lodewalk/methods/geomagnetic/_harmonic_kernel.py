"""The compiled sum over spherical harmonics; imported only when a field is wanted.

Points are taken in blocks. Each block has one row of workspace a quantity, and the innermost loops
run along these rows, so that the compiler can treat several points in one instruction. Each point
is summed in the same order wherever it stands, so a result does not depend on its neighbours.

With ratio = reference radius / radius and theta the colatitude, the terms of order m >= 1 are

    T_n = ratio^(n+2) P_n^m(cos theta) / sin^m(theta),

which stay finite at the poles. From the recursions of the Schmidt functions (Winch et al. 2005,
doi:10.1111/j.1365-246X.2004.02472.x)

    root_n T_n = (2n - 1) ratio cos(theta) T_(n-1) - root_(n-1) ratio^2 T_(n-2),
    d/dtheta (ratio^(n+2) P_n^m) = sin^(m-1)(theta) [n cos(theta) T_n - root_n ratio T_(n-1)],

with root_n = sqrt(n^2 - m^2). The powers of sin(theta) ride on cos(m lon) and sin(m lon).
"""

import math

import numpy as np
from numba import njit

from lodewalk.validation import FloatArray

_BLOCK = 256
_ROWS = 17

# Rows of the workspace: the place,
_COS_COLAT, _SIN_COLAT, _COS_LON, _SIN_LON, _RATIO, _RATIO_COS, _RATIO_SQUARED = range(7)
# the last two terms, the slope of the last zonal term, the first term of the order at hand,
_OLDER, _TERM, _SLOPE, _FIRST = range(7, 11)
# sin^(m-1)(theta) times cos(m lon) and sin(m lon),
_COS_M, _SIN_M = range(11, 13)
# and the sums: outward (that of m >= 1 still lacks a factor sin(theta)), southward, eastward.
_OUT_ZONAL, _OUT_OVER_SINE, _SOUTH, _EAST = range(13, 17)


@njit(nogil=True, cache=True)
def sum_harmonics(
    g: FloatArray,
    h: FloatArray,
    place: FloatArray,
    north_east_down: FloatArray,
) -> None:
    """Write the field [unit of g, h] of every point to the rows of `north_east_down`.

    `place` has one row each for the cosine and sine of the colatitude, the cosine and sine of the
    longitude, and the reference radius over the radius; north and down are geocentric.
    """
    work = np.empty((_ROWS, _BLOCK))
    for start in range(0, place.shape[1], _BLOCK):
        count = min(_BLOCK, place.shape[1] - start)
        _begin(work, place, start, count)
        _add_zonal(work, g, count)
        for order in range(1, g.shape[0]):
            if order > 1:
                _raise_order(work, order, count)
            _add_order(work, g, h, order, count)
        for i in range(count):
            outward = work[_OUT_ZONAL, i] + work[_SIN_COLAT, i] * work[_OUT_OVER_SINE, i]
            north_east_down[0, start + i] = -work[_SOUTH, i]
            north_east_down[1, start + i] = work[_EAST, i]
            north_east_down[2, start + i] = -outward


@njit(nogil=True, cache=True)
def _begin(work: FloatArray, place: FloatArray, start: int, count: int) -> None:
    """Copy the places of one block, clear its sums and set up order 1."""
    for i in range(count):
        ratio = place[4, start + i]
        work[_COS_COLAT, i] = place[0, start + i]
        work[_SIN_COLAT, i] = place[1, start + i]
        work[_COS_LON, i] = work[_COS_M, i] = place[2, start + i]
        work[_SIN_LON, i] = work[_SIN_M, i] = place[3, start + i]
        work[_RATIO, i] = ratio
        work[_RATIO_COS, i] = ratio * work[_COS_COLAT, i]
        work[_RATIO_SQUARED, i] = ratio * ratio
        work[_FIRST, i] = ratio * ratio * ratio
        work[_OUT_ZONAL, i] = work[_OUT_OVER_SINE, i] = work[_SOUTH, i] = work[_EAST, i] = 0.0


@njit(nogil=True, cache=True)
def _add_zonal(work: FloatArray, g: FloatArray, count: int) -> None:
    """Add order 0; with x = cos(theta) the slope follows dP_n/dx = n P_(n-1) + x dP_(n-1)/dx."""
    for i in range(count):
        work[_OLDER, i], work[_TERM, i], work[_SLOPE, i] = 0.0, work[_RATIO_SQUARED, i], 0.0
    for degree in range(1, g.shape[0]):
        forward, back = (2.0 * degree - 1.0) / degree, (degree - 1.0) / degree
        outward, southward = (degree + 1.0) * g[degree, 0], g[degree, 0]
        for i in range(count):
            older, last, slope = work[_OLDER, i], work[_TERM, i], work[_SLOPE, i]
            term = forward * work[_RATIO_COS, i] * last - back * work[_RATIO_SQUARED, i] * older
            slope = work[_RATIO, i] * (degree * last + work[_COS_COLAT, i] * slope)
            work[_OLDER, i], work[_TERM, i], work[_SLOPE, i] = last, term, slope
            work[_OUT_ZONAL, i] += outward * term
            work[_SOUTH, i] += southward * work[_SIN_COLAT, i] * slope


@njit(nogil=True, cache=True)
def _raise_order(work: FloatArray, order: int, count: int) -> None:
    """Step the first term and the functions of longitude from order - 1 to `order`."""
    factor = math.sqrt((2.0 * order - 1.0) / (2.0 * order))
    for i in range(count):
        cosine, sine, scale = work[_COS_M, i], work[_SIN_M, i], work[_SIN_COLAT, i]
        work[_COS_M, i] = scale * (cosine * work[_COS_LON, i] - sine * work[_SIN_LON, i])
        work[_SIN_M, i] = scale * (sine * work[_COS_LON, i] + cosine * work[_SIN_LON, i])
        work[_FIRST, i] *= factor * work[_RATIO, i]


@njit(nogil=True, cache=True)
def _add_order(work: FloatArray, g: FloatArray, h: FloatArray, order: int, count: int) -> None:
    """Add every degree of one order above 0."""
    for i in range(count):
        work[_OLDER, i], work[_TERM, i] = 0.0, work[_FIRST, i]
    root_before = 0.0
    for degree in range(order, g.shape[0]):
        root = math.sqrt(float(degree * degree - order * order))
        if degree > order:
            forward, back = (2.0 * degree - 1.0) / root, root_before / root
            for i in range(count):
                older, last = work[_OLDER, i], work[_TERM, i]
                work[_OLDER, i] = last
                work[_TERM, i] = (
                    forward * work[_RATIO_COS, i] * last - back * work[_RATIO_SQUARED, i] * older
                )
        cos_part, sin_part = g[degree, order], h[degree, order]
        for i in range(count):
            term, cosine, sine = work[_TERM, i], work[_COS_M, i], work[_SIN_M, i]
            along = cos_part * cosine + sin_part * sine
            across = cos_part * sine - sin_part * cosine
            slope = degree * work[_COS_COLAT, i] * term - root * work[_RATIO, i] * work[_OLDER, i]
            work[_OUT_OVER_SINE, i] += (degree + 1.0) * term * along
            work[_SOUTH, i] -= slope * along
            work[_EAST, i] += order * term * across
        root_before = root
