"""Means of readings over short pieces of each passage."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive, check_same_length


class LineBlocks(NamedTuple):
    """Mean position [m], mean value, variance of its own error, passage and fold of each block.

    `shared`, shape (n, k), holds what the k causes that all readings of a passage share add to
    each block, with sign: two blocks of one passage have the sum of products as covariance.
    """

    easting: FloatArray
    northing: FloatArray
    value: FloatArray
    variance: FloatArray
    passage: NDArray[np.int64]
    fold: NDArray[np.int64]
    shared: FloatArray


def line_blocks(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    sd_nT: ArrayLike,
    passage: ArrayLike,
    size_m: float,
    fold: ArrayLike | None = None,
    shared: ArrayLike | None = None,
) -> LineBlocks:
    """Average the readings of a passage (and a fold) in each square of a side.

    Parameters
    ----------
    easting_m, northing_m, value : array, shape (n,)
        Readings; one without position, value or sd (NaN) is left out.
    sd_nT : array, shape (n,)
        Standard deviation of each reading's own error, above zero.
    passage : int array, shape (n,)
        Number of the passage of each; readings of -1 share nothing but the square.
    size_m : float
        Side of a square [m].
    fold : int array, shape (n,), optional
        Fold of each (default: -1 for all).
    shared : array, shape (n, k), optional
        One standard deviation of each of k errors that the readings of a passage share, with the
        sign it has at each (default: none).

    Returns
    -------
    LineBlocks
        By fold, passage, square. Readings weigh 1 / sd**2, and the variance of a mean is one over
        the sum of the weights.

    Raises
    ------
    InputError
        When lengths differ, or a length or an sd isn't above zero, or nothing is left.

    Examples
    --------
    >>> line_blocks([0.0, 1.0, 9.0], [0.0, 0.0, 0.0], [1.0, 3.0, 7.0], sd_nT=[2.0, 2.0, 1.0],
    ...             passage=[0, 0, 0], size_m=5.0)[2:4]
    (array([2., 7.]), array([2., 1.]))
    """
    check_positive(size_m, name="size_m")
    numbers = [
        np.atleast_1d(np.asarray(part, dtype=np.float64))
        for part in (easting_m, northing_m, value, sd_nT)
    ]
    labels = [
        np.atleast_1d(np.asarray(part, dtype=np.int64))
        for part in (passage, np.full(numbers[0].size, -1) if fold is None else fold)
    ]
    names = ("easting_m", "northing_m", "value", "sd_nT", "passage", "fold")
    check_same_length(**dict(zip(names, (*numbers, *labels), strict=True)))
    common = np.zeros((numbers[0].size, 1)) if shared is None else np.asarray(shared, np.float64)
    check_same_length(value=numbers[0], shared=common[:, 0])
    known = np.isfinite(numbers).all(axis=0) & np.isfinite(common).all(axis=1)
    if not known.any():
        raise InputError(
            "The standard error of a grid needs readings that have position, value and sd.",
            value=f"0 of {known.size}",
        )
    east, north, values, sd = (part[known] for part in numbers)
    check_positive(float(sd.min()), name="sd_nT")
    number, folds = (part[known] for part in labels)
    columns = (east, north, values, *common[known].T)
    return _averaged(columns, 1 / sd**2, number, folds, size_m)


def _averaged(
    columns: tuple[FloatArray, ...],
    weight: FloatArray,
    passage: NDArray[np.int64],
    fold: NDArray[np.int64],
    size: float,
) -> LineBlocks:
    """Sort the readings, so that their order doesn't change a bit, and average each group."""
    east, north, value = columns[:3]
    square = np.floor(east / size).astype(np.int64), np.floor(north / size).astype(np.int64)
    keys = (fold, passage, square[1], square[0])
    order = np.lexsort((*columns[3:], weight, value, north, east, *keys[::-1]))
    changes = np.any([np.diff(key[order]) != 0 for key in keys], axis=0)
    starts = np.flatnonzero(np.concatenate([[True], changes]))
    counts = np.diff(np.append(starts, order.size))
    weights = weight[order]
    total = np.add.reduceat(weights, starts)
    means = []
    for part in columns:
        # Departures from the first keep the digits that a large base would take.
        base = part[order][starts]
        rest = part[order] - np.repeat(base, counts)
        means.append(base + np.add.reduceat(weights * rest, starts) / total)
    first = order[starts]
    shared = np.column_stack(means[3:])
    return LineBlocks(means[0], means[1], means[2], 1 / total, passage[first], fold[first], shared)
