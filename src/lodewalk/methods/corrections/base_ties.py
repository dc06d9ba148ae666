"""Ties between instruments: the time both recorded, places read under each, spots visited."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cho_factor, cho_solve
from scipy.special import stdtr, stdtrit

from lodewalk.errors import InputError
from lodewalk.methods.corrections.diurnal_distance import distance_sd
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Half width of the 90 % interval of a normal value in sd.
NORMAL_95: Final = 1.6449
#: Values to which a longer series is joined before its mean is taken.
MOST_BLOCKS: Final = 96
#: Grid of how long neighbours are alike, and of the share of the variance that they share.
MODELS: Final = 8
SHARES: Final = (0.0, 0.25, 0.5, 0.75, 0.9, 0.98)
#: Readings of which the median is taken, so that single wild ones don't count.
MEDIAN_OF: Final = 5
#: Readings in common that make a tie.
LEAST_COMMON: Final = 4
#: Least sd of a tie: what instruments resolve [nT]; common practice.
LEAST_SD_NT: Final = 0.01
#: The difference of the variation between two sites is a new one after this time [s].
NEW_AFTER_S: Final = 3600.0
#: Crossings from which the error of a line's level is taken.
LEAST_CROSSINGS: Final = 10
#: Most crossings in one tie; of more, evenly chosen ones are taken.
MOST_CROSSINGS: Final = 1000
#: From how many sd on a difference counts less (Huber 1964, from memory).
WILD: Final = 2.0
#: Error of a visit to a marked spot, where it isn't measured [nT]; common practice.
SPOT_SD_NT: Final = 1.0
#: Half of normal values lie within this many sd.
QUARTILE: Final = 0.6745


@dataclass(frozen=True)
class Tie:
    """A difference of level with its sd [nT], from `count` values; NaN where it can't be told."""

    difference_nT: float
    sd_nT: float
    count: int


#: Two records that tell nothing of each other.
NO_TIE: Final = Tie(float("nan"), float("nan"), 0)


