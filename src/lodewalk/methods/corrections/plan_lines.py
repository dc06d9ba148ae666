"""Which planned line each reading was walked on."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.corners import walked_nodes
from lodewalk.validation import FloatArray, check_positive, check_same_length, check_within


class PlanAssignment(NamedTuple):
    """Planned line of each reading, distance off it [m] and distance along it [m]."""

    line: IntArray
    off_line_m: FloatArray
    distance_m: FloatArray


def assign_to_plan(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    vertices: Sequence[ArrayLike],
    *,
    off_line_m: float,
    max_angle_deg: float = 30.0,
    smoothing_m: float = 15.0,
) -> PlanAssignment:
    """Find the planned line on which each reading was walked.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.
    vertices : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each planned line, two or more.
    off_line_m : float
        A reading farther from every line is on none [m].
    max_angle_deg : float
        Largest angle between the way walked, in either sense, and the line [degrees] (default 30,
        which keeps lines apart from tie lines).
    smoothing_m : float
        The way walked is taken over about this distance, and a shorter stay on another line, or
        off the lines, doesn't count [m] (default 15, five times the noise of a plain GPS fix).

    Returns
    -------
    PlanAssignment
        `line`, its place in `vertices`, -1 for none; `off_line_m`, positive to the right of the
        line's own direction [m]; `distance_m` along the line from its first vertex [m]. The last
        two are NaN where the line is -1. A line goes on straight for `off_line_m` beyond its
        ends; distances are then negative or above its length.

    Raises
    ------
    InputError
        When the lengths differ, a setting is out of range or a line has fewer than two places.

    Notes
    -----
    Of the lines near enough and in the right direction the nearest is taken, reading by reading.
    Then each run of readings that stays within `smoothing_m` of where it began takes the line of
    its two neighbours, where they agree and it is near enough, and no line otherwise. At a sharp
    turn the way walked holds both the line and the turn, so each run then goes on over the
    readings on no line that are near enough, up to the one at which the progress along the line
    less the departure from the offset walked before is greatest: at a corner, the corner itself.
    Progress ends where the planned line does, so that no run goes on into a turn beyond it.

    Examples
    --------
    >>> lines = [[(0.0, 0.0), (0.0, 100.0)], [(20.0, 0.0), (20.0, 100.0)]]
    >>> north = np.arange(0.0, 101.0, 10.0)
    >>> found = assign_to_plan(np.full(11, 22.0), north, lines, off_line_m=8.0)
    >>> found.line[5], found.off_line_m[5], found.distance_m[5]
    (np.int64(1), np.float64(2.0), np.float64(50.0))
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    check_positive(off_line_m, name="off_line_m")
    check_positive(smoothing_m, name="smoothing_m")
    check_within(max_angle_deg, name="max_angle_deg", low=0.0, high=90.0, unit="degrees")
    east = np.atleast_1d(np.asarray(easting_m, dtype=np.float64))
    north = np.atleast_1d(np.asarray(northing_m, dtype=np.float64))
    known = np.flatnonzero(np.isfinite(east + north))
    place = np.column_stack([east[known], north[known]])
    plan = plan_legs(vertices, off_line_m)
    heading = headings(place, smoothing_m)
    cosine = float(np.cos(np.deg2rad(max_angle_deg)))
    any_line = np.full(known.size, -2, dtype=np.int64)
    raw_index = nearest_leg(place, heading, any_line, cosine, off_line_m, *plan)[0]
    steady = _without_short_runs(place, raw_index, smoothing_m)
    whole = _with_ends(place, steady, smoothing_m, off_line_m, plan)
    found = nearest_leg(place, heading, whole, -1.0, off_line_m, *plan)
    index = np.full(east.size, -1, dtype=np.int64)
    index[known] = found[0]
    off_line, distance = np.full((2, east.size), np.nan)
    off_line[known], distance[known] = found[1:]
    return PlanAssignment(index, off_line, distance)


