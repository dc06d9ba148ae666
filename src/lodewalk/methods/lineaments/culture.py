"""Ground near fences and other steel, where a ridge of the grid is no rock."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from lodewalk.methods.lineaments.polyline import principal_axis
from lodewalk.validation import FloatArray, check_positive


def near_culture(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    feature: ArrayLike,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    shape: tuple[int, int],
    reach_m: float,
) -> NDArray[np.bool_]:
    """Tell which nodes of a grid lie near places of steel, or near the fences through them.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Places of events [m]; one without a place (NaN) is left out.
    feature : int array, shape (n,)
        Number of the fence or wire that an event belongs to; below zero for none.
    west_m, south_m, spacing_m : float
        Place of the first node and distance between nodes [m].
    shape : tuple = (north, east)
        Number of nodes.
    reach_m : float
        How near is near [m].

    Returns
    -------
    bool array of that shape

    Examples
    --------
    >>> near_culture([0.0, 40.0], [0.0, 0.0], [0, 0], west_m=0.0, south_m=0.0, spacing_m=10.0,
    ...              shape=(2, 5), reach_m=5.0).astype(int).tolist()
    [[1, 1, 1, 1, 1], [0, 0, 0, 0, 0]]
    """
    check_positive(reach_m, name="reach_m")
    place = np.column_stack([np.asarray(easting_m, float), np.asarray(northing_m, float)])
    number = np.asarray(feature)
    known = np.isfinite(place).all(axis=1)
    place, number = place[known], number[known]
    if not place.shape[0]:
        return np.zeros(shape, dtype=bool)
    parts = [place[number < 0]]
    parts += [_along(place[number == own], reach_m / 2) for own in np.unique(number[number >= 0])]
    north, east = np.mgrid[: shape[0], : shape[1]] * spacing_m
    nodes = np.column_stack([west_m + east.ravel(), south_m + north.ravel()])
    near, _ = cKDTree(np.concatenate(parts)).query(nodes, distance_upper_bound=reach_m)
    found: NDArray[np.bool_] = np.isfinite(near).reshape(shape)
    return found


def _along(place: FloatArray, step_m: float) -> FloatArray:
    """Return places along the way through all places of a fence, in order along it."""
    if place.shape[0] < 2:
        return place
    way = place[np.argsort(place @ principal_axis(place), kind="stable")]
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    at = np.linspace(0.0, length[-1], int(np.ceil(length[-1] / step_m)) + 1)
    return np.column_stack([np.interp(at, length, way[:, axis]) for axis in (0, 1)])