def correlated_mean(values: ArrayLike) -> Tie:
    """Return the mean of a series whose neighbours are alike, with an error that knows it.

    Parameters
    ----------
    values : array, shape (n,)
        Evenly spaced values in order of time [nT]; NaN are left out.

    Returns
    -------
    Tie
        Mean and sd; the sd is NaN for fewer than four values.

    Notes
    -----
    The series is taken as a mean, plus what fades as ``exp(-lag / tau)``, plus independent noise.
    Under each of a grid of tau (half a value to the whole series) and shares of the two, all as
    likely beforehand, the mean has Student's distribution about its generalised least squares
    value; these are joined, each weighted by its restricted likelihood (Harville 1974, who shows
    that this is Bayes's rule with flat priors). The sd is such that 1.645 sd hold 90 % of the
    joint one. Of more than 96 values neighbours are first joined to their means. By trials the
    interval held the truth in 98 % for independent values, in 96, 87 and 76 % where tau was 1/36,
    1/12 and 1/6 of the series: what lasts nearly as long as the series can't be seen in it.

    References
    ----------
    Harville, D. A. (1974), Bayesian inference for variance components using only error contrasts,
    Biometrika 61, 383-385, doi:10.2307/2334370.

    Examples
    --------
    >>> found = correlated_mean([1.0, 3.0] * 50)
    >>> round(found.difference_nT, 6), found.count
    (2.0, 100)
    """
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    if known.size < LEAST_COMMON:
        return Tie(float(known.mean()) if known.size else np.nan, np.nan, int(known.size))
    width = -(-known.size // MOST_BLOCKS)
    count = known.size // width
    means = known[known.size - count * width :].reshape(count, width).mean(axis=1)
    mean, sd = mean_of_alike(means, np.abs(np.subtract.outer(np.arange(count), np.arange(count))))
    return Tie(mean, sd, int(known.size))


def mean_of_alike(values: FloatArray, lag: FloatArray) -> tuple[float, float]:
    """Return the mean of values that are the more alike the smaller their lag, and its sd.

    Parameters
    ----------
    values : array, shape (n,)
        Values [nT], four or more, up to some hundred.
    lag : array, shape (n, n)
        Distance of each two in time or place, neighbours about 1 apart.

    Returns
    -------
    tuple of two floats
        As in `correlated_mean`, whose notes hold for it [nT].

    Examples
    --------
    >>> lag = np.abs(np.subtract.outer(np.arange(4), np.arange(4)))
    >>> mean_of_alike(np.array([2.0, 2.0, 2.0, 2.0]), lag)
    (2.0, 0.0)
    """
    if not np.ptp(values):
        return float(values[0]), 0.0
    value, sd, chance = _models(values, lag)
    mean = float(chance @ value)
    return mean, _joint_half(value - mean, sd, chance, values.size - 1) / NORMAL_95


def _models(means: FloatArray, lag: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean, its scale in Student's distribution, and chance of each model of the series."""
    count = means.size
    centred, one = means - means.mean(), np.ones(count)
    value, sd, likely = [], [], []
    for tau in np.geomspace(0.5, max(float(lag.max()), 1.0), MODELS):
        fading = np.exp(-lag / tau)
        for share in SHARES:
            factor = cho_factor(share * fading + (1 - share) * np.eye(count), lower=True)
            weight = cho_solve(factor, one)
            information = float(weight.sum())
            mean = float(weight @ centred) / information
            rest = centred - mean
            square = float(rest @ cho_solve(factor, rest))
            value.append(mean + float(means.mean()))
            sd.append(np.sqrt(square / (count - 1) / information))
            likely.append(
                -np.log(np.diag(factor[0])).sum()
                - 0.5 * np.log(information)
                - 0.5 * (count - 1) * np.log(square)
            )
    chance = np.exp(np.array(likely) - max(likely))
    return np.array(value), np.array(sd), chance / chance.sum()


def _joint_half(value: FloatArray, sd: FloatArray, chance: FloatArray, freedom: int) -> float:
    """Return the half width about zero that holds 90 % of several Student distributions."""
    low, high = 0.0, float(np.max(np.abs(value) + 100 * sd))
    for _ in range(60):
        half = (low + high) / 2
        held = stdtr(freedom, (half - value) / sd) - stdtr(freedom, (-half - value) / sd)
        low, high = (half, high) if float(chance @ held) < 0.90 else (low, half)
    return high


def overlap_tie(
    first_time_s: ArrayLike,
    first_nT: ArrayLike,
    second_time_s: ArrayLike,
    second_nT: ArrayLike,
    *,
    max_gap_s: float,
    distance_m: float = 0.0,
    scale_km: float = 150.0,
) -> Tie:
    """Tie two bases by the time that both recorded.

    Parameters
    ----------
    first_time_s, second_time_s : array, shape (n,), (m,)
        Increasing times of the readings of each [s].
    first_nT, second_nT : array, shape (n,), (m,)
        Readings [nT].
    max_gap_s : float
        The first base isn't interpolated over a longer gap [s].
    distance_m : float
        Distance between the two [m]; 0 (default) where it isn't known.
    scale_km : float
        See `distance_sd` [km].

    Returns
    -------
    Tie
        Level of the second above the first with its sd; `NO_TIE` for fewer than four readings in
        common.

    Raises
    ------
    InputError
        When lengths differ, times don't increase, or `max_gap_s` isn't above zero.

    Notes
    -----
    Mean of the differences, medians of five, with the error of `correlated_mean`. The field varies
    differently at two sites: what fades within the overlap is in that error. What doesn't is added
    from `distance_sd`, as one value an hour: ``s / sqrt(max(hours, 1))``.

    Examples
    --------
    >>> time = np.arange(0.0, 600.0, 10.0)
    >>> overlap_tie(time, 48_000 + time, time + 5, 48_065 + time, max_gap_s=30).difference_nT
    60.0
    """
    time, value = np.asarray(second_time_s, float), np.asarray(second_nT, float)
    check_same_length(second_time_s=time, second_nT=value)
    there = interpolate_linear(time, first_time_s, first_nT, max_gap=max_gap_s)
    both = np.flatnonzero(np.isfinite(value - there))
    if both.size < LEAST_COMMON:
        return NO_TIE
    found = correlated_mean(_medians((value - there)[both]))
    apart = distance_sd(
        time[both], first_time_s, first_nT,
        distance_m=distance_m, max_gap_s=max_gap_s, scale_km=scale_km,
    )  # fmt: skip
    told = apart[np.isfinite(apart)]
    common_s = float(np.minimum(np.diff(time[both]), max_gap_s).sum())
    site = float(np.sqrt(np.mean(told**2))) if told.size else 0.0
    site /= np.sqrt(max(common_s / NEW_AFTER_S, 1.0))
    sd = float(np.sqrt(found.sd_nT**2 + site**2 + LEAST_SD_NT**2))
    return Tie(found.difference_nT, sd, int(both.size))


def _medians(values: FloatArray) -> FloatArray:
    """Return medians of five neighbours each, of fewer where values are few."""
    width = max(min(MEDIAN_OF, values.size // (2 * LEAST_COMMON)), 1)
    count = values.size // width
    medians: FloatArray = np.median(values[: count * width].reshape(count, width), axis=1)
    return medians


def level_scatter(difference_nT: ArrayLike, sd_nT: ArrayLike, *, unknown_nT: float) -> float:
    """Return the usual error of a line's level, from places that were read twice under one base.

    Parameters
    ----------
    difference_nT : array, shape (n,)
        First less second reading, the base taken off [nT].
    sd_nT : array, shape (n,)
        What noise, position and base account for [nT].
    unknown_nT : float
        What is returned for fewer than ten places [nT].

    Returns
    -------
    float
        The s for which half of all differences lie within 0.6745 sd of
        ``sqrt(sd^2 + 2 s^2)``; 0 where noise and position account for all.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> round(level_scatter(rng.normal(0, 5, 4000), np.full(4000, 3.0), unknown_nT=5.0), 1)
    2.8
    """
    size, sd = np.abs(np.asarray(difference_nT, float)), np.asarray(sd_nT, float)
    check_same_length(difference_nT=size, sd_nT=sd)
    known = np.isfinite(size + sd)
    size, sd = size[known], sd[known]
    if size.size < LEAST_CROSSINGS:
        return unknown_nT
    low, high = 0.0, float(size.max()) / QUARTILE
    for _ in range(60):
        middle = (low + high) / 2
        reach = QUARTILE * np.sqrt(sd**2 + 2 * middle**2)
        low, high = (low, middle) if np.mean(size <= reach) >= 0.5 else (middle, high)
    return high if high > 1e-9 else 0.0


def revisit_tie(
    difference_nT: ArrayLike,
    sd_nT: ArrayLike,
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    *,
    line_sd_nT: float,
) -> Tie:
    """Tie two bases by places that a rover read under each of them.

    Parameters
    ----------
    difference_nT : array, shape (n,)
        Level of the second base above the first by each place [nT]: readings under the first less
        readings under the second, less first base, plus second base.
    sd_nT : array, shape (n,)
        What noise, position and the bases account for [nT], above zero.
    first, second : sequence, shape (n,)
        Passage of a line, or stand, of each reading: all its readings share the error of its level.
    line_sd_nT : float
        Error of the level of a line, one sd [nT]; see `level_scatter`.

    Returns
    -------
    Tie
        Generalised least squares mean and its sd; `NO_TIE` without a place.

    Raises
    ------
    InputError
        When lengths differ, a number is missing or a sd isn't above zero.

    Notes
    -----
    With the covariance ``C = diag(sd^2) + s^2 (same first + same second)`` the mean is
    ``1'C^-1 d / 1'C^-1 1`` and its variance ``1 / 1'C^-1 1``. A difference more than two sd off
    has its sd raised until it counts as two (Huber 1964, from memory); the variance is raised by
    chi-square over its freedom where that is above 1. A rover whose own level changed between the
    days can't be told from the bases.

    Examples
    --------
    Four crossings of one line with four others say less than four lines with four:

    >>> one = revisit_tie([5.0] * 4, [0.1] * 4, "AAAA", "PQRS", line_sd_nT=2.0)
    >>> many = revisit_tie([5.0] * 4, [0.1] * 4, "ABCD", "PQRS", line_sd_nT=2.0)
    >>> round(one.sd_nT, 2), round(many.sd_nT, 2)
    (2.24, 1.42)
    """
    difference, sd = _checked(difference_nT, sd_nT, first, second)
    if not difference.size:
        return NO_TIE
    rows = _thinned(difference.size)
    a, b = (_codes(side)[rows] for side in (first, second))
    d, own = difference[rows], sd[rows]
    shared = line_sd_nT**2 * ((a[:, None] == a) + 1.0 * (b[:, None] == b))
    value, wild = float(np.median(d)), np.ones(d.size)
    for _ in range(20):
        inverse = np.linalg.inv(np.diag((own * wild) ** 2) + shared)
        information = float(inverse.sum())
        value = float(inverse.sum(axis=0) @ d) / information
        size = np.abs(d - value) / np.sqrt(own**2 + 2 * line_sd_nT**2)
        # Of the whole variance only the place's own part is raised.
        whole = np.maximum(size / WILD, 1.0) ** 2 * (own**2 + 2 * line_sd_nT**2)
        wild = np.sqrt(np.maximum(whole - 2 * line_sd_nT**2, own**2)) / own
    rest = d - value
    factor = float(rest @ inverse @ rest) / max(d.size - 1, 1)
    sd_of_mean = np.sqrt(max(factor, 1.0) / information + LEAST_SD_NT**2)
    return Tie(value, float(sd_of_mean), int(difference.size))


def visits_tie(
    first_nT: Sequence[float], second_nT: Sequence[float], *, spot_sd_nT: float = SPOT_SD_NT
) -> Tie:
    """Tie two instruments by their visits to one spot.

    Parameters
    ----------
    first_nT, second_nT : sequence
        Level of each visit of either, the change of the field with time taken off [nT].
    spot_sd_nT : float
        Error of one visit where neither came twice: the sensor on another spot, height or
        facing [nT] (default 1, common practice).

    Returns
    -------
    Tie
        Mean of the second less mean of the first; `NO_TIE` where one of them never came.

    Notes
    -----
    The error of a visit is the pooled scatter of repeated visits, raised to the 90 % interval of
    Student's t, and never less than a fifth of `spot_sd_nT`.

    Examples
    --------
    >>> found = visits_tie([10.0, 12.0], [14.0, 16.0])
    >>> found.difference_nT, round(found.sd_nT, 2)
    (4.0, 2.51)
    """
    lots = [np.asarray(part, dtype=float) for part in (first_nT, second_nT)]
    if not all(part.size for part in lots):
        return NO_TIE
    freedom = sum(part.size - 1 for part in lots)
    visit = spot_sd_nT
    if freedom:
        square = sum(float(np.sum((part - part.mean()) ** 2)) for part in lots) / freedom
        raised = float(stdtrit(freedom, 0.95)) / NORMAL_95
        visit = max(float(np.sqrt(square)) * raised, spot_sd_nT / 5)
    sd = visit * float(np.sqrt(sum(1 / part.size for part in lots)))
    count = sum(part.size for part in lots)
    return Tie(float(lots[1].mean() - lots[0].mean()), sd, count)


def _checked(
    difference_nT: ArrayLike,
    sd_nT: ArrayLike,
    first: Sequence[Hashable],
    second: Sequence[Hashable],
) -> tuple[FloatArray, FloatArray]:
    """Return differences and sd, after a check."""
    difference, sd = np.asarray(difference_nT, float), np.asarray(sd_nT, float)
    sizes = {difference.size, sd.size, len(first), len(second)}
    if len(sizes) > 1:
        raise InputError("Arrays must have the same length.", value=sorted(sizes))
    if not np.isfinite(difference).all():
        raise InputError("Each place must have a difference.")
    for value in sd:
        check_positive(float(value), name="sd_nT")
    return difference, sd


def _thinned(count: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return evenly chosen places, all where they are not too many."""
    return np.unique(np.linspace(0, count - 1, min(count, MOST_CROSSINGS)).astype(np.int64))


def _codes(names: Sequence[Hashable]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return a number for each name, equal ones alike."""
    number = {name: place for place, name in enumerate(dict.fromkeys(names))}
    return np.array([number[name] for name in names], dtype=np.int64)
