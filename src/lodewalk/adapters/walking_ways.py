"""How far it is on foot from place to place, around what nobody walks through."""

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

from lodewalk.methods.planning.sight import around, blocked, sight_lengths

Floats = NDArray[np.float64]
#: Distance at which an obstacle is passed, at least [m].
PASSED_AT_M: Final = 1.0
#: Corners of all obstacles together; outlines are made simpler until there are no more.
MOST_CORNERS: Final = 240
#: Places of which it is remembered what they see.
MOST_KEPT: Final = 5000


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
    [51.0, 30.0]
    """

    def __init__(self, obstacles: Iterable[Any]) -> None:
        parts = [item for item in obstacles if not shapely.is_empty(item)]
        self._origin = np.zeros(2)
        self._corners, self._walls = np.zeros((0, 2)), np.zeros((0, 4))
        self._kept: dict[bytes, Floats] = {}
        if parts:
            # Near the origin, so that no digit of a product is lost.
            self._origin = np.array(shapely.bounds(parts[0])[:2])
            self._corners, walls = _simple(shapely.union_all(parts))
            self._corners = np.ascontiguousarray(self._corners - self._origin)
            self._walls = walls - np.tile(self._origin, 2)
            seen = sight_lengths(self._corners, self._corners, self._walls)
            net = shortest_path(seen, method="D", directed=False)
            self._between: Floats = np.asarray(net, dtype=np.float64)

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
        one, two = start - self._origin, end - self._origin
        stopped = np.flatnonzero(blocked(one, two, self._walls))
        if stopped.size:
            longer = self._around(one[stopped], two[stopped])
            length[stopped] = np.where(np.isfinite(longer), longer, length[stopped])
        return length

    def _around(self, start: Floats, end: Floats) -> Floats:
        """Return the least way over the corners between each start and end."""
        places, number = np.unique(np.concatenate([start, end]), axis=0, return_inverse=True)
        one, two = np.split(number.ravel(), 2)
        found: Floats = around(one, two, self._seen(places), self._between)
        return found

    def _seen(self, places: Floats) -> Floats:
        """Return how far each corner is from each place; those of places asked for are kept."""
        if len(self._kept) > MOST_KEPT:
            self._kept.clear()
        keys = [place.tobytes() for place in places]
        new = [row for row, key in enumerate(keys) if key not in self._kept]
        lengths = sight_lengths(places[new], self._corners, self._walls)
        self._kept.update(zip([keys[row] for row in new], lengths, strict=True))
        return np.array([self._kept[key] for key in keys])


def _simple(obstacles: Any) -> tuple[Floats, Floats]:
    """Return corners around which ways lead, and straight walls: no more than can be dealt with.

    The corners lie farther from the obstacles than the walls may stray from them.
    """
    tolerance = PASSED_AT_M / 2
    while True:
        outline = shapely.simplify(
            shapely.buffer(obstacles, 2.5 * tolerance, join_style="mitre", cap_style="square"),
            tolerance,
        )
        corners = np.unique(shapely.get_coordinates(shapely.boundary(outline)), axis=0)
        if len(corners) <= MOST_CORNERS or tolerance > 1e5:
            return corners[:MOST_CORNERS], _walls(shapely.simplify(obstacles, tolerance))
        tolerance *= 2


def _walls(obstacles: Any) -> Floats:
    """Return the straight edges of polygons and lines as both their ends, shape (n, 4)."""
    parts = shapely.get_parts(obstacles)
    areas = shapely.get_dimensions(parts) == 2
    rings = np.concatenate([shapely.get_rings(parts[areas]), parts[~areas]])
    points, ring = shapely.get_coordinates(rings, return_index=True)
    edges = np.hstack([points[:-1], points[1:]])
    return np.ascontiguousarray(edges[ring[1:] == ring[:-1]])
