"""Figures of the tests of set-up and cleanliness, each with its standard deviation."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import trapezoid
from scipy.special import ndtr, stdtrit

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Length of the blocks whose means count as independent [s]: a walker sways within seconds.
BLOCK_S: Final = 10.0

#: Readings of a turn-around test count for the direction in whose sector they lie [deg].
SECTOR_DEG: Final = 45.0


@dataclass(frozen=True)
class Figure:
    """The figure of a test.

    Parameters
    ----------
    value_nT : float
        The figure [nT]; NaN where it can't be told.
    sd_nT : float
        Its standard deviation [nT]; NaN where it can't be told.
    count : int
        Number of independent values that it rests on.
    """

    value_nT: float
    sd_nT: float
    count: int


#: Half width of the 90 % interval of a normal value in sd.
NORMAL_95: Final = 1.6449

#: A test that tells nothing.
UNTOLD: Final = Figure(float("nan"), float("nan"), 0)


def block_means(time_s: ArrayLike, value_nT: ArrayLike, *, block_s: float = BLOCK_S) -> FloatArray:
    """Return the mean of each block of a record; NaN are left out.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Values [nT].
    block_s : float
        Length of a block [s] (default 10, longer than a walker sways; common practice).

    Returns
    -------
    float array, shape (n_blocks,)
        Means of the blocks that hold a value, in order of time [nT].

    Examples
    --------
    >>> block_means([0.0, 1.0, 15.0], [1.0, 3.0, 7.0]).tolist()
    [2.0, 7.0]
    """
    time, value = np.asarray(time_s, dtype=float), np.asarray(value_nT, dtype=float)
    check_same_length(time_s=time, value_nT=value)
    check_increasing(time, name="time_s", strictly=False)
    check_positive(block_s, name="block_s")
    known = np.isfinite(value)
    if not known.any():
        return np.zeros(0)
    time, value = time[known], value[known]
    block = np.floor((time - time[0]) / block_s).astype(np.int64)
    _, start = np.unique(block, return_index=True)
    means: FloatArray = np.add.reduceat(value, start) / np.diff(np.append(start, value.size))
    return means


def difference_of_spans(one_nT: ArrayLike, other_nT: ArrayLike) -> Figure:
    """Return the difference of level between two lots of block means.

    Parameters
    ----------
    one_nT, other_nT : array
        Block means of each, the variation of the field taken off [nT].

    Returns
    -------
    Figure
        Mean of `one_nT` less mean of `other_nT`; the variances may differ (Welch 1947). The sd is
        raised so that 1.645 sd hold the 90 % interval of Student's t.

    Notes
    -----
    Used for an item taken along and left away. Valid where the sensor stayed on one spot at one
    facing; a field that drifts between the spans counts as the item's unless the base is off.

    References
    ----------
    Welch, B. L. (1947), The generalization of Student's problem when several different
    population variances are involved, Biometrika 34, 28-35, doi:10.2307/2332510.

    Examples
    --------
    >>> difference_of_spans([3.0, 3.2, 2.8], [1.0, 1.1, 0.9]).value_nT
    2.0
    """
    one, other = (_known(part) for part in (one_nT, other_nT))
    if min(one.size, other.size) < 2:
        return UNTOLD
    parts = np.array([part.var(ddof=1) / part.size for part in (one, other)])
    total = float(parts.sum())
    freedom = np.array([one.size - 1, other.size - 1])
    degrees = total**2 / float((parts**2 / freedom).sum()) if total else float(freedom.sum())
    raised = float(stdtrit(degrees, 0.95)) / NORMAL_95
    difference = round(float(one.mean() - other.mean()), 12)
    return Figure(difference, raised * float(np.sqrt(total)), int(min(one.size, other.size)))


def spread_of_levels(levels: list[FloatArray]) -> Figure:
    """Return the largest difference of level between several lots of block means.

    Parameters
    ----------
    levels : list of arrays
        Block means of each stand or heading, the variation of the field taken off [nT].

    Returns
    -------
    Figure
        Highest mean less lowest mean; `count` is the number of levels. What noise alone would
        spread the means by is taken off in squares, so that the figure isn't biased by it.

    Notes
    -----
    The expected range of n normal means of sd s is ``d2(n) s`` (Tippett 1925). It is subtracted
    as ``sqrt(max(0, R^2 - (d2 s)^2))``. The sd is that of the two outermost means.

    References
    ----------
    Tippett, L. H. C. (1925), On the extreme individuals and the range of samples taken from a
    normal population, Biometrika 17, 364-387, doi:10.1093/biomet/17.3-4.364.

    Examples
    --------
    >>> import numpy as np
    >>> figure = spread_of_levels([np.array([1.0, 1.0]), np.array([4.0, 4.0])])
    >>> figure.value_nT, figure.count
    (3.0, 2)
    """
    known = [part for part in (_known(level) for level in levels) if part.size >= 2]
    if len(known) < 2:
        return UNTOLD
    means = np.array([part.mean() for part in known])
    errors = np.array([part.std(ddof=1) / np.sqrt(part.size) for part in known])
    low, high = int(means.argmin()), int(means.argmax())
    chance = range_of_normal(len(known)) * float(np.sqrt(np.mean(errors**2)))
    spread = float(np.sqrt(max(0.0, float(np.ptp(means)) ** 2 - chance**2)))
    return Figure(spread, float(np.hypot(errors[low], errors[high])), len(known))


def range_of_normal(count: int) -> float:
    """Return the expected range of `count` normal values of sd 1.

    Parameters
    ----------
    count : int
        Number of values, 2 or more.

    Returns
    -------
    float
        Expected range in sd.

    Raises
    ------
    InputError
        For fewer than two values.

    Notes
    -----
    The integral of ``1 - (1 - P)^n - P^n`` over all values, P the normal distribution (Tippett
    1925, see `spread_of_levels`).

    Examples
    --------
    >>> round(range_of_normal(2), 4)
    1.1284
    """
    if count < 2:
        raise InputError("A range needs two values or more.", value=count)
    value = np.linspace(-8.0, 8.0, 3201)
    below = ndtr(value)
    return float(trapezoid(1 - (1 - below) ** count - below**count, value))


def by_heading(
    azimuth_deg: ArrayLike, value_nT: ArrayLike, *, sector_deg: float = SECTOR_DEG
) -> list[FloatArray]:
    """Sort block means by the direction in which the operator faced or walked.

    Parameters
    ----------
    azimuth_deg : array, shape (n,)
        Direction, clockwise from north [deg]; NaN where unknown.
    value_nT : array, shape (n,)
        Values [nT].
    sector_deg : float
        Width of a sector [deg] (default 45: eight headings).

    Returns
    -------
    list of float arrays
        Values of each sector that has any, from north clockwise.

    Examples
    --------
    >>> [part.tolist() for part in by_heading([1.0, 359.0, 90.0], [1.0, 2.0, 5.0])]
    [[1.0, 2.0], [5.0]]
    """
    azimuth, value = np.asarray(azimuth_deg, dtype=float), np.asarray(value_nT, dtype=float)
    check_same_length(azimuth_deg=azimuth, value_nT=value)
    check_positive(sector_deg, name="sector_deg")
    known = np.isfinite(azimuth) & np.isfinite(value)
    sector = np.round(azimuth[known] / sector_deg) % round(360.0 / sector_deg)
    return [value[known][sector == number] for number in np.unique(sector)]


def levels_between_steps(
    time_s: ArrayLike, value_nT: ArrayLike, *, least_s: float = 8.0
) -> list[FloatArray]:
    """Part a record on one spot into stretches of one level, such as the headings of a test.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Readings, the variation of the field taken off [nT].
    least_s : float
        Shortest stretch [s] (default 8; common practice is ten seconds or more a heading).

    Returns
    -------
    list of float arrays
        Block means of 2 s of each stretch, in order of time [nT].

    Notes
    -----
    The record is parted at the step that lowers the sum of squares most, then its parts again,
    while the gain exceeds what noise gives: ``gain > (2 ln n + 8) s^2`` with s^2 the variance of
    the blocks from their differences (binary segmentation, Scott and Knott 1974; the penalty is
    ours from trials: white noise is parted in fewer than one record in fifty).

    References
    ----------
    Scott, A. J., Knott, M. (1974), A cluster analysis method for grouping means in the analysis
    of variance, Biometrics 30, 507-512, doi:10.2307/2529204.

    Examples
    --------
    >>> import numpy as np
    >>> value = np.repeat([0.0, 5.0], 20) + np.tile([0.1, -0.1, 0.0, 0.05], 10)
    >>> [len(part) for part in levels_between_steps(np.arange(40.0), value)]
    [10, 10]
    """
    check_positive(least_s, name="least_s")
    blocks = block_means(time_s, value_nT, block_s=2.0)
    if blocks.size < 4:
        return [blocks] if blocks.size else []
    variance = float(np.median(np.diff(blocks) ** 2)) / 0.455 / 2
    penalty = (2 * np.log(blocks.size) + 8) * max(variance, 1e-6)
    bounds = [0, *_cuts(blocks, 0, blocks.size, max(2, round(least_s / 2.0)), penalty), blocks.size]
    return [blocks[a:b] for a, b in pairwise(sorted(bounds))]


def _cuts(blocks: FloatArray, first: int, stop: int, least: int, penalty: float) -> list[int]:
    """Return the cuts within a stretch, by the largest gain first."""
    part = blocks[first:stop]
    if part.size < 2 * least:
        return []
    total = np.cumsum(part)
    number = np.arange(1, part.size + 1)
    rest = part.size - number[:-1]
    apart = total[:-1] / number[:-1] - (total[-1] - total[:-1]) / rest
    gain = number[:-1] * rest / part.size * apart**2
    gain[: least - 1], gain[part.size - least :] = 0.0, 0.0
    best = int(gain.argmax())
    if gain[best] <= penalty:
        return []
    cut = first + best + 1
    return [
        *_cuts(blocks, first, cut, least, penalty),
        cut,
        *_cuts(blocks, cut, stop, least, penalty),
    ]


def repeat_misfit(
    first_distance_m: ArrayLike,
    first_nT: ArrayLike,
    second_distance_m: ArrayLike,
    second_nT: ArrayLike,
    *,
    steep_nT_m: float = 1.0,
) -> tuple[Figure, Figure]:
    """Compare two passages of one line away from steep places.

    Parameters
    ----------
    first_distance_m, second_distance_m : array
        Distance along the line from one common start [m], increasing.
    first_nT, second_nT : array
        Readings with the variation of the field taken off [nT].
    steep_nT_m : float
        Steeper places are left out [nT/m]: there an error of position counts as noise (default 1).

    Returns
    -------
    mean, sd : Figure
        Mean difference first less second, and sd of one passage's readings, that is of the
        differences over the root of 2, each with its own sd, from blocks of ten readings.

    Examples
    --------
    >>> import numpy as np
    >>> along = np.arange(0.0, 100.0)
    >>> mean, _ = repeat_misfit(along, np.full(100, 3.0), along, np.full(100, 1.0))
    >>> mean.value_nT
    2.0
    """
    one, other = np.asarray(first_distance_m, float), np.asarray(second_distance_m, float)
    value, there = np.asarray(first_nT, float), np.asarray(second_nT, float)
    check_same_length(first_distance_m=one, first_nT=value)
    check_same_length(second_distance_m=other, second_nT=there)
    if min(one.size, other.size) < 10:
        return UNTOLD, UNTOLD
    again = np.interp(one, other, there, left=np.nan, right=np.nan)
    slope = np.abs(np.gradient(again, one))
    calm = (slope <= steep_nT_m) & np.isfinite(value - again)
    difference = (value - again)[calm]
    if difference.size < 20:
        return UNTOLD, UNTOLD
    blocks = difference[: difference.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    mean_sd = float(blocks.std(ddof=1) / np.sqrt(blocks.size))
    spread = float(difference.std(ddof=1) / np.sqrt(2))
    independent = max(2, blocks.size)
    return (
        Figure(float(difference.mean()), mean_sd, blocks.size),
        Figure(spread, spread / float(np.sqrt(2 * (independent - 1))), blocks.size),
    )


def _known(values: ArrayLike) -> FloatArray:
    """Return the values that are there."""
    given = np.asarray(values, dtype=float)
    known: FloatArray = given[np.isfinite(given)]
    return known
