"""What a lag and a lever arm do to anomalies between passages, as rows of a linear model.

Unknowns are the shift (lag less arm ahead over the usual speed) and the two parts of the arm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.ndimage import median_filter

from lodewalk.methods.checks.clocks.zigzag import SIGNAL_SD, Series
from lodewalk.methods.checks.clocks.zigzag_fit import levers, neighbour_shares, window_shifts
from lodewalk.methods.checks.clocks.zigzag_match import match_windows
from lodewalk.methods.checks.clocks.zigzag_passages import Passages
from lodewalk.methods.checks.fourth_difference import (
    NORMAL_MEDIAN_SIZE,
    WHITE_NOISE_GAIN,
    fourth_difference,
)
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.corrections.crossings import at_positions, crossing_misfits, find_crossings
from lodewalk.methods.corrections.mixed_model import NORMAL_SCALE, MixedModel, draws, settle, solve
from lodewalk.validation import FloatArray

#: Expected error of one match, beside what its own misfit tells [m].
MATCH_SD_M: Final = 0.5

#: Expected displacement of a passage's anomalies that is none of the walk's: strikes bend [m].
BEND_SD_M: Final = 0.5

#: Windows follow at this share of their length, so neighbours share errors: each is worth half an
#: independent one (counted as one each, intervals come out short in trials).
WINDOW_SHARE: Final = 0.25
WINDOW_WORTH: Final = 0.5

#: Of more lines than this, those neighbours are used that tell most: time grows as their cube.
MOST_LINES: Final = 50

#: The field's slope along a passage is taken from so far before to so far after [m].
SLOPE_M: Final = 3.0

#: Crossings at a smaller angle tell no slope across [degrees].
LEAST_ANGLE_DEG: Final = 30.0

#: Expected level of a crossing's misfit that is none of the walk's: diurnal, heading [nT].
CROSSING_SD_NT: Final = 0.5


@dataclass(frozen=True)
class Rows:
    """Values of one kind: `x` (n, 3) is for shift, arm ahead and arm to the right.

    `levels` holds (expected variance, matrix) for each kind of level; each value is `worth` so much
    of an independent one.
    """

    value: FloatArray
    sd: FloatArray
    x: FloatArray
    levels: tuple[tuple[float, sparse.csr_array], ...] = ()
    worth: float = 1.0


@dataclass(frozen=True)
class Shift:
    """Shift [s], arm ahead and to the right [m], and their covariance; how many passages told."""

    value: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Walk:
    """Readings on passages in order of time, placed where the shift found so far puts them."""

    time_s: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    field_nT: FloatArray
    passage: IntArray


def passage_series(time_s: FloatArray, field_nT: FloatArray, passage: IntArray) -> Series | None:
    """Return the field less the median of its passage, large values drawn in; None for no field.

    As `drawn_in` of the zigzag, which takes a running mean off for the daily variation: that mean
    leans where anomalies of the lines before and after are unevenly far off, and moves the peaks.
    """
    known = np.flatnonzero(np.isfinite(time_s + field_nT))
    time, rows = np.unique(time_s[known], return_index=True)
    rows = known[rows]
    if time.size < 5:
        return None
    left = field_nT[rows]
    for name in np.unique(passage[rows]):
        own = passage[rows] == name
        left[own] -= np.median(left[own])
    scale = 2 * NORMAL_SCALE * float(np.median(np.abs(left)))
    if not scale > 0:
        return None
    value = np.arcsinh(left / scale)
    change = np.abs(fourth_difference(value, time_s=time))
    change = change[np.isfinite(change)]
    noise = float(np.median(change)) if change.size else 0.0
    noise /= NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN
    value = median_filter(value, size=3, mode="nearest")  # for lone spikes
    return Series(time, value, 5 * max(float(np.median(np.diff(time))), 1.0), noise)


def window_rows(
    series: Series,
    passages: Passages,
    *,
    offset_s: float,
    window_m: float,
    position_sd_m: float,
    usual_speed: float,
) -> Rows | None:
    """Return how far each window appears displaced against its neighbours; None with too few."""
    matches = match_windows(
        series.at(passages.time_s + offset_s),
        passages,
        window_m=window_m,
        every_m=WINDOW_SHARE * window_m,
    )
    least = (SIGNAL_SD * series.noise) ** 2 * window_m / passages.step_m
    shift, variance = window_shifts(matches, passages, least_energy=least)
    told = np.isfinite(levers(passages))[:, None] & np.isfinite(shift + variance)
    speed = _window_speeds(passages, window_m, shift.shape[1])
    shares, beside = neighbour_shares(passages), passages.beside
    lever = np.einsum("ij,ijw->iw", shares, speed[beside]) - speed
    told &= _telling(np.where(told, lever**2 / (variance + MATCH_SD_M**2), 0.0))[:, None]
    sense = np.sign(passages.velocity_m_s)
    turned = np.sum(shares * sense[beside], axis=1) - sense
    line, window = np.nonzero(told & np.isfinite(lever))
    if np.unique(line).size < 4:
        return None
    arm = lever[line, window] / usual_speed - turned[line]
    row, count = np.arange(line.size), len(passages)
    own = sparse.csr_array((np.ones(line.size), (row, line)), shape=(line.size, count))
    places = np.concatenate([line, beside[line, 0], beside[line, 1]])
    effect = np.concatenate([-np.ones(line.size), shares[line, 0], shares[line, 1]])
    moved = sparse.csr_array((effect, (np.tile(row, 3), places)), shape=(line.size, count))
    return Rows(
        value=shift[line, window],
        sd=np.sqrt(variance[line, window] + MATCH_SD_M**2),
        x=np.column_stack([lever[line, window], arm, 0.0 * arm]),
        levels=((position_sd_m**2, moved), (BEND_SD_M**2, own)),
        worth=WINDOW_WORTH,
    )


def _telling(share: FloatArray) -> BoolArray:
    """Return which lines are used, by what each window tells; lines are in order across."""
    count = share.shape[0]
    if count <= MOST_LINES:
        return np.ones(count, dtype=bool)
    total = np.concatenate([[0.0], np.cumsum(np.nansum(share, axis=1))])
    first = int(np.argmax(total[MOST_LINES:] - total[:-MOST_LINES]))
    place = np.arange(count)
    return (place >= first) & (place < first + MOST_LINES)


def _window_speeds(passages: Passages, window_m: float, windows: int) -> FloatArray:
    """Return the usual speed in each window, with its sign [m/s]; `match_windows` cuts alike."""
    width = max(round(window_m / passages.step_m), 5)
    every = max(round(WINDOW_SHARE * window_m / passages.step_m), 1)
    pace = np.diff(passages.time_s, axis=1)
    slow = [np.median(pace[:, k * every : k * every + width - 1], axis=1) for k in range(windows)]
    found = np.array(slow).T if windows else np.empty((len(passages), 0))
    return np.asarray(passages.step_m / np.where(found == 0, np.nan, found))


def crossing_rows(walk: Walk, *, position_sd_m: float, usual_speed: float) -> Rows | None:
    """Return the misfit of readings at crossings, by the field's slope there; None without any."""
    if walk.time_s.size < 3:
        return None
    step = float(np.median(np.hypot(np.diff(walk.easting_m), np.diff(walk.northing_m))))
    at = find_crossings(
        walk.passage, walk.easting_m, walk.northing_m, max_gap_m=max(5.0 * step, 5.0)
    )
    wide = at.angle_deg >= LEAST_ANGLE_DEG
    if not np.any(wide):
        return None
    way, speed, slope = along_passages(walk, max(round(SLOPE_M / max(step, 0.1)), 1))
    ends = (at.first, at.second)
    ways = np.stack([[at_positions(end, part) for part in way] for end in ends])
    slopes = np.stack([at_positions(end, slope) for end in ends])
    speeds = np.stack([at_positions(end, speed) for end in ends])
    # Slope of the field from its parts along the two passages.
    det = ways[0, 0] * ways[1, 1] - ways[0, 1] * ways[1, 0]
    east = (slopes[0] * ways[1, 1] - slopes[1] * ways[0, 1]) / det
    north = (slopes[1] * ways[0, 0] - slopes[0] * ways[1, 0]) / det
    late = -(speeds[0] * slopes[0] - speeds[1] * slopes[1])
    ahead = slopes[0] - slopes[1] + late / usual_speed
    aside = east * (ways[0, 1] - ways[1, 1]) - north * (ways[0, 0] - ways[1, 0])
    value = crossing_misfits(at, walk.field_nT)
    sd = np.hypot(CROSSING_SD_NT, np.sqrt(2) * position_sd_m * np.hypot(east, north))
    kept = wide & np.isfinite(value + sd + late + ahead + aside)
    if not np.any(kept):
        return None
    return Rows(value[kept], sd[kept], np.column_stack([late, ahead, aside])[kept])


