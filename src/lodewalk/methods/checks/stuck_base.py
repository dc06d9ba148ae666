"""A base that repeats one value although the field goes on changing."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.methods.checks.spans import Spans, marked_spans
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: A run of one value has so many readings at least.
FEWEST: Final = 10
#: A record that holds nothing but one value is stuck when it is this long [s].
WHOLE_S: Final = 1800.0
#: So many other stretches as long as the run must be there, and each must move by so many steps.
STRETCHES: Final = 3
MOVED_STEPS: Final = 3.0


def stuck_base(base_time_s: ArrayLike, base_nT: ArrayLike, *, shortest_s: float = 600.0) -> Spans:
    """Find runs of one value in which a base can't have measured the field.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s].
    base_nT : array, shape (n,)
        Base readings [nT], none missing.
    shortest_s : float
        Shortest run that is looked at [s] (default 600).

    Returns
    -------
    Spans
        First and last reading of each run.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase or `shortest_s` isn't above zero.

    Notes
    -----
    A quiet field rounded to whole nT may stand still for long, so that a run alone tells nothing.
    It counts where the rest of the record, cut into stretches as long as the run, moves in every
    one of three or more by at least three rounding steps; or where the whole record of half an
    hour or more is one value. The limits are common practice, not from a source.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 10.0)
    >>> base = np.round(48_000 + time / 100, 1)
    >>> base[300:400] = base[300]
    >>> found = stuck_base(time, base)
    >>> found.first.tolist(), found.last.tolist()
    ([300], [399])
    """
    time, value = np.asarray(base_time_s, np.float64), np.asarray(base_nT, np.float64)
    check_same_length(base_time_s=time, base_nT=value)
    check_increasing(time, name="base_time_s")
    check_positive(shortest_s, name="shortest_s")
    runs = marked_spans(np.diff(value) == 0, time_s=time[1:])
    first, last = runs.first, runs.last + 1
    long = (time[last] - time[first] >= shortest_s) & (last - first + 1 >= FEWEST)
    step = value_resolution(value)
    stuck = [
        int(place) for place in np.flatnonzero(long)
        if _moves_elsewhere(time, value, int(first[place]), int(last[place]), step)
    ]  # fmt: skip
    first, last = first[stuck], last[stuck]
    return Spans(first, last, time[first], time[last])


def _moves_elsewhere(
    time: FloatArray, value: FloatArray, first: int, last: int, step: float
) -> bool:
    """Tell whether every other stretch as long as a run moves, or there is nothing but the run."""
    length = time[last] - time[first]
    outside = np.ones(time.size, dtype=bool)
    outside[first : last + 1] = False
    if not outside.any():
        return bool(length >= WHOLE_S)
    stretch = ((time - time[first]) // length).astype(np.int64)
    ranges = []
    for number in np.unique(stretch[outside]):
        own = outside & (stretch == number)
        if own.sum() > 1 and np.ptp(time[own]) > 0.8 * length:
            ranges.append(float(np.ptp(value[own])))
    return len(ranges) >= STRETCHES and min(ranges) >= MOVED_STEPS * step
