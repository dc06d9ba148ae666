"""GPS gaps of a walk: filled on the straight line, with the error that the walk itself predicts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

ComplexArray = NDArray[np.complex128]

#: Radius of the circle that holds 90 % of a plane normal error, in sd of one axis.
CIRCLE_90: Final = float(np.sqrt(2.0 * np.log(10.0)))

#: Sd of one axis by kind of fix [m], from memory: fixed and floating carrier phase, and
#: differential code. A plain fix takes its error from the dilution.
FIX_SD_M: Final = {"rtk": 0.05, "float": 0.5, "dgps": 1.5}

#: Error of the ranges that a receiver measures [m], from memory.
RANGE_SD_M: Final = 4.0

#: Stretches that are hidden at most for one length of gap, and places looked at inside each.
MOST_HIDDEN: Final = 1000
MOST_INSIDE: Final = 7

#: A length of gap is judged by hiding it when the record is this many times as long.
TIMES_AS_LONG: Final = 20

#: Gaps whose lengths differ by less than this factor are judged together.
CLASS_RATIO: Final = 2.0**0.25

#: Stretches apart in time that one class of turning needs, and most classes.
IN_CLASS: Final = 20
MOST_CLASSES: Final = 12

#: Least ``4 u (1 - u)`` of the places that tell how far off the middle is.
NEAR_MIDDLE: Final = 0.5

#: Time over which the pace beside a gap is taken at most [s], and the fewest fix intervals.
PACE_S: Final = 10.0
PACE_INTERVALS: Final = 2.0

#: Limits of the exponent by which the error grows with the length of the gap: a random walk in
#: place and an even acceleration.
SLOWEST_GROWTH: Final = 0.5
FASTEST_GROWTH: Final = 2.0


@dataclass(frozen=True)
class FilledPositions:
    """Positions of a walk with its short gaps filled.

    Parameters
    ----------
    easting_m, northing_m : float array, shape (n,)
        Positions [m]; NaN outside the record and in gaps that are too long.
    sd_m : float array, shape (n,)
        Sd of one axis [m]; 2.146 of it is the radius of the 90 % circle. NaN without a position.
    filled : bool array, shape (n,)
        True where the position wasn't recorded.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    sd_m: FloatArray
    filled: BoolArray


@dataclass(frozen=True)
class _Walk:
    """The fixes of a walk, with their places as complex numbers."""

    time: FloatArray
    place: ComplexArray
    interval: float


@dataclass(frozen=True)
class _Hidden:
    """What hiding stretches of one length has shown.

    `turning` is the middle of each class of stretches by the change of velocity [m/s] and `most`
    the largest of all, `radius` the radius that holds 90 % of the errors at mid-stretch [m] and
    `overall` that over all classes, `power` shapes the error along the stretch.
    """

    length: float
    turning: FloatArray
    most: float
    radius: FloatArray
    overall: float
    power: float


def fix_sd(
    kind: Sequence[str | None], *, hdop: ArrayLike | None = None, plain_sd_m: float = 3.0
) -> FloatArray:
    """Return the error of recorded fixes from their kind and dilution of precision.

    Parameters
    ----------
    kind : sequence of str or None, length n
        Kind of each fix: none, 2d, 3d, dgps, rtk, float; None where it isn't known.
    hdop : array_like, shape (n,), optional
        Horizontal dilution of precision; NaN where it isn't known.
    plain_sd_m : float
        Sd of one axis of a plain fix without a dilution [m] (default 3, common practice).

    Returns
    -------
    float array, shape (n,)
        Sd of one axis [m]; NaN for kind none.

    Raises
    ------
    InputError
        When the lengths differ or `plain_sd_m` isn't above zero.

    Notes
    -----
    A plain fix (2d, 3d or not known) errs by ``4 m x hdop / sqrt(2)`` on each axis, the range
    error being 3 to 5 m (common practice, from memory). rtk 0.05 m, float 0.5 m and dgps 1.5 m
    are from memory too; where their dilution is known and above 1 they grow with it. Under
    trees and beside walls all of them are optimistic.

    Examples
    --------
    >>> fix_sd(["rtk", "3d", None, "none"], hdop=[0.8, 1.0, float("nan"), 1.0]).round(2).tolist()
    [0.05, 2.83, 3.0, nan]
    """
    check_positive(plain_sd_m, name="plain_sd_m")
    dilution = np.full(len(kind), np.nan) if hdop is None else np.asarray(hdop, dtype=np.float64)
    check_same_length(kind=np.zeros(len(kind)), hdop=dilution)
    known = np.isfinite(dilution) & (dilution > 0)
    sd = np.where(known, RANGE_SD_M * dilution / np.sqrt(2.0), plain_sd_m)
    words = np.array([word or "" for word in kind], dtype=object)
    for word, usual in FIX_SD_M.items():
        sd = np.where(words == word, usual * np.where(known, np.fmax(dilution, 1.0), 1.0), sd)
    sd[words == "none"] = np.nan
    return sd