def along_passages(walk: Walk, reach: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return direction (2, n), speed and the field's slope along each passage; NaN at its ends."""
    count = walk.time_s.size
    way, speed, slope = np.full((2, count), np.nan), np.full(count, np.nan), np.full(count, np.nan)
    if count <= 2 * reach:
        return way, speed, slope
    before, after = slice(0, count - 2 * reach), slice(2 * reach, count)
    middle = slice(reach, count - reach)
    east = walk.easting_m[after] - walk.easting_m[before]
    north = walk.northing_m[after] - walk.northing_m[before]
    length = np.hypot(east, north)
    length[(walk.passage[after] != walk.passage[before]) | (length == 0)] = np.nan
    way[:, middle] = np.stack([east, north]) / length
    speed[middle] = length / (walk.time_s[after] - walk.time_s[before])
    slope[middle] = (walk.field_nT[after] - walk.field_nT[before]) / length
    return way, speed, slope


def fit_shift(parts: Sequence[Rows], arms: Sequence[float | None], arm_sd_m: float) -> Shift:
    """Fit the shift and the arms that aren't given, which are expected to be `arm_sd_m` long."""
    x = np.concatenate([part.x for part in parts])
    value = np.concatenate([part.value for part in parts])
    free = [k for k, arm in enumerate(arms) if arm is None]
    for k, arm in enumerate(arms):
        value = value - x[:, k + 1] * (arm or 0.0)
    levels = [(arm_sd_m**2, sparse.csr_array(x[:, [k + 1]])) for k in free]
    levels += [
        (expected, _in_place(matrix, parts, n))
        for n, part in enumerate(parts)
        for expected, matrix in part.levels
    ]
    matrices = [_used(matrix) for _, matrix in levels]
    model = MixedModel(
        value=value,
        sd=np.concatenate([part.sd for part in parts]),
        kind=np.repeat(np.arange(len(parts)), [part.value.size for part in parts]),
        x=x[:, :1],
        z=sparse.csr_array(sparse.hstack([sparse.csr_array((value.size, 0)), *matrices])),
        level_kind=np.repeat(np.arange(len(levels)), [one.shape[1] for one in matrices]),
        expected=np.array([expected for expected, _ in levels]),
        worth=np.concatenate([np.full(part.value.size, part.worth) for part in parts]),
    )
    return _averaged(model, free, [arm or 0.0 for arm in arms])


def _averaged(model: MixedModel, free: list[int], arms: list[float]) -> Shift:
    """Return the fit averaged over the likely sizes of the errors."""
    space = np.eye(1)
    sizes, freedom, products = settle(model, space)
    found = [solve(model, products, one, space) for one in draws(sizes, freedom)]
    wanted = 1 + len(free)
    values = np.array([one.value[:wanted] for one in found])
    covariance = np.mean([one.covariance[:wanted, :wanted] for one in found], axis=0)
    covariance = covariance + np.cov(values.T, bias=True).reshape(wanted, wanted)
    value, full = np.array([0.0, *arms]), np.zeros((3, 3))
    rows = np.array([0, *(k + 1 for k in free)])
    value[rows] = values.mean(axis=0)
    full[np.ix_(rows, rows)] = covariance
    return Shift(value, full)


def _in_place(matrix: sparse.csr_array, parts: Sequence[Rows], own: int) -> sparse.csr_array:
    """Return a part's matrix among the rows of all parts."""
    blank = [sparse.csr_array((part.value.size, matrix.shape[1])) for part in parts]
    blank[own] = matrix
    return sparse.csr_array(sparse.vstack(blank))


def _used(matrix: sparse.csr_array) -> sparse.csr_array:
    """Return the columns that any row has, at least one."""
    used = np.unique(matrix.nonzero()[1])
    return sparse.csr_array(matrix[:, used if used.size else [0]])
