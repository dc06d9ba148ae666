"""Heights of the ground from a regular mesh, its slope, and the length of lines over it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import check_same_length

FloatArray = NDArray[np.float64]
#: Steps of a mesh may differ by this share of a step: coordinates are written rounded.
UNEVEN = 0.01


@dataclass(frozen=True)
class TerrainMesh:
    """Heights on the nodes of a regular mesh, in the mesh's own reference system.

    Parameters
    ----------
    first, second : array, shape (columns,) and (rows,)
        Easting or longitude of the columns and northing or latitude of the rows, both increasing.
    height_m : array, shape (rows, columns)
        Height of the ground [m]; NaN where it isn't known.
    """

    first: FloatArray
    second: FloatArray
    height_m: FloatArray

    def at(self, first: ArrayLike, second: ArrayLike) -> FloatArray:
        """Return the height at places by bilinear interpolation; NaN off the mesh [m].

        Parameters
        ----------
        first, second : array-like, same shape
            Places in the mesh's reference system.

        Notes
        -----
        A place beside a node without a height has none either, unless it lies on a known node
        or between two known ones exactly.

        Examples
        --------
        >>> mesh = TerrainMesh(np.array([0.0, 10.0]), np.array([0.0, 10.0]),
        ...                    np.array([[0.0, 1.0], [2.0, 3.0]]))
        >>> mesh.at([5.0, 20.0], [5.0, 5.0]).tolist()
        [1.5, nan]
        """
        column, east = _cell(self.first, np.asarray(first, dtype=float))
        row, north = _cell(self.second, np.asarray(second, dtype=float))
        height = np.zeros(np.broadcast(east, north).shape)
        for down in (0, 1):
            for right in (0, 1):
                weight = (north if down else 1 - north) * (east if right else 1 - east)
                corner = self.height_m[row + down, column + right]
                # A node of no weight doesn't matter, be it known or not.
                height = height + np.where(weight == 0, 0.0, weight * corner)
        return np.asarray(height, dtype=np.float64)


def mesh_of_nodes(first: ArrayLike, second: ArrayLike, height_m: ArrayLike) -> TerrainMesh:
    """Return the mesh whose nodes stand row by row, from north to south and from west to east.

    Parameters
    ----------
    first, second, height_m : array-like, shape (rows * columns,)
        Place and height of each node; height NaN where it isn't known [m].

    Raises
    ------
    InputError
        When the nodes don't form a regular mesh of two rows and columns at least.

    Examples
    --------
    >>> mesh_of_nodes([0, 5, 0, 5], [9, 9, 4, 4], [1, 2, 3, 4]).height_m.tolist()
    [[3.0, 4.0], [1.0, 2.0]]
    """
    check_same_length(first=first, second=second, height_m=height_m)
    east, north, height = (np.asarray(item, dtype=float) for item in (first, second, height_m))
    change = np.flatnonzero(np.diff(north))
    columns = int(change[0]) + 1 if change.size else north.size
    if columns < 2 or north.size < 2 * columns or north.size % columns:
        raise InputError(
            "Terrain needs a regular mesh of two rows and columns at least.",
            value=f"{north.size} nodes, {columns} in the first row",
        )
    east, north, height = (item.reshape(-1, columns)[::-1] for item in (east, north, height))
    step_east, step_north = np.ptp(east[0]) / (columns - 1), np.ptp(north[:, 0]) / (len(north) - 1)
    even = _even(east, step_east, 1) and _even(north.T, step_north, 1)
    if not even or np.ptp(east, axis=0).max() > UNEVEN * step_east:
        raise InputError("The nodes of the terrain don't form a regular mesh.")
    return TerrainMesh(east[0], north[:, 0], height)


def _even(places: FloatArray, step: float, axis: int) -> bool:
    """Tell whether places rise in even steps."""
    return bool(step > 0 and (np.abs(np.diff(places, axis=axis) - step) <= UNEVEN * step).all())


def _cell(nodes: FloatArray, places: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
    """Return the cell along one axis, and the share of it that lies before a place."""
    cell = np.clip(np.searchsorted(nodes, places, side="right") - 1, 0, nodes.size - 2)
    share = (places - nodes[cell]) / (nodes[cell + 1] - nodes[cell])
    return cell.astype(np.int64), np.where((share < 0) | (share > 1), np.nan, share)


def slope_deg(
    east_m: ArrayLike, west_m: ArrayLike, north_m: ArrayLike, south_m: ArrayLike, *, step_m: float
) -> FloatArray:
    """Return the steepest slope of the ground at places from the heights around them [deg].

    Parameters
    ----------
    east_m, west_m, north_m, south_m : array-like, same shape
        Height one step away in each direction [m].
    step_m : float
        That step [m].

    Examples
    --------
    >>> slope_deg([1.0], [-1.0], [0.0], [0.0], step_m=1.0).round(6).tolist()
    [45.0]
    """
    rise_east = (np.asarray(east_m, dtype=float) - np.asarray(west_m)) / (2 * step_m)
    rise_north = (np.asarray(north_m, dtype=float) - np.asarray(south_m)) / (2 * step_m)
    return np.asarray(np.degrees(np.arctan(np.hypot(rise_east, rise_north))), dtype=np.float64)


@dataclass(frozen=True)
class Stations:
    """Places along pieces of lines, evenly spaced from end to end of each.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        The places, piece after piece [m].
    begins : array, shape (pieces,)
        Where each piece begins among them.
    step_m : array, shape (pieces,)
        Distance between those of each piece on the map [m].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    begins: NDArray[np.int64]
    step_m: FloatArray


