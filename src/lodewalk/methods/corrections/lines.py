"""Straight lines of a walked track, their direction, length and spacing."""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import BoolArray, IntArray, piece_bounds
from lodewalk.methods.corrections.corners import find_corners, walked_nodes
from lodewalk.validation import FloatArray, check_positive, check_same_length, check_within


class PassageGeometry(NamedTuple):
    """Length [m], azimuth of walking [degrees] and distance of each reading along [m]."""

    length_m: float
    azimuth_deg: float
    distance_m: FloatArray


@dataclass(frozen=True)
class _Rules:
    """What makes a line; see `split_track`."""

    min_length: float
    max_turn: float  # radians
    smoothing: float


@dataclass(frozen=True)
class _Track:
    """Readings of an unbroken stretch in order of time."""

    time: FloatArray
    east: FloatArray
    north: FloatArray

    def part(self, start: int, stop: int) -> "_Track":
        """Return the readings `start` up to, not including, `stop`."""
        return _Track(self.time[start:stop], self.east[start:stop], self.north[start:stop])

    def reversed(self) -> "_Track":
        """Return the track as if walked the other way."""
        return _Track(-self.time[::-1], self.east[::-1], self.north[::-1])


def split_track(
    time_s: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    min_length_m: float,
    max_turn_deg: float,
    smoothing_m: float,
    max_gap_s: float,
) -> IntArray:
    """Number the straight lines of a walked track.

    Parameters
    ----------
    time_s : array, shape (n,)
        Time of each reading [s], in any order.
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.
    min_length_m : float
        Shortest line, end to end [m]; well above the line spacing, or the walk from one line to
        the next is a line too.
    max_turn_deg : float
        A sharper bend ends the line [degrees], below 90.
    smoothing_m : float
        Departures from the straight up to this are noise or a detour, not a turn [m]. Choose it
        below the line spacing and, if that allows it, at five sd of the position noise.
    max_gap_s : float
        A longer interval between two positions ends the line [s].

    Returns
    -------
    int array, shape (n,)
        Number of the line of each reading, 0, 1, 2 ... in order of time; -1 on turns, at stops
        beyond the ends of a line and where there is no position.

    Raises
    ------
    InputError
        When the lengths differ or a setting is out of range.

    Notes
    -----
    1. Corners are found by the method of Douglas and Peucker (`find_corners`) with tolerance
       `smoothing_m`, from places and not from times, so that pace and stops don't matter.
    2. Legs of at least half `min_length_m` begin lines. Two that follow each other are one line
       when they turn by less than `max_turn_deg` and the second carries on where the first ends,
       give or take `smoothing_m`; short legs between them are a detour and belong to it.
    3. A line ends at its farthest reading, where "far" is ``along tan(max_turn) - |across|``:
       the place where the track turns away by more than `max_turn_deg`. If the last quarter of
       `smoothing_m` took more than three times as long as usual, the rest is a stop.

    Trials: six lines of 300 m, 20 or 50 m apart, 3 m of position noise correlated over 40 s, a
    stop of 90 s. With `smoothing_m` 15 all of 600 walks were split right; with 10, 2 of 600 had
    one line cut in two where the position drifted aside during the stop.

    Lines closer together than `smoothing_m` are still told apart, as the track turns back
    between them, but more readings of the turn stay with them.

    Examples
    --------
    Up for 100 m, 20 m across, down again, at 10 m a reading:

    >>> up = np.arange(0.0, 101.0, 10.0)
    >>> north = np.concatenate([up, [100.0], up[::-1]])
    >>> east = np.repeat([0.0, 10.0, 20.0], [11, 1, 11])
    >>> number = split_track(np.arange(23.0), east, north, min_length_m=50.0, max_turn_deg=40.0,
    ...                      smoothing_m=8.0, max_gap_s=5.0)
    >>> number.tolist() == [0] * 11 + [-1] + [1] * 11
    True
    """
    check_same_length(time_s=time_s, easting_m=easting_m, northing_m=northing_m)
    check_positive(min_length_m, name="min_length_m")
    check_positive(smoothing_m, name="smoothing_m")
    check_positive(max_gap_s, name="max_gap_s")
    check_within(max_turn_deg, name="max_turn_deg", low=1.0, high=89.0, unit="degrees")
    rules = _Rules(min_length_m, float(np.deg2rad(max_turn_deg)), smoothing_m)
    time, east, north = (
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (time_s, easting_m, northing_m)
    )
    order = np.argsort(time, kind="stable")
    order = order[np.isfinite(time[order] + east[order] + north[order])]
    track = _Track(time[order], east[order], north[order])
    number = np.full(time.size, -1, dtype=np.int64)
    count = 0
    for start, stop in pairwise(piece_bounds(track.time, max_gap_s=max_gap_s)):
        for first, last in _lines_of_piece(track.part(start, stop), rules):
            number[order[start + first : start + last + 1]] = count
            count += 1
    return number


