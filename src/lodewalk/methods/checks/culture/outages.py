"""Stretches in which a sensor lost the field: edges of dropouts, loss of lock, dead zones."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import median_filter
from scipy.special import bdtrc

from lodewalk.errors import InputError
from lodewalk.methods.checks.fourth_difference import (
    NORMAL_MEDIAN_SIZE,
    WHITE_NOISE_GAIN,
    fourth_difference,
)
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.checks.spikes import find_spikes
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Sound readings in a row that end the edge of a dropout.
SOUND_RUN: Final = 3

#: Readings farther out whose roughness is usual.
OUTWARD: Final = 40

#: How many times the usual roughness, and noise sd, an edge is rough.
ROUGH: Final = (6.0, 12.0)

#: Readings over which a burst of noise is judged, and the noise it shows against usual.
BURST: Final = (9, 8.0)

#: Least share of the departures of a burst that changes from reading to reading.
RESTLESS: Final = 0.28

#: How many readings of a burst are so restless: the ratio scatters by a quarter.
RESTLESS_COUNT: Final = 2

#: Share of the usual fourth difference of a burst that makes a reading part of it: two readings
#: beyond the outermost it is a sixteenth of that one.
ROUGH_SHARE: Final = 0.07

#: How many times the roughness that uneven steps make of a steep field a burst shows.
UNEVEN: Final = 2.0

#: Least jump of a level, in noise sd of a step.
LEAST_JUMP: Final = 8.0


def dropout_edges(
    value_nT: ArrayLike,
    lost: ArrayLike,
    *,
    noise_nT: ArrayLike,
    low: ArrayLike | None = None,
    reach: int = 20,
) -> BoolArray:
    """Find the bad readings beside a dropout.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field in order of time [nT].
    lost : bool array, shape (n,)
        True at the readings of a dropout.
    noise_nT : float or array, shape (n,)
        Usual noise sd [nT].
    low : bool array, shape (n,), optional
        True at readings of low signal quality. Where it is low in a dropout, it alone decides
        what its edges are.
    reach : int
        How many readings on either side are looked at (default 20).

    Returns
    -------
    bool array, shape (n,)
        True at bad readings beside a dropout; False in it.

    Raises
    ------
    InputError
        When the lengths differ or `reach` is below 1.

    Notes
    -----
    From the dropout outwards a reading is bad when its quality is low, or when it is off the line
    through the next two by over 12 noise sd and by over six times what all but one in ten of
    the next 40 readings are; three sound ones in a row end the edge. Where the field outside is
    as rough as the edge, the edge isn't told from it.

    Examples
    --------
    >>> field = np.array([5.0, 5.1, 5.0, 5.1, 90.0, -40.0, 0.0, 0.0])
    >>> dropout_edges(field, field == 0, noise_nT=0.1).nonzero()[0].tolist()
    [4, 5]
    """
    if reach < 1:
        raise InputError("reach must be at least 1 reading.", value=reach)
    value, gone = np.asarray(value_nT, float), np.asarray(lost, bool)
    check_same_length(value_nT=value, lost=gone)
    noise = np.broadcast_to(np.asarray(noise_nT, float), value.shape)
    poor = np.zeros(value.size, dtype=bool) if low is None else np.asarray(low, bool)
    check_same_length(value_nT=value, low=poor)
    edges = np.zeros(value.size, dtype=bool)
    change = np.diff(gone.astype(np.int8))
    sides = [(int(at), -1) for at in np.flatnonzero(change == 1)]
    sides += [(int(at) + 1, 1) for at in np.flatnonzero(change == -1)]
    for at, way in sides:
        rows = np.arange(at, value.size if way > 0 else -1, way)[: reach + OUTWARD]
        stop = np.flatnonzero(gone[rows])
        rows = rows[: stop[0]] if stop.size else rows
        limit = np.full(rows.size, np.inf) if poor[at - way] else noise[rows]
        edges[rows[: _edge_length(value[rows], limit, poor[rows], reach)]] = True
    return edges


def _edge_length(value: FloatArray, noise: FloatArray, poor: BoolArray, reach: int) -> int:
    """Return how many readings from the dropout outwards are its edge."""
    # Against the straight line through the next two outwards, so that the first sound one passes.
    rough = np.zeros(value.size)
    rough[:-2] = np.abs(np.diff(value, 2))
    length = 0
    for place in range(min(reach, value.size)):
        outside = rough[place + SOUND_RUN : place + SOUND_RUN + OUTWARD]
        outside = outside[outside > 0]
        usual = float(np.quantile(outside, 0.9)) if outside.size >= SOUND_RUN else 0.0
        times, sds = ROUGH
        if poor[place] or rough[place] > max(times * usual, sds * noise[place]):
            length = place + 1
        elif place - length >= SOUND_RUN:
            break
    return length


def find_bursts(
    value_nT: ArrayLike,
    *,
    noise_nT: ArrayLike,
    low: ArrayLike | None = None,
    distance_m: ArrayLike | None = None,
) -> BoolArray:
    """Find bursts of noise in which the sensor had lost lock.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field in order of time, known at each reading [nT].
    noise_nT : float or array, shape (n,)
        Usual noise sd [nT].
    low : bool array, shape (n,), optional
        True at readings of low signal quality; among them half the noise is enough.
    distance_m : array, shape (n,), optional
        Distance walked at each reading [m]; NaN where it isn't known.

    Returns
    -------
    bool array, shape (n,)
        True at the readings of a burst, from its first rough reading to its last.

    Raises
    ------
    InputError
        When the lengths differ.

    Notes
    -----
    Over nine readings the median size of the fourth difference must show eight times the usual
    noise, and at two readings of the stretch be 0.28 or more of the rms about a straight
    line: in white noise that ratio is 0.4, above a single source at 0.6 readings' distance or
    more below 0.2, however strong. Medians keep a single spike or post from being a burst. A
    burst shorter than seven readings isn't found.

    Nobody walks evenly, and over a steep field uneven steps are rough as well: the fourth
    difference must be twice that of the distance, times the slope over the nine readings.

    Examples
    --------
    >>> field = np.random.default_rng(1).normal(scale=0.1, size=100)
    >>> field[40:60] *= 300
    >>> np.flatnonzero(find_bursts(field, noise_nT=0.1))[[0, -1]].tolist()
    [40, 59]
    """
    value = np.asarray(value_nT, float)
    noise = np.maximum(np.broadcast_to(np.asarray(noise_nT, float), value.shape), 1e-6)
    poor = np.zeros(value.size, dtype=bool) if low is None else np.asarray(low, bool)
    check_same_length(value_nT=value, low=poor)
    length, times = BURST
    if value.size < length:
        return np.zeros(value.size, dtype=bool)
    size = np.nan_to_num(np.abs(fourth_difference(value)))
    shown = median_filter(size, size=length, mode="nearest")
    restless = shown >= RESTLESS * _rms_about_line(value, length)
    wild = (
        shown / (NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN) > np.where(poor, times / 2, times) * noise
    )
    if distance_m is not None:
        check_same_length(value_nT=value, distance_m=distance_m)
        wild &= shown > UNEVEN * _of_uneven_steps(value, np.asarray(distance_m, float), length)
    return _filled(wild, restless, size, noise)


def _of_uneven_steps(value: FloatArray, distance: FloatArray, length: int) -> FloatArray:
    """Return the fourth difference that uneven steps make of the slope; 0 where it isn't known."""
    uneven = median_filter(
        np.nan_to_num(np.abs(fourth_difference(distance))), size=length, mode="nearest"
    )
    reach = length // 2
    rise, way = (
        np.abs(padded[2 * reach :] - padded[: -2 * reach])
        for padded in (np.pad(one, reach, mode="edge") for one in (value, distance))
    )
    slope = np.divide(rise, way, out=np.zeros_like(rise), where=way > 0)
    return np.asarray(np.nan_to_num(uneven * slope))


