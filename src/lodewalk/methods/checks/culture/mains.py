"""Beats of mains current: a steady period in the readings that isn't there elsewhere."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray, piece_bounds
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray, check_same_length

#: Frequencies on either side that give the level beside a line, beyond two left out.
BESIDE: Final = 6
LEFT_OUT: Final = 2

#: How many times the power of a line in the usual window it must have.
ABOVE_USUAL: Final = 4.0


@dataclass(frozen=True)
class Beats:
    """Stretches in which the readings beat.

    Parameters
    ----------
    first, last : int array, shape (n_beats,)
        Index of the first and of the last reading.
    frequency_Hz : array, shape (n_beats,)
        Frequency as recorded, below half the sampling rate [Hz].
    amplitude_nT : array, shape (n_beats,)
        Amplitude [nT].
    chance : array, shape (n_beats,)
        Chance of such a line anywhere in a record of white noise.
    """

    first: IntArray
    last: IntArray
    frequency_Hz: FloatArray
    amplitude_nT: FloatArray
    chance: FloatArray


def find_beats(
    time_s: ArrayLike, value_nT: ArrayLike, *, window: int = 128, false_alarms: float = 0.01
) -> Beats:
    """Find stretches with a steady period of their own.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Total field, known at each reading [nT].
    window : int
        Readings in a window, even and at least 64 (default 128); windows overlap by half.
    false_alarms : float
        Chance of a find in a whole record of white noise, below 1 (default 0.01).

    Returns
    -------
    Beats
        Windows that follow each other with one period are one.

    Raises
    ------
    InputError
        When the lengths differ or a setting is out of range.

    Notes
    -----
    Mains of 50 or 60 Hz read 1 to 10 times a second are aliased, to ``|f - k f_s|``, and beat
    steadily in time, whatever the pace. The second difference takes the slow field away; its
    periodogram is compared with the mean of the six frequencies on either side, two next to it
    left out. In white noise the ratio of two exponential variables of which one is a mean of m
    has ``P(> r) = (1 + r / m)^-m``; a line must beat ``false_alarms`` over all windows and
    frequencies, and have four times its power in the usual window, so that the wearer's pace,
    which is in all of them, is no find. The least amplitude found is about 1.2 noise sd in a
    window of 128. A row of posts walked along at an even pace beats as well. Beats below a
    fourteenth of the sampling rate can't be told from rocks and aren't sought; where the alias is
    zero, as of 50 Hz read exactly each second, there is none.

    Examples
    --------
    >>> time = np.arange(1000.0)
    >>> field = np.random.default_rng(1).normal(size=1000)
    >>> field[300:600] += 4 * np.sin(2 * np.pi * 0.31 * time[300:600])
    >>> [round(f, 2) for f in find_beats(time, field).frequency_Hz.tolist()]
    [0.31]
    """
    if window < 64 or window % 2:
        raise InputError("window must be an even number of at least 64.", value=window)
    if not 0 < false_alarms < 1:
        raise InputError("false_alarms must lie above 0 and below 1.", value=false_alarms)
    time, value = np.asarray(time_s, float), np.asarray(value_nT, float)
    check_same_length(time_s=time, value_nT=value)
    start = _window_starts(time, window)
    if not start.size:
        return _merged(start, start, np.zeros(0), np.zeros(0), np.zeros(0))
    parts = value[start[:, np.newaxis] + np.arange(window)]
    frequency = np.fft.rfftfreq(window - 2)
    gain = np.maximum(2 - 2 * np.cos(2 * np.pi * frequency), 1e-9)
    power = np.abs(np.fft.rfft(np.diff(parts, 2, axis=1), axis=1)) ** 2
    inside = slice(BESIDE + LEFT_OUT + 1, frequency.size - LEFT_OUT)
    level = _beside(power / gain**2)
    ratio = (power / gain**2 / level)[:, inside]
    usual = np.median(power[:, inside], axis=0)
    ratio[power[:, inside] < ABOVE_USUAL * usual] = 0.0
    best = ratio.argmax(axis=1)
    count = 2 * BESIDE
    tail = (1 + ratio.max(axis=1) / count) ** -count * ratio.size
    found = np.flatnonzero(tail < false_alarms)
    bin_of = best[found] + inside.start
    # A period between two of the frequencies is shared by both.
    lobe = bin_of[:, np.newaxis] + np.arange(-1, 2)
    shared = (power[found[:, np.newaxis], lobe] / gain[lobe] ** 2).sum(axis=1)
    amplitude = 2 * np.sqrt(shared) / (window - 2)
    interval = np.array([nominal_interval(time[s : s + window]) for s in start[found]])
    hertz = frequency[bin_of] / interval if found.size else np.zeros(0)
    return _merged(start[found], start[found] + window - 1, hertz, amplitude, tail[found])


def _window_starts(time: FloatArray, window: int) -> IntArray:
    """Return the first reading of each window that has no gap."""
    bounds = piece_bounds(time, max_gap_s=1.9 * nominal_interval(time))
    starts = [np.arange(a, b - window + 1, window // 2) for a, b in pairwise(bounds)]
    return np.concatenate([np.zeros(0, dtype=np.int64), *starts])


def _beside(power: FloatArray) -> FloatArray:
    """Return the mean power on either side of each frequency; at the ends, of what there is."""
    reach = BESIDE + LEFT_OUT
    total = np.zeros_like(power)
    count = np.zeros(power.shape[1])
    for shift in (*range(-reach, -LEFT_OUT), *range(LEFT_OUT + 1, reach + 1)):
        target = slice(max(0, -shift), power.shape[1] - max(0, shift))
        source = slice(max(0, shift), power.shape[1] + min(0, shift))
        total[:, target] += power[:, source]
        count[target] += 1
    return np.asarray(np.maximum(total / count, 1e-30))


def _merged(
    first: IntArray, last: IntArray, hertz: FloatArray, amplitude: FloatArray, chance: FloatArray
) -> Beats:
    """Join windows that follow each other with one period."""
    new = np.ones(first.size, dtype=bool)
    # Windows of 128 readings tell frequencies a hundredth of the sampling rate apart.
    new[1:] = (first[1:] > last[:-1] + 1) | (np.abs(np.diff(hertz)) > 0.05 * hertz[:-1])
    at = np.flatnonzero(new)
    if not at.size:
        return Beats(first, last, hertz, amplitude, chance)
    return Beats(
        first=first[at],
        last=np.maximum.reduceat(last, at),
        frequency_Hz=hertz[at],
        amplitude_nT=np.maximum.reduceat(amplitude, at),
        chance=np.minimum.reduceat(chance, at),
    )