def _lines_of_piece(track: _Track, rules: _Rules) -> list[tuple[int, int]]:
    """Return the first and last reading of each line of an unbroken track."""
    nodes = walked_nodes(track.east, track.north, step_m=rules.smoothing / 4)
    if nodes.size < 2:
        return []
    corners = find_corners(track.east[nodes], track.north[nodes], tolerance_m=rules.smoothing)
    # The track may turn up to one node before or after the node that was found.
    before = nodes[np.maximum(corners - 1, 0)]
    after = nodes[np.minimum(corners + 1, nodes.size - 1)]
    at: IntArray = nodes[corners]
    pace_s = float(np.median(np.diff(track.time[nodes])))
    lines: list[tuple[int, int]] = []
    for begin, first, last, end in _legs_of_lines(track.east[at], track.north[at], rules):
        free = lines[-1][1] + 1 if lines else 0
        head = track.part(max(free, int(before[begin])), int(at[first + 1]) + 1).reversed()
        tail = track.part(int(at[last]), int(after[end + 1]) + 1)
        start = at[first + 1] - _end_of_line(head, int(at[first + 1] - at[first]), rules, pace_s)
        stop = at[last] + _end_of_line(tail, int(at[last + 1] - at[last]), rules, pace_s)
        if start < stop and _distance(track, start, stop) >= rules.min_length:
            lines.append((int(start), int(stop)))
    return lines


def _distance(track: _Track, first: int, second: int) -> float:
    """Return the distance between two readings."""
    return float(
        np.hypot(track.east[second] - track.east[first], track.north[second] - track.north[first])
    )


def _legs_of_lines(
    east: FloatArray, north: FloatArray, rules: _Rules
) -> list[tuple[int, int, int, int]]:
    """Return, for each line, its first leg, first long leg, last long leg and last leg."""
    groups = _joined_legs(east, north, rules)
    lines = []
    free = 0
    for place, (first, last) in enumerate(groups):
        limit = groups[place + 1][0] if place + 1 < len(groups) else east.size - 1
        begin, end = first, last
        while begin > free and _turn(east, north, begin - 1, first) < rules.max_turn:
            begin -= 1
        while end + 1 < limit and _turn(east, north, last, end + 1) < rules.max_turn:
            end += 1
        lines.append((begin, first, last, end))
        free = end + 1
    return lines


def _joined_legs(east: FloatArray, north: FloatArray, rules: _Rules) -> list[tuple[int, int]]:
    """Return the first and last long leg of each line."""
    lengths = np.hypot(np.diff(east), np.diff(north))
    long_legs = np.flatnonzero(lengths >= rules.min_length / 2).tolist()
    begins = list(range(len(long_legs)))  # where the line of each long leg begins
    for place, leg in enumerate(long_legs):
        for back in range(place - 1, -1, -1):
            if _carries_on(east, north, long_legs[back], leg, rules):
                begins[back : place + 1] = [begins[back]] * (place + 1 - back)
                break
            if lengths[long_legs[back]] >= rules.min_length:
                break  # a line of its own, not a part of a detour
    last = dict(zip(begins, long_legs, strict=True))
    return [(long_legs[begin], leg) for begin, leg in last.items()]


def _turn(east: FloatArray, north: FloatArray, first: int, second: int) -> float:
    """Return the angle between two legs, 0 to pi [rad]."""
    e, n = east[first + 1] - east[first], north[first + 1] - north[first]
    f, o = east[second + 1] - east[second], north[second + 1] - north[second]
    return float(np.arctan2(abs(e * o - n * f), e * f + n * o))


def _carries_on(
    east: FloatArray, north: FloatArray, first: int, second: int, rules: _Rules
) -> bool:
    """Tell whether a leg goes on where an earlier one ends, in the same direction."""
    if _turn(east, north, first, second) >= rules.max_turn:
        return False
    leg_e, leg_n = east[first + 1] - east[first], north[first + 1] - north[first]
    gap_e, gap_n = east[second] - east[first + 1], north[second] - north[first + 1]
    length = np.hypot(leg_e, leg_n)
    along = (gap_e * leg_e + gap_n * leg_n) / length
    across = abs(gap_e * leg_n - gap_n * leg_e) / length
    drift = rules.smoothing + max(along, 0.0) * np.tan(rules.max_turn)
    return bool(along >= -rules.smoothing and across <= drift)


