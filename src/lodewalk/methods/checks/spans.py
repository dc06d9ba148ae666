"""Spans of a record: runs of marked readings, and the pieces between gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.validation import FloatArray, check_same_length

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Spans:
    """Stretches of a record, from one reading to another, both included.

    Parameters
    ----------
    first, last : int array, shape (n_spans,)
        Index of the first and of the last reading of each span.
    start_s, end_s : float array, shape (n_spans,)
        Times of those two readings [s].

    Examples
    --------
    >>> marked_spans([True, True, False, True], time_s=[0.0, 1.0, 2.0, 3.0]).duration_s.tolist()
    [1.0, 0.0]
    """

    first: IntArray
    last: IntArray
    start_s: FloatArray
    end_s: FloatArray

    def __len__(self) -> int:
        return len(self.first)

    @property
    def duration_s(self) -> FloatArray:
        """Time from the first to the last reading of each span [s]."""
        return self.end_s - self.start_s


def marked_spans(marked: ArrayLike, *, time_s: ArrayLike) -> Spans:
    """Gather neighbouring marked readings into spans.

    Parameters
    ----------
    marked : bool array, shape (n,)
        True for each reading that belongs to a span.
    time_s : array, shape (n,)
        Time of each reading [s].

    Returns
    -------
    Spans
        One span for each unbroken run of marked readings.

    Examples
    --------
    >>> marked_spans([False, True, True], time_s=[0.0, 1.0, 2.0]).first.tolist()
    [1]
    """
    marks = np.asarray(marked, dtype=bool)
    time = np.asarray(time_s, dtype=np.float64)
    check_same_length(marked=marks, time_s=time)
    edges = np.diff(np.concatenate(([False], marks, [False])).astype(np.int8))
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return Spans(first, last, time[first], time[last])


def piece_bounds(time_s: ArrayLike, *, max_gap_s: float) -> IntArray:
    """Return the bounds of the pieces into which gaps cut a record.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    max_gap_s : float
        A longer interval between two readings is a gap [s].

    Returns
    -------
    int array, shape (n_pieces + 1,)
        Piece ``k`` holds the readings ``bounds[k]`` up to, not including, ``bounds[k + 1]``.

    Examples
    --------
    >>> piece_bounds([0.0, 1.0, 9.0, 10.0], max_gap_s=5.0).tolist()
    [0, 2, 4]
    """
    time = np.asarray(time_s, dtype=np.float64)
    cuts = np.flatnonzero(np.diff(time) > max_gap_s) + 1
    return np.concatenate(([0], cuts, [len(time)])).astype(np.int64)
