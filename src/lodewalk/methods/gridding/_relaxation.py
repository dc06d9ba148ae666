"""Kernels of the minimum curvature engine: one sweep over a grid, and the data moved to nodes."""

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Rows this far apart don't touch each other's neighbours, so they may be worked on at once.
_APART = 3


@njit(nogil=True, cache=True)
def _at_border(u: FloatArray, i: int, j: int) -> tuple[float, float]:
    """Return the bending and the tension at a node near the border, where terms are missing."""
    rows, columns = u.shape
    bend, stretch = 0.0, 0.0
    for k in range(max(j - 1, 1), min(j + 2, columns - 1)):
        second = u[i, k - 1] - 2.0 * u[i, k] + u[i, k + 1]
        bend += second if k != j else -2.0 * second
    for k in range(max(i - 1, 1), min(i + 2, rows - 1)):
        second = u[k - 1, j] - 2.0 * u[k, j] + u[k + 1, j]
        bend += second if k != i else -2.0 * second
    for k in range(max(i - 1, 0), min(i + 1, rows - 1)):
        for m in range(max(j - 1, 0), min(j + 1, columns - 1)):
            twist = u[k, m] - u[k, m + 1] - u[k + 1, m] + u[k + 1, m + 1]
            bend += 2.0 * twist if (k == i) == (m == j) else -2.0 * twist
    for k, m in ((i, j - 1), (i, j + 1), (i - 1, j), (i + 1, j)):
        if 0 <= k < rows and 0 <= m < columns:
            stretch += u[i, j] - u[k, m]
    return bend, stretch


@njit(nogil=True, cache=True)
def step_factor(
    weight: FloatArray, bending: float, tension: float, relaxation: float
) -> FloatArray:
    """Return the relaxation over the factor of each node in its own equation."""
    rows, columns = weight.shape
    factor = np.empty((rows, columns))
    inner = 20.0 * bending + 4.0 * tension
    for i in range(rows):
        for j in range(columns):
            own = inner
            if i < 2 or j < 2 or i >= rows - 2 or j >= columns - 2:
                own = _own_at_border(i, j, rows, columns, bending, tension)
            factor[i, j] = relaxation / (weight[i, j] + own)
    return factor


@njit(nogil=True, cache=True)
def _own_at_border(
    i: int, j: int, rows: int, columns: int, bending: float, tension: float
) -> float:
    """Return the factor of a node near the border, where terms are missing."""
    bend = 0.0
    for k in range(max(i - 1, 1), min(i + 2, rows - 1)):
        bend += 1.0 if k != i else 4.0
    for k in range(max(j - 1, 1), min(j + 2, columns - 1)):
        bend += 1.0 if k != j else 4.0
    cells = (min(i + 1, rows - 1) - max(i - 1, 0)) * (min(j + 1, columns - 1) - max(j - 1, 0))
    sides = (i > 0) + (i < rows - 1) + (j > 0) + (j < columns - 1)
    return bending * (bend + 2.0 * cells) + tension * sides


@njit(nogil=True, cache=True)
def _inner_row(
    rows: tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray],
    weight: FloatArray,
    right: FloatArray,
    factor: FloatArray,
    bending: float,
    tension: float,
    backward: bool,
) -> None:
    """Relax the middle one of five rows but for two nodes at each end, every third node at once.

    Nodes three apart don't wait for each other. Unsigned numbers spare the question whether an
    index counts from the end, which takes most of the time otherwise.
    """
    below2, below, here, above, above2 = rows
    for turn in range(_APART):
        first = _APART - 1 - turn if backward else turn
        for place in range(2 + first, here.size - 2, _APART):
            j = np.uint64(place)
            west, east = np.uint64(place - 1), np.uint64(place + 1)
            far_west, far_east = np.uint64(place - 2), np.uint64(place + 2)
            own = here[j]
            sides = here[west] + here[east] + below[j] + above[j]
            corners = below[west] + below[east] + above[west] + above[east]
            far = here[far_west] + here[far_east] + below2[j] + above2[j]
            bend = 20.0 * own - 8.0 * sides + 2.0 * corners + far
            rest = right[j] - weight[j] * own - bending * bend - tension * (4.0 * own - sides)
            here[j] = own + factor[j] * rest


@njit(nogil=True, cache=True, parallel=True)
def sweep(
    u: FloatArray,
    weight: FloatArray,
    right: FloatArray,
    factor: FloatArray,
    bending: float,
    tension: float,
    backward: bool,
) -> None:
    """Relax all nodes once, in place, a third of the rows at a time.

    `factor` is the relaxation over the diagonal. Each row reads rows that no other thread writes,
    so the number of threads changes nothing.
    """
    count, columns = u.shape
    for turn in range(_APART):
        first = _APART - 1 - turn if backward else turn
        for step in prange((count - first + _APART - 1) // _APART):
            i = first + _APART * step
            ends = columns
            if 2 <= i < count - 2 and columns > 4:
                rows = (u[i - 2], u[i - 1], u[i], u[i + 1], u[i + 2])
                _inner_row(rows, weight[i], right[i], factor[i], bending, tension, backward)
                ends = 4
            for number in range(ends):
                j = number if ends == columns or number < 2 else columns - 4 + number
                bend, stretch = _at_border(u, i, j)
                rest = right[i, j] - weight[i, j] * u[i, j] - bending * bend - tension * stretch
                u[i, j] += factor[i, j] * rest


@njit(nogil=True, cache=True)
def move_to_nodes(
    u: FloatArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
    value: FloatArray,
    weight: FloatArray,
    right: FloatArray,
) -> None:
    """Set the right side to weight times value, moved to the node by the surface's own shape.

    The surface near a node is the quadratic through its nine neighbours.
    """
    rows, columns = u.shape
    for k in range(row.size):
        i, j = row[k], column[k]
        a, b = min(max(i, 1), rows - 2), min(max(j, 1), columns - 2)
        up, right_of = north[k] + i - a, east[k] + j - b
        slope_n, slope_e = (u[a + 1, b] - u[a - 1, b]) / 2, (u[a, b + 1] - u[a, b - 1]) / 2
        curve_n = u[a + 1, b] - 2.0 * u[a, b] + u[a - 1, b]
        curve_e = u[a, b + 1] - 2.0 * u[a, b] + u[a, b - 1]
        twist = (u[a + 1, b + 1] - u[a + 1, b - 1] - u[a - 1, b + 1] + u[a - 1, b - 1]) / 4
        there = u[a, b] + slope_n * up + slope_e * right_of + twist * up * right_of
        there += (curve_n * up * up + curve_e * right_of * right_of) / 2
        right[i, j] = weight[k] * (value[k] - (there - u[i, j]))


def halve_spacing(coarse: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """Return a grid of half the spacing: cubic between nodes, linear at the border."""
    return _refined(_refined(coarse, shape[0]).T, shape[1]).T.copy()


def _refined(coarse: FloatArray, count: int) -> FloatArray:
    """Return `count` rows, every other one between two rows of `coarse`."""
    fine = np.empty((count, coarse.shape[1]))
    fine[::2] = coarse[: (count + 1) // 2]
    middle = (coarse[:-1] + coarse[1:]) / 2
    middle[1:-1] = (9.0 * (coarse[1:-2] + coarse[2:-1]) - coarse[:-3] - coarse[3:]) / 16
    beyond = np.concatenate([middle, coarse[-1:]])
    fine[1::2] = beyond[: count // 2]
    return fine
