"""The clock of a rover against the clock of its track, by turns and stops."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.clocks.evidence import NOTHING, ClockEvidence
from lodewalk.methods.checks.clocks.turns_stops import stops_offset
from lodewalk.methods.checks.clocks.zigzag_passages import (
    Track,
    clean_track,
    line_numbers,
    passage_numbers,
)
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Marks this near to a turn, once the offset is known, belong to it [s].
NEAR_S: Final = 12.0

#: Step of the search [s].
STEP_S: Final = 1.0

#: Two offsets nearer than this are the same answer [s].
APART_S: Final = 60.0

#: Fewest marks that must find their turn, least share of them, and most that a second offset may
#: find beside the best.
FEWEST_EVENTS: Final = 6
LEAST_SHARE: Final = 0.5
MOST_OF_SECOND: Final = 0.7

#: A person marks all starts and ends late or early by this [s] (common practice, from memory).
REACTION_S: Final = 1.0

#: Share of the difference between starts and ends that may be a difference of clocks.
ASYMMETRY: Final = 0.25


def turns_offset(
    time_s: ArrayLike,
    line: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting: ArrayLike,
    track_northing: ArrayLike,
    field_nT: ArrayLike | None = None,
    max_offset_s: float = 93600.0,
    max_gap_s: float = 60.0,
    pause_s: float = 10.0,
) -> ClockEvidence:
    """Return the rover's clock minus the track's, from where lines begin and end.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings by the rover's clock as recorded [s], in any order.
    line : array_like, shape (n,)
        Line of each reading **as marked on the rover**; -1, None or no text off the lines. Lines
        told from the track must not be given: they agree with it whatever the clock. With no
        marks at all, pauses of the logger stand for the ends of lines.
    track_time_s : array_like, shape (n_fixes,)
        Times of the fixes by the track's clock [s], in any order.
    track_easting, track_northing : array_like, shape (n_fixes,)
        Projected positions of the fixes [m]; NaN where missing.
    field_nT : array_like, shape (n,), optional
        Total field [nT]. Where marks and pauses tell nothing, stands of the track are looked for
        in it: a field that stays constant.
    max_offset_s : float
        Offsets from minus to plus this are tried [s] (default 26 h: any time zone, or a day).
    max_gap_s : float
        A longer interval between two fixes ends a passage [s] (default 60).
    pause_s : float
        A longer interval between readings is a pause, where there are no marks [s] (default 10).

    Returns
    -------
    ClockEvidence
        Rover minus track [s], `count` the number of starts and ends (or stands) that agree. It
        says nothing with fewer than six, or when another offset fits almost as well.

    Raises
    ------
    InputError
        When lengths differ or a setting isn't above zero.

    Notes
    -----
    1. Starts and ends of the track's straight passages are compared with starts and ends of the
       marked lines, each kind with its own. The offset is the one at which most of them meet
       within 12 s. Lines never take quite the same time, so their lengths are a bar code; with a
       few even lines two offsets fit, and nothing is said.
    2. Walkers pass the end of a line before they turn, so starts are marked later than the track
       turns, and ends earlier, by about the same. The offset is the mean of the two medians.
    3. The sd is that of the medians from their own scatter, 1.253 times 1.483 times the median
       departure over the root of their number; in quadrature 1 s for the habit of the person
       (common to all marks) and a quarter of half the difference between starts and ends.

    It stands on the marks: a person who marks each line long after its start shifts all of it.

    Examples
    --------
    Eight lines of uneven pace, marked by a clock an hour slow:

    >>> pace = [1.0, 1.2, 0.9, 1.1, 0.8, 1.3, 1.0, 0.85]
    >>> legs = [np.arange(0.0, 200.0, speed) for speed in pace]
    >>> east = np.concatenate([leg if n % 2 == 0 else 200 - leg for n, leg in enumerate(legs)])
    >>> north = np.concatenate([np.minimum(leg / 5, 20) + 20 * n for n, leg in enumerate(legs)])
    >>> clock = np.arange(east.size) + 0.0
    >>> line = np.repeat(np.arange(8), [leg.size for leg in legs])
    >>> found = turns_offset(clock - 3600.0, line, track_time_s=clock, track_easting=east,
    ...     track_northing=north)
    >>> bool(abs(found.offset_s + 3600.0) < 3 * found.sd_s), found.state
    (True, 'measured')
    """
    check_same_length(time_s=time_s, line=line)
    check_same_length(
        track_time_s=track_time_s, track_easting=track_easting, track_northing=track_northing
    )
    check_positive(max_offset_s, name="max_offset_s")
    check_positive(max_gap_s, name="max_gap_s")
    check_positive(pause_s, name="pause_s")
    clock = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    track = clean_track(track_time_s, track_easting, track_northing)
    if track.time_s.size < 2:
        return NOTHING
    starts, ends = line_ends(clock, line_numbers(line), pause_s=pause_s)
    found = NOTHING
    if starts.size >= FEWEST_EVENTS // 2:
        turns = track_ends(track, float(np.median(ends - starts)), max_gap_s)
        found = _by_turns((starts, ends), turns, max_offset_s)
    if field_nT is not None:
        check_same_length(time_s=time_s, field_nT=field_nT)
        if not np.isfinite(found.offset_s):
            field = np.atleast_1d(np.asarray(field_nT, dtype=np.float64))
            found = stops_offset(
                clock, field, track, max_offset_s=max_offset_s, max_gap_s=max_gap_s
            )
    return found


def line_ends(
    time_s: FloatArray, number: IntArray, *, pause_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return when lines start and end by marks, or by pauses when there are no marks [s]."""
    order = np.argsort(time_s, kind="stable")
    order = order[np.isfinite(time_s[order])]
    time, own = time_s[order], number[order]
    if not time.size:
        return np.empty(0), np.empty(0)
    if np.all(own < 0):
        pause = max(pause_s, 5 * float(np.median(np.diff(time)))) if time.size > 1 else pause_s
        own = np.concatenate([[0], np.cumsum(np.diff(time) > pause)])
        if own[-1] == 0:
            return np.empty(0), np.empty(0)
    cut = np.flatnonzero(np.diff(own) != 0) + 1
    first, last = np.append(0, cut), np.append(cut - 1, own.size - 1)
    on = own[first] >= 0
    return time[first[on]], time[last[on]]