def fill_position_gaps(
    time_s: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    max_gap_s: float,
    fix_sd_m: ArrayLike = 3.0,
    fix_time_s: float = 300.0,
    speed_m_s: float = 1.5,
) -> FilledPositions:
    """Fill gaps between the fixes of a walk, and predict how far off the filled places can be.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times of the readings [s].
    easting_m, northing_m : array, shape (n,)
        Recorded positions [m]; NaN where there is none.
    max_gap_s : float
        A longer interval between two fixes isn't filled [s].
    fix_sd_m : float or array, shape (n,)
        Sd of one axis of the recorded fixes [m] (default 3, a plain fix; see `fix_sd`).
    fix_time_s : float
        Time over which the errors of fixes stay alike [s] (default 300, from memory: some
        minutes for a plain receiver); zero for independent errors.
    speed_m_s : float
        Speed of walking [m/s], used only where the record is too short to tell (default 1.5).

    Returns
    -------
    FilledPositions
        On the straight line between the fixes beside each gap, as `position_at` has it; nothing
        before the first fix and after the last.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase, `max_gap_s` or `speed_m_s` isn't above
        zero, or an error is below zero.

    Notes
    -----
    The walk is taken as a random function whose departure from a straight line over a time L is
    the same inside the gap as elsewhere in the record (Matheron 1973): stretches of length L are
    hidden where fixes exist, and the radius that holds 90 % of the departures is read off. As a
    walk is straight at most times and turns or stops at others, the stretches are parted into
    classes by what the gap shows too: the rms difference between the velocity across it and
    those over up to 10 s before and after it. Along the gap the error goes as
    ``(4 u (1 - u))^p`` at the share u; p = 1/2 is a random walk in place, 1 an even
    acceleration, and p is fitted. Where L is shorter than two fix intervals or longer than a
    20th of the record, the error of the nearest length that could be hidden is carried on by the
    power of L that it grows with. A record in which nothing can be hidden gets the half-width of
    the ellipse that `speed_m_s` allows.

    Fixes hidden and fixes beside the gap have errors themselves, alike over `fix_time_s`
    (exponential): their share in the departures is taken out and their share in the straight
    line added.

    Valid for a walk that goes on as it did: a rest at a place where no fix is lost says nothing
    of one under trees. Where the receiver lost its fix the fixes beside the gap may be worse
    than `fix_sd_m`.

    References
    ----------
    Matheron, G. (1973), The intrinsic random functions and their applications, Advances in
    Applied Probability 5, 439-468, doi:10.2307/1425829.

    Examples
    --------
    >>> time = np.arange(600.0)
    >>> east, north = 1.2 * time, 20 * np.sin(time / 60)
    >>> east[300:310] = np.nan
    >>> walk = fill_position_gaps(time, east, north, max_gap_s=30.0, fix_sd_m=0.05)
    >>> round(float(walk.easting_m[304]), 6), int(walk.filled.sum())
    (364.8, 10)
    >>> bool(abs(walk.northing_m[304] - north[304]) < 2.146 * walk.sd_m[304] < 1.0)
    True
    """
    time = np.asarray(time_s, dtype=np.float64)
    east, north = np.asarray(easting_m, float), np.asarray(northing_m, float)
    check_same_length(time_s=time, easting_m=east, northing_m=north)
    check_increasing(time, name="time_s")
    check_positive(max_gap_s, name="max_gap_s")
    check_positive(speed_m_s, name="speed_m_s")
    fix = _fix_errors(fix_sd_m, time.size)
    if not fix_time_s >= 0:
        raise InputError("fix_time_s must not be below zero.", value=fix_time_s)
    known = np.isfinite(east) & np.isfinite(north)
    at = np.flatnonzero(known)
    filled_east, filled_north = (
        interpolate_linear(time, time[at], axis[at], max_gap=max_gap_s) for axis in (east, north)
    )
    sd = np.where(known, fix, np.nan)
    filled = ~known & np.isfinite(filled_east)
    if filled.any():
        walk = _Walk(time[at], east[at] + 1j * north[at], nominal_interval(time[at]))
        after = np.searchsorted(walk.time, time[filled])
        sd[filled] = _sd_in_gaps(walk, time[filled], after - 1, fix[at], fix_time_s, speed_m_s)
    return FilledPositions(filled_east, filled_north, sd, filled)


def _fix_errors(fix_sd_m: ArrayLike, count: int) -> FloatArray:
    """Return the sd of each fix; raise when one is below zero."""
    given = np.asarray(fix_sd_m, dtype=np.float64)
    if given.ndim:
        check_same_length(time_s=np.empty(count), fix_sd_m=given)
    if np.any(given < 0):
        raise InputError("fix_sd_m must not be below zero.", value=float(np.nanmin(given)))
    return np.broadcast_to(given, (count,))


