"""Bumps and steps of an evenly spaced record that stand out of what is on both their sides."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit

from lodewalk.methods.checks.base_events_grid import Piece
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray

#: Lengths of the windows that are tried for a bump [s].
WINDOWS_S: Final = (6.0, 9.0, 13.0, 19.0, 28.0, 42.0, 64.0)

#: Least length of each side of a bump and of a step [s], and least number of readings in it.
BUMP_SIDE_S: Final = 20.0
STEP_SIDE_S: Final = 30.0
LEAST_SIDE: Final = 5

#: A step rises within one of these times [s], or one interval.
RISES_S: Final = (0.0, 2.0, 5.0, 10.0)

#: A step that takes this long [s] must reach so many times more.
SLOW_S: Final = (2.0, 5.0, 10.0, 60.0)
MORE: Final = (1.0, 1.5, 2.0, 3.0)

#: Of rises around the same step, each interval more must leave the sides calmer by this share.
DEARER: Final = 0.02

#: Share of its demand by which the record must change before a step is looked at.
PROMISE: Final = 0.5

#: A step stays: its size from so much of each side [s], without what is as near as this [s], is
#: at least this share of its size from the sides at it.
STAY_SIDE_S: Final = 60.0
STAY_FROM_S: Final = 15.0
STAY_SHARE: Final = 0.6

#: A bump ends where it has fallen to this share of its peak and of what it must reach, or into
#: the noise of its sides.
END_SHARE: Final = 0.08
END_DEMAND: Final = 0.2
END_NOISE: Final = 2.5

#: Least ratio of a bump or a step to the rms of its sides about their line.
OVER_SIDES: Final = 5.0

#: A bump stands out of so many seconds on each side of it [s]: least ratio of its peak to their
#: rms and to their worst departure from a parabola. A train of pulsations does not.
ALONE_S: Final = 60.0
ALONE_RMS: Final = 8.0
ALONE_WORST: Final = 3.0

#: A dipole that passes has up to three lobes; more than this share of the peak make one. A packet
#: of pulsations has more.
MOST_LOBES: Final = 3
LOBE_SHARE: Final = 0.2

#: A bump of fewer readings than this is a spike.
LEAST_READINGS: Final = 4

#: A bump whose sides lie more than this share of its peak apart is a step.
LEVEL_SHARE: Final = 0.35


@dataclass(frozen=True)
class Found:
    """Bumps or steps in one piece, in order of time.

    Parameters
    ----------
    first, last : int array, shape (n,)
        First and last value of each, both included.
    size_nT : float array, shape (n,)
        Peak, or rise of a step [nT].
    score : float array, shape (n,)
        How many times over it passes the least demand; at least 1.
    """

    first: IntArray
    last: IntArray
    size_nT: FloatArray
    score: FloatArray


@dataclass(frozen=True)
class Demand:
    """What a bump or a step must reach.

    Parameters
    ----------
    size_nT : float array, shape (n,)
        Least size at each value [nT]; NaN where it can't be judged.
    noise_nT : float
        Noise sd of one value [nT].
    least_rms_nT : float
        The rms of the sides of a bump or step counts as at least this [nT].
    """

    size_nT: FloatArray
    noise_nT: float
    least_rms_nT: float


def find_bumps(piece: Piece, demand: Demand) -> Found:
    """Find isolated bumps that do not overlap; the clearest first where they would."""
    tried = [
        _passing_windows(piece, length, demand)
        for length in (piece.count(seconds) for seconds in WINDOWS_S)
        if length >= LEAST_READINGS
    ]
    if not tried:
        return _found([])
    start, stop, score, clear = (np.concatenate(column) for column in zip(*tried, strict=True))
    rows = []
    taken: BoolArray = np.zeros(piece.value.size, dtype=bool)
    for best in _clearest(start, stop, clear):
        first, last, peak = _outline(piece, int(start[best]), int(stop[best]), demand)
        first, last, peak = _outline(piece, first, last + 1, demand)  # from nearer sides
        if last - first + 1 < LEAST_READINGS or taken[first : last + 1].any():
            continue
        if _lobes(piece, first, last) > MOST_LOBES:
            continue
        alone = _isolation(piece, first, last, demand.noise_nT)
        if alone >= 1:
            taken[first : last + 1] = True
            rows.append((first, last, peak, min(float(score[best]), alone)))
    return _found(rows)


def _passing_windows(
    piece: Piece, length: int, demand: Demand
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Return start and stop of the windows that pass, how many times over, and how clearly.

    Of windows that hold the same bump, a short one with calm sides is the clearest.
    """
    side = _side_of(piece, length)
    start = np.arange(side, piece.value.size - side - length + 1, max(1, length // 6))
    least = demand.size_nT[start + length // 2]
    size, rms, apart = _windows(piece.value, start, least, length, side)
    rms = np.maximum(rms, demand.least_rms_nT)
    score = np.minimum(size / least, size / (OVER_SIDES * rms))
    good = (score >= 1) & (apart <= LEVEL_SHARE * size)
    clear = (size[good] / rms[good]) / np.sqrt(length)
    return start[good], start[good] + length, score[good], clear


def _side_of(piece: Piece, length: int) -> int:
    """Return the readings that each side of a window holds."""
    return max(length, piece.count(BUMP_SIDE_S), LEAST_SIDE)


@njit(nogil=True, cache=True)
def _windows(
    value: FloatArray, start: IntArray, least: FloatArray, length: int, side: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return for each window the peak, the rms of the sides, and how far their levels lie apart.

    Peak and rms are about the line through both sides; a window whose peak is below `least` gets
    an infinite rms.
    """
    size, rms, apart = np.empty(start.size), np.full(start.size, np.inf), np.zeros(start.size)
    middle = (length - 1) / 2
    moment = 0.0
    for k in range(side):
        moment += 2 * (middle + 1 + k) ** 2
    for i in range(start.size):
        a, b = start[i], start[i] + length
        left = right = along = 0.0
        for k in range(side):
            before, after = value[a - 1 - k], value[b + k]
            left += before
            right += after
            along += (middle + 1 + k) * (after - before)
        mean, slope = (left + right) / (2 * side), along / moment
        size[i] = _largest(value[a:b], mean - slope * middle, slope)
        if size[i] >= least[i]:
            rms[i], apart[i] = _sides(value, a, b, side, mean, slope)
    return size, rms, apart


@njit(nogil=True, cache=True)
def _largest(value: FloatArray, level: float, slope: float) -> float:
    """Return the size of the largest departure from a line."""
    worst = 0.0
    for k in range(value.size):
        worst = max(worst, abs(value[k] - level - slope * k))
    return worst


@njit(nogil=True, cache=True)
def _sides(
    value: FloatArray, a: int, b: int, side: int, mean: float, slope: float
) -> tuple[float, float]:
    """Return the rms of both sides about their line, and how far apart their near halves lie."""
    square = jump = 0.0
    for k in range(side):
        out = slope * ((b - a - 1) / 2 + 1 + k)
        before, after = value[a - 1 - k] - mean + out, value[b + k] - mean - out
        square += before * before + after * after
        if 2 * k < side:
            jump += after - before
    return np.sqrt(square / (2 * side)), abs(2 * jump / side)


def _clearest(first: IntArray, stop: IntArray, score: FloatArray) -> list[int]:
    """Return the windows with the best scores that do not overlap."""
    chosen: list[int] = []
    open_: BoolArray = np.ones(first.size, dtype=bool)
    for i in np.argsort(-score, kind="stable"):
        if open_[i]:
            chosen.append(int(i))
            open_ &= (stop <= first[i]) | (first >= stop[i])
    return chosen


def _outline(piece: Piece, start: int, stop: int, demand: Demand) -> tuple[int, int, float]:
    """Return first and last value and peak of the bump in a window."""
    side = _side_of(piece, stop - start)
    low, high = max(0, start - side), min(piece.value.size, stop + side)
    index = np.arange(low, high)
    inside: BoolArray = (index >= start) & (index < stop)
    departure = departure_from_sides(index, piece.value[low:high], inside, order=1)
    at = start - low + int(np.argmax(np.abs(departure[inside])))
    peak = float(departure[at])
    rms = float(np.sqrt(np.mean(departure[~inside] ** 2)))
    end = min(END_SHARE * abs(peak), END_DEMAND * demand.size_nT[(start + stop) // 2])
    out = np.abs(departure) > max(end, min(END_NOISE * rms, 0.4 * abs(peak)))
    lull = max(1, (stop - start) // 6)
    return low + at - _reach(out[at::-1], lull), low + at + _reach(out[at:], lull), peak


def _lobes(piece: Piece, first: int, last: int) -> int:
    """Return how many times a bump swings to the other side, and one."""
    low, high = max(0, first - LEAST_SIDE), min(piece.value.size, last + 1 + LEAST_SIDE)
    index = np.arange(low, high)
    inside: BoolArray = (index >= first) & (index <= last)
    departure = departure_from_sides(index, piece.value[low:high], inside, order=1)
    large = departure[np.abs(departure) > LOBE_SHARE * np.abs(departure).max()]
    return 1 + int(np.count_nonzero(np.diff(np.sign(large))))


def departure_from_sides(
    place: FloatArray | IntArray, value: FloatArray, inside: BoolArray, *, order: int
) -> FloatArray:
    """Return the departure from the polynomial through the values that aren't inside."""
    even: FloatArray = (place - place.mean()) / (np.ptp(place) / 2)
    value = value - value[~inside].mean()
    basis = np.vander(even, order + 1)
    fit, *_ = np.linalg.lstsq(basis[~inside], value[~inside], rcond=None)
    departure: FloatArray = value - basis @ fit
    return departure


def _isolation(piece: Piece, first: int, last: int, noise: float) -> float:
    """Return how many times over a bump stands out of the minute on each of its sides.

    The noise of the readings doesn't count against it.
    """
    side = max(piece.count(ALONE_S), LEAST_SIDE)
    low, high = max(0, first - side), min(piece.value.size, last + 1 + side)
    index = np.arange(low, high)
    inside: BoolArray = (index >= first) & (index <= last)
    departure = np.abs(departure_from_sides(index, piece.value[low:high], inside, order=2))
    peak, beside = float(departure[inside].max()), departure[~inside]
    rms = np.sqrt(max(np.mean(beside**2) - noise**2, (0.3 * noise) ** 2))
    worst = max(float(beside.max()) - 3 * noise, 0.0)
    tiny = 1e-9 * peak
    return float(min(peak / (ALONE_RMS * rms + tiny), peak / (ALONE_WORST * worst + tiny)))


def _reach(out: BoolArray, lull: int) -> int:
    """Return how far a run of True goes from the first value, over lulls up to `lull` long."""
    reach = 0
    for i in np.flatnonzero(out):
        if i - reach > lull + 1:
            break
        reach = int(i)
    return reach


def find_steps(piece: Piece, demand: Demand, *, slow: bool) -> Found:
    """Find steps of the level that stay; the clearest first where they would overlap.

    Sharp steps rise within 2 s or one interval, slow ones within 10 s.
    """
    rises = {n for n in (piece.count(s) for s in RISES_S) if _is_slow(piece, n) == slow}
    if not rises:
        return _found([])
    tried = [_passing_steps(piece, rise, demand) for rise in sorted(rises)]
    first, last, size, score, clear = (np.concatenate(part) for part in zip(*tried, strict=True))
    near = piece.count(STAY_FROM_S)  # two steps as near can't be told apart
    chosen = _clearest(first - near, last + near, clear)
    return _found([(int(first[i]), int(last[i]), float(size[i]), float(score[i])) for i in chosen])


def _is_slow(piece: Piece, rise: int) -> bool:
    """Tell whether a step that takes so many intervals is a slow one."""
    return rise > 1 and rise * piece.step_s > SLOW_S[0]


def _passing_steps(
    piece: Piece, rise: int, demand: Demand
) -> tuple[IntArray, IntArray, FloatArray, FloatArray, FloatArray]:
    """Return first and last value of the steps that pass, size, how many times over, how clearly.

    Of the rises around the same step, a short one with calm sides is the clearest.
    """
    near, stay_side = piece.count(STAY_FROM_S), max(piece.count(STAY_SIDE_S), LEAST_SIDE)
    margin = stay_side + near
    first = np.arange(margin, piece.value.size - margin - rise)
    least = demand.size_nT[first] * np.interp(rise * piece.step_s, SLOW_S, MORE)
    hopeful = np.abs(piece.value[first + rise] - piece.value[first]) >= PROMISE * least
    first, least = first[hopeful], least[hopeful]
    size, rms = _steps(piece.value, first, rise, max(piece.count(STEP_SIDE_S), LEAST_SIDE))
    stays, _ = _steps(piece.value, first - near, rise + 2 * near, stay_side)
    clear = np.abs(size) / np.maximum(rms, demand.least_rms_nT) / (1 + DEARER * rise)
    if _is_slow(piece, rise):  # the flank of a pulsation, until its crests are in the sides
        rms = np.maximum(rms, _steps(piece.value, first, rise, stay_side)[1])
    rms = np.maximum(rms, demand.least_rms_nT)
    score = np.minimum(np.abs(size) / least, np.abs(size) / (OVER_SIDES * rms))
    good = (score >= 1) & (stays * np.sign(size) >= STAY_SHARE * np.abs(size))
    return first[good], first[good] + rise, size[good], score[good], clear[good]


@njit(nogil=True, cache=True)
def _steps(
    value: FloatArray, first: IntArray, rise: int, side: int
) -> tuple[FloatArray, FloatArray]:
    """Return for each step its size, and the rms of its sides.

    The sides, which end at `first` and begin `rise` later, get two levels and one slope.
    """
    size, rms = np.empty(first.size), np.empty(first.size)
    middle, moment = (side - 1) / 2, side * (side * side - 1) / 6  # of both sides
    for i in range(first.size):
        a, b = first[i], first[i] + rise
        left = right = along = 0.0
        for k in range(side):
            before, after = value[a - k], value[b + k]
            left += before
            right += after
            along += (k - middle) * (after - before)
        left, right, slope = left / side, right / side, along / moment
        square = 0.0
        for k in range(side):
            out = slope * (k - middle)
            before, after = value[a - k] - left + out, value[b + k] - right - out
            square += before * before + after * after
        size[i] = right - left - slope * (side - 1 + rise)
        rms[i] = np.sqrt(square / (2 * side - 3))
    return size, rms


def _found(rows: list[tuple[int, int, float, float]]) -> Found:
    """Return the rows in order of time."""
    table = np.array(sorted(rows), dtype=np.float64).reshape(-1, 4)
    first, last = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    return Found(first, last, table[:, 2], table[:, 3])


def without_steps(value: FloatArray, steps: Found) -> FloatArray:
    """Return the values less the rise of each step; straight lines where they rise."""
    level = np.zeros(value.size)
    for last, size in zip(steps.last, steps.size_nT, strict=True):
        level[last:] += size
    flat = value - level
    for first, last in zip(steps.first, steps.last, strict=True):
        flat[first : last + 1] = np.linspace(flat[first], flat[last], last - first + 1)
    return flat


def without_bumps(value: FloatArray, bumps: Found) -> FloatArray:
    """Return the values with a straight line across each bump."""
    flat = value.copy()
    for first, last in zip(bumps.first, bumps.last, strict=True):
        a, b = max(first - 1, 0), min(last + 1, value.size - 1)
        flat[a : b + 1] = np.linspace(flat[a], flat[b], b - a + 1)
    return flat