def track_ends(track: Track, duration_s: float, max_gap_s: float) -> tuple[FloatArray, FloatArray]:
    """Return when the track's straight passages start and end [s]."""
    pace = np.hypot(np.diff(track.easting_m), np.diff(track.northing_m)) / np.diff(track.time_s)
    length = float(np.median(pace)) * duration_s
    number = passage_numbers(track, usual_length_m=length, max_gap_s=max_gap_s)
    cut = np.flatnonzero(np.diff(number) != 0) + 1
    first, last = np.append(0, cut), np.append(cut - 1, number.size - 1)
    on = number[first] >= 0
    return track.time_s[first[on]], track.time_s[last[on]]


def _by_turns(
    marks: tuple[FloatArray, FloatArray], turns: tuple[FloatArray, FloatArray], max_offset_s: float
) -> ClockEvidence:
    """Return the offset at which most marks meet their turns."""
    apart = [np.subtract.outer(mark, turn) for mark, turn in zip(marks, turns, strict=True)]
    offset = _most_meetings(np.concatenate([part.ravel() for part in apart]), max_offset_s)
    if offset is None:
        return NOTHING
    for _ in range(3):
        near = [part[np.abs(part - offset) <= NEAR_S] for part in apart]
        if not all(part.size for part in near):
            return NOTHING
        offset = float(np.mean([np.median(part) for part in near]))
    count = sum(part.size for part in near)
    if count < max(FEWEST_EVENTS, LEAST_SHARE * sum(mark.size for mark in marks)):
        return NOTHING
    scatter = [
        1.253 * 1.4826 * float(np.median(np.abs(part - np.median(part)))) / np.sqrt(part.size)
        for part in near
    ]
    skew = ASYMMETRY * float(np.median(near[0]) - np.median(near[1])) / 2
    sd = float(np.sqrt(np.sum(np.square(scatter)) / 4 + REACTION_S**2 + skew**2))
    return ClockEvidence(offset, sd, count)


def _most_meetings(apart_s: FloatArray, max_offset_s: float) -> float | None:
    """Return the offset that most differences gather about; None if another is about as good."""
    steps = int(max_offset_s / STEP_S)
    edges = STEP_S * (np.arange(-steps - 1, steps + 1) + 0.5)
    count = np.histogram(apart_s, edges)[0].astype(np.float64)
    half = int(NEAR_S / STEP_S)
    window = 1.0 - (np.arange(-half, half + 1) / (half + 1.0)) ** 2  # the middle counts most
    gathered = np.convolve(count, window, mode="same")
    best = int(np.argmax(gathered))
    far = np.abs(np.arange(gathered.size) - best) > APART_S / STEP_S
    second = float(gathered[far].max(initial=0.0))
    if second > MOST_OF_SECOND * gathered[best]:
        return None
    return float(STEP_S * (best - steps))
