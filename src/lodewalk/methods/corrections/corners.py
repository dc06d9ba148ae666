"""Nodes and corners of a walked track."""

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray


def walked_nodes(easting_m: ArrayLike, northing_m: ArrayLike, *, step_m: float) -> IntArray:
    """Pick readings that lie a step apart, so that stops and pace no longer matter.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m], none missing.
    step_m : float
        Each node is the first reading at least this far from the node before it [m].

    Returns
    -------
    int array, shape (m,)
        Index of each node; the first and the last reading are always among them.

    Examples
    --------
    >>> walked_nodes([0.0, 0.1, 0.2, 3.0, 3.1, 6.5], np.zeros(6), step_m=2.0).tolist()
    [0, 3, 5]
    """
    east = np.ascontiguousarray(easting_m, dtype=np.float64)
    north = np.ascontiguousarray(northing_m, dtype=np.float64)
    return np.flatnonzero(_far_enough(east, north, step_m))


@njit(nogil=True, cache=True)
def _far_enough(east: FloatArray, north: FloatArray, step: float) -> BoolArray:
    """Mark the nodes; see `walked_nodes`."""
    keep = np.zeros(east.size, dtype=np.bool_)
    if east.size:
        keep[0] = keep[-1] = True
    last = 0
    for i in range(1, east.size):
        if (east[i] - east[last]) ** 2 + (north[i] - north[last]) ** 2 >= step * step:
            keep[i] = True
            last = i
    return keep


def find_corners(easting_m: ArrayLike, northing_m: ArrayLike, *, tolerance_m: float) -> IntArray:
    """Find the corners of a track.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m], none missing.
    tolerance_m : float
        No position lies farther than this from the leg between the corners round it [m].

    Returns
    -------
    int array, shape (m,)
        Index of each corner; the first and the last position are always among them.

    Notes
    -----
    The method of Douglas and Peucker [1]_: the position farthest from the chord is a corner, and
    so on for the two parts. Distances are from the chord between its ends, so a track that
    turns back has a corner there.

    References
    ----------
    .. [1] Douglas, D. H. and Peucker, T. K. (1973), Algorithms for the reduction of the number
       of points required to represent a digitized line or its caricature, Cartographica 10,
       112-122 (from memory), doi:10.3138/FM57-6770-U75U-7727.

    Examples
    --------
    >>> find_corners([0.0, 0.1, 0.0, 5.0], [0.0, 5.0, 10.0, 10.0], tolerance_m=1.0).tolist()
    [0, 2, 3]
    """
    east = np.ascontiguousarray(easting_m, dtype=np.float64)
    north = np.ascontiguousarray(northing_m, dtype=np.float64)
    return np.flatnonzero(_corners(east, north, tolerance_m))


@njit(nogil=True, cache=True)
def _corners(east: FloatArray, north: FloatArray, tolerance: float) -> BoolArray:
    """Mark the ends and the points that a chord misses by more than the tolerance."""
    keep = np.zeros(east.size, dtype=np.bool_)
    if east.size:
        keep[0] = keep[-1] = True
    to_do = [(0, east.size - 1)]
    while to_do:
        first, last = to_do.pop()
        middle, distance = _farthest_from_chord(east, north, first, last)
        if distance > tolerance:
            keep[middle] = True
            to_do.append((first, middle))
            to_do.append((middle, last))
    return keep


@njit(nogil=True, cache=True)
def _farthest_from_chord(
    east: FloatArray, north: FloatArray, first: int, last: int
) -> tuple[int, float]:
    """Return the point between two others that is farthest from the chord, and its distance."""
    along_e, along_n = east[last] - east[first], north[last] - north[first]
    square = along_e * along_e + along_n * along_n
    middle, worst = first, 0.0
    for i in range(first + 1, last):
        e, n = east[i] - east[first], north[i] - north[first]
        share = 0.0
        if square > 0:
            share = min(max((e * along_e + n * along_n) / square, 0.0), 1.0)
        miss = (e - share * along_e) ** 2 + (n - share * along_n) ** 2
        if miss > worst:
            middle, worst = i, miss
    return middle, np.sqrt(worst)
