"""The clock of a rover against the clock of its track, by the zigzag of anomalies."""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.ndimage import median_filter

from lodewalk.methods.checks.clocks.evidence import NOTHING, ClockEvidence
from lodewalk.methods.checks.clocks.zigzag_fit import fit_zigzag, levers, window_shifts
from lodewalk.methods.checks.clocks.zigzag_match import (
    match_windows,
    slant_misfits,
    with_neighbours,
)
from lodewalk.methods.checks.clocks.zigzag_passages import (
    Passages,
    clean_track,
    line_numbers,
    parallel_passages,
    passage_numbers,
    read_passages,
    usual_length,
)
from lodewalk.methods.checks.fourth_difference import (
    NORMAL_MEDIAN_SIZE,
    WHITE_NOISE_GAIN,
    fourth_difference,
)
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Step of the search [s]: a zigzag of 6 m at walking speed, well inside any anomaly.
SEARCH_STEP_S: Final = 2.5

#: Step between places along a line [m], and how many of them make one step of the search.
STEP_M: Final = 2.0
SEARCH_EVERY: Final = 2

#: The field's mean over so long is taken off [s].
TREND_S: Final = 600.0

#: The best offset must leave at most this share of what the usual offset leaves; without anomalies
#: it leaves more than 0.88 of it (240 trials).
MOST_LEFT: Final = 0.8

#: The best offset must gain so many times what the second best gains.
LEAST_LEAD: Final = 1.5

#: Readings further than this from the median, in sd of the field, are a sensor without a signal.
FAR_OFF_SD: Final = 50.0

#: Windows count whose rms is at least so many times the noise of single readings.
SIGNAL_SD: Final = 6.0

#: Rounds of fitting.
ROUNDS: Final = 4

#: Most buckets of the table that says where in the record to look.
MOST_BUCKETS: Final = 1_000_000


