"""How far off the planned lines a survey was walked, and how fast."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.plan_lines import nearest_leg, plan_legs
from lodewalk.validation import FloatArray, check_positive, check_same_length


class PlaceOnLine(NamedTuple):
    """Distance off the own planned line, positive to its right [m], and along it [m]."""

    off_line_m: FloatArray
    distance_m: FloatArray


@dataclass(frozen=True)
class OffTrack:
    """Distances off the planned lines, whichever side.

    Parameters
    ----------
    median_m, high_m, worst_m : float array, shape (n_lines,)
        Median, 95 % quantile and largest distance of each line [m]; NaN without a reading.
    """

    median_m: FloatArray
    high_m: FloatArray
    worst_m: FloatArray


@dataclass(frozen=True)
class WalkingSpeed:
    """Speed along passages.

    Parameters
    ----------
    median_m_s, fastest_m_s : float array, shape (n_passages,)
        Median speed, and the highest that was kept up over the window [m/s]; NaN where a passage
        is shorter than the window.
    """

    median_m_s: FloatArray
    fastest_m_s: FloatArray


def place_on_lines(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    line: ArrayLike,
    vertices: Sequence[ArrayLike],
    *,
    reach_m: float = 1000.0,
) -> PlaceOnLine:
    """Measure readings off and along the planned line that each belongs to.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.
    line : int array, shape (n,)
        Place of each reading's line in `vertices`; -1 for none.
    vertices : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each planned line, two or more.
    reach_m : float
        A reading farther off its line isn't placed, and a line goes on straight so far beyond
        its ends [m] (default 1000).

    Returns
    -------
    PlaceOnLine
        NaN without a line, without a position and out of reach; distances along are below zero
        before the line's first vertex and above its length past the last.

    Raises
    ------
    InputError
        When the lengths differ, `reach_m` isn't above zero or a line has fewer than two places.

    Notes
    -----
    The place on the nearest leg of the line. `assign_to_plan` gives the same for the lines that
    it finds itself; this is for lines that the files name.

    Examples
    --------
    >>> bent = [(0.0, 0.0), (0.0, 100.0), (50.0, 100.0)]
    >>> found = place_on_lines([2.0, 20.0], [60.0, 97.0], [0, 0], [bent])
    >>> found.off_line_m.tolist(), found.distance_m.tolist()
    ([2.0, 3.0], [60.0, 120.0])
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, line=line)
    check_positive(reach_m, name="reach_m")
    east, north = (np.atleast_1d(np.asarray(a, float)) for a in (easting_m, northing_m))
    own = np.atleast_1d(np.asarray(line, dtype=np.int64))
    known = np.flatnonzero(np.isfinite(east + north) & (own >= 0))
    place = np.column_stack([east[known], north[known]])
    heading = np.full(place.shape, np.nan)
    found = nearest_leg(place, heading, own[known], -1.0, reach_m, *plan_legs(vertices, reach_m))
    off_line, distance = np.full((2, east.size), np.nan)
    off_line[known], distance[known] = found[1:]
    return PlaceOnLine(off_line, distance)


def off_track(off_line_m: ArrayLike, line: ArrayLike, *, count: int) -> OffTrack:
    """Sum up how far off each planned line was walked.

    Parameters
    ----------
    off_line_m : array, shape (n,)
        Distance of each reading off its line [m], as `place_on_lines` gives it; NaN is left out.
    line : int array, shape (n,)
        Number of the line of each reading; -1 for none.
    count : int
        Number of lines.

    Returns
    -------
    OffTrack

    Raises
    ------
    InputError
        When the lengths differ.

    Examples
    --------
    >>> off_track([1.0, -2.0, 3.0], [0, 0, 0], count=2).median_m.tolist()
    [2.0, nan]
    """
    check_same_length(off_line_m=off_line_m, line=line)
    off = np.abs(np.asarray(off_line_m, dtype=np.float64))
    own = np.where(np.isfinite(off), np.asarray(line, dtype=np.int64), -1)
    parts = _groups(own, count)
    return OffTrack(
        *(
            np.array([np.quantile(off[part], share) if part.size else np.nan for part in parts])
            for share in (0.5, 0.95, 1.0)
        )
    )


def walking_speed(
    time_s: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    passage: ArrayLike,
    *,
    count: int,
    window_s: float = 10.0,
) -> WalkingSpeed:
    """Measure how fast each passage was walked.

    Parameters
    ----------
    time_s : array, shape (n,)
        Time of each reading [s], in any order.
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.
    count : int
        Number of passages.
    window_s : float
        Speeds are taken over this time [s] (default 10).

    Returns
    -------
    WalkingSpeed

    Raises
    ------
    InputError
        When the lengths differ or `window_s` isn't above zero.

    Notes
    -----
    The straight distance over at least `window_s`, divided by its time, from every reading on. A
    single wild place has no part in it: each axis first goes through a running median of three.
    Independent errors of 1 m on each axis raise the speed of a stop by about 0.18 m/s over 10 s.

    Examples
    --------
    >>> time = np.arange(30.0)
    >>> speed = walking_speed(time, 1.2 * time, 0 * time, np.zeros(30), count=1)
    >>> round(float(speed.median_m_s[0]), 6), round(float(speed.fastest_m_s[0]), 6)
    (1.2, 1.2)
    """
    check_same_length(time_s=time_s, easting_m=easting_m, northing_m=northing_m, passage=passage)
    check_positive(window_s, name="window_s")
    time, east, north = (np.asarray(a, dtype=float) for a in (time_s, easting_m, northing_m))
    own = np.where(np.isfinite(time + east + north), np.asarray(passage, dtype=np.int64), -1)
    speeds = [
        _speeds(time[part], east[part], north[part], window_s) for part in _groups(own, count)
    ]
    return WalkingSpeed(
        np.array([np.median(speed) if speed.size else np.nan for speed in speeds]),
        np.array([np.max(speed) if speed.size else np.nan for speed in speeds]),
    )


def _groups(number: IntArray, count: int) -> list[IntArray]:
    """Return the readings of each number from 0 to `count`, in their order."""
    order = np.argsort(number, kind="stable")
    edges = np.searchsorted(number[order], np.arange(count + 1))
    return [order[first:stop] for first, stop in pairwise(edges)]


def _speeds(time: FloatArray, east: FloatArray, north: FloatArray, window: float) -> FloatArray:
    """Return the speed over the window from each reading on."""
    order = np.argsort(time, kind="stable")
    time, east, north = time[order], _median_of_three(east[order]), _median_of_three(north[order])
    last = np.searchsorted(time, time + window * (1 - 1e-9))
    first = np.flatnonzero(last < time.size)
    last = last[first]
    way = np.hypot(east[last] - east[first], north[last] - north[first])
    speed: FloatArray = way / (time[last] - time[first])
    return speed


def _median_of_three(value: FloatArray) -> FloatArray:
    """Return the median of each value and its two neighbours; the ends as they are."""
    smooth = value.copy()
    if value.size > 2:
        smooth[1:-1] = np.median(np.stack([value[:-2], value[1:-1], value[2:]]), axis=0)
    return smooth