def _rms_about_line(value: FloatArray, length: int) -> FloatArray:
    """Return the rms about the best straight line of the readings around each."""
    place = np.arange(length) - length // 2
    window = np.lib.stride_tricks.sliding_window_view(
        np.pad(value, length // 2, mode="edge"), length
    )
    window = window - window.mean(axis=1, keepdims=True)
    slope = window @ place / float(place @ place)
    square = (window**2).mean(axis=1) - slope**2 * float(place @ place) / length
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _filled(core: BoolArray, restless: BoolArray, size: FloatArray, noise: FloatArray) -> BoolArray:
    """Return the runs of `core` that are restless, from their first rough reading to the last."""
    marks = np.zeros(core.size, dtype=bool)
    reach = BURST[0] // 2
    edges = np.diff(np.concatenate(([False], core, [False])).astype(np.int8))
    begins, stops = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    for first, stop in zip(begins, stops, strict=True):
        low, high = max(first - reach, 0), min(stop + reach, core.size)
        level = ROUGH_SHARE * float(np.median(size[first:stop]))
        rough = size[low:high] > np.maximum(level, 3 * WHITE_NOISE_GAIN * noise[low:high])
        inside = low + np.flatnonzero(rough)
        if inside.size and restless[first:stop].sum() >= RESTLESS_COUNT:
            # A fourth difference reaches two readings beyond the rough ones.
            marks[inside[0] + 2 : inside[-1] - 1] = True
    return marks


def find_shifts(
    time_s: ArrayLike,
    value_nT: ArrayLike,
    *,
    noise_nT: ArrayLike,
    distance_m: ArrayLike | None = None,
    sensor_height_m: ArrayLike = 1.5,
    longest_s: float = 120.0,
) -> BoolArray:
    """Find stretches at another level: a jump, and the jump back.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Total field, known at each reading and free of spikes [nT].
    noise_nT : float or array, shape (n,)
        Noise sd [nT].
    distance_m, sensor_height_m : array, optional
        As for `find_spikes`.
    longest_s : float
        Longest time between jump and jump back [s] (default 120).

    Returns
    -------
    bool array, shape (n,)
        True at each reading between the two.

    Raises
    ------
    InputError
        When the lengths differ or `longest_s` isn't above zero.

    Notes
    -----
    A jump is a spike of the steps from reading to reading, and found as one by `find_spikes`
    with sqrt(2) times the noise. Two of opposite sign and of sizes within a factor of 1.6 make a
    stretch, if each is over eight sd and over three times the median size of the steps inside
    and around. A level that doesn't come back isn't judged: it may be a new place or tuning.

    Examples
    --------
    >>> field = np.random.default_rng(1).normal(scale=0.1, size=60)
    >>> field[30:36] += 12
    >>> find_shifts(np.arange(60.0), field, noise_nT=0.1).nonzero()[0].tolist()
    [30, 31, 32, 33, 34, 35]
    """
    check_positive(longest_s, name="longest_s")
    time, value = np.asarray(time_s, float), np.asarray(value_nT, float)
    check_same_length(time_s=time, value_nT=value)
    if value.size < SOUND_RUN + 2:
        return np.zeros(value.size, dtype=bool)
    noise = np.sqrt(2) * np.broadcast_to(np.asarray(noise_nT, float), value.shape)[1:]
    height = np.broadcast_to(np.asarray(sensor_height_m, float), value.shape)[1:]
    step = np.diff(value)
    marks = np.zeros(value.size, dtype=bool)
    # A step across a gap or a reading taken out is no jump.
    close = np.diff(time) <= 1.5 * nominal_interval(time)
    large = close & (np.abs(step) > LEAST_JUMP * noise)
    step = np.where(close, step, np.nan)
    if not _pairs(time, step, large, longest_s):
        return marks
    distance = None if distance_m is None else np.asarray(distance_m, float)[1:]
    jumps = find_spikes(
        step,
        time_s=time[1:],
        noise_nT=noise,
        max_width=1,
        distance_m=distance,
        sensor_height_m=height,
    )
    for one, other in _pairs(time, step, jumps & large, longest_s):
        marks[one + 1 : other + 1] = True
    return marks


def _pairs(
    time: FloatArray, step: FloatArray, large: BoolArray, longest_s: float
) -> list[tuple[int, int]]:
    """Return the jumps and jumps back among the large steps that stand out from their like."""
    size = np.nan_to_num(np.abs(step))
    stands_out = large & (size > 3 * median_filter(size, size=17, mode="nearest"))
    at = np.flatnonzero(stands_out).tolist()
    found = []
    for place, one in enumerate(at):
        for other in at[place + 1 :]:
            if time[other] - time[one + 1] > longest_s:
                break
            if size[other] > size[one] / 2:  # smaller ones between don't matter
                if _is_shift(step, one, other):
                    found.append((one, other))
                break
    return found


def _is_shift(step: FloatArray, one: int, other: int) -> bool:
    """Tell whether two jumps go away from a level and back to it."""
    there, back = float(step[one]), float(step[other])
    gap = np.isnan(step[one:other]).any()
    if gap or other - one < SOUND_RUN or there * back >= 0:
        return False
    near = np.abs(np.concatenate((step[max(one - 8, 0) : one], step[one + 1 : other])))
    near = np.concatenate((near, np.abs(step[other + 1 : other + 9])))
    ratio = abs(there / back)
    return 1 / 1.6 <= ratio <= 1.6 and min(abs(there), abs(back)) > 3 * float(np.nanmedian(near))


def _at_least(count: int, tried: int, share: float) -> float:
    """Return the binomial chance of at least so many."""
    return 1.0 if count < 1 else float(bdtrc(count - 1, tried, share))


def heading_chance(azimuth_deg: ArrayLike, low: ArrayLike, *, sector_deg: float = 90.0) -> float:
    """Return the chance that low quality keeps so much to one heading.

    Parameters
    ----------
    azimuth_deg : array, shape (n,)
        Heading at each reading [degrees]; NaN where there is none.
    low : bool array, shape (n,)
        True at readings of low quality.
    sector_deg : float
        Width of a sector of headings [degrees] (default 90).

    Returns
    -------
    float
        Chance of at least so many runs of low quality in the sector that holds most of them,
        had each run any of the headings walked; 1 where there are fewer than three runs.

    Raises
    ------
    InputError
        When the lengths differ or the sector isn't above zero.

    Notes
    -----
    Readings of a run share one heading, so runs are counted: binomial, times the number of
    sectors tried. Where one heading was walked only, nothing can be told and the chance is 1.

    Examples
    --------
    >>> azimuth = np.repeat([0.0, 180.0] * 10, 20)
    >>> low = np.zeros(400, dtype=bool)
    >>> low[5::40] = True
    >>> round(heading_chance(azimuth, low), 3)
    0.002
    """
    check_positive(sector_deg, name="sector_deg")
    azimuth, poor = np.asarray(azimuth_deg, float), np.asarray(low, bool)
    check_same_length(azimuth_deg=azimuth, low=poor)
    known = np.isfinite(azimuth)
    first = poor & ~np.concatenate(([False], poor[:-1])) & known
    runs: IntArray = np.flatnonzero(first)
    if runs.size < SOUND_RUN:
        return 1.0
    chance = 1.0
    for centre in np.arange(0.0, 360.0, sector_deg / 2):
        within = np.abs((azimuth - centre + 180) % 360 - 180) <= sector_deg / 2
        share = float(within[known].mean())
        chance = min(chance, _at_least(int(within[runs].sum()), runs.size, share))
    headings = np.unique(np.round(azimuth[known] / (sector_deg / 2)) % np.ceil(720 / sector_deg))
    return min(1.0, chance * headings.size)