def _sd_in_gaps(
    walk: _Walk,
    time: FloatArray,
    before: IntArray,
    fix: FloatArray,
    fix_time: float,
    speed: float,
) -> FloatArray:
    """Return the sd at times inside gaps that begin at the fixes `before`."""
    length = walk.time[before + 1] - walk.time[before]
    share = (time - walk.time[before]) / length
    first, again = np.unique(before, return_inverse=True)
    radius, power = _radii(walk, first, speed)
    departure = radius[again] / CIRCLE_90 * (4 * share * (1 - share)) ** power[again]
    square = departure**2
    near, far = (_likeness(part * length, fix_time) for part in (share, 1 - share))
    whole, rest = _likeness(length, fix_time), 1 - share
    one, two = fix[before], fix[before + 1]
    line = (rest * one) ** 2 + (share * two) ** 2 + 2 * rest * share * one * two * whole
    # What errors of this kind add to the departure of a hidden fix from the line.
    mean = (one**2 + two**2) / 2
    apart = 1 + rest**2 + share**2 + 2 * rest * share * whole - 2 * (rest * near + share * far)
    return np.sqrt(np.maximum(square - mean * np.maximum(apart, 0.0), 0.0) + line)


def _likeness(lag: FloatArray, fix_time: float) -> FloatArray:
    """Return the correlation of the errors of two fixes."""
    if fix_time == 0:
        return np.zeros(lag.shape)
    return np.exp(-lag / fix_time)


def _radii(walk: _Walk, first: IntArray, speed: float) -> tuple[FloatArray, FloatArray]:
    """Return the 90 % radius at mid-gap and the shape's power of the gaps after fixes `first`."""
    length = walk.time[first + 1] - walk.time[first]
    step = np.round(np.log(length) / np.log(CLASS_RATIO)).astype(np.int64)
    radius, power = np.empty(first.size), np.empty(first.size)
    seen: dict[float, _Hidden | None] = {}
    shortest = 2.0 * walk.interval
    longest = max((walk.time[-1] - walk.time[0]) / TIMES_AS_LONG, shortest)
    for number in np.unique(step):
        own = step == number
        asked = float(CLASS_RATIO**number)
        hidden, growth = _judged(walk, float(np.clip(asked, shortest, longest)), seen)
        if hidden is None:
            radius[own], power[own] = _reachable(walk, first[own], speed), 0.5
            continue
        turning = _turning(walk, first[own], first[own] + 1, asked)
        # Beside no other fix, nothing tells how the walker went on.
        typical = np.interp(turning, hidden.turning, hidden.radius)
        typical *= np.maximum(turning / max(hidden.most, 1e-9), 1.0)
        typical = np.where(np.isfinite(turning), typical, hidden.overall)
        radius[own] = typical * (length[own] / hidden.length) ** growth
        power[own] = hidden.power
    return radius, power


def _judged(
    walk: _Walk, length: float, seen: dict[float, _Hidden | None]
) -> tuple[_Hidden | None, float]:
    """Return what hiding stretches about as long as `length` shows, and how errors grow."""
    half, double, own = (
        _hidden_once(walk, part, seen) for part in (length / 2, length * 2, length)
    )
    growth = 1.0
    pairs = [(own, double), (half, own), (half, double)]
    for one, two in pairs:
        if one is not None and two is not None and min(one.overall, two.overall) > 0:
            ratio = np.log(two.overall / one.overall) / np.log(two.length / one.length)
            growth = float(np.clip(ratio, SLOWEST_GROWTH, FASTEST_GROWTH))
            break
    return next((item for item in (own, double, half) if item is not None), None), growth


def _hidden_once(walk: _Walk, length: float, seen: dict[float, _Hidden | None]) -> _Hidden | None:
    """Return what hiding stretches of one length shows, looked at once for each length."""
    length = round(length, 6)
    if length not in seen:
        seen[length] = _hide(walk, length)
    return seen[length]


