"""How rough a base record is around each of its readings, followed from minute to minute."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit

from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.diurnal_sd import BEND_CARRIED, FASTEST_GROWTH, midpoint_misfits
from lodewalk.validation import FloatArray

#: The two times over which misfits are weighed [s], and the least in base intervals.
NEAR_S: Final = 120.0
WIDE_S: Final = 480.0
NEAR_INTERVALS: Final = 2.0
WIDE_INTERVALS: Final = 8.0

#: Times over which the misfits of each span, and then their logarithms, are weighed to tell how
#: they grow with the span [s], and the least in base intervals.
GROWTH_NEAR_S: Final = 960.0
GROWTH_NEAR_INTERVALS: Final = 16.0
GROWTH_WIDE_S: Final = 3600.0

#: Part of the noise below which a mean square is not told from nothing.
LEAST_PART: Final = 1e-3

#: Stands in for a squared misfit of nothing [nT^2].
TINY: Final = 1e-12

#: Least growth exponent, that of a random walk: a natural field is no rougher, and base noise is
#: counted apart.
LEAST_GROWTH: Final = 1.0

#: Sum of weights of the wide mean below which a record is too short to tell.
LEAST_WEIGHT: Final = 2.5

#: Sd of the logarithm of the scale: the part that stays however many misfits there are, since
#: the field changes its roughness within minutes, and the variances that one near and one wide
#: misfit would leave. From trials.
LASTING_SPREAD: Final = 0.33
NEAR_VARIANCE: Final = 0.3
WIDE_VARIANCE: Final = 0.5


@dataclass(frozen=True)
class LocalScale:
    """Roughness of a base record at each reading.

    Parameters
    ----------
    middle_nT2 : float array, shape (n,)
        Squared error at the middle of one usual interval, without base noise [nT^2]; NaN where
        too few misfits are near to tell.
    growth : float array, shape (n,)
        Exponent by which that grows with the length of the interval.
    spread : float array, shape (n,)
        Sd of the natural logarithm of the predicted error.
    interval_s : float
        Usual interval of the record [s].
    """

    middle_nT2: FloatArray
    growth: FloatArray
    spread: FloatArray
    interval_s: float


def local_scale(time: FloatArray, value: FloatArray, *, base_noise_nT: float) -> LocalScale:
    """Measure the roughness of a record around each of its readings.

    Parameters
    ----------
    time : float array, shape (n,)
        Increasing times [s].
    value : float array, shape (n,)
        Readings, all known [nT].
    base_noise_nT : float
        Noise sd of one reading [nT].

    Returns
    -------
    LocalScale
        NaN scale where the record is too short or too broken.

    Notes
    -----
    The size of the misfit of each reading from the middle of its neighbours is averaged with
    weights that fall off as ``exp(-|t| / T)`` on either side, once with T of 120 s and once with
    480 s (at least two and eight base intervals). The geometric mean of the two follows a storm
    that grows and fades within minutes, yet rests on enough misfits. ``sqrt(pi / 2)`` times a
    mean size is the sd of a normal variable. The squared error of one interval is that of two,
    divided by ``2^growth``; see `diurnal_sd`. Here the growth is the mean of logarithms, so that
    it is that of most minutes and not of the loudest.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 60.0)
    >>> rough = np.where(time < 3600, 1.0, 10.0) * (-1.0) ** np.arange(120)
    >>> scale = local_scale(time, rough, base_noise_nT=0.0)
    >>> bool(scale.middle_nT2[100] > 50 * scale.middle_nT2[20])
    True
    """
    interval = nominal_interval(time)
    misfits = [midpoint_misfits(time, value, span) for span in (1, 2, 4)]
    noise_part = 1.5 * base_noise_nT**2  # of a reading less the mean of two
    known = np.isfinite(misfits[0])
    if not known.any():
        nothing = np.full(time.size, np.nan)
        return LocalScale(nothing, nothing, nothing, interval)
    size = np.where(known, np.abs(misfits[0]), 0.0)
    near, _, near_number = _weighed(size, known, time, max(NEAR_S, NEAR_INTERVALS * interval))
    wide, weight, number = _weighed(size, known, time, max(WIDE_S, WIDE_INTERVALS * interval))
    growth = _growth(time, misfits, noise_part, interval)
    middle = np.maximum(np.pi / 2 * near * wide - noise_part, 0.0) / 2**growth
    variance = LASTING_SPREAD**2 + NEAR_VARIANCE / near_number + WIDE_VARIANCE / number
    middle[weight < LEAST_WEIGHT] = np.nan
    return LocalScale(middle, growth, np.sqrt(variance), interval)


def _growth(
    time: FloatArray, misfits: list[FloatArray], noise_part: float, interval: float
) -> FloatArray:
    """Return the exponent by which the squared error grows from one interval to two."""
    logs = []
    for misfit in misfits:
        known = np.isfinite(misfit)
        square = np.where(known, misfit, 0.0) ** 2
        mean = _weighed(square, known, time, max(GROWTH_NEAR_S, GROWTH_NEAR_INTERVALS * interval))
        log = np.log2(np.maximum(mean[0] - noise_part, LEAST_PART * noise_part + TINY))
        log, weight, number = _weighed(np.where(known, log, 0.0), known, time, GROWTH_WIDE_S)
        logs.append(np.where(weight > TINY, log, np.nan))
        if misfit is misfits[0]:
            first_number = number
    growth = np.nan_to_num(logs[1] - logs[0], nan=LEAST_GROWTH)
    bend = np.nan_to_num(growth - (logs[2] - logs[1]))
    # Only a bend beyond its own sampling error is carried on to the shorter interval.
    sure = np.maximum(np.abs(bend) - 6 / np.sqrt(np.maximum(first_number, 1)), 0.0)
    growth = growth + BEND_CARRIED * np.sign(bend) * np.minimum(sure, 1.5)
    clipped: FloatArray = np.clip(growth, LEAST_GROWTH, FASTEST_GROWTH)
    return clipped


def _weighed(
    size: FloatArray, known: FloatArray, time: FloatArray, fade_s: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the weighed mean, the sum of weights, and how many equal weights that is worth."""
    fade = np.zeros(time.size)
    # A long gap would make a denormal number, and those are slow.
    fade[1:] = np.exp(-np.minimum(np.diff(time) / fade_s, 300.0))
    weight = _both_ways(known.astype(np.float64), fade)
    squared = _both_ways(known.astype(np.float64), fade**2)
    tiny = np.finfo(np.float64).tiny
    mean = _both_ways(size, fade) / np.maximum(weight, tiny)
    return mean, weight, np.maximum(weight, tiny) ** 2 / np.maximum(squared, tiny)


@njit(nogil=True, cache=True)
def _both_ways(value: FloatArray, fade: FloatArray) -> FloatArray:
    """Return the sum of all values, each faded once for each step to where it is summed."""
    n = value.size
    total = np.empty(n)
    carried = 0.0
    for i in range(n):
        carried = carried * fade[i] + value[i]
        total[i] = carried
    carried = 0.0
    for i in range(n - 2, -1, -1):
        carried = (carried + value[i + 1]) * fade[i + 1]
        total[i] += carried
    return total
