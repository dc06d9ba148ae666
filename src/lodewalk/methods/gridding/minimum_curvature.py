"""Minimum curvature with tension: the smoothest surface through or near the readings."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding._relaxation import (
    halve_spacing,
    move_to_nodes,
    step_factor,
    sweep,
)
from lodewalk.methods.gridding.block_means import BlockMeans
from lodewalk.validation import FloatArray, check_positive, check_within

IntArray = NDArray[np.int64]

#: Nodes added round the grid, so that no wanted node lies on the border of the solution.
MARGIN: Final = 3
#: Over-relaxation, between sweeps of the readings' move to the nodes (Smith and Wessel 1990).
RELAXATION: Final = 1.4
BETWEEN_MOVES: Final = 5
#: Share of the bending that always pulls as tension does, so that readings in one place or along
#: one line have a surface too.
LEAST_PULL: Final = 1e-9
#: The grid is halved until it has no more nodes than this; that one is solved at once, finer ones
#: are swept from the one before.
DIRECT: Final = 20_000
MOST_MOVES: Final = 50
#: A grid that a finer one follows needs this much less exactness.
COARSER: Final = 20.0
#: Most sweeps of a grid by its number of nodes; long waves come from the coarser ones.
SWEEPS: Final = ((100_000, 100), (400_000, 50), (1_500_000, 25), (10**9, 15))
LEAST_TO_LOOK: Final = 30
#: Half of the nodes that a node bends with, to north and east; the others mirror them.
_STENCIL: Final = ((0, 0), (0, 1), (0, 2), (1, -1), (1, 0), (1, 1), (2, 0))


class _Level(NamedTuple):
    """The readings of one grid: node, place from the node, value, weight."""

    shape: tuple[int, int]
    row: IntArray
    column: IntArray
    north: FloatArray
    east: FloatArray
    value: FloatArray
    weight: FloatArray


def minimum_curvature(
    blocks: BlockMeans,
    wanted: BoolArray,
    *,
    tension: float = 0.0,
    damping: float = 1e-3,
    tension_length: float = 1.0,
    tolerance: float = 1e-4,
) -> FloatArray:
    """Return the surface of least curvature, under tension, near the readings.

    Parameters
    ----------
    blocks : BlockMeans
        Positions in grid spacings, values of a size near 1, and weights relative to a usual
        reading's.
    wanted : bool array, shape (n_north, n_east)
        Nodes to compute.
    tension : float
        0 (default) bends like a thin plate, 1 stretches like a membrane and has no overshoot.
    damping : float
        How much roughness counts beside the misfit of a usual reading [squares of the grid
        spacing]; near 0 (default) the surface goes through the block means.
    tension_length : float
        Length over which bending and stretching are compared [grid spacings] (default 1, as in
        [1]_).
    tolerance : float
        Sweeps of a grid end when the last one changed no node by more than this, or at a number
        that falls with the size of the grid.

    Returns
    -------
    array, shape (n_wanted,)
        Values, row by row from the south.

    Raises
    ------
    InputError
        For a tension outside 0 to 1, or a damping, length or tolerance not above zero.

    Notes
    -----
    The surface u makes

    ``sum w (u - d)^2 + damping * integral((1 - T) L^2 |D2 u|^2 + T |grad u|^2)``

    least, where D2 holds both second derivatives and twice their mixed one. With damping near 0
    that is the equation of [1]_, ``(1 - T) del4 u = T del2 u`` (L = 1 grid spacing), with free
    edges. Readings keep their own place: the value at a node is the reading's less the surface's
    own change from node to reading, anew every few sweeps. Grids are solved from coarse to fine,
    each from the one before by cubic interpolation; over-relaxed sweeps over every third row at
    once give the same bits with any number of threads.

    A plane comes out exact with T = 0. Between lines the surface knows no sources: features
    narrower than the line spacing bead.

    References
    ----------
    .. [1] Smith, W. H. F., and Wessel, P. (1990), Gridding with continuous curvature splines in
       tension, Geophysics 55, 293-305, doi:10.1190/1.1442837.
    .. [2] Briggs, I. C. (1974), Machine contouring using minimum curvature, Geophysics 39, 39-48
       (from memory), doi:10.1190/1.1440410.

    Examples
    --------
    >>> corners = BlockMeans(*np.array([[0.0, 4, 0, 4], [0, 0, 4, 4], [0, 1, 1, 2], [1, 1, 1, 1]]))
    >>> minimum_curvature(corners, np.ones((5, 5), dtype=bool))[[0, 12, 24]].round(2).tolist()
    [0.0, 1.0, 2.0]
    """
    check_within(tension, name="tension", low=0, high=1, unit="")
    for name, value in (
        ("damping", damping),
        ("tension_length", tension_length),
        ("tolerance", tolerance),
    ):
        check_positive(value, name=name)
    levels = _levels(blocks, wanted.shape)
    u: FloatArray = np.zeros(levels[-1].shape)
    for number in range(len(levels) - 1, -1, -1):
        level = levels[number]
        if u.shape != level.shape:
            u = halve_spacing(u, level.shape)
        size = 2.0**number
        bending = damping * (1 - tension) * tension_length**2 / size**2
        solve = _at_once if u.size <= DIRECT else _relax
        pull = damping * tension + LEAST_PULL * bending
        solve(u, level, bending, pull, tolerance if number == 0 else COARSER * tolerance)
    inner = u[MARGIN : MARGIN + wanted.shape[0], MARGIN : MARGIN + wanted.shape[1]]
    values: FloatArray = inner[wanted]
    return values


def _at_once(
    u: FloatArray, level: _Level, bending: float, tension: float, tolerance: float
) -> None:
    """Solve the equations of a grid, the readings moved to the nodes until that changes little."""
    weight, right = np.zeros(level.shape), np.zeros(level.shape)
    weight[level.row, level.column] = level.weight
    matrix = sparse.diags_array(weight.ravel()) + roughness(level.shape, bending, tension)
    factors = splu(
        matrix.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    for _ in range(MOST_MOVES):
        move_to_nodes(
            u, level.row, level.column, level.north, level.east, level.value, level.weight, right
        )
        new = factors.solve(right.ravel()).reshape(level.shape)
        change = float(np.max(np.abs(new - u)))
        u[:] = new
        if change < tolerance:
            return


def roughness(shape: tuple[int, int], bending: float, tension: float) -> sparse.csr_array:
    """Return the matrix of bending and tension of a grid with free edges.

    Parameters
    ----------
    shape : tuple = (north, east)
        Number of nodes, at least three each way.
    bending, tension : float
        Factors of the sums of squares of second and first differences.

    Returns
    -------
    sparse array, shape (n_nodes, n_nodes)

    Examples
    --------
    A node amid others bends with the factor 20 (8 for its sides):

    >>> roughness((5, 5), 1.0, 0.0)[[12], :].toarray().reshape(5, 5)[2].tolist()
    [1.0, -8.0, 20.0, -8.0, 1.0]
    """
    slope, bend = ([_band(order, count) for count in shape] for order in (1, 2))
    own = [bending * two + tension * one for one, two in zip(slope, bend, strict=True)]
    found: dict[int, FloatArray] = {}
    for north, east in _STENCIL:
        # From the nodes whose neighbour there would lie across the border the bands hold zeros.
        part = 2 * bending * slope[0][north][:, None] * _towards(slope[1], east)
        if north == 0:
            part = part + _towards(own[1], east)
        if east == 0:
            part = part + own[0][north][:, None]
        offset = north * shape[1] + east
        diagonal = np.broadcast_to(part, shape).ravel()[: shape[0] * shape[1] - offset]
        found[offset] = found.get(offset, 0.0) + diagonal
    diagonals = found | {-offset: diagonal for offset, diagonal in found.items()}
    return sparse.diags_array(list(diagonals.values()), offsets=list(diagonals)).tocsr()


def _band(order: int, count: int) -> FloatArray:
    """Return the diagonals 0 to 2 of the squares of differences along an axis, zeros at the end."""
    steps = np.array({1: [-1.0, 1.0], 2: [1.0, -2.0, 1.0]}[order])
    band = np.zeros((3, count))
    for first in range(order + 1):
        for second in range(first, order + 1):
            places = slice(first, first + count - order)
            band[second - first, places] += steps[first] * steps[second]
    return band


def _towards(band: FloatArray, step: int) -> FloatArray:
    """Return the factors of each node and the one `step` nodes on, back where it is below zero."""
    return np.roll(band[abs(step)], max(-step, 0))


def _relax(u: FloatArray, level: _Level, bending: float, tension: float, tolerance: float) -> None:
    """Sweep a grid until it hardly changes."""
    weight, right = np.zeros(level.shape), np.zeros(level.shape)
    weight[level.row, level.column] = level.weight
    factor = step_factor(weight, bending, tension, RELAXATION)
    most = next(sweeps for nodes, sweeps in SWEEPS if u.size <= nodes)
    # A look at the change costs as much as two sweeps, too much where few are made.
    looks = most > LEAST_TO_LOOK
    before = u
    for count in range(0, most, BETWEEN_MOVES):
        move_to_nodes(
            u, level.row, level.column, level.north, level.east, level.value, level.weight, right
        )
        for turn in range(BETWEEN_MOVES):
            if looks and turn == BETWEEN_MOVES - 1:
                before = u.copy()
            sweep(u, weight, right, factor, bending, tension, (count + turn) % 2 == 1)
        if looks and np.max(np.abs(u - before)) < tolerance:
            return


def _levels(blocks: BlockMeans, shape: tuple[int, int]) -> list[_Level]:
    """Return the readings at the nodes of each grid, the finest first."""
    rows, columns = (count + 2 * MARGIN for count in shape)
    place = BlockMeans(blocks.column + MARGIN, blocks.row + MARGIN, blocks.value, blocks.weight)
    inside = (place.column > -0.5) & (place.column < columns - 0.5)
    inside &= (place.row > -0.5) & (place.row < rows - 0.5)
    if not inside.any():
        raise InputError("No reading lies on the grid.", value=inside.size)
    place = BlockMeans(*(part[inside] for part in place))
    levels = [_at_nodes(place, (rows, columns))]
    while levels[-1].shape[0] * levels[-1].shape[1] > DIRECT:
        rows, columns = (rows + 1) // 2, (columns + 1) // 2
        last = levels[-1]
        place = BlockMeans(
            (last.column + last.east) / 2, (last.row + last.north) / 2, last.value, last.weight
        )
        levels.append(_at_nodes(place, (max(rows, 3), max(columns, 3))))
    return levels


def _at_nodes(place: BlockMeans, shape: tuple[int, int]) -> _Level:
    """Average readings over the square round each node."""
    at_column = np.clip(np.rint(place.column).astype(np.int64), 0, shape[1] - 1)
    at_row = np.clip(np.rint(place.row).astype(np.int64), 0, shape[0] - 1)
    node = at_row * shape[1] + at_column
    total: FloatArray = np.bincount(node, weights=place.weight).astype(np.float64)
    held = np.flatnonzero(total)
    weight = total[held]
    means = [
        np.bincount(node, weights=place.weight * part)[held] / weight
        for part in (place.row, place.column, place.value)
    ]
    row, column = held // shape[1], held % shape[1]
    return _Level(shape, row, column, means[0] - row, means[1] - column, means[2], weight)
