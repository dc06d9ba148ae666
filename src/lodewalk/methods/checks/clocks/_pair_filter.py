"""The compiled likelihood of two noisy records of one field; imported only where it is wanted.

The field is a level whose slope is the sum of a fast part, which forgets itself within `memory`
[s] and lets the squared change of the level grow by `walk` [nT^2/s], and a slow part, a random
walk that grows by `bend` [nT^2/s^3]. Its spectrum falls by the powers -4, -2 and -4 of frequency
in turn, which comes near any power between over the few octaves that stand above the noise, and
it is smooth from one reading to the next. The first record sees that level plus a difference of
its own (a constant, or a slow random walk, `apart` [nT^2/s]), and each reading has white noise. A
Kalman filter with the state (level, fast slope, slow slope, difference) gives the exact likelihood
for any times of reading.
"""

import math

import numpy as np
from numba import njit

from lodewalk.validation import FloatArray

#: Places in a model: the four rates.
WALK, MEMORY, BEND, APART = range(4)

#: Places in a record: its rows.
TIME, VALUE, NOISE = range(3)

_LOG_2PI = math.log(2 * math.pi)
_LEVEL, _FAST, _SLOW, _DIFFERENCE = range(4)


@njit(nogil=True, cache=True)
def _predict(mean: FloatArray, cov: FloatArray, h: float, model: FloatArray) -> None:
    """Carry the state on by `h` seconds."""
    walk, memory, bend = model[WALK], model[MEMORY], model[BEND]
    kept = math.exp(-h / memory)
    reach = memory * (1 - kept)
    mean[_LEVEL] += reach * mean[_FAST] + h * mean[_SLOW]
    mean[_FAST] *= kept
    for k in range(4):
        cov[_LEVEL, k] += reach * cov[_FAST, k] + h * cov[_SLOW, k]
        cov[_FAST, k] *= kept
    for k in range(4):
        cov[k, _LEVEL] += reach * cov[k, _FAST] + h * cov[k, _SLOW]
        cov[k, _FAST] *= kept
    with_fast = 0.5 * walk * (1 - kept) ** 2
    with_slow = 0.5 * bend * h * h
    cov[_LEVEL, _LEVEL] += walk * (h - 2 * reach + 0.5 * memory * (1 - kept * kept))
    cov[_LEVEL, _LEVEL] += bend * h**3 / 3
    cov[_LEVEL, _FAST] += with_fast
    cov[_FAST, _LEVEL] += with_fast
    cov[_FAST, _FAST] += 0.5 * walk / memory * (1 - kept * kept)
    cov[_LEVEL, _SLOW] += with_slow
    cov[_SLOW, _LEVEL] += with_slow
    cov[_SLOW, _SLOW] += bend * h
    cov[_DIFFERENCE, _DIFFERENCE] += model[APART] * h


@njit(nogil=True, cache=True)
def _update(
    mean: FloatArray, cov: FloatArray, value: float, noise: float, difference: float
) -> float:
    """Take a reading in, of the first record where `difference` is 1; return its likelihood."""
    g0 = cov[0, _LEVEL] + difference * cov[0, _DIFFERENCE]
    g1 = cov[1, _LEVEL] + difference * cov[1, _DIFFERENCE]
    g2 = cov[2, _LEVEL] + difference * cov[2, _DIFFERENCE]
    g3 = cov[3, _LEVEL] + difference * cov[3, _DIFFERENCE]
    s = 1.0 / (g0 + difference * g3 + noise)
    v = value - mean[_LEVEL] - difference * mean[_DIFFERENCE]
    for i, gain in enumerate((g0, g1, g2, g3)):
        scaled = gain * s
        mean[i] += scaled * v
        cov[i, 0] -= scaled * g0
        cov[i, 1] -= scaled * g1
        cov[i, 2] -= scaled * g2
        cov[i, 3] -= scaled * g3
    found: float = -0.5 * (v * v * s - math.log(s) + _LOG_2PI)
    return found


