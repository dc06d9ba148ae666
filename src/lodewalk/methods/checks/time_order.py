"""Time order of a record: steps back, readings twice, gaps, and the usual interval."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import BoolArray, IntArray, Spans
from lodewalk.validation import FloatArray, check_positive, check_same_length


@dataclass(frozen=True)
class BackwardSteps:
    """Places where time runs back.

    Parameters
    ----------
    at : int array, shape (n_steps,)
        Index of the first reading after each step back.
    step_s : float array, shape (n_steps,)
        The step, below zero [s].
    caught_up : int array, shape (n_steps,)
        Index of the first later reading that is later than all before the step; the length of
        the record where there is none.
    """

    at: IntArray
    step_s: FloatArray
    caught_up: IntArray


@dataclass(frozen=True)
class Duplicates:
    """Readings whose time occurs earlier in the record.

    Parameters
    ----------
    same_reading : bool array, shape (n,)
        Time and value occurred before: a copy.
    same_time : bool array, shape (n,)
        The time occurred before, but never with this value: a contradiction.
    """

    same_reading: BoolArray
    same_time: BoolArray


def nominal_interval(time_s: ArrayLike) -> float:
    """Return the usual interval between readings: the median of the intervals above zero.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times in order of recording [s].

    Returns
    -------
    float
        Interval [s]; NaN where no interval is above zero.

    Notes
    -----
    The median holds while fewer than half of the intervals are gaps.

    Examples
    --------
    >>> nominal_interval([0.0, 1.0, 2.0, 60.0, 61.0])
    1.0
    """
    steps = np.diff(np.asarray(time_s, dtype=np.float64))
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else float("nan")


def find_backward_steps(time_s: ArrayLike) -> BackwardSteps:
    """Find where the time of a record runs back.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times in order of recording [s].

    Returns
    -------
    BackwardSteps
        Equal times aren't a step back.

    Examples
    --------
    >>> steps = find_backward_steps([0.0, 1.0, 2.0, 1.0, 2.0, 3.0])
    >>> steps.at.tolist(), steps.step_s.tolist(), steps.caught_up.tolist()
    ([3], [-1.0], [5])
    """
    time = np.asarray(time_s, dtype=np.float64)
    steps = np.diff(time)
    at = np.flatnonzero(steps < 0) + 1
    latest = np.fmax.accumulate(time) if time.size else time
    caught_up = np.searchsorted(latest, latest[at - 1], side="right")
    return BackwardSteps(at, steps[at - 1], caught_up.astype(np.int64))


def find_duplicates(time_s: ArrayLike, value: ArrayLike) -> Duplicates:
    """Find readings that stand in the record a second time.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times in any order [s].
    value : array, shape (n,)
        Reading at each time; two missing values (NaN) count as equal.

    Returns
    -------
    Duplicates
        The first of the readings with one time is never marked.

    Examples
    --------
    >>> twice = find_duplicates([0.0, 1.0, 1.0, 1.0], [5.0, 6.0, 6.0, 7.0])
    >>> twice.same_reading.tolist(), twice.same_time.tolist()
    ([False, False, True, False], [False, False, False, True])
    """
    time, values = np.asarray(time_s, dtype=np.float64), np.asarray(value, dtype=np.float64)
    check_same_length(time_s=time, value=values)
    index = np.arange(time.size)
    again = _repeats(np.lexsort((index, time)), time)
    copy = _repeats(np.lexsort((index, values, time)), time, values)
    return Duplicates(same_reading=copy, same_time=again & ~copy)


def _repeats(order: IntArray, *columns: FloatArray) -> BoolArray:
    """Mark each row equal to the one before it in `order`."""
    equal = np.ones(max(order.size - 1, 0), dtype=bool)
    for column in columns:
        before, after = column[order[:-1]], column[order[1:]]
        equal &= (before == after) | (np.isnan(before) & np.isnan(after))
    repeated = np.zeros(order.size, dtype=bool)
    repeated[order[1:][equal]] = True
    return repeated


def find_gaps(time_s: ArrayLike, *, factor: float = 3.0, min_s: float = 5.0) -> Spans:
    """Find intervals much longer than the usual one.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times in order of recording [s].
    factor : float
        A gap is longer than this many usual intervals (default 3: two readings in a row lost).
    min_s : float
        A gap is also longer than this [s] (default 5, so that jitter at 10 Hz is no gap).

    Returns
    -------
    Spans
        From the last reading before each gap to the first one after it.

    Raises
    ------
    InputError
        When `factor` or `min_s` isn't above zero.

    Examples
    --------
    >>> find_gaps([0.0, 1.0, 2.0, 60.0, 61.0]).duration_s.tolist()
    [58.0]
    """
    check_positive(factor, name="factor")
    check_positive(min_s, name="min_s")
    time = np.asarray(time_s, dtype=np.float64)
    limit = np.fmax(factor * nominal_interval(time), min_s)
    before = np.flatnonzero(np.diff(time) > limit)
    return Spans(before, before + 1, time[before], time[before + 1])
