"""Which nodes of a grid lie near enough to readings."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import distance_transform_cdt, distance_transform_edt
from scipy.spatial import cKDTree

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import FloatArray, check_positive

#: Nodes that are looked up together, which bounds the memory.
_NODES_AT_ONCE: Final = 250_000


class Region(NamedTuple):
    """South-west node [m] and number of nodes, north by east."""

    west_m: float
    south_m: float
    shape: tuple[int, int]


def within_reach(
    column: FloatArray, row: FloatArray, shape: tuple[int, int], *, reach: float
) -> BoolArray:
    """Mark the nodes within the reach of a reading, all in grid spacings.

    Parameters
    ----------
    column, row : array, shape (n,)
        Readings, in grid spacings from the south-west node.
    shape : tuple = (north, east)
        Number of nodes.
    reach : float
        Farthest distance [grid spacings].

    Returns
    -------
    bool array, shape (north, east)

    Examples
    --------
    >>> within_reach(np.array([0.0]), np.array([0.0]), (2, 3), reach=1.0).tolist()
    [[True, True, False], [True, False, False]]
    """
    held = np.ones(shape, dtype=bool)
    at_row = np.clip(np.rint(row).astype(np.int64), 0, shape[0] - 1)
    at_column = np.clip(np.rint(column).astype(np.int64), 0, shape[1] - 1)
    held[at_row, at_column] = False
    # Rings of squares round the nodes that hold readings settle all but a rim.
    ring = distance_transform_cdt(held, metric="chessboard")
    limit = reach * (1 + 1e-9)  # a node just at the reach belongs
    off = np.hypot(row - at_row, column - at_column).max(initial=0.0)
    wanted: BoolArray = ring * np.sqrt(2) + off <= limit
    rim = np.nonzero(~wanted & (ring - off <= limit))
    tree = cKDTree(np.column_stack([row, column]))
    for first in range(0, rim[0].size, _NODES_AT_ONCE):
        part = tuple(axis[first : first + _NODES_AT_ONCE] for axis in rim)
        distance = tree.query(np.column_stack(part), distance_upper_bound=limit)[0]
        wanted[part] = np.isfinite(distance)
    return wanted


def surveyed_ground(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    region: Region,
    spacing_m: float,
    reach_m: float,
    margin_m: float,
) -> BoolArray:
    """Mark the ground that a survey was to cover, lines that are missing inside it included.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Readings [m].
    region : Region
        The grid, with at least `reach_m` round the readings.
    spacing_m : float
        Distance between nodes [m].
    reach_m : float
        Gaps between readings up to twice this are ground too [m].
    margin_m : float
        Ground beyond the outermost readings, at most `reach_m` [m].

    Returns
    -------
    bool array, shape of the region

    Raises
    ------
    InputError
        When a length isn't above zero.

    Notes
    -----
    A morphological closing: all within the reach, less what lies nearer to the outside than reach
    less margin [1]_.

    References
    ----------
    .. [1] Serra, J. (1982), Image Analysis and Mathematical Morphology, Academic Press, chapter 2
       (from memory).

    Examples
    --------
    Two lines 20 m apart with a third one missing between them; 10 m beyond them is no ground:

    >>> east, north = np.repeat([20.0, 60.0], 81), np.tile(np.arange(81.0), 2)
    >>> inside = surveyed_ground(east, north, region=Region(-20.0, -40.0, (17, 11)),
    ...                          spacing_m=10.0, reach_m=25.0, margin_m=5.0)
    >>> inside[8].astype(int).tolist()
    [0, 0, 0, 0, 1, 1, 1, 1, 1, 0, 0]
    """
    for name, length in (("spacing_m", spacing_m), ("reach_m", reach_m), ("margin_m", margin_m)):
        check_positive(length, name=name)
    column = (np.asarray(easting_m, dtype=np.float64) - region.west_m) / spacing_m
    row = (np.asarray(northing_m, dtype=np.float64) - region.south_m) / spacing_m
    reached = within_reach(column, row, region.shape, reach=reach_m / spacing_m)
    away = distance_transform_edt(np.pad(reached, 1))[1:-1, 1:-1] * spacing_m
    inside: BoolArray = away > reach_m - margin_m
    return inside
