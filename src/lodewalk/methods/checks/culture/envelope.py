"""The noise envelope of each line, and how much of it is over a tolerance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import maximum_filter1d, percentile_filter

from lodewalk.errors import InputError
from lodewalk.methods.checks.fourth_difference import fourth_difference
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray, check_positive, check_same_length


@dataclass(frozen=True)
class NoiseEnvelope:
    """The noise envelope along each line.

    Parameters
    ----------
    fourth_nT : array, shape (n,)
        Normalised fourth difference of each reading [nT]; NaN where it isn't known.
    envelope_nT : array, shape (n,)
        Envelope at each reading [nT]; NaN off the lines and where none is known.
    line : int array, shape (n_lines,)
        Numbers of the lines, increasing.
    usual_nT, peak_nT : array, shape (n_lines,)
        Median and maximum of the envelope of each line [nT].
    share_over : array, shape (n_lines,)
        Share of the line's fourth differences of which the envelope is over the tolerance; NaN
        without any.
    """

    fourth_nT: FloatArray
    envelope_nT: FloatArray
    line: IntArray
    usual_nT: FloatArray
    peak_nT: FloatArray
    share_over: FloatArray


def noise_envelope(
    value_nT: ArrayLike,
    line: ArrayLike,
    *,
    time_s: ArrayLike | None = None,
    tolerance_nT: float = 1.0,
    window: int = 51,
    quantile: float = 0.95,
) -> NoiseEnvelope:
    """Return the noise envelope of each line.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field in order of time [nT].
    line : int array, shape (n,)
        Number of the line of each reading; below zero for none.
    time_s : array, shape (n,), optional
        Time of each reading [s]; no fourth difference spans a lost reading then.
    tolerance_nT : float
        Largest envelope of a good line [nT] (default 1, common practice).
    window : int
        Fourth differences around each reading, odd (default 51).
    quantile : float
        Which quantile of their sizes is the envelope, up to 1 for the peak (default 0.95).

    Returns
    -------
    NoiseEnvelope

    Raises
    ------
    InputError
        When the lengths differ or a setting is out of range.

    Notes
    -----
    The envelope is the quantile of ``|v[-2] - 4 v[-1] + 6 v[0] - 4 v[1] + v[2]| / 16`` over the
    window, within one line, mirrored at its ends. Of white noise of sd s the quantile of 0.95 is
    ``1.960 sqrt(70) / 16 s = 1.025 s``. Over shallow sources the field has a fourth difference of
    its own, so there the envelope is an upper limit.

    Examples
    --------
    >>> quiet = noise_envelope([0.0, 0.0, 16.0, 0.0, 0.0], [1] * 5, window=3, quantile=1.0)
    >>> quiet.peak_nT.tolist(), quiet.share_over.tolist()
    ([6.0], [1.0])
    """
    check_positive(tolerance_nT, name="tolerance_nT")
    if window < 3 or window % 2 == 0:
        raise InputError("window must be an odd number of at least 3.", value=window)
    if not 0 < quantile <= 1:
        raise InputError("quantile must lie above 0 and up to 1.", value=quantile)
    value, number = np.asarray(value_nT, float), np.asarray(line, dtype=np.int64)
    check_same_length(value_nT=value, line=number)
    fourth = np.full(value.size, np.nan)
    envelope = np.full(value.size, np.nan)
    names = np.unique(number[number >= 0])
    summary = np.full((3, names.size), np.nan)
    order = np.argsort(number, kind="stable")
    bounds = np.searchsorted(number[order], np.append(names, names[-1:] + 1))
    for place, _ in enumerate(names):
        rows = order[bounds[place] : bounds[place + 1]]
        time = None if time_s is None else np.asarray(time_s, float)[rows]
        fourth[rows] = fourth_difference(value[rows], time_s=time)
        known = rows[np.isfinite(fourth[rows])]
        if known.size:
            over = _envelope(np.abs(fourth[known]), window, quantile)
            envelope[known] = over
            summary[:, place] = np.median(over), over.max(), np.mean(over > tolerance_nT)
    return NoiseEnvelope(fourth, envelope, names, *summary)


def _envelope(size: FloatArray, window: int, quantile: float) -> FloatArray:
    """Return the running quantile of the sizes."""
    if quantile == 1:
        return np.asarray(maximum_filter1d(size, window, mode="reflect"))
    return np.asarray(percentile_filter(size, 100 * quantile, size=window, mode="reflect"))
