"""A base record as unbroken, evenly spaced pieces, and how much the field moves around a time."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from lodewalk.methods.checks.spans import IntArray, piece_bounds
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

#: Readings more often than this are averaged [s]: no event is shorter than a few seconds.
FINEST_S: Final = 1.0

#: An interval longer than this many usual ones parts the record.
GAP_INTERVALS: Final = 3.0

#: Lag of the structure function [s].
LAG_S: Final = 60.0

#: Length of record that tells how much the field moves at a time [s].
WINDOW_S: Final = 3600.0

#: Share of the minutes in that window that are left out: those that move most, as events do.
TRIMMED: Final = 0.1

#: A difference between two values counts up to so many times its usual size.
CLIPPED: Final = 8.0


@dataclass(frozen=True)
class Piece:
    """An unbroken part of a record on even times.

    Parameters
    ----------
    start_s : float
        Time of the first value [s].
    step_s : float
        Interval [s].
    value : float array, shape (n,)
        Values less the median of the record [nT].
    """

    start_s: float
    step_s: float
    value: FloatArray

    def time_s(self, index: IntArray) -> FloatArray:
        """Return the time of each index [s]."""
        return self.start_s + self.step_s * index.astype(np.float64)

    def count(self, seconds: float, *, least: int = 1) -> int:
        """Return the number of intervals that comes nearest to a length of time."""
        return max(least, round(seconds / self.step_s))


def even_pieces(time: FloatArray, value: FloatArray) -> list[Piece]:
    """Cut a record without missing values at its gaps, and put each piece on even times.

    Readings more often than one a second are averaged; other uneven ones are interpolated.
    """
    if time.size < 2:
        return []
    interval = nominal_interval(time)
    value = value - float(np.median(value))
    bounds = piece_bounds(time, max_gap_s=GAP_INTERVALS * max(interval, FINEST_S / 2))
    parts = [(time[a:b], value[a:b]) for a, b in pairwise(bounds) if b - a > 1]
    return [_even(t, v, interval) for t, v in parts]


def _even(time: FloatArray, value: FloatArray, interval: float) -> Piece:
    """Return one piece on even times."""
    if interval < 0.9 * FINEST_S:
        place = ((time - time[0]) / FINEST_S).astype(np.int64)
        number, total = np.bincount(place), np.bincount(place, weights=value)
        at = np.arange(number.size, dtype=np.float64)
        known = number > 0
        mean = np.interp(at, at[known], total[known] / number[known])
        return Piece(float(time[0]) + (FINEST_S - interval) / 2, FINEST_S, mean)
    even = time[0] + interval * np.arange(int((time[-1] - time[0]) / interval + 0.5) + 1)
    if even.size == time.size and np.abs(even - time).max() < 0.05 * interval:
        return Piece(float(time[0]), interval, value)
    even = np.minimum(even, time[-1])
    return Piece(float(time[0]), interval, interpolate_linear(even, time, value, max_gap=np.inf))


def local_structure(piece: Piece) -> FloatArray:
    """Return the rms difference over a minute in the hour around each value.

    Returns
    -------
    float array, shape (n,)
        ``sqrt(mean (v(t + 60 s) - v(t))^2)`` [nT]; over one interval where that is longer than a
        minute; NaN for a piece of fewer than two lags.

    Notes
    -----
    An event must not hide behind itself: the tenth of the minutes that move most are left out,
    and of each difference between two values only what is within 8 times their usual one counts.
    """
    lag = piece.count(LAG_S)
    if piece.value.size < 2 * lag + 1:
        return np.full(piece.value.size, np.nan)
    rate = np.diff(piece.value)
    most = CLIPPED * _trimmed_rms(rate, lag, piece.step_s)
    calm = np.cumsum(np.clip(rate, -most, most))
    local = _trimmed_rms(calm[lag:] - calm[:-lag], lag, piece.step_s)
    index = np.clip(np.arange(piece.value.size) - lag // 2, 0, local.size - 1)
    structure: FloatArray = local[index]
    return structure


def _trimmed_rms(value: FloatArray, minute: int, step_s: float) -> FloatArray:
    """Return the rms in the hour around each value, the liveliest tenth of the minutes left out."""
    count = max(1, value.size // minute)
    blocks = (value[: count * minute] ** 2).reshape(count, -1).mean(axis=1)
    wanted = min(max(1, round(WINDOW_S / (minute * step_s))), count)
    windows = np.sort(sliding_window_view(blocks, wanted), axis=1)
    level = np.sqrt(windows[:, : max(1, wanted - int(TRIMMED * wanted))].mean(axis=1))
    block = np.arange(value.size) // minute - wanted // 2
    local: FloatArray = level[np.clip(block, 0, level.size - 1)]
    return local
