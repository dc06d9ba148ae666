"""Waypoints along a planned line."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.validation import check_positive

#: A waypoint nearer to the end than this share of the distance between them is left out.
_NEAR_END = 0.25


def stations_along(length_m: float, *, each_m: float) -> NDArray[np.float64]:
    """Return the distances of the waypoints along a line, its two ends apart.

    Parameters
    ----------
    length_m : float
        Length of the line [m].
    each_m : float
        Distance between waypoints [m].

    Returns
    -------
    array
        Distances from its start [m]: multiples of `each_m`; none within a quarter of it before
        the end.

    Examples
    --------
    >>> stations_along(310.0, each_m=100.0).tolist(), stations_along(80.0, each_m=100.0).tolist()
    ([100.0, 200.0], [])
    """
    check_positive(each_m, name="The distance between waypoints")
    count = int(np.floor(length_m / each_m + 1e-9))
    stations = each_m * np.arange(1, count + 1, dtype=float)
    return stations[stations <= length_m - _NEAR_END * each_m]
