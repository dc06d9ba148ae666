"""Meshes of places in and around an area, and how far they are from what is there."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def mesh_places(outline: Any, *, around_m: float = 0.0, most: int = 1500) -> Floats:
    """Return places on a square mesh inside an outline and around it.

    Parameters
    ----------
    outline : shapely geometry
        Polygon(s) [m].
    around_m : float
        How far around it places lie too; negative keeps them inside by as much [m].
    most : int
        About how many places there are at most.

    Returns
    -------
    array, shape (n, 2)
        Easting and northing [m], from the south-west.

    Examples
    --------
    >>> mesh_places(shapely.box(0.0, 0.0, 20.0, 10.0), most=2).tolist()
    [[5.0, 5.0], [15.0, 5.0]]
    """
    wider = shapely.buffer(outline, around_m, quad_segs=4) if around_m else outline
    if shapely.is_empty(wider):
        return np.zeros((0, 2))
    west, south, east, north = shapely.bounds(wider)
    step = np.sqrt(wider.area / most)
    columns = np.arange(west + step / 2, east, step)
    rows = np.arange(south + step / 2, north, step)
    places = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    shapely.prepare(wider)
    inside: Floats = places[shapely.contains_xy(wider, places[:, 0], places[:, 1])]
    return inside


def distances_m(places: Floats, outline: Any) -> Floats:
    """Return the distance of each place from an outline; 0 inside, infinity where it is empty [m].

    Examples
    --------
    >>> distances_m(np.array([[0.0, 0.0], [9.0, 0.0]]), shapely.box(-1.0, -1.0, 1.0, 1.0)).tolist()
    [0.0, 8.0]
    """
    if shapely.is_empty(outline):
        return np.full(len(places), np.inf)
    shapely.prepare(outline)
    found: Floats = shapely.distance(shapely.points(places), outline)
    return found


def depths_m(places: Floats, outline: Any) -> Floats:
    """Return how far inside an outline each place lies; 0 outside [m].

    Examples
    --------
    >>> depths_m(np.array([[0.0, 0.0], [9.0, 0.0]]), shapely.box(-1.0, -2.0, 1.0, 2.0)).tolist()
    [1.0, 0.0]
    """
    if shapely.is_empty(outline):
        return np.zeros(len(places))
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, places[:, 0], places[:, 1])
    depth = np.zeros(len(places))
    edge = shapely.boundary(outline)
    shapely.prepare(edge)
    depth[inside] = shapely.distance(shapely.points(places[inside]), edge)
    return depth


def crossed(first: Floats, second: Floats, outline: Any) -> Any:
    """Say of each straight way whether it meets an outline.

    Examples
    --------
    >>> start, end = np.array([[-2.0, 0.0], [-2.0, 5.0]]), np.array([[2.0, 0.0], [2.0, 5.0]])
    >>> crossed(start, end, shapely.box(-1.0, -1.0, 1.0, 1.0)).tolist()
    [True, False]
    """
    ways = shapely.linestrings(np.stack([first, second], axis=1))
    shapely.prepare(outline)
    return shapely.intersects(ways, outline)


def middle_of(outline: Any) -> tuple[float, float]:
    """Return the centroid of an outline, easting and northing [m].

    Examples
    --------
    >>> middle_of(shapely.box(0.0, 0.0, 4.0, 2.0))
    (2.0, 1.0)
    """
    centre = shapely.centroid(outline)
    return float(centre.x), float(centre.y)


def united(outlines: Iterable[Any]) -> Any:
    """Return outlines as one; an empty polygon where there is none.

    Examples
    --------
    >>> united([shapely.box(0.0, 0.0, 1.0, 1.0), shapely.box(1.0, 0.0, 2.0, 1.0)]).area
    2.0
    """
    found = list(outlines)
    return shapely.union_all(found) if found else shapely.Polygon()


def wider(outline: Any, by_m: float) -> Any:
    """Return an outline whose every edge is moved outwards.

    Examples
    --------
    >>> wider(shapely.box(0.0, 0.0, 2.0, 2.0), 1.0).area
    16.0
    """
    return shapely.buffer(outline, by_m, join_style="mitre") if by_m else outline


def without(outline: Any, other: Any) -> Any:
    """Return what of an outline doesn't lie in another.

    Examples
    --------
    >>> without(shapely.box(0.0, 0.0, 2.0, 1.0), shapely.box(1.0, 0.0, 3.0, 1.0)).area
    1.0
    """
    return shapely.difference(outline, other)
