"""Means of readings over the squares of a grid."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import FloatArray, check_same_length


class BlockMeans(NamedTuple):
    """Mean position in grid spacings, mean value and total weight of each square."""

    column: FloatArray
    row: FloatArray
    value: FloatArray
    weight: FloatArray


def block_means(
    column: ArrayLike, row: ArrayLike, value: ArrayLike, *, weight: ArrayLike
) -> BlockMeans:
    """Average the readings in each square of side 1 round a node.

    Parameters
    ----------
    column, row : array, shape (n,)
        Position east and north of the south-west node in grid spacings, none missing.
    value : array, shape (n,)
        Readings, in any unit.
    weight : array, shape (n,)
        Weight of each, above zero.

    Returns
    -------
    BlockMeans
        One entry for each square that holds readings, by row, then by column.

    Notes
    -----
    Position and value are averaged with the same weights, so readings of a plane give a point of
    it. Readings are sorted first, so that their order doesn't change a single bit.

    Examples
    --------
    >>> block_means([0.1, 0.3, 2.0], [0.0, 0.0, 0.0], [5.0, 7.0, 1.0], weight=np.ones(3)).value
    array([6., 1.])
    """
    check_same_length(column=column, row=row, value=value, weight=weight)
    columns = [
        np.atleast_1d(np.asarray(array, dtype=np.float64)) for array in (column, row, value, weight)
    ]
    square = np.floor(columns[0] + 0.5), np.floor(columns[1] + 0.5)
    order = np.lexsort((*columns[::-1], *square))
    place_c, place_r, values, weights = (array[order] for array in columns)
    changes = (np.diff(square[0][order]) != 0) | (np.diff(square[1][order]) != 0)
    starts = np.flatnonzero(np.concatenate(([True], changes))[: order.size])
    total = np.add.reduceat(weights, starts)
    # Departures from the first of each square keep the digits that a large base would take.
    means = []
    for array in (place_c, place_r, values):
        base = array[starts]
        rest = array - np.repeat(base, np.diff(np.append(starts, order.size)))
        means.append(base + np.add.reduceat(weights * rest, starts) / total)
    return BlockMeans(means[0], means[1], means[2], total)