@njit(nogil=True, cache=True)
def _begin(model: FloatArray, prior: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance before any reading."""
    cov = np.zeros((4, 4))
    cov[_LEVEL, _LEVEL], cov[_SLOW, _SLOW], cov[_DIFFERENCE, _DIFFERENCE] = prior
    cov[_FAST, _FAST] = 0.5 * model[WALK] / model[MEMORY]
    return np.zeros(4), cov


@njit(nogil=True, cache=True)
def filter_alone(
    record: FloatArray, model: FloatArray, prior: FloatArray, means: FloatArray, covs: FloatArray
) -> FloatArray:
    """Return the running log likelihood of one record, entry ``i`` for the readings before ``i``.

    The rows of `record` are time, value and variance of the noise; `prior` holds the variances of
    level, slow slope and difference. `means` and `covs` get the state after each reading, unless
    they are empty.
    """
    total = np.zeros(record.shape[1] + 1)
    mean, cov = _begin(model, prior)
    for i in range(record.shape[1]):
        if i:
            _predict(mean, cov, record[TIME, i] - record[TIME, i - 1], model)
        total[i + 1] = total[i] + _update(mean, cov, record[VALUE, i], record[NOISE, i], 0.0)
        if means.size:
            means[i], covs[i] = mean, cov
    return total


@njit(nogil=True, cache=True)
def log_likelihood(
    shift: float,
    first: FloatArray,
    second: FloatArray,
    model: FloatArray,
    prior: FloatArray,
    means: FloatArray,
    covs: FloatArray,
    alone: FloatArray,
    reach: float,
    running: FloatArray,
) -> float:
    """Return log p(first | second) with the first clock ahead by `shift`.

    `means`, `covs` and `alone` come from `filter_alone` of the second record. Its readings within
    the time of the first and `reach` seconds after it are taken in. What is known by each reading
    of the first goes to `running`.
    """
    begin, stop = part_of_second(shift, first, second, reach)
    mean, cov = _begin(model, prior)
    now = first[TIME, 0] - shift
    if begin > 0:
        mean[:], cov[:] = means[begin - 1], covs[begin - 1]
        now = second[TIME, begin - 1]
    total = 0.0
    i, k = 0, begin
    while i < first.shape[1] or k < stop:
        is_first = k >= stop or (i < first.shape[1] and first[TIME, i] - shift <= second[TIME, k])
        then = first[TIME, i] - shift if is_first else second[TIME, k]
        if then > now:
            _predict(mean, cov, then - now, model)
            now = then
        if is_first:
            found = _update(mean, cov, first[VALUE, i], first[NOISE, i], 1.0)
            total += found
            running[i] = total
            i += 1
        else:
            found = _update(mean, cov, second[VALUE, k], second[NOISE, k], 0.0)
            total += found - (alone[k + 1] - alone[k])
            k += 1
    return total


@njit(nogil=True, cache=True)
def part_of_second(
    shift: float, first: FloatArray, second: FloatArray, reach: float
) -> tuple[int, int]:
    """Return the bounds of the readings of the second that are taken in with the first."""
    begin = np.searchsorted(second[TIME], first[TIME, 0] - shift)
    end = max(first[TIME, -1] - shift, second[TIME, 0]) + reach
    return begin, max(begin, np.searchsorted(second[TIME], end))


@njit(nogil=True, cache=True)
def log_likelihoods(
    shifts: FloatArray,
    first: FloatArray,
    second: FloatArray,
    model: FloatArray,
    prior: FloatArray,
    means: FloatArray,
    covs: FloatArray,
    alone: FloatArray,
    reach: float,
) -> FloatArray:
    """Return log p(first | second) for each of several shifts of the first clock ahead."""
    result = np.empty(shifts.size)
    unused = np.empty(first.shape[1])
    for k in range(shifts.size):
        result[k] = log_likelihood(
            shifts[k], first, second, model, prior, means, covs, alone, reach, unused
        )
    return result