def _hide(walk: _Walk, length: float) -> _Hidden | None:
    """Hide stretches of one length and compare the straight line with their fixes."""
    first, last = _stretches(walk, length)
    if first.size < IN_CLASS:
        return None
    share, error = _departures(walk, first, last)
    known = np.isfinite(error) & (share > 0.05) & (share < 0.95)
    power = _shape(share[known], error[known])
    bent = 4 * share * (1 - share)
    # Near the ends the shape matters most, so the middle alone tells the size.
    known &= bent >= NEAR_MIDDLE
    at_middle = np.where(known, error / bent**power, np.nan)
    turning = _turning(walk, first, last, length)
    usable = np.isfinite(turning) & known.any(axis=1)
    if usable.sum() < IN_CLASS:
        return None
    spent = np.sum(np.minimum(np.diff(walk.time), length))
    apart = min(spent / length, float(usable.sum()))
    count = int(np.clip(apart / IN_CLASS, 1, MOST_CLASSES))
    order = np.flatnonzero(usable)[np.argsort(turning[usable], kind="stable")]
    groups = np.array_split(order, count)
    return _Hidden(
        length=float(np.median(walk.time[last] - walk.time[first])),
        turning=np.array([np.median(turning[group]) for group in groups]),
        most=float(np.max(turning[usable])),
        radius=np.array([np.nanquantile(at_middle[group], 0.9) for group in groups]),
        power=power,
        overall=float(np.nanquantile(at_middle[usable], 0.9)),
    )


def _stretches(walk: _Walk, length: float) -> tuple[IntArray, IntArray]:
    """Return first and last fix of stretches about as long as `length` with fixes inside."""
    last = np.searchsorted(walk.time, walk.time + length * (1 - 1e-6))
    first = np.flatnonzero(last < walk.time.size)
    last = last[first]
    good = (last - first >= 2) & (walk.time[last] - walk.time[first] <= 1.25 * length)
    gap = np.concatenate(([0], np.cumsum(np.diff(walk.time) > 0.75 * length)))
    good &= gap[last] == gap[first]
    first, last = first[good], last[good]
    if first.size > MOST_HIDDEN:
        some = np.linspace(0, first.size - 1, MOST_HIDDEN).astype(np.int64)
        first, last = first[some], last[some]
    return first, last


def _departures(walk: _Walk, first: IntArray, last: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return share of the stretch and distance from the line of some fixes inside each."""
    count = np.minimum(last - first - 1, MOST_INSIDE)
    place = np.arange(1, MOST_INSIDE + 1)[np.newaxis, :]
    inside = place <= count[:, np.newaxis]
    step = (last - first)[:, np.newaxis] / (count + 1)[:, np.newaxis]
    at = np.where(inside, first[:, np.newaxis] + np.round(place * step).astype(np.int64), 0)
    start, end = walk.time[first][:, np.newaxis], walk.time[last][:, np.newaxis]
    share = np.where(inside, (walk.time[at] - start) / (end - start), 0.5)
    one, two = walk.place[first][:, np.newaxis], walk.place[last][:, np.newaxis]
    error = np.abs(walk.place[at] - one - share * (two - one))
    return share, np.where(inside, error, np.nan)


def _shape(share: FloatArray, error: FloatArray) -> float:
    """Return the power of ``4 u (1 - u)`` with which errors of a high quantile go."""
    bent = 4 * share * (1 - share)
    edge = bent < np.quantile(bent, 0.4)
    if edge.all() or not edge.any():
        return 0.75
    low, high = np.quantile(error[edge], 0.9), np.quantile(error[~edge], 0.9)
    over = float(np.log(np.median(bent[~edge]) / np.median(bent[edge])))
    if not (low > 0 and high > 0 and over > 0.05):
        return 0.75
    return float(np.clip(np.log(high / low) / over, 0.5, 1.0))


def _turning(walk: _Walk, first: IntArray, last: IntArray, length: float) -> FloatArray:
    """Return the rms difference of the velocity across from those before and after; else NaN."""
    window = max(min(length, PACE_S), PACE_INTERVALS * walk.interval)
    across = (walk.place[last] - walk.place[first]) / (walk.time[last] - walk.time[first])
    start = np.searchsorted(walk.time, walk.time[first] - window * (1 + 1e-6))
    stop = np.searchsorted(walk.time, walk.time[last] + window * (1 + 1e-6), side="right") - 1
    squares = np.stack(
        [
            np.abs(_velocity(walk, start, first) - across),
            np.abs(_velocity(walk, last, stop) - across),
        ]
    )
    known = np.isfinite(squares)
    total = np.sum(np.where(known, squares, 0.0) ** 2, axis=0)
    with np.errstate(invalid="ignore"):
        turning: FloatArray = np.sqrt(total / known.sum(axis=0))
    return turning


def _velocity(walk: _Walk, first: IntArray, last: IntArray) -> ComplexArray:
    """Return the velocity from one fix to another; NaN where they are the same."""
    time = walk.time[last] - walk.time[first]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(time > 0, (walk.place[last] - walk.place[first]) / time, np.nan)


def _reachable(walk: _Walk, first: IntArray, speed: float) -> FloatArray:
    """Return half the width of the ellipse that a walker can reach between two fixes."""
    way = speed * (walk.time[first + 1] - walk.time[first])
    straight = np.abs(walk.place[first + 1] - walk.place[first])
    half: FloatArray = np.sqrt(np.maximum(way**2 - straight**2, (0.2 * way) ** 2)) / 2
    return half