@dataclass(frozen=True)
class Series:
    """The field without its trend, large values drawn in, by the rover's clock, and its noise."""

    time_s: FloatArray
    value: FloatArray
    max_gap_s: float
    noise: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the values at times of any shape; NaN in gaps."""
        return _interpolated(time_s.ravel(), *self.table).reshape(time_s.shape)

    @cached_property
    def table(self) -> tuple[FloatArray, FloatArray, FloatArray, IntArray, float]:
        """Knots, values, slopes after each, NaN in a gap, and the last knot before each bucket."""
        step = np.diff(self.time_s)
        slope = np.where(step > self.max_gap_s, np.nan, np.diff(self.value) / step)
        width = max(float(np.median(step)), float(np.ptp(self.time_s)) / MOST_BUCKETS)
        edges = np.arange(self.time_s[0], self.time_s[-1] + width, width)
        before = np.searchsorted(self.time_s, edges, side="right") - 1
        return self.time_s, self.value, np.append(slope, np.nan), before, width


@njit(nogil=True, cache=True)
def _interpolated(
    at: FloatArray,
    knot: FloatArray,
    value: FloatArray,
    slope: FloatArray,
    before: IntArray,
    width: float,
) -> FloatArray:
    """Values on straight lines between knots; the buckets say where to look."""
    out = np.full(at.size, np.nan)
    for i in range(at.size):
        if not (at[i] >= knot[0] and at[i] <= knot[-1]):
            continue
        j = before[int((at[i] - knot[0]) / width)]
        while j + 1 < knot.size and knot[j + 1] <= at[i]:
            j += 1
        while knot[j] > at[i]:
            j -= 1
        out[i] = value[j] if at[i] == knot[j] else value[j] + (at[i] - knot[j]) * slope[j]
    return out


def zigzag_offset(
    time_s: ArrayLike,
    field_nT: ArrayLike,
    line: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting: ArrayLike,
    track_northing: ArrayLike,
    max_offset_s: float = 60.0,
    window_m: float = 100.0,
    max_spacing_m: float = 75.0,
    max_gap_s: float = 60.0,
) -> ClockEvidence:
    """Return the rover's clock minus the track's, from lines walked in opposite directions.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings by the rover's clock as recorded [s], in any order.
    field_nT : array_like, shape (n,)
        Total field, with or without the daily variation [nT]; NaN where missing.
    line : array_like, shape (n,)
        Name or number of the line of each reading; -1, None or no text off the lines. It tells
        only how long the lines are: passages themselves come from the track.
    track_time_s : array_like, shape (n_fixes,)
        Times of the fixes by the track's clock [s], in any order. For a rover with a receiver
        of its own, `time_s` with its positions: the offset is then the lag of positions.
    track_easting, track_northing : array_like, shape (n_fixes,)
        Projected positions of the fixes [m]; NaN where missing.
    max_offset_s : float
        Offsets from minus to plus this are tried [s] (default 60).
    window_m : float
        Length of the stretches that are compared [m] (default 100), at most a third of the
        lines' usual length.
    max_spacing_m : float
        Lines further apart are no neighbours [m] (default 75).
    max_gap_s : float
        A longer interval between two fixes ends a passage [s] (default 60).

    Returns
    -------
    ClockEvidence
        Rover minus track [s], `count` the number of lines it rests on. It says nothing when no
        line has two neighbours of which one at least was walked the other way, when the lines
        have no anomaly in common, when two offsets explain the zigzag about equally well, or when
        the best lies at the end of the search.

    Raises
    ------
    InputError
        When lengths differ or a setting isn't above zero.

    Notes
    -----
    A reading stamped ``t`` was taken where the track was at ``t - d``. The profile of a passage
    for a trial ``d`` is the field at ``tau(x) + d``, with ``tau(x)`` the track's time at each
    place. With a remaining offset ``d'`` an anomaly on line ``n`` appears displaced by
    ``v_n d' + e_n``, ``v_n`` being the signed speed and ``e_n`` the line's own error of position.
    Against the straight line between its two neighbours it appears at

    ``z_n = (a v_{n-1} + (1 - a) v_{n+1} - v_n) d' + a e_{n-1} + (1 - a) e_{n+1} - e_n``,

    in which a straight strike, however oblique, cancels, ``a`` being the share of the nearer
    neighbour by distance across.

    1. Search: each window of a line is compared with both neighbours at shifts in proportion to
       their distance across (any strike up to 65 degrees off the square, common to three lines);
       the offset that leaves the least sum of squares is taken. Levels and strengths are free.
    2. Fit: shifts against each neighbour are taken freely near those of the strike, and ``d'``
       follows by weighted least squares over lines, windows that stand out counting less.
    3. The sd allows for each line's error entering three of the ``z_n``. Its size comes from the
       residuals and, as four degrees of freedom, from the 1.5 m that receivers err (from memory);
       few lines widen the sd so that 1.645 sd still is a 90 % interval (Student). The last step
       of the fit is added in quadrature.

    Values are drawn in by an inverse hyperbolic sine at twice their usual size, so that a fence or
    a boulder doesn't outweigh the dykes, and lone spikes give way to a median of three. Anomalies
    must reach across at least three lines, be wider than a few metres and, as rms over a window,
    six times the noise of single readings; bends of the strike within three lines
    count as errors. A constant lag of the receiver itself is part of the offset, and a drift of
    the clock within the day is averaged. At the edges of the survey, lines have one neighbour only
    and are not used.

    Examples
    --------
    Ten lines of 400 m, 20 m apart, there and back at 1 m/s over a dyke, clock 18 s ahead:

    >>> along = np.concatenate([np.arange(0.0, 401), np.full(20, 400.0)])
    >>> there_and_back = np.concatenate([along, 400.0 - along])
    >>> east = np.tile(there_and_back, 5)
    >>> step = np.concatenate([np.zeros(400), np.ones(21)])
    >>> north = np.cumsum(np.tile(step, 10)) * 20 / 21
    >>> field = 40.0 / (1.0 + ((east - 200.0 + 0.5 * north) / 15.0) ** 2)
    >>> clock = np.arange(east.size) + 0.0
    >>> found = zigzag_offset(clock + 18.0, field, np.repeat(np.arange(10), 421),
    ...     track_time_s=clock, track_easting=east, track_northing=north)
    >>> round(found.offset_s), found.state
    (18, 'measured')
    """
    check_same_length(time_s=time_s, field_nT=field_nT, line=line)
    check_same_length(
        track_time_s=track_time_s, track_easting=track_easting, track_northing=track_northing
    )
    check_positive(max_offset_s, name="max_offset_s")
    check_positive(window_m, name="window_m")
    check_positive(max_spacing_m, name="max_spacing_m")
    check_positive(max_gap_s, name="max_gap_s")
    clock = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    series = drawn_in(clock, np.atleast_1d(np.asarray(field_nT, dtype=np.float64)))
    track = clean_track(track_time_s, track_easting, track_northing)
    if series is None or track.time_s.size < 2:
        return NOTHING
    length = usual_length(clock, line_numbers(line), track)
    number = passage_numbers(track, usual_length_m=length, max_gap_s=max_gap_s)
    number = read_passages(number, np.isfinite(series.at(track.time_s)))
    window = min(window_m, length / 3) if length > 0 else window_m
    passages = parallel_passages(
        track, number, step_m=STEP_M, max_spacing_m=max_spacing_m, window_m=window
    )
    if passages is None or not np.any(np.isfinite(levers(passages))):
        return NOTHING
    start = _search(series, passages.coarser(SEARCH_EVERY), max_offset_s, window)
    return NOTHING if start is None else _fit(series, passages, start, window)


def drawn_in(time_s: FloatArray, field_nT: FloatArray) -> Series | None:
    """Return the field less its running mean with large values drawn in; None for no field."""
    known = np.isfinite(time_s + field_nT)
    if known.any():
        off = np.abs(field_nT - np.median(field_nT[known]))
        known &= off <= FAR_OFF_SD * 1.4826 * np.median(off[known])
    time, rows = np.unique(time_s[known], return_index=True)
    if time.size < 3:
        return None
    field = field_nT[known][rows]
    total = np.concatenate([[0.0], np.cumsum(field - field.mean())])
    first = np.searchsorted(time, time - TREND_S / 2)
    last = np.searchsorted(time, time + TREND_S / 2, side="right")
    left = field - field.mean() - (total[last] - total[first]) / (last - first)
    left -= np.median(left)
    scale = 2 * 1.4826 * float(np.median(np.abs(left)))
    if not scale > 0:
        return None
    interval = float(np.median(np.diff(time)))
    value = np.arcsinh(left / scale)
    change = np.abs(fourth_difference(value, time_s=time))
    change = change[np.isfinite(change)]
    noise = float(np.median(change)) if change.size else 0.0
    noise /= NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN
    value = median_filter(value, size=3, mode="nearest")  # for lone spikes
    return Series(time, value, 5 * max(interval, 1.0), noise)


def _search(
    series: Series, passages: Passages, max_offset_s: float, window_m: float
) -> float | None:
    """Return the offset that leaves the least misfit between neighbours; None if none stands out.

    The steps reach two beyond `max_offset_s`, to see whether the misfit rises again.
    """
    steps = int(np.ceil(max_offset_s / SEARCH_STEP_S)) + 2
    offsets = SEARCH_STEP_S * np.arange(-steps, steps + 1)
    left = np.array([_misfit(series, passages, offset, window_m) for offset in offsets])
    if not np.all(np.isfinite(left)):
        return None
    best = int(np.argmin(left))
    first = last = best
    while first > 0 and left[first - 1] >= left[first]:
        first -= 1
    while last < left.size - 1 and left[last + 1] >= left[last]:
        last += 1
    usual = float(np.median(left))
    second = min(left[: first + 1].min(), left[last:].min())
    clear = left[best] <= MOST_LEFT * usual and usual - left[best] >= LEAST_LEAD * (usual - second)
    return float(offsets[best]) if clear and 2 <= best < left.size - 2 else None


def _misfit(series: Series, passages: Passages, offset_s: float, window_m: float) -> float:
    """Return the share of the windows' sums of squares that the best strikes leave."""
    matches = match_windows(
        series.at(passages.time_s + offset_s), passages, window_m=window_m, every_m=window_m / 2
    )
    rows = np.isfinite(levers(passages))
    left = with_neighbours(slant_misfits(matches, passages)[1]).min(axis=2)[rows]
    whole = with_neighbours(2 * matches.energy[:, :, None])[rows]
    total = float(whole.sum())
    return float(left.sum()) / total if total > 0 else np.nan


def _fit(series: Series, passages: Passages, start_s: float, window_m: float) -> ClockEvidence:
    """Return the offset from `start_s` on, in a few rounds."""
    offset = start_s
    found = None
    least = (SIGNAL_SD * series.noise) ** 2 * window_m / passages.step_m
    for _ in range(ROUNDS):
        profile = series.at(passages.time_s + offset)
        matches = match_windows(profile, passages, window_m=window_m, every_m=window_m / 4)
        shifts = window_shifts(matches, passages, least_energy=least)
        found = fit_zigzag(*shifts, passages)
        if found is None or abs(offset + found.offset_s - start_s) > 3 * SEARCH_STEP_S:
            return NOTHING
        offset += found.offset_s
    if found is None:
        return NOTHING
    # A last step that isn't small tells that the matches change with the offset.
    return ClockEvidence(offset, float(np.hypot(found.sd_s, found.offset_s)), found.lines)
