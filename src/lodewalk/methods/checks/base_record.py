"""How disturbed a base record is: its range, and its departures from straight chords."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import Spans, marked_spans
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import (
    FloatArray,
    check_increasing,
    check_positive,
    check_same_length,
)

#: Readings that a chord needs between its ends to be judged.
MIN_INSIDE = 3


@dataclass(frozen=True)
class ChordDepartures:
    """Departures of a base record from straight chords.

    Parameters
    ----------
    departure_nT : float array, shape (n,)
        Size of the worst departure of each reading over all chords around it [nT]; NaN where no
        chord could be judged.
    chord_s : float
        Length of the chords [s].
    worst_nT : float
        Worst departure of all [nT]; NaN where none could be judged.
    worst_s : float
        Time of the worst departure [s]; NaN where none could be judged.
    """

    departure_nT: FloatArray
    chord_s: float
    worst_nT: float
    worst_s: float


def base_range(value_nT: ArrayLike) -> float:
    """Return the range of a base record: highest less lowest reading.

    Parameters
    ----------
    value_nT : array
        Base readings [nT]; missing ones (NaN) are left out.

    Returns
    -------
    float
        Range [nT]; NaN without readings.

    Examples
    --------
    >>> base_range([48_010.0, 48_002.5, float("nan")])
    7.5
    """
    value = np.asarray(value_nT, dtype=np.float64)
    value = value[np.isfinite(value)]
    return float(np.ptp(value)) if value.size else float("nan")


def default_chord(base_time_s: ArrayLike, *, shortest_s: float = 60.0) -> float:
    """Return the length of chord that a base record can be judged on.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Times of the base readings [s].
    shortest_s : float
        Length asked for [s] (default 60, the chord of national survey specifications).

    Returns
    -------
    float
        The longer of `shortest_s` and four base intervals, so that three readings lie inside [s].

    Examples
    --------
    >>> default_chord([0.0, 30.0, 60.0])
    120.0
    """
    return float(np.fmax(shortest_s, 4 * nominal_interval(base_time_s)))


def chord_departures(
    base_time_s: ArrayLike, base_nT: ArrayLike, *, chord_s: float | None = None
) -> ChordDepartures:
    """Slide a straight chord over a base record and take the departures from it.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s].
    base_nT : array, shape (n,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    chord_s : float, optional
        Length of the chord [s]; by default as `default_chord`.

    Returns
    -------
    ChordDepartures
        NaN where a chord holds fewer than three readings between its ends, or an interval longer
        than half the chord: that stretch can't be judged.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase, or `chord_s` isn't above zero.

    Notes
    -----
    A chord begins at each reading and ends `chord_s` later, between readings if need be. On a
    parabola ``c t^2`` the departure is ``c L^2 / 4``; on a crest ``A cos(2 pi t / P)`` it is
    ``A (1 - cos(pi L / P))``. Noise of the base counts as departure. The usual rule is 3.0 nT on
    a chord of 60 s (Geological Survey of Canada, survey metadata, Duggan Lake 2012-13 and
    Schefferville 2009).

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0.0, 121.0)
    >>> round(chord_departures(time, 0.01 * time**2).worst_nT, 9)
    9.0
    """
    time, value = np.asarray(base_time_s, float), np.asarray(base_nT, float)
    check_same_length(base_time_s=time, base_nT=value)
    check_increasing(time, name="base_time_s")
    known = np.isfinite(value)
    chord = default_chord(time[known]) if chord_s is None else chord_s
    check_positive(chord, name="chord_s")
    departure = np.full(time.size, np.nan)
    departure[known] = _worst_departures(time[known], value[known], chord, MIN_INSIDE)
    if np.isnan(departure).all():
        return ChordDepartures(departure, chord, float("nan"), float("nan"))
    worst = int(np.nanargmax(departure))
    return ChordDepartures(departure, chord, float(departure[worst]), float(time[worst]))


@njit(nogil=True, cache=True)
def _worst_departures(
    time: FloatArray, value: FloatArray, chord: float, min_inside: int
) -> FloatArray:
    """Return the largest departure of each reading over all chords that can be judged."""
    n = time.size
    worst = np.full(n, np.nan)
    grain = 1e-6 * chord  # an end this close to a reading is that reading
    after_gap = 0
    j = 0
    for i in range(n):
        end = time[i] + chord
        while j < n and time[j] < end - grain:
            j += 1
            if j < n and time[j] - time[j - 1] > 0.5 * chord + grain:
                after_gap = j
        if j == n:
            break
        if after_gap > i or j - i - 1 < min_inside:
            continue
        share = min(1.0, (end - time[j - 1]) / (time[j] - time[j - 1]))
        slope = (value[j - 1] + share * (value[j] - value[j - 1]) - value[i]) / chord
        for k in range(i + 1, j):
            departure = abs(value[k] - value[i] - slope * (time[k] - time[i]))
            if not departure <= worst[k]:
                worst[k] = departure
    return worst


def spans_over(departure_nT: ArrayLike, *, time_s: ArrayLike, tolerance_nT: float = 3.0) -> Spans:
    """Return the spans in which a base record departs by more than the tolerance.

    Parameters
    ----------
    departure_nT : array, shape (n,)
        Departure at each base reading, as `chord_departures` gives it [nT].
    time_s : array, shape (n,)
        Times of the base readings [s].
    tolerance_nT : float
        Tolerance [nT] (default 3.0, see `chord_departures`).

    Returns
    -------
    Spans
        Unbroken runs of readings over the tolerance.

    Examples
    --------
    >>> spans = spans_over([1.0, 4.0, 5.0, float("nan")], time_s=[0.0, 1.0, 2.0, 3.0])
    >>> spans.start_s.tolist(), spans.end_s.tolist()
    ([1.0], [2.0])
    """
    check_positive(tolerance_nT, name="tolerance_nT")
    return marked_spans(np.asarray(departure_nT, dtype=float) > tolerance_nT, time_s=time_s)
