"""The quietest stretch of a base record, and the datum taken from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import (
    FloatArray,
    check_increasing,
    check_positive,
    check_same_length,
)


@dataclass(frozen=True)
class Quietest:
    """The quietest window of a base record.

    Parameters
    ----------
    first, last : int
        Index of its first and last reading, both included.
    start_s, end_s : float
        Times of those readings [s].
    roughness_nT : float
        Rms about a straight line [nT].
    datum_nT : float
        Median of the readings [nT].
    epoch_s : float
        Middle of the window [s].
    whole : bool
        True where no window was complete, so that the whole record stands in.
    """

    first: int
    last: int
    start_s: float
    end_s: float
    roughness_nT: float
    datum_nT: float
    epoch_s: float
    whole: bool


def quietest_window(
    base_time_s: ArrayLike, base_nT: ArrayLike, *, window_s: float = 3600.0, share: float = 0.9
) -> Quietest:
    """Find the window in which a base record keeps closest to a straight line.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s].
    base_nT : array, shape (n,)
        Base readings [nT]; missing ones (NaN) are left out.
    window_s : float
        Length of the window [s] (default 3600).
    share : float
        Share of the usual number of readings that a window must hold (default 0.9).

    Returns
    -------
    Quietest
        The first of equally quiet windows. Without a complete window, as in a record shorter
        than `window_s`, the whole record.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase, a setting isn't above zero, or no
        reading is known.

    Notes
    -----
    Windows begin at readings, a twelfth of their length apart. The straight line takes the slow
    daily variation out, so that pulsations and bays decide. The median as datum is arbitrary, as
    any base datum is; moving it moves the whole map by a constant.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 10.0)
    >>> field = 48_000 + np.where(time < 3600, np.sin(time / 20), 0)
    >>> quiet = quietest_window(time, field)
    >>> quiet.datum_nT, quiet.start_s, quiet.whole
    (48000.0, 3600.0, False)
    """
    check_positive(window_s, name="window_s")
    check_positive(share, name="share")
    all_time, all_value = np.asarray(base_time_s, float), np.asarray(base_nT, float)
    check_same_length(base_time_s=all_time, base_nT=all_value)
    check_increasing(all_time, name="base_time_s")
    known = np.flatnonzero(np.isfinite(all_value))
    if not known.size:
        raise InputError("A base record needs at least one reading with a value.")
    time, value = all_time[known], all_value[known]
    windows = _complete_windows(time, window_s, share)
    whole = not len(windows)
    if whole:
        windows = np.array([[0, time.size]])
    roughness = [_roughness(time[a:b], value[a:b]) for a, b in windows]
    first, stop = windows[int(np.argmin(roughness))]
    start, end = float(time[first]), float(time[stop - 1])
    return Quietest(
        first=int(known[first]),
        last=int(known[stop - 1]),
        start_s=start,
        end_s=end,
        roughness_nT=min(roughness),
        datum_nT=float(np.median(value[first:stop])),
        epoch_s=(start + end) / 2,
        whole=whole,
    )


def _complete_windows(time: FloatArray, window_s: float, share: float) -> IntArray:
    """Return first and stop index of each window that holds enough readings."""
    interval = nominal_interval(time)
    if not time[-1] - time[0] >= window_s - interval:
        return np.empty((0, 2), dtype=np.int64)
    steps = np.arange(time[0], time[-1] - window_s + 1.5 * interval, window_s / 12)
    first = np.unique(np.searchsorted(time, steps))
    stop = np.searchsorted(time, time[first] + window_s)
    enough = stop - first >= max(share * window_s / interval, 3)
    return np.stack((first, stop), axis=1)[enough]


def _roughness(time: FloatArray, value: FloatArray) -> float:
    """Return the rms about the best straight line."""
    along, across = time - time.mean(), value - value.mean()
    length = float(along @ along)
    slope = float(along @ across) / length if length > 0 else 0.0
    return float(np.sqrt(np.mean((across - slope * along) ** 2)))