def plan_legs(
    vertices: Sequence[ArrayLike], reach: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the legs, the first leg of each line and past the last, and boxes round the lines.

    Parameters
    ----------
    vertices : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each planned line.
    reach : float
        How far a line goes on beyond its ends, and its box beyond the line [m].

    Returns
    -------
    legs : array, shape (n_legs, 8)
        Start (2), unit vector (2), length, distance at its start, and how far it goes on before
        its start and after its end [m].
    bounds : int array, shape (n_lines + 1,)
        Legs of line ``k`` are ``bounds[k]`` up to, not including, ``bounds[k + 1]``.
    boxes : array, shape (n_lines, 4)
        West, south, east and north [m].

    Raises
    ------
    InputError
        For a line whose vertices aren't finite pairs, or lie in one place.

    Examples
    --------
    >>> plan_legs([[(0.0, 0.0), (0.0, 50.0)]], 10.0)[1].tolist()
    [0, 1]
    """
    legs, bounds, boxes = [np.empty((0, 8))], [0], []
    for number, given in enumerate(vertices):
        points = np.asarray(given, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or not np.all(np.isfinite(points)):
            raise InputError(
                f"Vertices of planned line {number} must be pairs of easting and northing.",
                value=points.shape,
            )
        step = np.diff(points, axis=0)
        length = np.hypot(*step.T)
        kept = length > 0
        if not kept.any():
            raise InputError(
                f"Planned line {number} needs two different vertices.",
                value=len(points),
                remedy="Take the line out of the plan or give it a second end.",
            )
        start, step, length = points[:-1][kept], step[kept], length[kept]
        leg = np.column_stack(
            [start, step / length[:, np.newaxis], length, np.zeros((len(length), 3))]
        )
        leg[1:, 5] = np.cumsum(length)[:-1]
        leg[0, 6] = leg[-1, 7] = reach
        legs.append(leg)
        bounds.append(bounds[-1] + len(leg))
        # An end goes on by the reach, whichever way it points, with the reach on either side.
        boxes.append([*(points.min(axis=0) - 2 * reach), *(points.max(axis=0) + 2 * reach)])
    return (
        np.concatenate(legs),
        np.array(bounds, dtype=np.int64),
        np.array(boxes, dtype=np.float64).reshape(-1, 4),
    )


def headings(place: FloatArray, smoothing: float) -> FloatArray:
    """Return the unit vector of walking at each reading; NaN where the track stays in one place.

    Parameters
    ----------
    place : array, shape (n, 2)
        Easting and northing in the order walked [m].
    smoothing : float
        Length over which the direction is taken [m].

    Returns
    -------
    float array, shape (n, 2)
        East and north part.

    Examples
    --------
    >>> north = np.column_stack([np.zeros(50), np.arange(50.0)])
    >>> headings(north, 15.0)[20].tolist()
    [0.0, 1.0]
    """
    heading = np.full(place.shape, np.nan)
    nodes = walked_nodes(*place.T, step_m=smoothing / 3)
    if nodes.size < 2:
        return heading
    # Between two nodes: the chord from the node before them to the node after.
    first, last = np.arange(nodes.size - 1) - 1, np.arange(1, nodes.size) + 1
    chord = place[nodes[np.minimum(last, nodes.size - 1)]] - place[nodes[np.maximum(first, 0)]]
    length = np.hypot(*chord.T)
    chord[length == 0] = np.nan
    chord[length > 0] /= length[length > 0, np.newaxis]
    between = np.searchsorted(nodes, np.arange(len(place)), side="right") - 1
    heading[:] = chord[np.minimum(between, nodes.size - 2)]
    return heading


@njit(nogil=True, cache=True)
def nearest_leg(
    place: FloatArray,
    heading: FloatArray,
    wanted: IntArray,
    min_cosine: float,
    reach: float,
    legs: FloatArray,
    bounds: IntArray,
    boxes: FloatArray,
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the nearest line, the offset to its right and the distance along it.

    Parameters
    ----------
    place, heading : array, shape (n, 2)
        Easting and northing [m], and the unit vector of walking.
    wanted : int array, shape (n,)
        The only line to look at, -1 for none and -2 for all.
    min_cosine : float
        Least cosine between walk and line, whichever way; below zero leaves the heading out.
    reach : float
        A line farther away is none [m].
    legs, bounds, boxes : array
        From `plan_legs`.

    Returns
    -------
    line, offset, distance : array, shape (n,)
        -1 and NaN where no line is near [m].
    """
    index = np.full(place.shape[0], -1, dtype=np.int64)
    offset = np.full(place.shape[0], np.nan)
    distance = np.full(place.shape[0], np.nan)
    for i in range(place.shape[0]):
        e, n = place[i]
        nearest = reach
        for line in range(boxes.shape[0]):
            if wanted[i] not in (-2, line):
                continue
            west, south, east, north = boxes[line]
            if e < west or e > east or n < south or n > north:
                continue
            for k in range(bounds[line], bounds[line + 1]):
                along, across, miss = _place_on_leg(e, n, legs[k])
                cosine = abs(heading[i, 0] * legs[k, 2] + heading[i, 1] * legs[k, 3])
                if miss <= nearest and (min_cosine < 0 or cosine >= min_cosine):
                    if index[i] >= 0 and miss == nearest:
                        continue
                    nearest, index[i] = miss, line
                    offset[i] = miss if across >= 0 else -miss
                    distance[i] = legs[k, 5] + along
    return index, offset, distance


@njit(nogil=True, cache=True)
def _place_on_leg(e: float, n: float, leg: FloatArray) -> tuple[float, float, float]:
    """Return distance along a leg, to its right, and from its nearest point."""
    e, n = e - leg[0], n - leg[1]
    free = e * leg[2] + n * leg[3]
    across = e * leg[3] - n * leg[2]
    along = min(max(free, -leg[6]), leg[4] + leg[7])
    if (leg[6] > 0 and free < -leg[6]) or (leg[7] > 0 and free > leg[4] + leg[7]):
        return along, across, np.inf  # beyond the end of the line
    return along, across, np.hypot(free - along, across)


def _without_short_runs(place: FloatArray, index: IntArray, smoothing: float) -> IntArray:
    """Give runs that don't get farther than `smoothing` the line on both sides, or none."""
    if not index.size:
        return index
    starts = np.flatnonzero(np.concatenate(([True], np.diff(index) != 0)))
    bounds = np.append(starts, index.size)
    away = np.hypot(*(place - np.repeat(place[starts], np.diff(bounds), axis=0)).T)
    long_runs = np.flatnonzero(np.maximum.reduceat(away, starts) >= smoothing)
    lines = np.full(starts.size, -1, dtype=np.int64)
    lines[long_runs] = index[starts[long_runs]]
    for before, after in pairwise(long_runs):
        if lines[before] == lines[after]:
            lines[before + 1 : after] = lines[before]
    return np.repeat(lines, np.diff(bounds))


def _with_ends(
    place: FloatArray,
    line: IntArray,
    smoothing: float,
    reach: float,
    plan: tuple[FloatArray, IntArray, FloatArray],
) -> IntArray:
    """Let each run go on beyond its last reading, and back before its first, to its corners."""
    whole = line.copy()
    for sense in (1, -1):
        way, own = place[::sense], whole[::sense]
        bounds = np.concatenate(([0], np.flatnonzero(np.diff(own)) + 1, [own.size]))
        for first, stop, end in zip(bounds[:-2], bounds[1:-1], bounds[2:], strict=True):
            number = own[first]
            if number >= 0 and own[stop] < 0:
                more = _steps_on(way[first:end], stop - first - 1, number, smoothing, reach, plan)
                own[stop : stop + more] = number  # a view, so that `whole` changes
    return whole


def _steps_on(
    place: FloatArray,
    last: int,
    number: int,
    smoothing: float,
    reach: float,
    plan: tuple[FloatArray, IntArray, FloatArray],
) -> int:
    """Return by how many readings the run that ends at `last` goes on along its line."""
    far = np.hypot(*(place[:last] - place[last]).T) > smoothing
    first = int(np.flatnonzero(np.append(True, far))[-1])
    part = place[first:]
    wanted = np.full(len(part), number, dtype=np.int64)
    _, offset, along = nearest_leg(part, np.full(part.shape, np.nan), wanted, -1.0, reach, *plan)
    own = slice(0, last - first + 1)
    known = np.flatnonzero(np.isfinite(along[own]))
    if not known.size or known[-1] != last - first:
        return 0
    forward = np.sign(along[last - first] - along[known[0]])
    legs, bounds, _ = plan
    final = legs[bounds[number + 1] - 1]
    # Beyond the end of the line a turn may well begin, so going on there takes progress back.
    inside = np.clip(along, 0.0, final[4] + final[5])
    if inside[last - first] != along[last - first]:
        return 0
    progress = forward * inside - np.abs(along - inside)
    gain = (progress - np.abs(offset - np.median(offset[own][known])))[last - first :]
    reached = int(np.argmax(np.append(np.isnan(gain), True)))
    return int(np.argmax(gain[:reached]))
