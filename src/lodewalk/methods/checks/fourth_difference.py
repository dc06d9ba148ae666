"""The normalised fourth difference of a record, and the noise it shows."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import median_filter

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Standard deviation of the normalised fourth difference of white noise of sd 1.
WHITE_NOISE_GAIN: Final = 70**0.5 / 16

#: Median size of a normal variable of sd 1.
NORMAL_MEDIAN_SIZE: Final = 0.674_489_750_196_081_7


@dataclass(frozen=True)
class NoiseByGroup:
    """Noise of each group of readings, such as each line.

    Parameters
    ----------
    group : int array, shape (n_groups,)
        Numbers of the groups, increasing.
    sd_nT : float array, shape (n_groups,)
        Noise sd from the median size of the fourth difference [nT].
    peak_nT : float array, shape (n_groups,)
        Largest size of the fourth difference: the noise envelope [nT].
    count : int array, shape (n_groups,)
        Number of fourth differences in each group.
    """

    group: IntArray
    sd_nT: FloatArray
    peak_nT: FloatArray
    count: IntArray


def fourth_difference(
    value_nT: ArrayLike, *, time_s: ArrayLike | None = None, unevenness: float = 0.5
) -> FloatArray:
    """Return the normalised fourth difference at each reading.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Readings in order of time [nT].
    time_s : array, shape (n,), optional
        Time of each reading [s]; without it the readings count as evenly spaced.
    unevenness : float
        Share by which the longest of the four intervals may exceed the shortest (default 0.5,
        which passes jitter and breaks at each lost reading).

    Returns
    -------
    float array, shape (n,)
        Fourth difference [nT], at the middle of its five readings; NaN at two readings from each
        end, beside a missing value, and where the five aren't evenly spaced.

    Raises
    ------
    InputError
        When the lengths differ or `unevenness` isn't above zero.

    Notes
    -----
    ``(v[-2] - 4 v[-1] + 6 v[0] - 4 v[1] + v[2]) / 16``, the usual form in survey specifications
    (common practice). Zero on any cubic, 0.375 on a spike of 1, and sqrt(70)/16 = 0.522913 times
    the sd of white noise.

    Examples
    --------
    >>> fourth_difference([0.0, 0.0, 16.0, 0.0, 0.0]).tolist()
    [nan, nan, 6.0, nan, nan]
    """
    value = np.asarray(value_nT, dtype=np.float64)
    fourth = np.full(value.shape, np.nan)
    if value.size >= 5:
        ends, sides = value[:-4] + value[4:], value[1:-3] + value[3:-1]
        fourth[2:-2] = (ends - 4 * sides + 6 * value[2:-2]) / 16
    if time_s is not None:
        check_positive(unevenness, name="unevenness")
        check_same_length(value_nT=value, time_s=time_s)
        fourth[~_evenly_spaced(np.asarray(time_s, dtype=np.float64), unevenness)] = np.nan
    return fourth


def _evenly_spaced(
    time: FloatArray, unevenness: float
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell at which readings the four intervals around are alike and run forward."""
    even = np.zeros(time.size, dtype=bool)
    if time.size >= 5:
        steps = np.lib.stride_tricks.sliding_window_view(np.diff(time), 4)
        shortest, longest = steps.min(axis=1), steps.max(axis=1)
        even[2:-2] = (shortest > 0) & (longest <= (1 + unevenness) * shortest)
    return even


def noise_sd(fourth_nT: ArrayLike) -> float:
    """Return the sd of the reading noise from fourth differences.

    Parameters
    ----------
    fourth_nT : array
        Normalised fourth differences [nT]; missing ones are left out.

    Returns
    -------
    float
        Sd of white noise that has this median size of fourth difference [nT]; NaN without any.

    Notes
    -----
    The median size over 0.674490 is the sd of a normal variable, whatever a few spikes do
    (Rousseeuw & Croux 1993), and sqrt(70)/16 brings it back to one reading. Over shallow sources
    the field itself has a fourth difference, so the figure is an upper limit there; noise that
    is alike from one reading to the next is underrated.

    References
    ----------
    Rousseeuw, P. J. and Croux, C. (1993), Alternatives to the median absolute deviation, Journal
    of the American Statistical Association 88, 1273-1283, doi:10.1080/01621459.1993.10476408.

    Examples
    --------
    >>> round(noise_sd([-0.05, 0.04, 0.05, 9.0, -0.06]), 3)
    0.142
    """
    size = np.abs(np.asarray(fourth_nT, dtype=np.float64))
    size = size[np.isfinite(size)]
    if not size.size:
        return float("nan")
    return float(np.median(size)) / (NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN)


def running_noise(fourth_nT: ArrayLike, *, window: int = 101) -> FloatArray:
    """Return the reading noise along a record.

    Parameters
    ----------
    fourth_nT : array, shape (n,)
        Normalised fourth differences [nT].
    window : int
        Number of fourth differences around each reading, odd (default 101, which knows the sd to
        about one part in eight).

    Returns
    -------
    float array, shape (n,)
        Noise sd [nT], as `noise_sd` of the window; NaN where the fourth difference is missing.

    Raises
    ------
    InputError
        When `window` isn't odd or is below 3.

    Examples
    --------
    >>> calm = running_noise([0.0, 0.1, -0.1, 0.1, float("nan")], window=3)
    >>> [round(sd, 3) for sd in calm.tolist()]
    [0.0, 0.284, 0.284, 0.284, nan]
    """
    if window < 3 or window % 2 == 0:
        raise InputError("window must be an odd number of at least 3.", value=window)
    size = np.abs(np.asarray(fourth_nT, dtype=np.float64))
    known = np.isfinite(size)
    noise = np.full(size.shape, np.nan)
    if known.any():
        # The ends are mirrored: repeating one value would make it the median of its window.
        middle = median_filter(size[known], size=window, mode="reflect")
        noise[known] = middle / (NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN)
    return noise


def noise_by_group(fourth_nT: ArrayLike, group: ArrayLike) -> NoiseByGroup:
    """Return the noise and the noise envelope of each group of readings.

    Parameters
    ----------
    fourth_nT : array, shape (n,)
        Normalised fourth differences [nT].
    group : int array, shape (n,)
        Group of each reading, such as its line number; below zero for none.

    Returns
    -------
    NoiseByGroup
        NaN for a group without a fourth difference.

    Examples
    --------
    >>> noise = noise_by_group([0.1, -0.3, 0.1, 5.0], [7, 7, 7, -1])
    >>> noise.group.tolist(), noise.peak_nT.tolist(), noise.count.tolist()
    ([7], [0.3], [3])
    """
    fourth, groups = np.asarray(fourth_nT, dtype=np.float64), np.asarray(group, dtype=np.int64)
    check_same_length(fourth_nT=fourth, group=groups)
    order = np.argsort(groups, kind="stable")
    order = order[groups[order] >= 0]
    names, starts = np.unique(groups[order], return_index=True)
    parts = [part[np.isfinite(part)] for part in np.split(fourth[order], starts[1:])][: len(names)]
    return NoiseByGroup(
        group=names,
        sd_nT=np.array([noise_sd(part) for part in parts], dtype=np.float64),
        peak_nT=np.array(
            [np.abs(part).max() if part.size else np.nan for part in parts], dtype=np.float64
        ),
        count=np.array([part.size for part in parts], dtype=np.int64),
    )
