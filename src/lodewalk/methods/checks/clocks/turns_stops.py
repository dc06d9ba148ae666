"""The clock of a rover against the clock of its track, by stands at which the field is constant."""

from typing import Final

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import fftconvolve

from lodewalk.methods.checks.clocks.evidence import NOTHING, ClockEvidence
from lodewalk.methods.checks.clocks.zigzag_passages import Track
from lodewalk.methods.checks.spans import BoolArray, Spans, marked_spans
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

#: Slower than this is standing [m/s].
STANDING_M_S: Final = 0.3

#: Speed is taken over this, and a stand lasts at least this [s].
SPEED_S: Final = 8

#: Changes of the field are looked at over so many seconds.
ACTIVITY_S: Final = 5

#: Calm is measured against the mean over so many seconds around.
AROUND_S: Final = 91

#: Fewest stands to rest on.
FEWEST_STOPS: Final = 6

#: The best offset must stand out so many sd over all offsets, and so many times the second best.
LEAST_CONTRAST: Final = 5.5
LEAST_LEAD: Final = 1.35

#: Two offsets nearer than this are the same answer [s].
APART_S: Final = 60

#: Error common to all stands, from fixes some seconds apart [s] (from trials).
COMMON_S: Final = 0.5


def stops_offset(
    time_s: FloatArray,
    field_nT: FloatArray,
    track: Track,
    *,
    max_offset_s: float,
    max_gap_s: float,
) -> ClockEvidence:
    """Return the offset at which the field is calmest while the track stands.

    Parameters
    ----------
    time_s, field_nT : array, shape (n,)
        Times by the rover's clock [s] and total field [nT], in any order; NaN where missing.
    track : Track
        The track by its own clock.
    max_offset_s : float
        Offsets from minus to plus this are tried [s].
    max_gap_s : float
        Nothing is known of the speed in longer intervals between fixes [s].

    Returns
    -------
    ClockEvidence
        Rover minus track [s]; the sd by leaving out one stand at a time.

    Notes
    -----
    The score of an offset is the correlation of two series by the second: standing or not, and
    the logarithm of the field's changes over 5 s. It needs a field that changes along the way.
    """
    calm, first_s = calmness(time_s, field_nT)
    stands, origin_s, length = track_stands(track, max_gap_s)
    if len(stands) < FEWEST_STOPS or calm.size < 2 * SPEED_S:
        return NOTHING
    reach = int(max_offset_s)
    shift = round(first_s - origin_s)
    score = _scores(calm, _marks(stands, length), shift, reach)
    best = int(np.argmax(score))
    far = np.abs(np.arange(score.size) - best) > APART_S
    contrast = score[best] / max(float(np.std(score[score != 0.0])), 1e-12)
    second = float(score[far].max(initial=0.0))
    if contrast < LEAST_CONTRAST or score[best] < LEAST_LEAD * second:
        return NOTHING
    offset, sd = _without_one(calm, stands, shift, best - reach)
    fraction = (first_s - origin_s) - shift
    return ClockEvidence(offset + fraction, float(np.hypot(sd, COMMON_S)), len(stands))


def calmness(time_s: FloatArray, field_nT: FloatArray) -> tuple[FloatArray, float]:
    """Return how constant the field is for each second, mean zero, zero in gaps; first time."""
    known = np.isfinite(time_s + field_nT)
    time, rows = np.unique(time_s[known], return_index=True)
    if time.size < 2:
        return np.empty(0), 0.0
    seconds = np.arange(time[0], time[-1] + 0.5)
    field = interpolate_linear(seconds, time, field_nT[known][rows], max_gap=ACTIVITY_S)
    change = np.diff(field, append=np.nan) ** 2
    seen = np.isfinite(change)
    # A change stands for the half second after its reading; the window is centred on the reading.
    around = uniform_filter1d(np.where(seen, change, 0.0), ACTIVITY_S - 1, origin=0)
    share = uniform_filter1d(seen.astype(np.float64), ACTIVITY_S - 1, origin=0)
    good = share > 0.99
    if not good.any():
        return np.empty(0), 0.0
    floor = max(float(np.quantile(around[good], 0.02)), 1e-6)
    calm = np.where(good, -np.log(np.maximum(around, 0.0) + floor), 0.0)
    # Whole lines are calm where the ground is: only what differs from its surroundings counts.
    usual = uniform_filter1d(calm, AROUND_S) / np.maximum(
        uniform_filter1d(good.astype(np.float64), AROUND_S), 1e-3
    )
    return np.where(good, calm - usual, 0.0), float(time[0])


def track_stands(track: Track, max_gap_s: float) -> tuple[Spans, float, int]:
    """Return the stands of a track by the second from its first fix, that time, and seconds."""
    start = float(track.time_s[0])
    seconds = np.arange(start, track.time_s[-1] + 0.5)
    half = SPEED_S / 2
    ends = [
        interpolate_linear(seconds + way, track.time_s, axis, max_gap=max_gap_s)
        for way in (-half, half)
        for axis in (track.easting_m, track.northing_m)
    ]
    speed = np.hypot(ends[2] - ends[0], ends[3] - ends[1]) / SPEED_S
    standing: BoolArray = speed < STANDING_M_S
    found = marked_spans(standing, time_s=seconds)
    long = found.duration_s >= SPEED_S / 2
    return (
        Spans(found.first[long], found.last[long], found.start_s[long], found.end_s[long]),
        start,
        seconds.size,
    )


def _marks(stands: Spans, length: int) -> FloatArray:
    """Return ones on stands and a small negative number elsewhere, mean zero."""
    marks = np.zeros(length)
    for first, last in zip(stands.first, stands.last, strict=True):
        marks[first : last + 1] = 1.0
    centred: FloatArray = marks - marks.mean()
    return centred


def _scores(calm: FloatArray, marks: FloatArray, shift: int, reach: int) -> FloatArray:
    """Return the sum of calm times marks for offsets from minus to plus `reach`."""
    # full[k] pairs calm[i] with marks[i - (k - marks.size + 1)]
    full = fftconvolve(calm, marks[::-1])
    index = np.arange(-reach, reach + 1) - shift + marks.size - 1
    inside = (index >= 0) & (index < full.size)
    return np.where(inside, full[np.clip(index, 0, full.size - 1)], 0.0)


def _without_one(calm: FloatArray, stands: Spans, shift: int, offset: int) -> tuple[float, float]:
    """Return the offset near `offset` [s], and its sd from leaving out one stand at a time."""
    near = np.arange(-20, 21)
    at = near.astype(np.float64)
    total = np.concatenate([[0.0], np.cumsum(calm)])
    first = stands.first[:, None] + (offset + near - shift)
    last = first + (stands.last - stands.first)[:, None] + 1
    each = total[np.clip(last, 0, calm.size)] - total[np.clip(first, 0, calm.size)]
    whole = each.sum(axis=0)
    best = _top(at, whole)
    others = np.array([_top(at, whole - one) for one in each])
    count = len(others)
    sd = np.sqrt((count - 1) / count * np.sum((others - others.mean()) ** 2))
    return offset + best, float(sd)


def _top(at: FloatArray, score: FloatArray) -> float:
    """Return the centre of the top tenth of a peak."""
    height = score - (score.max() - 0.1 * np.ptp(score))
    weight = np.where(height > 0, height, 0.0)
    return float(np.sum(weight * at) / np.sum(weight))
