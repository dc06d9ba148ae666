"""Which places see each other past walls."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@njit(nogil=True, cache=True)
def _meets(
    east_1: float, north_1: float, east_2: float, north_2: float, walls: FloatArray
) -> bool:  # pragma: no cover
    """Tell whether a straight way meets a wall, or touches one."""
    west, east = min(east_1, east_2), max(east_1, east_2)
    south, north = min(north_1, north_2), max(north_1, north_2)
    along_east, along_north = east_2 - east_1, north_2 - north_1
    for wall in range(walls.shape[0]):
        e1, n1, e2, n2 = walls[wall, 0], walls[wall, 1], walls[wall, 2], walls[wall, 3]
        if min(e1, e2) > east or max(e1, e2) < west or min(n1, n2) > north or max(n1, n2) < south:
            continue
        side_1 = along_east * (n1 - north_1) - along_north * (e1 - east_1)
        side_2 = along_east * (n2 - north_1) - along_north * (e2 - east_1)
        if side_1 * side_2 > 0:
            continue
        end_1 = (e2 - e1) * (north_1 - n1) - (n2 - n1) * (east_1 - e1)
        end_2 = (e2 - e1) * (north_2 - n1) - (n2 - n1) * (east_2 - e1)
        if end_1 * end_2 <= 0:
            return True
    return False


@njit(nogil=True, cache=True)
def blocked(start: FloatArray, end: FloatArray, walls: FloatArray) -> NDArray[np.bool_]:
    """Tell of each straight way whether it meets a wall.

    Parameters
    ----------
    start, end : array, shape (n, 2)
        Easting and northing of both ends of each way [m].
    walls : array, shape (m, 4)
        Easting and northing of both ends of each straight wall [m].

    Examples
    --------
    >>> wall = np.array([[0.0, -1.0, 0.0, 1.0]])
    >>> start = np.array([[-1.0, 0.0], [-1.0, 5.0]])
    >>> blocked(start, -start, wall).tolist(), blocked(start, start + 0.5, wall).tolist()
    ([True, True], [False, False])
    """
    found = np.zeros(start.shape[0], dtype=np.bool_)
    for way in range(start.shape[0]):
        found[way] = _meets(start[way, 0], start[way, 1], end[way, 0], end[way, 1], walls)
    return found


@njit(nogil=True, cache=True)
def sight_lengths(places: FloatArray, corners: FloatArray, walls: FloatArray) -> FloatArray:
    """Return how far each corner is from each place that sees it; infinity from others [m].

    Parameters
    ----------
    places, corners : array, shape (n, 2) and (m, 2)
        Easting and northing [m].
    walls : array, shape (k, 4)
        As for `blocked`.

    Returns
    -------
    array, shape (n, m)

    Examples
    --------
    >>> wall = np.array([[0.0, -1.0, 0.0, 1.0]])
    >>> sight_lengths(np.array([[-3.0, 0.0]]), np.array([[3.0, 0.0], [0.0, 4.0]]), wall).tolist()
    [[inf, 5.0]]
    """
    found = np.full((places.shape[0], corners.shape[0]), np.inf)
    for place in range(places.shape[0]):
        east, north = places[place, 0], places[place, 1]
        for corner in range(corners.shape[0]):
            e, n = corners[corner, 0], corners[corner, 1]
            if not _meets(east, north, e, n, walls):
                found[place, corner] = np.hypot(e - east, n - north)
    return found


@njit(nogil=True, cache=True)
def around(
    one: NDArray[np.int64], two: NDArray[np.int64], seen: FloatArray, between: FloatArray
) -> FloatArray:
    """Return the shortest way over corners from some places to others; infinity for none [m].

    Parameters
    ----------
    one, two : array, shape (n,)
        Numbers of the places at both ends of each way.
    seen : array, shape (places, corners)
        As `sight_lengths` gives it [m].
    between : array, shape (corners, corners)
        Shortest way from corner to corner [m].

    Examples
    --------
    >>> seen = np.array([[3.0, np.inf], [np.inf, 4.0]])
    >>> around(np.array([0]), np.array([1]), seen, np.array([[0.0, 2.0], [2.0, 0.0]])).tolist()
    [9.0]
    """
    corners = seen.shape[1]
    found = np.full(one.size, np.inf)
    ends = np.empty(corners, dtype=np.int64)
    for way in range(one.size):
        count = 0
        for corner in range(corners):
            if np.isfinite(seen[two[way], corner]):
                ends[count] = corner
                count += 1
        best = np.inf
        for corner in range(corners):
            out = seen[one[way], corner]
            if out >= best:
                continue
            for place in range(count):
                end = ends[place]
                best = min(best, out + between[corner, end] + seen[two[way], end])
        found[way] = best
    return found
