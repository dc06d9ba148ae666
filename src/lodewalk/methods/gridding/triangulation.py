"""Interpolation on the Delaunay triangulation of block means."""

from collections.abc import Callable
from typing import Final

import numpy as np
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator
from scipy.spatial import ConvexHull, Delaunay

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding.block_means import BlockMeans
from lodewalk.validation import FloatArray

#: Nodes that are computed together; part of the result, so never the number of workers.
_NODES_AT_ONCE: Final = 250_000


def interpolate_cubic(blocks: BlockMeans, wanted: BoolArray) -> FloatArray:
    """Interpolate with the piecewise cubic of Clough and Tocher, smooth in its first derivatives.

    Parameters
    ----------
    blocks : BlockMeans
        Positions in grid spacings and values of a size near 1, in three places or more.
    wanted : bool array, shape (n_north, n_east)
        Nodes to compute.

    Returns
    -------
    array, shape (n_wanted,)
        Values, row by row; NaN outside the convex hull of the blocks.

    Notes
    -----
    The gradients at the blocks make the curvature along the sides of the triangles least [1]_,
    solved to 1e-6 by iteration in a fixed order.

    References
    ----------
    .. [1] Nielson, G. M. (1983), A method for interpolating scattered data based upon a minimum
       norm network, Mathematics of Computation 40, 253-271 (from memory),
       doi:10.1090/S0025-5718-1983-0679444-7.

    Examples
    --------
    >>> corners = BlockMeans(*np.array([[0.0, 2, 0, 2], [0, 0, 2, 2], [0, 2, 0, 2], [1, 1, 1, 1]]))
    >>> interpolate_cubic(corners, np.ones((1, 3), dtype=bool)).round(6).tolist()
    [0.0, 1.0, 2.0]
    """
    places = np.column_stack([blocks.column, blocks.row])
    surface = CloughTocher2DInterpolator(Delaunay(places), blocks.value, tol=1e-6, maxiter=2000)
    return _at_nodes(surface, places, wanted)


def interpolate_linear(blocks: BlockMeans, wanted: BoolArray) -> FloatArray:
    """Interpolate with a plane on each triangle.

    Parameters
    ----------
    blocks : BlockMeans
        Positions in grid spacings and values, in three places or more.
    wanted : bool array, shape (n_north, n_east)
        Nodes to compute.

    Returns
    -------
    array, shape (n_wanted,)
        Values, row by row; NaN outside the convex hull of the blocks.

    Examples
    --------
    >>> corners = BlockMeans(*np.array([[0.0, 2, 0], [0, 0, 2], [0, 2, 4], [1, 1, 1]]))
    >>> interpolate_linear(corners, np.ones((2, 2), dtype=bool)).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    places = np.column_stack([blocks.column, blocks.row])
    surface = LinearNDInterpolator(Delaunay(places), blocks.value)
    return _at_nodes(surface, places, wanted)


def _at_nodes(
    surface: Callable[[FloatArray], FloatArray], places: FloatArray, wanted: BoolArray
) -> FloatArray:
    """Return the surface at the wanted nodes, some at a time; NaN outside the hull of places."""
    rows, columns = np.nonzero(wanted)
    nodes = np.column_stack([columns, rows]).astype(np.float64)
    # The search for its triangle tries all of them for a node that lies in none.
    inside = np.ones(len(nodes), dtype=bool)
    for east, north, offset in ConvexHull(places).equations:
        inside &= east * nodes[:, 0] + north * nodes[:, 1] + offset <= 1e-9
    found = np.flatnonzero(inside)
    values = np.full(len(nodes), np.nan)
    for first in range(0, len(found), _NODES_AT_ONCE):
        part = found[first : first + _NODES_AT_ONCE]
        values[part] = surface(nodes[part])
    return values
