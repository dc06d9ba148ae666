"""Spikes and dropouts of a total-field record walked over real anomalies."""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import maximum_filter1d

from lodewalk.errors import InputError
from lodewalk.methods.checks.fourth_difference import fourth_difference, noise_sd, running_noise
from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.methods.checks.spans import BoolArray, IntArray, piece_bounds
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: How many times the step on its shoulders a real peak of one and of two readings may stand out.
#: A dipole 1.5 readings below the sensor has 2.0 and 5.8 right above it; the rest is margin.
SHOULDER_FACTOR: Final = {1: 4.0, 2: 10.0}

#: A step on the shoulder below this many noise sd is taken for noise.
SHOULDER_NOISE: Final = 3.5

#: Sd of the departure from the neighbours, in noise sd: sqrt(1 + (4^2 + 4^2 + 1 + 1) / 6^2).
DEPARTURE_GAIN: Final = 1.4


def find_spikes(
    value_nT: ArrayLike,
    *,
    time_s: ArrayLike | None = None,
    noise_nT: ArrayLike | None = None,
    k_sd: float = 3.6,
    floor_nT: float = 0.3,
    max_width: int = 2,
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
    Each block of one or two readings is predicted from the two readings on either side, by the
    cubic and by the straight line through them; the smaller departure counts. Departure D makes a
    spike when ``D > max(k_sd 1.4 s, floor) + f max(0, step - 3.5 s)``: s the noise and step the
    larger step between the two readings on one side, less the trend over the four. The field of
    a source at a distance falls off over its shoulders; a spike has none. The strongest spike of
    a neighbourhood is taken first and the rest judged again without it.

    Valid for readings no farther apart than the sensor is from the nearest source: at 1 m, for
    sensors 1.5 m and more above ground. A nail on the ground under a sensor at 1 m is taken for
    a spike. The first and last two readings of a piece aren't judged. No published threshold
    for ground surveys was found; the settings come from trials.

    Examples
    --------
    >>> record = [50.0, 50.1, 50.0, 58.0, 50.1, 50.0, 50.2]
    >>> find_spikes(record, noise_nT=0.1).nonzero()[0].tolist()
    [3]
    """
    check_positive(k_sd, name="k_sd")
    check_positive(floor_nT, name="floor_nT")
    if max_width not in SHOULDER_FACTOR:
        raise InputError("max_width must be 1 or 2 readings.", value=max_width)
    value = np.asarray(value_nT, dtype=np.float64)
    time = np.arange(value.size, dtype=np.float64) if time_s is None else np.asarray(time_s)
    check_same_length(value_nT=value, time_s=time)
    noise = _noise(value, time, noise_nT)
    floor = np.maximum(k_sd * DEPARTURE_GAIN * noise, max(floor_nT, 2 * value_resolution(value)))
    spikes = np.zeros(value.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(value))
    bounds = piece_bounds(time[known], max_gap_s=3 * nominal_interval(time[known]))
    for start, stop in pairwise(bounds):
        piece = known[start:stop]
        spikes[piece] = _spikes_of_piece(value[piece], noise[piece], floor[piece], max_width)
    return spikes


def _noise(value: FloatArray, time: FloatArray, given: ArrayLike | None) -> FloatArray:
    """Return the noise at each reading, the given one or that of the fourth difference."""
    if given is not None:
        return np.broadcast_to(np.asarray(given, dtype=np.float64), value.shape)
    fourth = fourth_difference(value, time_s=time)
    noise = running_noise(fourth, window=401)
    overall = np.nan_to_num(noise_sd(fourth))
    return np.where(np.isfinite(noise), noise, overall)


def _spikes_of_piece(
    value: FloatArray, noise: FloatArray, floor: FloatArray, max_width: int
) -> BoolArray:
    """Mark the spikes of an unbroken piece, the strongest first."""
    spikes = np.zeros(value.size, dtype=bool)
    for _ in range(3):
        rest = np.flatnonzero(~spikes)
        scores = [
            _scores(value[rest], noise[rest], floor[rest], width)
            for width in range(1, max_width + 1)
        ]
        found = _strongest(np.stack(scores))
        if not found.any():
            break
        spikes[rest[found]] = True
    return spikes


def _strongest(scores: FloatArray) -> BoolArray:
    """Mark the blocks whose score is above 1 and the highest within three readings."""
    best, width = scores.max(axis=0), scores.argmax(axis=0) + 1
    found = np.zeros(best.size, dtype=bool)
    if best.size:
        top = np.flatnonzero((best > 1) & (best == maximum_filter1d(best, 7)))
        found[top] = True
        found[top[width[top] == 2] + 1] = True
    return found


def _scores(value: FloatArray, noise: FloatArray, floor: FloatArray, width: int) -> FloatArray:
    """Return departure over threshold of the block of `width` readings that begins at each."""
    score = np.zeros(value.size)
    first: IntArray = np.arange(2, value.size - width - 1)
    if not first.size:
        return score
    around = value[first[:, np.newaxis] + np.array([-2, -1, width, width + 1])]
    a, b, c, d = around.T
    trend = (d - a) / (width + 3)
    step = np.maximum(np.abs(b - a - trend), np.abs(d - c - trend))
    shoulder = np.maximum(0, step - SHOULDER_NOISE * noise[first])
    departure = np.full(first.size, np.inf)
    for place in range(width):
        cubic = value[first + place] - around @ _cubic_weights(width, place)
        straight = value[first + place] - (b + (c - b) * (place + 1) / (width + 1))
        smaller = np.minimum(np.abs(cubic), np.abs(straight))
        departure = np.minimum(departure, np.where(cubic * straight > 0, smaller, 0))
    score[first] = departure / (floor[first] + SHOULDER_FACTOR[width] * shoulder)
    return score


def _cubic_weights(width: int, place: int) -> FloatArray:
    """Return the Lagrange weights of the two readings on either side at `place` in the block."""
    nodes = np.array([-2.0, -1.0, width, width + 1.0])
    weights: FloatArray = np.linalg.solve(np.vander(nodes).T, np.vander([float(place)], 4)[0])
    return weights


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
