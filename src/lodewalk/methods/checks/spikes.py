"""Spikes and dropouts of a total-field record walked over real anomalies."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import maximum_filter1d
from scipy.special import log_ndtr

from lodewalk.errors import InputError
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd, running_noise
from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.methods.checks.spans import BoolArray, IntArray, piece_bounds
from lodewalk.methods.checks.spike_models import (
    BlockPredictor,
    SingleDipoles,
    block_predictor,
    log_evidence,
    single_dipoles,
    spacing_class,
)
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Longest spike in readings.
LONGEST: Final = 2

#: Readings on either side from which a block is predicted.
SIDE: Final = 4

#: Share of sound readings that may depart so far from their prediction; see `find_spikes`.
CHANCE: Final = 0.005

#: Log of the ratio of the largest spike to the least, whose sizes are alike on a log scale.
SPIKE_RANGE: Final = float(np.log(1e4))

#: Distance between readings over sensor height where no positions are given: 1 m at 1.5 m.
USUAL_SPACING: Final = 2.0 / 3.0

#: Sd of the departure from the neighbours, in noise sd.
DEPARTURE_GAIN: Final = 1.4


def find_spikes(
    value_nT: ArrayLike,
    *,
    time_s: ArrayLike | None = None,
    noise_nT: ArrayLike | None = None,
    k_sd: float = 3.6,
    floor_nT: float = 0.3,
    max_width: int = 2,
    distance_m: ArrayLike | None = None,
    sensor_height_m: ArrayLike = 1.5,
    least_depth: float = 0.6,
) -> BoolArray:
    """Find isolated spikes without cutting steep real anomalies.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field in order of time [nT]; missing readings (NaN) are stepped over.
    time_s : array, shape (n,), optional
        Time of each reading [s]; an interval above three usual ones parts the record.
    noise_nT : float or array, shape (n,), optional
        Noise sd [nT]; by default the running noise of the fourth difference.
    k_sd : float
        A spike departs by more than this many sd of the departure (default 3.6).
    floor_nT : float
        A spike also departs by more than this, and by more than two steps of the instrument's
        resolution [nT] (default 0.3).
    max_width : int
        Longest spike in readings, 1 or 2 (default 2).
    distance_m : array, shape (n,), optional
        Distance walked up to each reading [m]; without it the readings count as two thirds of
        the sensor height apart.
    sensor_height_m : float or array, shape (n,)
        Height of the sensor above ground [m] (default 1.5); used only with `distance_m`.
    least_depth : float
        Depth below the sensor of the shallowest source that is no spike, in sensor heights
        (default 0.6, which leaves iron on the ground or a little above alone too; 1: ground).

    Returns
    -------
    bool array, shape (n,)
        True at each reading of a spike.

    Raises
    ------
    InputError
        When the lengths differ or a setting is out of range.

    Notes
    -----
    Each block of one or two readings is predicted from the four readings on either side. No
    source lies shallower than the ground, so the field is that of a layer of random dipoles at a
    depth ``z`` of 1, 1.4, 2 or 3 sensor heights below the sensor, of unknown strength: at the
    distance ``x`` its covariance is ``a^2 (1 - 1.5 q) / (1 + q)^3.5`` with ``q = (x / 2z)^2``
    (the Hankel transform of ``k^2 exp(-2 k z)``), beside noise and an unknown straight line. Each
    depth and strength predicts the block with an sd of its own (kriging), and counts as far as
    it explains the readings on either side. A block is a spike when each of its readings departs
    by more than ``max(1.4 k_sd s, floor)``, s the noise; when chance lets sound readings depart
    so far in fewer than five of a thousand such blocks; and when a spike explains all readings
    better than a single dipole at `least_depth` or below, anywhere near, of any direction, with the
    covariance ``a^2 (3 (u.u')^2 - 1) / 2 (z^2 / r r')^3`` (a moment of random direction in a
    field of random direction); each both as if the steps were even and with the readings moved
    to even steps along the slope of a cubic through those around. The strongest spike of a
    neighbourhood is taken first and the rest judged again without it.

    In a smooth field, however steep, the prediction is as good as the noise allows; over sources
    as shallow as the ground a spike below the field's own change from reading to reading can't
    be told from a source, and isn't found. A dipole at the very ground under the path, sampled
    at two thirds of the sensor height, loses a reading in one of 25 cases (one whose peak is 20
    times the noise in one of six); centred 0.1 to 0.5 sensor heights below ground, in one of 80
    (one of 40). Readings farther apart than the sensor is from the
    ground don't predict each other, and there only spikes far above the field around are found.
    A nail on the way, nearer to the sensor than the ground, is taken for a spike. The first and
    last two readings of a piece aren't judged. No published threshold for ground surveys was
    found; the settings come from trials.

    Examples
    --------
    >>> record = [50.0, 50.1, 50.0, 58.0, 50.1, 50.0, 50.2]
    >>> find_spikes(record, noise_nT=0.1).nonzero()[0].tolist()
    [3]
    """
    check_positive(k_sd, name="k_sd")
    check_positive(floor_nT, name="floor_nT")
    check_positive(least_depth, name="least_depth")
    if max_width not in (1, LONGEST):
        raise InputError("max_width must be 1 or 2 readings.", value=max_width)
    value = np.asarray(value_nT, dtype=np.float64)
    time = np.arange(value.size, dtype=np.float64) if time_s is None else np.asarray(time_s)
    check_same_length(value_nT=value, time_s=time)
    noise = _noise(value, time, noise_nT)
    walk = _Walk(
        value,
        np.maximum(noise, 1e-9),
        np.maximum(k_sd * DEPARTURE_GAIN * noise, max(floor_nT, 2 * value_resolution(value))),
        _in_heights(value, distance_m, sensor_height_m),
    )
    spikes = np.zeros(value.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(value))
    bounds = piece_bounds(time[known], max_gap_s=3 * nominal_interval(time[known]))
    for start, stop in pairwise(bounds):
        piece = known[start:stop]
        spikes[piece] = _spikes_of_piece(walk.at(piece), max_width, least_depth)
    return spikes


@dataclass(frozen=True)
class _Walk:
    """Readings in order: field, noise and least spike [nT], distance in sensor heights."""

    value: FloatArray
    noise: FloatArray
    floor: FloatArray
    distance: FloatArray

    def at(self, rows: IntArray) -> "_Walk":
        """Return some of the readings."""
        return _Walk(self.value[rows], self.noise[rows], self.floor[rows], self.distance[rows])


def _in_heights(value: FloatArray, distance_m: ArrayLike | None, height_m: ArrayLike) -> FloatArray:
    """Return the distance walked in sensor heights."""
    if distance_m is None:
        return np.asarray(USUAL_SPACING * np.arange(value.size), dtype=np.float64)
    distance = np.asarray(distance_m, dtype=np.float64)
    check_same_length(value_nT=value, distance_m=distance)
    height = np.broadcast_to(np.asarray(height_m, dtype=np.float64), value.shape)
    if (height <= 0).any():
        raise InputError("sensor_height_m must be above zero.", value=float(np.nanmin(height)))
    usual = USUAL_SPACING * height
    # Where a place or a height is missing, the usual spacing stands in.
    step = np.abs(np.diff(distance, prepend=distance[:1]))
    step = np.nan_to_num(np.where(np.isfinite(step), step, usual) / height)
    return np.asarray(np.cumsum(step), dtype=np.float64)


def _noise(value: FloatArray, time: FloatArray, given: ArrayLike | None) -> FloatArray:
    """Return the noise at each reading, the given one or that of the fourth difference."""
    if given is not None:
        return np.broadcast_to(np.asarray(given, dtype=np.float64), value.shape)
    fourth = fourth_difference(value, time_s=time)
    noise = running_noise(fourth, window=401)
    overall = np.nan_to_num(noise_sd(fourth))
    return np.where(np.isfinite(noise), noise, overall)


def _spikes_of_piece(walk: _Walk, max_width: int, least_depth: float) -> BoolArray:
    """Mark the spikes of an unbroken piece, the strongest first."""
    spikes = np.zeros(walk.value.size, dtype=bool)
    for _ in range(3):
        widths = range(1, max_width + 1)
        parts = [_scores(walk, spikes, width, least_depth) for width in widths]
        found, width = _strongest(np.stack([score for score, _ in parts]))
        if not found.size:
            break
        value = walk.value.copy()
        for count, (_, predicted) in zip(widths, parts, strict=True):
            for place in range(count):
                rows = found[width == count]
                value[rows + place] = predicted[rows, place]
                spikes[rows + place] = True
        # The prediction stands in for a spike, so that the readings stay evenly spaced.
        walk = replace(walk, value=value)
    return spikes


def _strongest(scores: FloatArray) -> tuple[IntArray, IntArray]:
    """Return where blocks begin whose score is above 1 and the highest near, and their width."""
    best, width = scores.max(axis=0, initial=0.0), scores.argmax(axis=0) + 1
    if not best.size:
        return width, width
    top = np.flatnonzero((best > 1) & (best == maximum_filter1d(best, 7)))
    return top, width[top]


def _scores(
    walk: _Walk, spikes: BoolArray, width: int, least_depth: float
) -> tuple[FloatArray, FloatArray]:
    """Return score and prediction of the block of `width` readings that begins at each."""
    size = walk.value.size
    score, predicted = np.zeros(size), np.zeros((size, width))
    first = _candidates(walk, width)
    for place in range(width):
        first = first[~spikes[first + place]]
    before, after = np.minimum(first, SIDE), np.minimum(size - width - first, SIDE)
    last = first + width - 1 + after
    spacing = (walk.distance[last] - walk.distance[first - before]) / (last - first + before)
    kinds = np.stack((before, after, spacing_class(spacing)), axis=1)
    for kind in np.unique(kinds, axis=0):
        rows = first[(kinds == kind).all(axis=1)]
        shape = (width, *(int(part) for part in kind))
        models = block_predictor(*shape), single_dipoles(*shape, least_depth)
        judged = _judge(walk, rows, *models, uneven=False)
        score[rows], predicted[rows] = judged
        # Uneven steps in a steep field look like spikes, but so do errors of the places.
        likely = rows[score[rows] > 1]
        score[likely] = np.minimum(score[likely], _judge(walk, likely, *models, uneven=True)[0])
    return score, predicted


def _candidates(walk: _Walk, width: int) -> IntArray:
    """Return where a block departs from the straight line or the cubic by more than the floor."""
    first: IntArray = np.arange(2, walk.value.size - width - 1)
    around = walk.value[first[:, np.newaxis] + np.array([-2, -1, width, width + 1])]
    departs = np.ones(first.size, dtype=bool)
    for place in range(width):
        value = walk.value[first + place]
        share = (place + 1) / (width + 1)
        cubic = np.abs(value - around @ _cubic_weights(width, place))
        straight = np.abs(value - around[:, 1:3] @ np.array([1 - share, share]))
        departs &= np.maximum(cubic, straight) > walk.floor[first]
    return first[departs]


def _cubic_weights(width: int, place: int) -> FloatArray:
    """Return the Lagrange weights of the two readings on either side at `place` in the block."""
    nodes = np.array([-2.0, -1.0, width, width + 1.0])
    weights: FloatArray = np.linalg.solve(np.vander(nodes).T, np.vander([float(place)], 4)[0])
    return weights


def _judge(
    walk: _Walk,
    first: IntArray,
    predictor: BlockPredictor,
    dipoles: SingleDipoles,
    *,
    uneven: bool,
) -> tuple[FloatArray, FloatArray]:
    """Return score and predicted readings of the blocks that begin at `first`."""
    noise = walk.noise[first][:, np.newaxis]
    window = walk.value[first[:, np.newaxis] + dipoles.offsets]
    outside = np.isin(dipoles.offsets, predictor.around)
    level = np.median(window[:, outside], axis=1, keepdims=True)
    window = (window - level) / noise
    if uneven:
        window = window - _by_uneven_steps(walk, first, dipoles.offsets, window[:, outside])
    around, block = window[:, outside], window[:, ~outside]
    evidence = log_evidence(around, predictor.whiten, predictor.log_scale)
    belief = evidence - np.logaddexp.reduce(evidence, axis=0)
    off = block - around @ predictor.weights
    tail = np.log(2) + log_ndtr(-np.abs(off) / predictor.sd)
    chance = np.logaddexp.reduce(belief[:, :, np.newaxis] + tail, axis=0)
    departure = (np.exp(belief)[:, :, np.newaxis] * off).sum(axis=0) * noise
    floor = walk.floor[first][:, np.newaxis]
    score = np.minimum(chance / np.log(CHANCE), np.abs(departure) / floor).min(axis=1)
    likely = np.flatnonzero(score > 1)
    single = log_evidence(window[likely], dipoles.whiten, dipoles.log_scale)
    size = np.log(2 * SPIKE_RANGE * np.maximum(np.abs(off[:, likely]), 3.0)).sum(axis=2)
    spike = evidence[:, likely] - size - np.log(len(evidence))
    odds = np.logaddexp.reduce(spike, axis=0) - np.logaddexp.reduce(single, axis=0)
    score[likely[odds < dipoles.least_odds]] = 0.0
    return score, block * noise + level - departure


def _by_uneven_steps(
    walk: _Walk, first: IntArray, offsets: IntArray, around: FloatArray
) -> FloatArray:
    """Return what the readings around differ for not standing at even steps."""
    width = offsets.size - around.shape[1]
    outside = (offsets < 0) | (offsets >= width)
    powers = np.arange(min(4, around.shape[1]))
    fit = np.linalg.pinv(offsets[outside, np.newaxis] ** powers)
    slope = (offsets[:, np.newaxis] ** np.maximum(powers - 1, 0) * powers) @ fit
    place = walk.distance[first[:, np.newaxis] + offsets]
    step = (place[:, -1:] - place[:, :1]) / (offsets[-1] - offsets[0])
    off = (place - place[:, :1]) / np.maximum(step, 1e-9) - (offsets - offsets[0])
    return np.asarray(np.clip(off, -1, 1) * (around @ slope.T))


def find_out_of_range(
    value_nT: ArrayLike, *, low_nT: float = 15_000.0, high_nT: float = 75_000.0
) -> BoolArray:
    """Find readings that can't be the Earth's field.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field [nT].
    low_nT, high_nT : float
        Limits [nT]; the main field runs from about 22 000 to 67 000 nT, and the default leaves
        room for strong anomalies (common practice).

    Returns
    -------
    bool array, shape (n,)
        True outside the limits, zeros and infinities among them; False where missing.

    Examples
    --------
    >>> find_out_of_range([0.0, 48_000.0, 99_999.0, float("nan")]).tolist()
    [True, False, True, False]
    """
    value = np.asarray(value_nT, dtype=np.float64)
    return (value < low_nT) | (value > high_nT)


def find_stuck(value_nT: ArrayLike, *, min_run: int = 10) -> BoolArray:
    """Find runs of one repeated value that chance doesn't explain.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field of a rover on the move [nT].
    min_run : int
        Shortest run in readings (default 10).

    Returns
    -------
    bool array, shape (n,)
        True at each reading of such a run.

    Raises
    ------
    InputError
        When `min_run` is below 5.

    Notes
    -----
    Runs of one value end at a steady rate, so their lengths beyond 3 fall off as p^r; p comes
    from the runs shorter than `min_run`. Where a coarse resolution lets more than one run in a
    thousand records reach `min_run` by chance, the needed length grows until it doesn't.

    Examples
    --------
    >>> find_stuck([1.0, 2.0, 3.0, 3.0, 3.0, 3.0, 3.0, 4.0], min_run=5).nonzero()[0].tolist()
    [2, 3, 4, 5, 6]
    """
    if min_run < 5:
        raise InputError("min_run must be at least 5 readings.", value=min_run)
    value = np.asarray(value_nT, dtype=np.float64)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(value) != 0))[: value.size])
    lengths = np.diff(np.concatenate((starts, [value.size])))
    return np.repeat(lengths >= _run_beyond_chance(lengths, min_run), lengths)


def _run_beyond_chance(lengths: IntArray, min_run: int) -> float:
    """Return the run length that chance reaches in fewer than one record in a thousand."""
    short = lengths[(lengths >= 3) & (lengths < min_run)]
    if not short.size:
        return min_run
    seen = float(np.mean(short > 3))
    share = seen
    for _ in range(50):  # undo the cut at min_run: seen = (p - p^m) / (1 - p^m), m = min_run - 3
        share = seen + (1 - seen) * share ** (min_run - 3)
    if share == 0:
        return min_run
    return max(min_run, 3 + float(np.log(1e-3 / np.sum(lengths >= 3)) / np.log(share)))


def find_dropouts(
    value_nT: ArrayLike,
    *,
    low_nT: float = 15_000.0,
    high_nT: float = 75_000.0,
    min_run: int = 10,
) -> BoolArray:
    """Find readings at which the sensor gave no field: out of range or stuck.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field of a rover on the move [nT].
    low_nT, high_nT : float
        Limits of a possible field [nT]; see `find_out_of_range`.
    min_run : int
        Shortest run of one value in readings; see `find_stuck`.

    Returns
    -------
    bool array, shape (n,)
        True at each dropout.

    Examples
    --------
    >>> find_dropouts([48_000.0, 0.0, 48_001.0]).tolist()
    [False, True, False]
    """
    outside = find_out_of_range(value_nT, low_nT=low_nT, high_nT=high_nT)
    return outside | find_stuck(value_nT, min_run=min_run)
