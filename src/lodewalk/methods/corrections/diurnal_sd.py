"""How far the diurnal correction can be wrong, from the base record itself."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive

#: Limits of the exponent by which the squared error of a line grows with its length: nearly
#: white, and a smooth curve.
SLOWEST_GROWTH: Final = 0.3
FASTEST_GROWTH: Final = 4.0

#: Share of the bend of the growth from long to short spans that is carried on, from trials.
BEND_CARRIED: Final = 0.7

#: Stands in for a squared misfit of nothing [nT^2].
TINY: Final = 1e-12


def diurnal_sd(
    time_s: ArrayLike,
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    max_gap_s: float,
    base_noise_nT: float,
    window_s: float = 3600.0,
) -> FloatArray:
    """Predict the error of the linear diurnal correction from the base record itself.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times of the readings, in any order [s].
    base_time_s : array, shape (n_base,)
        Increasing times of the base readings [s].
    base_nT : array, shape (n_base,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    max_gap_s : float
        A longer interval between two base readings is a gap [s].
    base_noise_nT : float
        Noise sd of one base reading [nT].
    window_s : float
        Length of record that tells how rough the field is at a time [s] (default 3600).

    Returns
    -------
    float array, shape (n,)
        Sd of `interpolate_base` of kind linear [nT]; NaN where that is NaN, and where the record
        is too short to tell (fewer than three evenly spaced readings).

    Raises
    ------
    InputError
        As `interpolate_base`; also when `base_noise_nT` is below zero.

    Notes
    -----
    Where the field changes as a random process whose squared difference over a lag h grows as
    h^a, the squared error of the line between two base readings L apart is proportional to
    ``L^a |(1-u) u^a + u (1-u)^a - u (1-u)|`` at the share u of the interval; a = 4 is a smooth
    curve, ``u^2 (1-u)^2``. (The variance of a contrast from its structure function or generalised
    covariance, Matheron 1973.) Each base reading is compared with the middle of the line between
    its neighbours one, two and four intervals away; the growth of that misfit from one span to
    the next gives a, continued to a single interval, and its size over `window_s` gives the
    scale. Base noise is taken out of the misfits and added as
    ``base_noise sqrt((1-u)^2 + u^2)``. The scale is raised by (1 + 8/n) for the n misfits it
    rests on.

    Valid for a record at one place: the change of the field between base and rover isn't in it.
    Pulsations shorter than two base intervals are seen only as roughness. The coverage of the
    90 % interval, 1.645 sd, was measured by trials with red noise of spectral exponents 1.5 to 3
    and with pulsations.

    References
    ----------
    Matheron, G. (1973), The intrinsic random functions and their applications, Advances in
    Applied Probability 5, 439-468, doi:10.2307/1425829.

    Examples
    --------
    >>> base_time = np.arange(0.0, 7200.0, 60.0)
    >>> base = 48_000 + 10 * np.sin(2 * np.pi * base_time / 1200)
    >>> sd = diurnal_sd([600.0, 630.0], base_time, base, max_gap_s=90, base_noise_nT=0.1)
    >>> float(sd[0]), bool(sd[1] > 0.1)
    (0.1, True)
    """
    if not base_noise_nT >= 0:
        raise InputError("base_noise_nT must not be below zero.", value=base_noise_nT)
    check_positive(window_s, name="window_s")
    sd = interpolate_linear(time_s, base_time_s, base_nT, max_gap=max_gap_s)
    inside = np.isfinite(sd)
    time, base_time, base = _known(time_s, base_time_s, base_nT)
    if base_time.size < 2:
        sd[inside] = base_noise_nT
        return sd
    before = np.searchsorted(base_time, time[inside], side="right") - 1
    before = np.minimum(before, base_time.size - 2)
    length = (base_time[before + 1] - base_time[before]).astype(np.float64)
    share = (time[inside] - base_time[before]) / length
    scale, growth = _roughness(base_time, base, base_noise_nT, window_s)
    at_middle = (1 - share) * scale[before] + share * scale[before + 1]
    power = (1 - share) * growth[before] + share * growth[before + 1]
    at_middle *= (length / nominal_interval(base_time)) ** power
    line = np.where((share == 0) | (share == 1), 0.0, at_middle * phase_shape(share, power))
    noise = base_noise_nT**2 * ((1 - share) ** 2 + share**2)
    sd[inside] = np.sqrt(line + noise)
    return sd


def _known(
    time_s: ArrayLike, base_time_s: ArrayLike, base_nT: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the three as arrays, base readings without a value left out."""
    base_time, base = np.asarray(base_time_s, float), np.asarray(base_nT, float)
    known = np.isfinite(base)
    return np.asarray(time_s, dtype=np.float64), base_time[known], base[known]


def phase_shape(share: FloatArray, power: FloatArray) -> FloatArray:
    """Return the squared error of a line at a share of its length over that at its middle.

    Parameters
    ----------
    share : float array, shape (n,)
        Share of the length, 0 to 1.
    power : float array, shape (n,)
        Exponent by which the squared error grows with the length; see `diurnal_sd`.

    Returns
    -------
    float array, shape (n,)
        1 at the middle, 0 at both ends.

    Examples
    --------
    >>> phase_shape(np.array([0.25, 0.5]), np.array([1.0, 1.0])).tolist()
    [0.75, 1.0]
    """
    power = np.where(np.abs(power - 2) < 1e-3, 2.001, power)  # 0/0 at 2; the limit is smooth
    rest = 1 - share
    error = rest * share**power + share * rest**power - share * rest
    shape: FloatArray = error / (0.5**power - 0.25)
    return shape


def _roughness(
    time: FloatArray, value: FloatArray, noise: float, window_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return at each base reading the squared error at mid-interval, and its growth exponent."""
    spans = (1, 2, 4)
    squares = [midpoint_misfits(time, value, span) ** 2 for span in spans]
    noise_part = 1.5 * noise**2  # of a reading less the mean of two
    near, count = _running_mean(time, squares[0], window_s)
    growth = _growth(time, squares, noise_part, 4 * window_s)
    near = np.maximum(near - noise_part, 0.0)
    return near * (1 + 8 / np.maximum(count, 1)) / 2**growth, growth


def _growth(
    time: FloatArray, squares: list[FloatArray], noise_part: float, window_s: float
) -> FloatArray:
    """Return the exponent by which the squared error grows from one interval to two."""
    logs, counts = [], []
    for square in squares:
        mean, count = _running_mean(time, square, window_s)
        logs.append(np.log2(np.maximum(mean - noise_part, TINY)))
        counts.append(count)
    growth = np.where(counts[1] > 0, logs[1] - logs[0], SLOWEST_GROWTH)
    bend = np.where(counts[2] > 0, growth - (logs[2] - logs[1]), 0.0)
    # Only a bend beyond its own sampling error is carried on to the shorter interval.
    sure = np.maximum(np.abs(bend) - 6 / np.sqrt(np.maximum(counts[0], 1)), 0)
    growth = growth + BEND_CARRIED * np.sign(bend) * np.minimum(sure, 1.5)
    return np.clip(growth, SLOWEST_GROWTH, FASTEST_GROWTH)


def midpoint_misfits(time: FloatArray, value: FloatArray, span: int) -> FloatArray:
    """Return each value less the mean of those `span` intervals away.

    Parameters
    ----------
    time : float array, shape (n,)
        Increasing times [s].
    value : float array, shape (n,)
        Value at each time.
    span : int
        Number of intervals to the neighbour on either side.

    Returns
    -------
    float array, shape (n,)
        NaN at the ends of the record and where the intervals are uneven.

    Examples
    --------
    >>> midpoint_misfits(np.arange(3.0), np.array([0.0, 3.0, 2.0]), 1).tolist()
    [nan, 2.0, nan]
    """
    misfit = np.full(time.size, np.nan)
    if time.size > 2 * span:
        even = span * nominal_interval(time)
        to, since = time[2 * span :] - time[span:-span], time[span:-span] - time[: -2 * span]
        good = np.maximum(np.abs(to - even), np.abs(since - even)) < 0.1 * even
        middle = (value[2 * span :] + value[: -2 * span]) / 2
        misfit[span:-span] = np.where(good, value[span:-span] - middle, np.nan)
    return misfit


def _running_mean(
    time: FloatArray, value: FloatArray, window_s: float
) -> tuple[FloatArray, IntArray]:
    """Return mean and number of the known values in the window around each time.

    A window without any takes the mean of the whole record.
    """
    known: BoolArray = np.isfinite(value)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, value, 0.0))))
    number = np.concatenate(([0], np.cumsum(known)))
    first = np.searchsorted(time, time - window_s / 2, side="left")
    stop = np.searchsorted(time, time + window_s / 2, side="right")
    first, stop = np.where(number[stop] > number[first], (first, stop), [[0], [time.size]])
    count = number[stop] - number[first]
    with np.errstate(invalid="ignore"):
        mean: FloatArray = (total[stop] - total[first]) / count
    return mean, count
