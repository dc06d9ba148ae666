"""The repeat line: a stretch of a planned line that is walked again and again as a test."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.plan_lines import nearest_leg, plan_legs
from lodewalk.validation import check_positive, check_same_length, check_within


def hosts_of(
    stretches: Sequence[ArrayLike], lines: Sequence[ArrayLike], *, near_m: float = 5.0
) -> IntArray:
    """Find the planned line on which each stretch lies.

    Parameters
    ----------
    stretches, lines : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each, two or more.
    near_m : float
        Every vertex of a stretch lies so near its line [m] (default 5, the error of a plain fix).

    Returns
    -------
    int array, shape (n_stretches,)
        Place in `lines`; -1 for a stretch that lies on none.

    Raises
    ------
    InputError
        When `near_m` isn't above zero or a line has fewer than two places.

    Examples
    --------
    >>> lines = [[(0.0, 0.0), (0.0, 500.0)], [(50.0, 0.0), (50.0, 500.0)]]
    >>> hosts_of([[(50.0, 100.0), (50.0, 300.0)], [(0.0, 9.0), (50.0, 9.0)]], lines).tolist()
    [1, -1]
    """
    check_positive(near_m, name="near_m")
    plan = plan_legs(lines, near_m)
    hosts = np.full(len(stretches), -1, dtype=np.int64)
    for number, stretch in enumerate(stretches):
        place = np.asarray(stretch, dtype=np.float64)
        for line in range(len(lines)):
            wanted = np.full(len(place), line, dtype=np.int64)
            found, _, _ = nearest_leg(place, np.full(place.shape, np.nan), wanted, -1.0, near_m,
                                      *plan)  # fmt: skip
            if (found == line).all():
                hosts[number] = line
                break
    return hosts


def is_repeat(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    stretch: ArrayLike,
    *,
    beyond_m: float,
    least_share: float = 0.5,
) -> bool:
    """Tell whether a walk along a planned line was one of its repeat stretch.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions of the walk [m]; NaN where there is none.
    stretch : array, shape (2, 2)
        Easting and northing of both ends of the stretch [m].
    beyond_m : float
        The walk goes no farther beyond either end [m]; one that does is of the whole line.
    least_share : float
        Least share of the stretch that the walk goes over (default 0.5, so that a short span of
        the line that is walked again stays one of the line).

    Returns
    -------
    bool

    Raises
    ------
    InputError
        When the lengths differ or a limit is out of range.

    Examples
    --------
    >>> north = np.arange(95.0, 304.0)
    >>> is_repeat(np.full(209, 50.5), north, [(50.0, 100.0), (50.0, 300.0)], beyond_m=20.0)
    True
    >>> is_repeat(np.full(209, 50.5), north - 40, [(50.0, 100.0), (50.0, 300.0)], beyond_m=20.0)
    False
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    check_positive(beyond_m, name="beyond_m")
    check_within(least_share, name="least_share", low=0.0, high=1.0, unit="")
    ends = np.asarray(stretch, dtype=np.float64)
    way = ends[-1] - ends[0]
    length = float(np.hypot(*way))
    place = np.column_stack([easting_m, northing_m]).astype(np.float64)
    along = (place[np.isfinite(place).all(axis=1)] - ends[0]) @ way / length
    if not along.size:
        return False
    first, last = float(along.min()), float(along.max())
    gone = min(last, length) - max(first, 0.0)
    return first >= -beyond_m and last <= length + beyond_m and gone >= least_share * length