def stations(first: FloatArray, second: FloatArray, *, step_m: float) -> Stations:
    """Return places along pieces, no farther apart than a step, both ends among them.

    Examples
    --------
    >>> found = stations(np.array([[0.0, 0.0]]), np.array([[0.0, 25.0]]), step_m=10.0)
    >>> found.northing_m.round(3).tolist()
    [0.0, 8.333, 16.667, 25.0]
    """
    length = np.hypot(*(second - first).T)
    parts = np.maximum(1, np.ceil(length / step_m - 1e-9)).astype(np.int64)
    begins = np.concatenate(([0], np.cumsum(parts + 1)[:-1])).astype(np.int64)
    piece = np.repeat(np.arange(len(first)), parts + 1)
    share = (np.arange(piece.size) - begins[piece]) / parts[piece]
    place = first[piece] + share[:, None] * (second - first)[piece]
    return Stations(place[:, 0], place[:, 1], begins, length / parts)


@dataclass(frozen=True)
class GroundPieces:
    """What the ground makes of pieces of lines.

    Parameters
    ----------
    length_m : array, shape (pieces,)
        Length over the ground; on the map where a height isn't known [m].
    slowness : array, shape (pieces,)
        Time that the piece takes beside the same length on level ground, mean of both ways.
    steepest_deg : array, shape (pieces,)
        Steepest slope along it; NaN where no height is known [deg].
    """

    length_m: FloatArray
    slowness: FloatArray
    steepest_deg: FloatArray


def over_ground(height_m: ArrayLike, along: Stations) -> GroundPieces:
    """Return length, slowness and steepest slope of pieces from heights along them.

    Parameters
    ----------
    height_m : array-like
        Height at each of the places [m]; NaN where it isn't known.
    along : Stations
        The places.

    Notes
    -----
    Slowness is that of `relative_pace` (Tobler 1993), each stretch walked either way.

    Examples
    --------
    >>> places = stations(np.array([[0.0, 0.0]]), np.array([[0.0, 40.0]]), step_m=50.0)
    >>> found = over_ground([0.0, 30.0], places)
    >>> found.length_m.tolist(), found.steepest_deg.round(2).tolist()
    ([50.0], [36.87])
    """
    height = np.asarray(height_m, dtype=float)
    piece = np.repeat(np.arange(along.begins.size), np.diff(np.r_[along.begins, height.size]))
    inner = piece[1:] == piece[:-1]
    owner, step = piece[:-1][inner], along.step_m[piece[:-1][inner]]
    rise = np.diff(height)[inner]
    known = np.isfinite(rise) & (step > 0)
    grade = np.where(known, np.divide(rise, step, where=step > 0, out=np.zeros(step.size)), 0.0)
    count = along.begins.size
    both_ways = step * (1 / relative_pace(grade) + 1 / relative_pace(-grade))
    flat, length, time = (
        np.bincount(owner, weights, count).astype(np.float64)
        for weights in (step, step * np.hypot(1, grade), both_ways)
    )
    steepest = np.full(count, -1.0)
    np.maximum.at(steepest, owner[known], np.degrees(np.arctan(np.abs(grade[known]))))
    slowness = np.divide(time / 2, flat, where=flat > 0, out=np.ones(count))
    return GroundPieces(length, slowness, np.where(steepest < 0, np.nan, steepest))


def relative_pace(grade: ArrayLike) -> FloatArray:
    """Return the pace on a slope beside that on level ground, both measured on the map.

    Parameters
    ----------
    grade : array-like
        Rise over run in the direction of walking.

    Notes
    -----
    Tobler's hiking function, 6 exp(-3.5 |S + 0.05|) km/h, beside its 5.04 km/h on the level: a
    fit to paces that Imhof published in 1950. Pace on level ground itself is a setting.

    References
    ----------
    Tobler, W., 1993, Three presentations on geographical analysis and modeling: National Center
    for Geographic Information and Analysis, technical report 93-1.

    Examples
    --------
    >>> relative_pace([0.0, -0.05, 0.5]).round(3).tolist()
    [1.0, 1.191, 0.174]
    """
    slope = np.asarray(grade, dtype=float)
    return np.asarray(np.exp(-3.5 * (np.abs(slope + 0.05) - 0.05)), dtype=np.float64)
