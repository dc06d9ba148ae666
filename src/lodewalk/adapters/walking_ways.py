"""How far it is on foot from place to place, around what nobody walks through."""

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

Floats = NDArray[np.float64]
#: Distance at which an obstacle is passed, at least [m].
PASSED_AT_M: Final = 1.0
#: Corners of all obstacles together; outlines are made simpler until there are no more.
MOST_CORNERS: Final = 240


class WalkingWays:
    """Lengths of ways on foot that lead around obstacles.

    Parameters
    ----------
    obstacles : iterable of shapely geometry
        What isn't walked through, such as water and buildings: polygons and lines [m].

    Notes
    -----
    A straight way that meets no obstacle is its own length. Others lead over corners of the
    obstacles, made slightly wider and simpler (visibility graph, shortest paths in it): an
    estimate, mostly a little too long. Where no way leads round, as on an island, the straight
    length counts, and so it does from a place within an obstacle.

    Examples
    --------
    >>> pond = shapely.box(-10.0, -10.0, 10.0, 10.0)
    >>> ways = WalkingWays([pond])
    >>> south = np.array([[0.0, -20.0], [0.0, -20.0]])
    >>> ways(south, np.array([[0.0, 20.0], [30.0, -20.0]])).round(0).tolist()
    [50.0, 30.0]
    """

    def __init__(self, obstacles: Iterable[Any]) -> None:
        parts = [item for item in obstacles if not shapely.is_empty(item)]
        self._walls = shapely.union_all(parts) if parts else shapely.Polygon()
        self._corners = np.zeros((0, 2))
        if not shapely.is_empty(self._walls):
            shapely.prepare(self._walls)
            self._corners = _corners(self._walls)
            self._between = self._net()

    def __call__(self, start: Floats, end: Floats) -> Floats:
        """Return the length of the way between each start and the end beside it [m].

        Parameters
        ----------
        start, end : array, shape (n, 2)
            Easting and northing [m].
        """
        length: Floats = np.hypot(*(end - start).T)
        if not len(self._corners):
            return length
        blocked = np.flatnonzero(self._blocked(start, end))
        if blocked.size:
            around = self._around(start[blocked], end[blocked])
            length[blocked] = np.where(np.isfinite(around), around, length[blocked])
        return length

    def _blocked(self, start: Floats, end: Floats) -> NDArray[np.bool_]:
        """Tell which straight ways meet an obstacle; those far from all aren't tested."""
        found = np.zeros(len(start), dtype=bool)
        west, south, east, north = shapely.bounds(self._walls)
        low, high = np.minimum(start, end), np.maximum(start, end)
        near = (low[:, 0] <= east) & (high[:, 0] >= west) & (low[:, 1] <= north)
        rows = np.flatnonzero(near & (high[:, 1] >= south))
        if rows.size:
            lines = shapely.linestrings(np.stack([start[rows], end[rows]], axis=1))
            found[rows] = shapely.intersects(self._walls, lines)
        return found

    def _net(self) -> Floats:
        """Return the shortest way between each two corners."""
        one, two = np.triu_indices(len(self._corners), 1)
        length = np.hypot(*(self._corners[two] - self._corners[one]).T)
        free = ~self._blocked(self._corners[one], self._corners[two])
        net = np.full((len(self._corners),) * 2, np.inf)
        net[one[free], two[free]] = net[two[free], one[free]] = length[free]
        np.fill_diagonal(net, 0.0)
        return np.asarray(shortest_path(net, method="D", directed=False), dtype=np.float64)

    def _around(self, start: Floats, end: Floats) -> Floats:
        """Return the least way over the corners between each start and end."""
        places, number = np.unique(np.concatenate([start, end]), axis=0, return_inverse=True)
        one, two = np.split(number.ravel(), 2)
        seen = self._seen(places)
        length = np.empty(len(start))
        order = np.argsort(one, kind="stable")
        for first in np.unique(one):
            rows = order[
                np.searchsorted(one[order], first) : np.searchsorted(
                    one[order], first, side="right"
                )
            ]
            over = (seen[first][:, np.newaxis] + self._between).min(axis=0)
            length[rows] = (over[np.newaxis] + seen[two[rows]]).min(axis=1)
        return length

    def _seen(self, places: Floats) -> Floats:
        """Return the length from each place to each corner that is seen from it, else infinity."""
        count = len(self._corners)
        pairs = np.repeat(places, count, axis=0), np.tile(self._corners, (len(places), 1))
        length = np.hypot(*(pairs[1] - pairs[0]).T)
        length[self._blocked(*pairs)] = np.inf
        return length.reshape(len(places), count)


def _corners(walls: Any) -> Floats:
    """Return the corners around which ways lead: no more than can be dealt with."""
    tolerance = PASSED_AT_M / 2
    while True:
        wider = shapely.buffer(walls, 2 * tolerance, join_style="mitre", cap_style="square")
        outline = shapely.simplify(wider, tolerance)
        corners = shapely.get_coordinates(shapely.boundary(outline))
        corners = np.unique(corners, axis=0)
        corners = corners[~shapely.intersects_xy(walls, corners[:, 0], corners[:, 1])]
        if len(corners) <= MOST_CORNERS or tolerance > 1e5:
            return np.asarray(corners[:MOST_CORNERS], dtype=np.float64)
        tolerance *= 2
