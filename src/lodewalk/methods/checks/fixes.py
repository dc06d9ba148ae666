"""Wild fixes: positions of a walk that a walker can't have reached."""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Longest run of fixes that is passed over at one look.
BLOCK: Final = 4096

#: Looks back from one fix before only the end of the longest chain is tried.
MOST_LOOKS: Final = 200


def find_wild_fixes(
    time_s: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    max_speed_m_s: float = 5.0,
    slack_m: float = 20.0,
) -> BoolArray:
    """Find positions that a walker can't have reached.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times that don't decrease [s]; equal ones are allowed.
    easting_m, northing_m : array, shape (n,)
        Positions [m]; missing ones (NaN) are passed over.
    max_speed_m_s : float
        Highest speed [m/s] (default 5, a run with an instrument; common practice).
    slack_m : float
        Distance that two fixes may lie apart at any time, for their errors [m] (default 20).

    Returns
    -------
    bool array, shape (n,)
        True at each wild fix; False where the position is missing.

    Raises
    ------
    InputError
        When the lengths differ, the times decrease, or a setting isn't above zero.

    Notes
    -----
    Two fixes agree when they lie no farther apart than ``slack + speed x elapsed time``. The good
    fixes are the longest chain in which each agrees with the one before it, so that the fewest
    are wild and a wild first fix condemns no other. The chain is found as a longest increasing
    subsequence is, from the longest chain that ends at each fix; of equally long ones the first
    to end is taken. It is the longest of all unless more than 200 runs of fixes that disagree
    must be looked through from one fix; from there on only the end of the longest chain is tried.

    An absence may be as long as it likes: the distance it allows grows with it. A wrong place
    that is held for longer than the walk there takes is no contradiction, and is kept.

    Examples
    --------
    >>> find_wild_fixes([0, 1, 2, 3], [0.0, 1.0, 900.0, 3.0], [0.0, 0.0, 0.0, 0.0]).tolist()
    [False, False, True, False]
    """
    check_positive(max_speed_m_s, name="max_speed_m_s")
    check_positive(slack_m, name="slack_m")
    time = np.asarray(time_s, dtype=np.float64)
    easting, northing = np.asarray(easting_m, float), np.asarray(northing_m, float)
    check_same_length(time_s=time, easting_m=easting, northing_m=northing)
    check_increasing(time, name="time_s", strictly=False)
    known = np.flatnonzero(np.isfinite(easting) & np.isfinite(northing))
    wild = np.zeros(time.size, dtype=bool)
    track = np.stack((time, easting, northing), axis=1)[known]
    wild[known] = ~_longest_chain(track, max_speed_m_s, slack_m)
    return wild


@njit(nogil=True, cache=True)
def _longest_chain(track: FloatArray, speed: float, slack: float) -> BoolArray:
    """Mark the longest chain of fixes each of which agrees with the one before it."""
    n = len(track)
    good = np.zeros(n, dtype=np.bool_)
    if n == 0:
        return good
    length, before = np.ones(n, dtype=np.int64), np.full(n, -1)
    ahead = np.zeros(n, dtype=np.int64)  # where the longest chain up to each fix ends
    run_first, boxes = np.zeros(n, dtype=np.int64), np.empty((n, 4))
    for j in range(n):
        if j:
            i = _best_before(j, track, length, ahead, run_first, boxes, speed, slack)
            before[j], length[j] = i, length[i] + 1 if i >= 0 else 1
            ahead[j] = j if length[j] > length[ahead[j - 1]] else ahead[j - 1]
        _extend_run(j, track, run_first, boxes, speed, slack)
    j = ahead[n - 1]
    while j >= 0:
        good[j] = True
        j = before[j]
    return good


@njit(nogil=True, cache=True)
def _best_before(
    j: int,
    track: FloatArray,
    length: IntArray,
    ahead: IntArray,
    run_first: IntArray,
    boxes: FloatArray,
    speed: float,
    slack: float,
) -> int:
    """Return the fix with the longest chain that fix `j` can go on from, -1 where there is none."""
    best, longest = -1, 0
    last = j - 1
    for _ in range(MOST_LOOKS):
        if last < 0 or length[ahead[last]] <= longest:
            return best
        first = run_first[last]
        if _box_distance(track[j], boxes[last]) <= slack + speed * (track[j, 0] - track[first, 0]):
            for i in range(last, first - 1, -1):
                if length[i] <= longest:  # within a run chains grow from fix to fix
                    break
                if _agree(track[i], track[j], speed, slack):
                    best, longest = i, length[i]
                    break
        last = first - 1
    if last >= 0 and length[ahead[last]] > longest:
        i = ahead[last]
        if _agree(track[i], track[j], speed, slack):
            best = i
    return best


@njit(nogil=True, cache=True)
def _extend_run(
    j: int,
    track: FloatArray,
    run_first: IntArray,
    boxes: FloatArray,
    speed: float,
    slack: float,
) -> None:
    """Set the first fix of the run that fix `j` belongs to, and the box around it up to `j`."""
    east, north = track[j, 1], track[j, 2]
    run_first[j] = j
    boxes[j, 0], boxes[j, 1], boxes[j, 2], boxes[j, 3] = east, east, north, north
    if j and j - run_first[j - 1] < BLOCK and _agree(track[j - 1], track[j], speed, slack):
        run_first[j] = run_first[j - 1]
        west, east_end, south, north_end = boxes[j - 1]
        boxes[j, 0], boxes[j, 1] = min(west, east), max(east_end, east)
        boxes[j, 2], boxes[j, 3] = min(south, north), max(north_end, north)


@njit(nogil=True, cache=True)
def _agree(one: FloatArray, two: FloatArray, speed: float, slack: float) -> bool:
    """Tell whether a walker can have been at both fixes."""
    reach = slack + speed * (two[0] - one[0])
    return bool((two[1] - one[1]) ** 2 + (two[2] - one[2]) ** 2 <= reach**2)


@njit(nogil=True, cache=True)
def _box_distance(fix: FloatArray, box: FloatArray) -> float:
    """Return the distance from a fix to a box of west, east, south and north ends."""
    aside = max(box[0] - fix[1], 0.0, fix[1] - box[1])
    along = max(box[2] - fix[2], 0.0, fix[2] - box[3])
    return float(np.hypot(aside, along))
