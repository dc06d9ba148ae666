"""Ridge points of neighbouring nodes linked to chains."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lodewalk.methods.lineaments.ridge_filter import RidgePoints
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]
#: A chain goes on to a point no farther off its direction than this [deg].
_MOST_TURN = 35.0


def linked(points: RidgePoints, shape: tuple[int, int], *, start_ratio: float) -> list[IntArray]:
    """Return chains of ridge points, each in order along it.

    Parameters
    ----------
    points : RidgePoints
        From `crest_points`.
    shape : tuple = (north, east)
        Number of nodes of the grid.
    start_ratio : float
        A chain begins at points with this ratio at least, and goes on through weaker ones.

    Returns
    -------
    list of int arrays
        Numbers of the points, the chain with the strongest point first.

    Notes
    -----
    Linking as in [1]_: from the strongest free point both ways, each time to the neighbour that
    lies best ahead and runs most alike; hysteresis thresholds as in [2]_.

    References
    ----------
    .. [1] Steger (1998), section 2.3, as in `crest_points`.
    .. [2] Canny, J. (1986), A computational approach to edge detection, IEEE Transactions on
       Pattern Analysis and Machine Intelligence, 8(6), 679-698, doi:10.1109/TPAMI.1986.4767851.

    Examples
    --------
    >>> from lodewalk.methods.lineaments.ridge_filter import crest_points, oriented_gradient
    >>> north = np.arange(40.0)[:, None] - 20 + np.zeros(60)
    >>> found = oriented_gradient(north / (north**2 + 9), across=2.0, along=5.0)
    >>> points = crest_points(found, side=5.0, least_ratio=3.0)
    >>> [chain.size for chain in linked(points, (40, 60), start_ratio=5.0)]
    [58]
    """
    if not points.row.size:
        return []
    order = np.lexsort((points.column, points.row, -points.ratio))
    order = order[points.ratio[order] >= start_ratio]
    number = np.full((shape[0] + 4, shape[1] + 4), -1, dtype=np.int64)
    number[points.row + 2, points.column + 2] = np.arange(points.row.size)
    turn = np.radians(points.azimuth)
    flat, ends = _chains(
        order, number, points.row, points.column, points.north, points.east,
        np.cos(turn), np.sin(turn), np.cos(np.radians(_MOST_TURN)),
    )  # fmt: skip
    return [part for part in np.split(flat, ends) if part.size]


@njit(nogil=True, cache=True)
def _next(
    here: int,
    head_n: float,
    head_e: float,
    number: IntArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
    run_n: FloatArray,
    run_e: FloatArray,
    used: NDArray[np.bool_],
    least: float,
) -> int:
    """Return the neighbour that goes on best, or -1."""
    best, found = 1e9, -1
    for i in range(-2, 3):
        for j in range(-2, 3):
            other = number[row[here] + 2 + i, column[here] + 2 + j]
            if other < 0 or other == here or used[other]:
                continue
            step_n, step_e = north[other] - north[here], east[other] - east[here]
            size = np.hypot(step_n, step_e)
            ahead = step_n * head_n + step_e * head_e
            alike = abs(run_n[other] * head_n + run_e[other] * head_e)
            if size < 1e-6 or ahead < 0.8 * size or alike < least:
                continue
            cost = size + 2.0 * (size - ahead) + 2.0 * (1.0 - alike)
            if cost < best - 1e-9:
                best, found = cost, other
    return found


@njit(nogil=True, cache=True)
def _walk(
    start: int,
    side: float,
    number: IntArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
    run_n: FloatArray,
    run_e: FloatArray,
    used: NDArray[np.bool_],
    least: float,
    into: IntArray,
) -> int:
    """Walk from a point one way, write the points into an array and return how many."""
    head_n, head_e = side * run_n[start], side * run_e[start]
    here, count = start, 0
    while True:
        other = _next(
            here, head_n, head_e, number, row, column, north, east, run_n, run_e, used, least
        )
        if other < 0:
            return count
        sign = 1.0 if run_n[other] * head_n + run_e[other] * head_e >= 0 else -1.0
        head_n, head_e = sign * run_n[other], sign * run_e[other]
        _spend(here, other, number, row, column, used)
        into[count] = other
        count += 1
        here = other


@njit(nogil=True, cache=True, inline="always")
def _spend(
    here: int,
    other: int,
    number: IntArray,
    row: IntArray,
    column: IntArray,
    used: NDArray[np.bool_],
) -> None:
    """Mark a point as used, and those beside both it and the one before."""
    used[other] = True
    for i in range(-1, 2):
        for j in range(-1, 2):
            near = number[row[other] + 2 + i, column[other] + 2 + j]
            if (
                near >= 0
                and abs(row[near] - row[here]) <= 1
                and abs(column[near] - column[here]) <= 1
            ):
                used[near] = True


@njit(nogil=True, cache=True)
def _chains(
    order: IntArray,
    number: IntArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
    run_n: FloatArray,
    run_e: FloatArray,
    least: float,
) -> tuple[IntArray, IntArray]:
    """Return all chains behind one another, and where each ends."""
    used = np.zeros(row.size, dtype=np.bool_)
    flat = np.empty(row.size, dtype=np.int64)
    ends = np.empty(row.size, dtype=np.int64)
    back = np.empty(row.size, dtype=np.int64)
    total, chains = 0, 0
    for k in range(order.size):
        start = order[k]
        if used[start]:
            continue
        used[start] = True
        behind = _walk(
            start, -1.0, number, row, column, north, east, run_n, run_e, used, least, back
        )
        for i in range(behind):
            flat[total + i] = back[behind - 1 - i]
        total += behind
        flat[total] = start
        total += 1
        total += _walk(
            start, 1.0, number, row, column, north, east, run_n, run_e, used, least, flat[total:]
        )
        ends[chains] = total
        chains += 1
    return flat[:total], ends[:chains]
