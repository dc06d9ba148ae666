"""The part of the diurnal error that comes from the distance between base and reading."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Readings that a window needs to tell the size of the variation.
LEAST_READINGS: Final = 5

#: Part of the window that the readings in it must span.
LEAST_SPAN: Final = 0.25

#: The difference of two unrelated fields of equal size, in that size.
UNRELATED: Final = float(np.sqrt(2.0))


def distance_sd(
    time_s: ArrayLike,
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    distance_m: ArrayLike,
    max_gap_s: float,
    base_noise_nT: float = 0.0,
    scale_km: float = 150.0,
    window_s: float = 3600.0,
) -> FloatArray:
    """Predict how far the field at a reading departs from that at a distant base.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times of the readings, in any order [s].
    base_time_s : array, shape (n_base,)
        Increasing times of the base readings [s].
    base_nT : array, shape (n_base,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    distance_m : float or array, shape (n,)
        Distance from the base to each reading [m].
    max_gap_s : float
        A longer interval between two base readings is a gap [s].
    base_noise_nT : float
        Noise sd of one base reading, taken out of the variation [nT] (default 0).
    scale_km : float
        Distance at which the variation differs by its own size [km] (default 150; see Notes).
    window_s : float
        Length of record about whose straight trend the variation is taken [s] (default 3600, so
        that pulsations and bays of 60 s to an hour count and the daily curve doesn't).

    Returns
    -------
    float array, shape (n,)
        Sd [nT]; NaN outside the base record, inside a gap, and where the window holds too little
        record to tell (fewer than five readings, or less than a quarter of its length).

    Raises
    ------
    InputError
        When lengths differ, the base times don't increase, a distance or the noise is below zero,
        or a setting isn't above zero.

    Notes
    -----
    ``sd = v min(d / scale, sqrt(2))``: v is the rms of the base record about a straight line in
    the window, d the distance. Two fields that have nothing in common differ by sqrt(2) of their
    size.

    This is the simplest model that is nothing at the base and doesn't grow without end; no
    published law was found. What it rests on: with an observatory as distant base the errors were
    mostly 2 to 6 nT (Riddihough 1971), and one base over a map sheet did not take out variation
    of 60 to 600 s (report of an airborne survey near Bendigo, 1994). The scale is a round number
    from memory of common practice (a base within some tens of kilometres), checked to give that
    order at 100 to 200 km on a moderately active day. It can be wrong by a factor of two or three:
    near a coast, near a conductor in the ground, below the auroral or the equatorial current it is
    far shorter. Riddihough found his errors not tied to how noisy the day was; slow differences,
    such as the daily curve running four minutes late for each degree to the west, are not in this
    part.

    References
    ----------
    Riddihough, R. P. (1971), Diurnal corrections to magnetic surveys: an assessment of errors,
    Geophysical Prospecting 19, 551-567 (abstract).

    Examples
    --------
    >>> base_time = np.arange(0.0, 7200.0, 10.0)
    >>> base = 48_000 + 4 * np.sin(2 * np.pi * base_time / 300)
    >>> sd = distance_sd([3600.0], base_time, base, distance_m=[15_000.0], max_gap_s=30)
    >>> round(float(sd[0]), 2)
    0.28
    """
    time, distance = np.asarray(time_s, np.float64), np.asarray(distance_m, np.float64)
    if distance.ndim:
        check_same_length(time_s=time, distance_m=distance)
    if np.any(distance < 0) or np.isinf(distance).any():
        raise InputError("distance_m must not be below zero.", value=float(np.nanmin(distance)))
    if not base_noise_nT >= 0:
        raise InputError("base_noise_nT must not be below zero.", value=base_noise_nT)
    check_positive(scale_km, name="scale_km")
    size = variation_size(base_time_s, base_nT, window_s=window_s, base_noise_nT=base_noise_nT)
    sd = interpolate_linear(time, base_time_s, base_nT, max_gap=max_gap_s)
    told = np.isfinite(size)
    if not told.any():
        return np.full(time.shape, np.nan)
    at = np.interp(time, np.asarray(base_time_s, np.float64)[told], size[told])
    share = np.minimum(np.broadcast_to(distance, time.shape) / (1000 * scale_km), UNRELATED)
    return np.where(np.isfinite(sd), at * share, np.nan)


def variation_size(
    base_time_s: ArrayLike, base_nT: ArrayLike, *, window_s: float = 3600.0, base_noise_nT: float
) -> FloatArray:
    """Return the rms of a base record about a straight line in a window around each reading.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s].
    base_nT : array, shape (n,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    window_s : float
        Length of the window [s] (default 3600).
    base_noise_nT : float
        Noise sd of one reading, taken out [nT].

    Returns
    -------
    float array, shape (n,)
        Size [nT]; NaN where a reading is missing or the window holds too little.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase or `window_s` isn't above zero.

    Examples
    --------
    >>> time = np.arange(0.0, 600.0)
    >>> wave = 2 * np.sin(2 * np.pi * time / 50)
    >>> size = variation_size(time, 0.1 * time + wave, window_s=300, base_noise_nT=0)
    >>> round(float(size[300]), 1)
    1.4
    """
    check_positive(window_s, name="window_s")
    all_time, all_value = np.asarray(base_time_s, float), np.asarray(base_nT, float)
    check_same_length(base_time_s=all_time, base_nT=all_value)
    check_increasing(all_time, name="base_time_s")
    size = np.full(all_time.size, np.nan)
    known = np.flatnonzero(np.isfinite(all_value))
    if known.size < LEAST_READINGS:
        return size
    time = all_time[known] - all_time[known].mean()
    value = all_value[known] - np.median(all_value[known])
    first = np.searchsorted(time, time - window_s / 2, side="left")
    stop = np.searchsorted(time, time + window_s / 2, side="right")
    number = stop - first
    t, x, tt, tx, xx = (
        (total[stop] - total[first]) / number
        for total in map(_running_total, (time, value, time**2, time * value, value**2))
    )
    rest = xx - x**2 - (tx - t * x) ** 2 / np.maximum(tt - t**2, np.finfo(np.float64).tiny)
    rest = np.maximum(rest - base_noise_nT**2, 0.0)
    enough = (number >= LEAST_READINGS) & (
        time[stop - 1] - time[first] >= LEAST_SPAN * window_s - nominal_interval(time)
    )
    size[known] = np.where(enough, np.sqrt(rest), np.nan)
    return size


def _running_total(values: FloatArray) -> FloatArray:
    """Return the sum of the values before each place, and of all."""
    return np.concatenate(([0.0], np.cumsum(values)))
