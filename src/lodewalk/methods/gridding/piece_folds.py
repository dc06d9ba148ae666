"""Pieces of lines left out in turn: how well a surface predicts near readings."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import check_positive, check_same_length

FOLDS: Final = 5


def piece_folds(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    passage: ArrayLike,
    *,
    length_m: float,
    folds: int = FOLDS,
) -> NDArray[np.int64]:
    """Deal pieces of lines into folds, so that each fold leaves out one piece in so many.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.
    length_m : float
        Length of a piece [m]; with the line spacing, its middle is as far from the readings left
        as the middle between two lines.
    folds : int
        Number of folds, at least 2 (default 5).

    Returns
    -------
    int array, shape (n,)
        Fold of each reading; -1 for one off the lines.

    Raises
    ------
    InputError
        When lengths differ, the length isn't above zero or there are fewer than two folds.

    Examples
    --------
    >>> piece_folds(np.zeros(6), np.arange(0, 60.0, 10), np.zeros(6, int), length_m=20.0,
    ...             folds=2).tolist()
    [0, 0, 1, 1, 0, 0]
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, passage=passage)
    check_positive(length_m, name="length_m")
    if folds < 2:
        raise InputError("At least two folds are needed.", value=folds)
    east, north = (np.asarray(axis, dtype=np.float64) for axis in (easting_m, northing_m))
    number = np.asarray(passage, dtype=np.int64)
    fold = np.full(number.shape, -1, dtype=np.int64)
    used = np.flatnonzero((number >= 0) & np.isfinite(east + north))
    order = used[np.argsort(number[used], kind="stable")]
    if not order.size:
        return fold
    first = np.diff(number[order], prepend=-1) != 0
    step = np.hypot(np.diff(east[order], prepend=0.0), np.diff(north[order], prepend=0.0))
    walked = np.cumsum(np.where(first, 0.0, step))
    line = np.cumsum(first) - 1
    along = walked - walked[first][line]
    # Pieces of neighbours are dealt in turn, so that a fold's pieces don't lie side by side.
    fold[order] = (np.floor(along / length_m).astype(np.int64) + 2 * line) % folds
    return fold
