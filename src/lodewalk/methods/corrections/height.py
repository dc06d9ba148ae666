"""A smooth height along a walk from the rough height of a satellite receiver."""

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import (
    FloatArray,
    check_increasing,
    check_positive,
    check_same_length,
)

#: Sd of a normal variable over its median absolute deviation.
SD_PER_MAD = 1.4826


def smooth_height(
    time_s: ArrayLike,
    height_m: ArrayLike,
    *,
    window_s: float = 30.0,
    k_sd: float = 4.0,
) -> FloatArray:
    """Smooth the height along a walk without following its outliers.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    height_m : array, shape (n,)
        Height as recorded [m]; missing ones are NaN.
    window_s : float
        Length of the smoothing window [s] (default 30, about 30 m of walking).
    k_sd : float
        A height farther than this many local sd from the running median gives way to the median
        (default 4).

    Returns
    -------
    float array, shape (n,)
        Smooth height [m]: on the straight line across a stretch without heights, held before the
        first and after the last; NaN where there is none at all.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase, or a setting isn't above zero.

    Notes
    -----
    A running median by time finds the outliers; a straight line fitted to each window of what
    is left gives the height at its middle. Inside, that is a running mean; at the ends it
    doesn't flatten a slope. Errors that last longer than the window stay.

    Examples
    --------
    >>> smooth_height([0.0, 1.0, 2.0, 3.0], [5.0, 6.0, float("nan"), 8.0]).round(9).tolist()
    [5.0, 6.0, 7.0, 8.0]
    """
    time, height = np.asarray(time_s, float), np.asarray(height_m, float)
    check_same_length(time_s=time, height_m=height)
    check_increasing(time, name="time_s")
    for name, setting in (("window_s", window_s), ("k_sd", k_sd)):
        check_positive(setting, name=name)
    known = np.isfinite(height)
    at, raw = time[known], height[known]
    if not at.size:
        return np.full(time.shape, np.nan)
    calm = _without_outliers(at, raw, window_s / 2, k_sd)
    smooth = _running_line(at, calm, window_s / 2)
    return interpolate_linear(np.clip(time, at[0], at[-1]), at, smooth, max_gap=np.inf)


def _without_outliers(
    time: FloatArray, value: FloatArray, half_s: float, k_sd: float
) -> FloatArray:
    """Put the running median in the place of values far from it."""
    middle, spread = _running_median(time, value, half_s)
    return np.where(np.abs(value - middle) > k_sd * SD_PER_MAD * spread, middle, value)


@njit(nogil=True, cache=True)
def _running_median(
    time: FloatArray, value: FloatArray, half_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the median within `half_s` of each time, and the median distance from it."""
    n = time.size
    middle, spread = np.empty(n), np.empty(n)
    ordered = np.empty(n)  # the values of the window, kept sorted on the way
    first, stop, count = 0, 0, 0
    for i in range(n):
        while stop < n and time[stop] <= time[i] + half_s:
            at = np.searchsorted(ordered[:count], value[stop])
            for k in range(count, at, -1):
                ordered[k] = ordered[k - 1]
            ordered[at] = value[stop]
            count, stop = count + 1, stop + 1
        while time[first] < time[i] - half_s:
            at = np.searchsorted(ordered[:count], value[first])
            for k in range(at, count - 1):
                ordered[k] = ordered[k + 1]
            count, first = count - 1, first + 1
        middle[i] = 0.5 * (ordered[(count - 1) // 2] + ordered[count // 2])
        spread[i] = _median_distance(ordered[:count], middle[i])
    return middle, spread


@njit(nogil=True, cache=True)
def _median_distance(ordered: FloatArray, middle: float) -> float:
    """Return the median distance of sorted values from their median, the upper one of two."""
    low, high = (ordered.size - 1) // 2, (ordered.size - 1) // 2 + 1
    distance = 0.0
    for _ in range(ordered.size // 2 + 1):
        if high == ordered.size or (low >= 0 and middle - ordered[low] <= ordered[high] - middle):
            distance = middle - ordered[low]
            low -= 1
        else:
            distance = ordered[high] - middle
            high += 1
    return distance


@njit(nogil=True, cache=True)
def _running_line(time: FloatArray, value: FloatArray, half_s: float) -> FloatArray:
    """Return at each time the straight line fitted to the values within `half_s`."""
    n = time.size
    out = np.empty(n)
    first, stop = 0, 0
    for i in range(n):
        while stop < n and time[stop] <= time[i] + half_s:
            stop += 1
        while time[first] < time[i] - half_s:
            first += 1
        count = stop - first
        mean_t, mean_v = 0.0, 0.0
        for k in range(first, stop):
            mean_t += (time[k] - time[i]) / count
            mean_v += value[k] / count
        square, cross = 0.0, 0.0
        for k in range(first, stop):
            lag = time[k] - time[i] - mean_t
            square += lag * lag
            cross += lag * (value[k] - mean_v)
        out[i] = mean_v - (cross / square) * mean_t if square > 0 else mean_v
    return out