def _end_of_line(track: _Track, leg_end: int, rules: _Rules, pace_s: float) -> int:
    """Return the reading at which a track, straight up to `leg_end`, turns away or stops."""
    leg_end = min(leg_end, track.time.size - 1)
    if leg_end < 1:  # the lines before took all the readings of this leg
        return 0
    along, across = _along_and_across(track, leg_end)
    far = along * np.tan(rules.max_turn) - np.abs(across)
    far[: leg_end // 2] = -np.inf
    farthest = int(far.argmax())
    near = far[farthest] - rules.smoothing / 4 * np.tan(rules.max_turn)
    arrived = int(np.argmax(far >= near))
    in_time = np.flatnonzero(track.time <= track.time[arrived] + 3 * pace_s)
    return max(arrived, min(farthest, int(in_time[-1])))


def _along_and_across(track: _Track, leg_end: int) -> tuple[FloatArray, FloatArray]:
    """Return distances along and across the middle part of the leg, clear of its corners."""
    east, north = track.east - track.east[0], track.north - track.north[0]
    length = max(float(np.hypot(east[leg_end], north[leg_end])), 1e-9)
    share = (east * east[leg_end] + north * north[leg_end]) / length**2
    on_leg = np.arange(east.size) <= leg_end
    before = on_leg & (share >= 0.2) & (share <= 0.5)
    after = on_leg & (share >= 0.5) & (share <= 0.8)
    if not (before.any() and after.any()):
        before[0] = after[leg_end] = True
    origin = east[before].mean(), north[before].mean()
    way_e, way_n = east[after].mean() - origin[0], north[after].mean() - origin[1]
    length = max(float(np.hypot(way_e, way_n)), 1e-9)
    east, north = east - origin[0], north - origin[1]
    return (east * way_e + north * way_n) / length, (east * way_n - north * way_e) / length


def passage_geometry(easting_m: ArrayLike, northing_m: ArrayLike) -> PassageGeometry:
    """Measure one passage along its main direction.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.

    Returns
    -------
    PassageGeometry
        `length_m` between the two extreme readings [m], `azimuth_deg` of walking clockwise from
        grid north, 0 up to 360 [degrees], and `distance_m` of each reading along that azimuth
        from the extreme at which the passage starts [m]; NaN where there is no position. With
        fewer than two places the length is 0 and the azimuth NaN.

    Raises
    ------
    InputError
        When the lengths differ.

    Notes
    -----
    The main direction is the axis about which the squared distances of the readings are least.
    The azimuth follows it in the sense in which distance grows in the order walked.

    Examples
    --------
    >>> length, azimuth, distance = passage_geometry([0.0, 3.0, 6.0], [0.0, -4.0, -8.0])
    >>> round(length, 9), round(azimuth, 3), distance.round(9).tolist()
    (10.0, 143.13, [0.0, 5.0, 10.0])
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    east = np.atleast_1d(np.asarray(easting_m, dtype=np.float64))
    north = np.atleast_1d(np.asarray(northing_m, dtype=np.float64))
    known = np.isfinite(east + north)
    distance = np.full(east.size, np.nan)
    if not known.any():
        return PassageGeometry(0.0, np.nan, distance)
    east, north = east[known] - east[known].mean(), north[known] - north[known].mean()
    if not (east.any() or north.any()):
        distance[known] = 0.0
        return PassageGeometry(0.0, np.nan, distance)
    azimuth = 0.5 * np.arctan2(2 * np.sum(east * north), np.sum(north**2) - np.sum(east**2))
    along = east * np.sin(azimuth) + north * np.cos(azimuth)
    if np.sum(along * np.arange(along.size)) < 0:
        azimuth, along = azimuth + np.pi, -along
    distance[known] = along - along.min()
    degrees = float(np.rad2deg(azimuth)) % 360.0
    return PassageGeometry(float(np.ptp(along)), degrees % 360.0, distance)


def tie_lines(
    azimuth_deg: ArrayLike, length_m: ArrayLike, *, group: ArrayLike | None = None
) -> BoolArray:
    """Tell the passages that cross the main direction of the survey.

    Parameters
    ----------
    azimuth_deg, length_m : array, shape (n,)
        Azimuth [degrees] and length [m] of each passage; an azimuth may be NaN.
    group : array, shape (n,), optional
        Block of each passage; each block has its own main direction (default: one block).

    Returns
    -------
    bool array, shape (n,)
        True more than 45 degrees off the main direction.

    Raises
    ------
    InputError
        When the lengths differ.

    Notes
    -----
    The main direction is the mean of doubled azimuths, weighted by length [1]_, so that both
    ways along a line count as one. Where lines in two directions have the same length in all, it
    is that of the first passage.

    References
    ----------
    .. [1] Mardia, K. V. and Jupp, P. E. (2000), Directional Statistics, Wiley, chapter 2 (from
       memory), doi:10.1002/9780470316979.

    Examples
    --------
    >>> tie_lines([2.0, 181.0, 92.0], [500.0, 500.0, 300.0]).tolist()
    [False, False, True]
    """
    azimuth = np.atleast_1d(np.asarray(azimuth_deg, dtype=np.float64))
    length = np.atleast_1d(np.asarray(length_m, dtype=np.float64))
    block = np.zeros(azimuth.size) if group is None else np.atleast_1d(np.asarray(group))
    check_same_length(azimuth_deg=azimuth, length_m=length, group=block)
    ties = np.zeros(azimuth.size, dtype=bool)
    for name in np.unique(block):
        mine = np.flatnonzero((block == name) & np.isfinite(azimuth))
        if mine.size:
            main = main_azimuth(azimuth[mine], length[mine])
            ties[mine] = np.cos(2 * (np.deg2rad(azimuth[mine]) - main)) < 0
    return ties


def main_azimuth(azimuth_deg: FloatArray, length: FloatArray) -> float:
    """Return the axial mean of azimuths [rad], weighted by length.

    Examples
    --------
    >>> round(float(np.rad2deg(main_azimuth(np.array([2.0, 182.0]), np.array([1.0, 1.0])))), 6)
    2.0
    """
    doubled = 2 * np.deg2rad(azimuth_deg)
    north, east = np.sum(length * np.cos(doubled)), np.sum(length * np.sin(doubled))
    if np.hypot(north, east) <= 1e-9 * np.sum(length):
        return float(doubled[0]) / 2
    return float(np.arctan2(east, north)) / 2


def line_spacing(easting_m: ArrayLike, northing_m: ArrayLike, passage: ArrayLike) -> float:
    """Return the usual distance between neighbouring parallel lines.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.

    Returns
    -------
    float
        Median distance between neighbouring lines [m]; NaN when there are fewer than two.

    Raises
    ------
    InputError
        When the lengths differ.

    Notes
    -----
    Each passage that isn't a tie line has one offset across the main direction, the median of
    its readings. Passages nearer to each other than the scatter of readings about their line, or
    than a quarter of the usual gap, repeat one line and count as one. The usual gap is the median
    of gaps weighted by their root, which neither many repeats nor one wide gap upsets. Meant for
    one block of lines.

    Examples
    --------
    >>> north = np.tile(np.arange(0.0, 100.0, 10.0), 3)
    >>> passage = np.repeat([0, 1, 2], 10)
    >>> float(line_spacing(passage * 25.0, north, passage))
    25.0
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, passage=passage)
    east = np.atleast_1d(np.asarray(easting_m, dtype=np.float64))
    north = np.atleast_1d(np.asarray(northing_m, dtype=np.float64))
    number = np.atleast_1d(np.asarray(passage))
    used = (number >= 0) & np.isfinite(east + north)
    if not used.any():
        return np.nan
    east, north, number = east[used], north[used], number[used]
    # Move the origin, so that a small error of direction isn't multiplied by large coordinates.
    offset, scatter = _offsets(east - east.mean(), north - north.mean(), number)
    gaps = np.diff(offset)
    if not np.any(gaps > scatter):
        return np.nan
    repeat_gap = max(scatter, _weighted_median(gaps, np.sqrt(gaps)) / 4)
    cluster = np.concatenate(([0], np.cumsum(gaps > repeat_gap)))
    centres = np.bincount(cluster, offset) / np.bincount(cluster)
    return float(np.median(np.diff(centres))) if centres.size > 1 else np.nan


def _offsets(east: FloatArray, north: FloatArray, number: IntArray) -> tuple[FloatArray, float]:
    """Return sorted offsets of the parallel passages and the usual scatter about them."""
    order = np.argsort(number, kind="stable")
    starts = np.flatnonzero(np.diff(number[order])) + 1
    passages = np.split(order, starts)
    shapes = [passage_geometry(east[rows], north[rows]) for rows in passages]
    azimuth = np.array([shape.azimuth_deg for shape in shapes])
    length = np.array([shape.length_m for shape in shapes])
    parallel = np.flatnonzero(np.isfinite(azimuth) & ~tie_lines(azimuth, length))
    if not parallel.size:
        return np.empty(0), 0.0
    main = main_azimuth(azimuth[parallel], length[parallel])
    across = east * np.cos(main) - north * np.sin(main)
    offsets = np.array([np.median(across[passages[k]]) for k in parallel])
    scatter = [
        np.median(np.abs(across[passages[k]] - middle))
        for k, middle in zip(parallel, offsets, strict=True)
    ]
    return np.sort(offsets), float(np.median(scatter))


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    """Return the smallest value at which half of the weight is reached."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
