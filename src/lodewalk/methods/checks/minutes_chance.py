"""Chance that the worst diurnal error of a minute exceeds a size, and the size at a chance."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from lodewalk.methods.checks.minutes_scale import LocalScale
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.diurnal_sd import phase_shape
from lodewalk.validation import FloatArray

MINUTE_S: Final = 60.0

#: Part of a minute that the base must cover to judge it: all but three seconds, the end of a
#: minute after the last reading of a base each second or two.
COVERED: Final = 0.95

#: Pieces of a minute taken together [s].
GROUP_S: Final = 10.0

#: How much oftener the worst of an interval exceeds q sd of its middle than the middle does:
#: 1 + SURPLUS q at each growth exponent. From 40,000 simulated intervals of 60 readings each,
#: with the generalised covariance of that exponent.
GROWTHS: Final = (0.3, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
SURPLUS: Final = (6.0, 1.7, 0.75, 0.42, 0.22, 0.08, 0.0)

#: Nodes and weights of the mean over a normal variable, for the spread of the scale.
NODES, _RAW = np.polynomial.hermite_e.hermegauss(7)
WEIGHTS: Final = _RAW / _RAW.sum()

#: Multiples of a minute's largest sd at which the chance is taken to find the size at a chance.
MULTIPLES: Final = np.geomspace(1.0, 20.0, 14)


@dataclass(frozen=True)
class Groups:
    """Stretches of up to ten seconds, the parts that the worst error of a minute is made of.

    Parameters
    ----------
    minute : int array, shape (n_groups,)
        Minute of each group, not decreasing.
    variance_nT2 : float array, shape (n_groups,)
        Largest squared error in the group [nT^2].
    number : float array, shape (n_groups,)
        Number of base intervals in the group.
    surplus : float array, shape (n_groups,)
        `SURPLUS` of the group.
    spread : float array, shape (n_groups,)
        Sd of the logarithm of the error.
    mean_nT2 : float array, shape (n_minutes,)
        Mean squared error over each minute [nT^2]; NaN where the minute can't be judged.
    """

    minute: IntArray
    variance_nT2: FloatArray
    number: FloatArray
    surplus: FloatArray
    spread: FloatArray
    mean_nT2: FloatArray


@dataclass(frozen=True)
class Pieces:
    """Base intervals, cut at the bounds of minutes.

    Parameters
    ----------
    start_s, stop_s : float array, shape (n_pieces,)
        Bounds of each piece [s].
    interval : int array, shape (n_pieces,)
        Index of the base reading that begins its interval.
    minute : int array, shape (n_pieces,)
        Index of its minute.
    """

    start_s: FloatArray
    stop_s: FloatArray
    interval: IntArray
    minute: IntArray


def cut_at_minutes(time: FloatArray, minute_start_s: FloatArray) -> Pieces:
    """Cut the intervals of a base record at the bounds of minutes.

    Parameters
    ----------
    time : float array, shape (n,)
        Increasing times of the base readings [s].
    minute_start_s : float array, shape (n_minutes,)
        Beginnings of minutes in an unbroken row [s].

    Returns
    -------
    Pieces
        Those that lie in one of the minutes, in order of time.

    Examples
    --------
    >>> pieces = cut_at_minutes(np.array([30.0, 90.0]), np.array([0.0, 60.0]))
    >>> pieces.start_s.tolist(), pieces.stop_s.tolist(), pieces.minute.tolist()
    ([30.0, 60.0], [60.0, 90.0], [0, 1])
    """
    first = minute_start_s[0]
    bounds = np.append(minute_start_s, minute_start_s[-1] + MINUTE_S)
    low, high = max(time[0], bounds[0]), min(time[-1], bounds[-1])
    edges = np.union1d(time, bounds)
    edges = edges[(edges >= low) & (edges <= high)]
    start, stop = edges[:-1], edges[1:]
    middle = (start + stop) / 2
    interval = np.searchsorted(time, middle, side="right") - 1
    minute = ((middle - first) // MINUTE_S).astype(np.int64)
    return Pieces(start, stop, interval, minute)


def gather(
    time: FloatArray,
    scale: LocalScale,
    pieces: Pieces,
    *,
    n_minutes: int,
    max_gap_s: float,
    base_noise_nT: float,
    distance_nT: FloatArray,
) -> Groups:
    """Predict the squared error of each piece and gather the pieces into groups.

    Parameters
    ----------
    time : float array, shape (n,)
        Increasing times of the base readings [s].
    scale : LocalScale
        Roughness at each of them.
    pieces : Pieces
        As `cut_at_minutes` gives them.
    n_minutes : int
        Number of minutes.
    max_gap_s : float
        A longer interval is a gap [s].
    base_noise_nT : float
        Noise sd of one base reading [nT].
    distance_nT : float array, shape (n,)
        Sd of the part from the distance to the base at each base reading [nT].

    Returns
    -------
    Groups
        Only those of minutes that can be judged: covered, without a gap, with a known scale.
    """
    before, length = pieces.interval, np.diff(time)[pieces.interval]
    since = np.clip((pieces.start_s - time[before]) / length, 0.0, 1.0)
    until = np.clip((pieces.stop_s - time[before]) / length, 0.0, 1.0)
    middle = _between(scale.middle_nT2, before)
    growth = _between(scale.growth, before)
    middle = middle * (length / scale.interval_s) ** growth
    other = _between(distance_nT**2, before) + base_noise_nT**2 * np.maximum(
        since**2 + (1 - since) ** 2, until**2 + (1 - until) ** 2
    )
    worst = middle * _shape(np.clip(0.5, since, until), growth) + other
    mean = middle * _mean_shape(since, until, growth) + other
    good = np.isfinite(worst) & (length <= max_gap_s)
    width = pieces.stop_s - pieces.start_s
    covered = np.bincount(pieces.minute, width * good, n_minutes)
    # A part that can't be told makes the whole minute unknown.
    spoilt = np.bincount(pieces.minute, ~good, n_minutes) > 0
    judged = (covered >= COVERED * MINUTE_S) & ~spoilt
    of_minute = np.bincount(pieces.minute, np.where(good, mean * width, 0.0), n_minutes)
    mean_nT2 = np.where(judged, of_minute / np.maximum(covered, 1.0), np.nan)
    keep = np.flatnonzero(judged[pieces.minute])
    surplus = np.interp(growth, GROWTHS, SURPLUS)
    spread = np.maximum(scale.spread[before], scale.spread[before + 1])
    group = np.floor((pieces.start_s + pieces.stop_s) / 2 / GROUP_S)[keep]
    begins = np.flatnonzero(np.diff(group, prepend=-np.inf) > 0)
    return Groups(
        minute=pieces.minute[keep][begins],
        variance_nT2=_largest(worst[keep], begins),
        number=np.diff(np.append(begins, keep.size)).astype(np.float64),
        surplus=_largest(surplus[keep], begins),
        spread=_largest(spread[keep], begins),
        mean_nT2=mean_nT2,
    )


def chance_over(groups: Groups, size_nT: FloatArray) -> FloatArray:
    """Return the chance that the worst error of each minute exceeds a size.

    Parameters
    ----------
    groups : Groups
        As `gather` gives them.
    size_nT : float array, shape (n_minutes,)
        Size for each minute [nT].

    Returns
    -------
    float array, shape (n_minutes,)
        NaN where the minute can't be judged.

    Notes
    -----
    In an interval whose middle has the sd s, the worst error exceeds q s with the chance
    ``2 Q(q) (1 + c q)``, Q the tail of a normal variable and c a number for the growth exponent:
    0 for a smooth curve, whose error has one shape, and above for rough ones. Intervals err
    independently, given the scale; the scale itself is log-normal, common to the minute.
    """
    chance = np.full(groups.mean_nT2.size, np.nan)
    begins = np.flatnonzero(np.diff(groups.minute, prepend=-1) > 0)
    if not begins.size:
        return chance
    sd = np.sqrt(np.maximum(groups.variance_nT2, np.finfo(np.float64).tiny))
    sized = size_nT[groups.minute, np.newaxis] / sd[:, np.newaxis]
    sized = sized * np.exp(-groups.spread[:, np.newaxis] * NODES)
    tail = 2 * ndtr(-sized) * (1 + groups.surplus[:, np.newaxis] * sized)
    none = groups.number[:, np.newaxis] * np.log1p(-np.minimum(tail, 1 - 1e-12))
    none = np.exp(np.add.reduceat(none, begins, axis=0)) @ WEIGHTS
    chance[groups.minute[begins]] = np.clip(1 - none, 0.0, 1.0)
    return chance


def size_at_chance(groups: Groups, chances: tuple[float, ...]) -> list[FloatArray]:
    """Return the sizes that the worst error of each minute exceeds with given chances.

    Parameters
    ----------
    groups : Groups
        As `gather` gives them.
    chances : tuple of float
        Chances of an error beyond the size.

    Returns
    -------
    list of float arrays, shape (n_minutes,)
        Size at each chance [nT], to about one per cent; NaN where a minute can't be judged.
    """
    n = groups.mean_nT2.size
    largest = np.zeros(n)
    np.maximum.at(largest, groups.minute, groups.variance_nT2)
    unit = np.sqrt(largest)
    grid = np.stack([chance_over(groups, multiple * unit) for multiple in MULTIPLES])
    grid = np.log(np.maximum(grid, 1e-300))
    steps, rows = np.log(MULTIPLES), np.arange(n)
    sizes = []
    for chance in chances:
        above = np.clip(np.sum(grid > np.log(chance), axis=0) - 1, 0, MULTIPLES.size - 2)
        left, right = grid[above, rows], grid[above + 1, rows]
        share = (left - np.log(chance)) / np.maximum(left - right, 1e-12)
        at = steps[above] + np.clip(share, 0.0, 1.0) * (steps[above + 1] - steps[above])
        sizes.append(np.where(np.isfinite(left), unit * np.exp(at), np.nan))
    return sizes


def _between(values: FloatArray, before: IntArray) -> FloatArray:
    """Return the mean of the values at both ends of each interval."""
    mean: FloatArray = (values[before] + values[before + 1]) / 2
    return mean


def _shape(share: FloatArray, growth: FloatArray) -> FloatArray:
    """Return the squared error at a share over that at the middle, never below nothing."""
    return np.maximum(phase_shape(share, growth), 0.0)


def _mean_shape(since: FloatArray, until: FloatArray, growth: FloatArray) -> FloatArray:
    """Return the mean of `_shape` from one share to another, by Gauss's rule of three points."""
    nodes, weights = np.polynomial.legendre.leggauss(3)
    half, middle = (until - since) / 2, (until + since) / 2
    parts = [w * _shape(middle + half * z, growth) for z, w in zip(nodes, weights, strict=True)]
    mean: FloatArray = np.sum(parts, axis=0) / 2
    return mean


def _largest(values: FloatArray, begins: IntArray) -> FloatArray:
    """Return the largest value of each group."""
    if not begins.size:
        return np.empty(0)
    largest: FloatArray = np.maximum.reduceat(values, begins)
    return largest
