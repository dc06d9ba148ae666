"""The stands of a turn-around test: parting a record on one spot, and passes over one point."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.cleanliness import block_means
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Blocks in which a record is parted [s].
BLOCK_S: Final = 1.0

#: A stand lasts at least this share of the record's time over the number of stands.
LEAST_SHARE: Final = 0.4


def part_stands(time_s: ArrayLike, value_nT: ArrayLike, *, count: int) -> IntArray:
    """Part a record on one spot into a known number of stands.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Readings, the daily variation taken off [nT]; NaN are left out.
    count : int
        Number of stands, as of headings in a turn-around test.

    Returns
    -------
    int array, shape (n,)
        Number of the stand of each reading, 0 up to `count` - 1; -1 within a second of a turn, and
        everywhere if the record is too short.

    Raises
    ------
    InputError
        When the lengths differ, times go back or `count` is below 1.

    Notes
    -----
    The bounds make the sum of squares about the means of the stands least, each stand lasting at
    least 0.4 of its even share (exact, by dynamic programming; Bellman 1961, from memory). Where
    the readings don't change from one heading to the next, the bound between them can't be found
    and doesn't matter.

    References
    ----------
    Bellman, R. (1961), On the approximation of curves by line segments using dynamic programming,
    Communications of the ACM 4, 284, doi:10.1145/366573.366611 (from memory).

    Examples
    --------
    >>> part_stands(np.arange(12.0), np.repeat([1.0, 5.0], 6), count=2).tolist()
    [0, 0, 0, 0, 0, -1, -1, 1, 1, 1, 1, 1]
    """
    time, value = np.asarray(time_s, dtype=float), np.asarray(value_nT, dtype=float)
    check_same_length(time_s=time, value_nT=value)
    check_increasing(time, name="time_s", strictly=False)
    if count < 1:
        raise InputError("There must be at least one stand.", value=count)
    stand: IntArray = np.full(time.size, -1, dtype=np.int64)
    known = np.isfinite(value)
    blocks = block_means(time, value, block_s=BLOCK_S)
    least = max(2, int(LEAST_SHARE * blocks.size / count))
    if blocks.size < count * least:
        return stand
    begin = time[known][0]
    number = np.floor((time - begin) / BLOCK_S).astype(np.int64)
    # The blocks that hold a value, in order; a pause has none.
    place = np.searchsorted(np.unique(number[known]), number, side="right") - 1
    bounds = _least_squares_bounds(blocks, count, least)
    stand[:] = np.searchsorted(bounds, place, side="right")
    turn = np.isin(place, bounds) | np.isin(place + 1, bounds)
    stand[turn | ~known] = -1
    return stand


def _least_squares_bounds(value: FloatArray, count: int, least: int) -> IntArray:
    """Return the first block of each stand after the first."""
    size = value.size
    total = np.concatenate([[0.0], np.cumsum(value - value.mean())])
    # A stand from a to b adds -(sum)^2 / (b - a) to the sum of squares.
    best = np.full((count, size + 1), np.inf)
    source = np.zeros((count, size + 1), dtype=np.int64)
    for end in range(least, size + 1):
        best[0, end] = -(total[end] ** 2) / end
    for k in range(1, count):
        for end in range((k + 1) * least, size + 1):
            start = np.arange(k * least, end - least + 1)
            cost = best[k - 1, start] - (total[end] - total[start]) ** 2 / (end - start)
            at = int(np.argmin(cost))
            best[k, end], source[k, end] = cost[at], start[at]
    bounds, end = [], size
    for k in range(count - 1, 0, -1):
        end = int(source[k, end])
        bounds.append(end)
    return np.array(bounds[::-1], dtype=np.int64)


def passes_over(easting_m: ArrayLike, northing_m: ArrayLike, *, within_m: float = 4.0) -> IntArray:
    """Number the passes of a walk over one point, as in a turn-around test that is walked.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.
    within_m : float
        A pass is what is walked within this distance of the point [m] (default 4).

    Returns
    -------
    int array, shape (n,)
        Number of the pass of each reading, -1 away from the point.

    Raises
    ------
    InputError
        When the lengths differ or `within_m` isn't above zero.

    Notes
    -----
    The point is that of the walk near which most of the walk lies, counted within `within_m`: all
    passes meet there, the loops between them don't. In an even field a pass symmetric about the
    point has the mean of the point.

    Examples
    --------
    >>> east = [-20.0, -2.0, 2.0, 20.0, 20.0, 0.0, 0.0, 0.0]
    >>> north = [0.0, 0.0, 0.0, 0.0, 20.0, 20.0, 1.0, -2.0]
    >>> passes_over(east, north).tolist()
    [-1, 0, 0, -1, -1, -1, 1, 1]
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    check_positive(within_m, name="within_m")
    place = np.column_stack([np.asarray(axis, dtype=float) for axis in (easting_m, northing_m)])
    found: IntArray = np.full(len(place), -1, dtype=np.int64)
    known = np.flatnonzero(np.isfinite(place).all(axis=1))
    if not known.size:
        return found
    away = np.hypot(*(place[known, None] - place[None, known]).transpose(2, 0, 1))
    centre = place[known[int(np.argmax((away <= within_m).sum(axis=1)))]]
    near = np.hypot(*(place - centre).T) <= within_m
    starts = near & ~np.concatenate([[False], near[:-1]])
    found[near] = np.cumsum(starts)[near] - 1
    return found


def stand_level(
    time_s: ArrayLike, value_nT: ArrayLike, *, least_sd_nT: float = 0.2
) -> tuple[float, float]:
    """Return the mean of a stand and its sd.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Readings, the daily variation taken off [nT]; NaN are left out.
    least_sd_nT : float
        Least sd: nobody turns on one spot to the decimetre [nT] (default 0.2, common practice).

    Returns
    -------
    mean, sd : float
        Mean of the seconds, and its sd from their spread, never below the least [nT]; NaN with
        fewer than two seconds.

    Raises
    ------
    InputError
        When the lengths differ, times go back or `least_sd_nT` isn't above zero.

    Examples
    --------
    >>> stand_level(np.arange(4.0), [1.0, 3.0, 1.0, 3.0])[0]
    2.0
    """
    check_positive(least_sd_nT, name="least_sd_nT")
    blocks = block_means(time_s, value_nT, block_s=BLOCK_S)
    if blocks.size < 2:
        return float("nan"), float("nan")
    own = float(blocks.std(ddof=1)) / float(np.sqrt(blocks.size))
    return float(blocks.mean()), float(np.hypot(own, least_sd_nT))
