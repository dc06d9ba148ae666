"""Whether the interval of a base was short enough for the field of that day."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.minutes import (
    check_minute_settings,
    known_readings,
    no_groups,
    predicted_groups,
    whole_minutes,
)
from lodewalk.methods.checks.minutes_chance import (
    GROUP_S,
    MINUTE_S,
    Groups,
    chance_over,
    cut_at_minutes,
    gather,
)
from lodewalk.methods.checks.minutes_scale import LocalScale, local_scale
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive, check_within

ENOUGH: Final = "enough"
NOT_ENOUGH: Final = "not enough"
NOT_TOLD: Final = "cannot be told"

MEASURED: Final = "measured"
PREDICTED: Final = "predicted"
EXTRAPOLATED: Final = "extrapolated"

#: Intervals tried [s].
INTERVALS_S: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0)

#: An interval of this many base intervals is measured on the record itself, where the base
#: reads at least each so many seconds.
MEASURED_FROM: Final = 5
MEASURED_BASE_S: Final = 15.0

#: Most starts tried for one interval.
MOST_STARTS: Final = 4

#: Factors by which the predicted share of minutes over the tolerance must lie below or above the
#: allowed one to be sure: it is oftener too high than too low, by trials on real and made fields.
SURE_BELOW: Final = 1.5
SURE_ABOVE: Final = 2.0

#: Minutes that a judgement needs.
LEAST_MINUTES: Final = 30


@dataclass(frozen=True)
class IntervalJudged:
    """Was the base interval enough for the field of that day.

    Parameters
    ----------
    answer : str
        'enough', 'not enough' or 'cannot be told'.
    interval_s : float
        Interval used [s].
    error_95_nT : float
        Predicted size under which the worst error of 95 % of the minutes stays, at the interval
        used [nT]; NaN where it can't be told.
    share_within : float
        Predicted share of minutes within the tolerance at the interval used.
    longest_s : float
        Longest of `intervals_s` that would have kept the wanted share of minutes within the
        tolerance [s]; NaN where none would or it can't be told.
    intervals_s : float array, shape (n_intervals,)
        Intervals tried [s].
    shares_within : float array, shape (n_intervals,)
        Share of minutes within the tolerance at each.
    basis : tuple of str
        For each: 'measured' on the record itself, 'predicted' from the record thinned to it, or
        'extrapolated' by the growth exponent to an interval that the record can't show.
    minutes_judged : int
        Number of minutes that this rests on.
    """

    answer: str
    interval_s: float
    error_95_nT: float
    share_within: float
    longest_s: float
    intervals_s: FloatArray
    shares_within: FloatArray
    basis: tuple[str, ...]
    minutes_judged: int


@dataclass(frozen=True)
class _Span:
    """Known base readings, the minutes to judge, and what goes with them."""

    time: FloatArray
    value: FloatArray
    minute: FloatArray
    interval_s: float
    noise_nT: float
    max_gap_s: float


def interval_judged(
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    tolerance_nT: float,
    base_noise_nT: float,
    max_gap_s: float,
    start_s: float | None = None,
    end_s: float | None = None,
    share: float = 0.95,
    intervals_s: tuple[float, ...] = INTERVALS_S,
) -> IntervalJudged:
    """Judge the interval of a base by the field that it recorded.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times of the base readings [s].
    base_nT : array, shape (n,)
        Base readings, spikes and contamination taken out [nT]; missing ones (NaN) are stepped over.
    tolerance_nT : float
        Error that the survey can bear [nT]; see `needed_tolerance`.
    base_noise_nT : float
        Noise sd of one base reading [nT].
    max_gap_s : float
        A longer interval between two base readings is a gap [s].
    start_s, end_s : float, optional
        Span to judge, such as one UTC day [s]; by default that of the record.
    share : float
        Wanted share of minutes whose worst error stays within the tolerance (default 0.95).
    intervals_s : tuple of float
        Intervals to try, increasing [s].

    Returns
    -------
    IntervalJudged
        'cannot be told' where fewer than 30 minutes can be judged, or where the predicted share
        of minutes over the tolerance lies between two thirds and twice the allowed one.

    Raises
    ------
    InputError
        As `minute_verdicts`; also when the share isn't between 0 and 1 or the intervals don't
        increase from above zero.

    Notes
    -----
    At five base intervals or more, of a base that reads at least each 15 s, the error is measured:
    the record is thinned, from up to four starts, and compared with itself; base noise counts.
    From one to five, or for a slower base, the thinned record predicts its own error as
    `minute_verdicts` does. Shorter intervals than that of the base are extrapolated: the squared
    error shrinks with the growth exponent of the record. That rests on the field being rough in
    the same way below the base interval, which the record can't show; a field whose pulsations
    are all shorter than two base intervals deceives it.

    Examples
    --------
    >>> time = np.arange(0.0, 14_400.0, 10.0)
    >>> base = 48_000 + 5 * np.sin(2 * np.pi * time / 240)
    >>> judged = interval_judged(time, base, tolerance_nT=1.0, base_noise_nT=0.02, max_gap_s=30)
    >>> judged.answer, judged.longest_s
    ('enough', 30.0)
    """
    check_minute_settings(tolerance_nT, base_noise_nT, max_gap_s)
    _check_choice(share, intervals_s)
    time, value = known_readings(base_time_s, base_nT)
    minute = whole_minutes(time, start_s, end_s)
    span = _Span(time, value, minute, nominal_interval(time), base_noise_nT, max_gap_s)
    groups = predicted_groups(
        time, value, minute, base_noise_nT=base_noise_nT, max_gap_s=max_gap_s
    )  # fmt: skip
    used = _share_within(groups, tolerance_nT)
    number = int(np.isfinite(groups.mean_nT2).sum())
    tried = [_tried(span, wanted, tolerance_nT) for wanted in intervals_s]
    if number < LEAST_MINUTES:
        tried = [(float("nan"), basis) for _, basis in tried]
    shares = np.array([found for found, _ in tried])
    return IntervalJudged(
        answer=_answer(used, share) if number >= LEAST_MINUTES else NOT_TOLD,
        interval_s=span.interval_s,
        error_95_nT=_size_within(groups, 0.95) if number >= LEAST_MINUTES else float("nan"),
        share_within=used,
        longest_s=_longest(np.array(intervals_s), shares, share),
        intervals_s=np.array(intervals_s),
        shares_within=shares,
        basis=tuple(basis for _, basis in tried),
        minutes_judged=number,
    )


def _check_choice(share: float, intervals_s: tuple[float, ...]) -> None:
    """Raise where the share or the intervals are out of range."""
    check_positive(share, name="share")
    check_within(share, name="share", low=0.0, high=1.0)
    wanted = np.asarray(intervals_s, dtype=np.float64)
    if not wanted.size or not np.all(np.diff(wanted, prepend=0.0) > 0):
        raise InputError("intervals_s must increase from above zero.", value=intervals_s)


def _answer(within: float, share: float) -> str:
    """Return the answer for a predicted share of minutes within the tolerance."""
    over, allowed = 1 - within, 1 - share
    if over <= allowed / SURE_BELOW:
        return ENOUGH
    return NOT_ENOUGH if over >= allowed * SURE_ABOVE else NOT_TOLD


def _longest(intervals: FloatArray, within: FloatArray, share: float) -> float:
    """Return the longest interval up to which all keep the wanted share."""
    bad = np.flatnonzero(~(within >= share))
    kept = intervals[: bad[0]] if bad.size else intervals
    return float(kept[-1]) if kept.size else float("nan")


def _tried(span: _Span, wanted_s: float, tolerance_nT: float) -> tuple[float, str]:
    """Return the share of minutes within the tolerance at an interval, and what it rests on."""
    ratio = wanted_s / span.interval_s
    whole = np.isfinite(ratio) and abs(ratio - round(ratio)) < 0.02 and ratio > 0.9
    if whole and ratio >= MEASURED_FROM and span.interval_s <= MEASURED_BASE_S:
        return _measured(span, round(ratio), tolerance_nT), MEASURED
    if whole:
        return _predicted(span, round(ratio), tolerance_nT), PREDICTED
    return _share_within(_scaled(span, wanted_s), tolerance_nT), EXTRAPOLATED


def _starts(step: int) -> list[int]:
    """Return up to four even starts of a thinned record."""
    return sorted({step * i // MOST_STARTS for i in range(MOST_STARTS)})


def _measured(span: _Span, step: int, tolerance_nT: float) -> float:
    """Return the share of minutes in which the record keeps to lines between each n-th reading."""
    bounds = np.append(span.minute, span.minute[-1] + MINUTE_S)
    edges = np.searchsorted(span.time, bounds)
    number = np.diff(edges)
    full = number >= 0.9 * MINUTE_S / span.interval_s
    gap = max(span.max_gap_s, 1.5 * step * span.interval_s)
    within = []
    for start in _starts(step):
        knots = slice(start, None, step)
        line = interpolate_linear(span.time, span.time[knots], span.value[knots], max_gap=gap)
        error = np.abs(span.value - line)
        # reduceat takes no empty stretch; a minute without readings isn't full anyway
        worst = np.maximum.reduceat(np.append(error, np.nan), edges)[:-1]
        worst = worst[full]
        within.append(worst[np.isfinite(worst)] <= tolerance_nT)
    found = np.concatenate(within)
    return float(found.mean()) if found.size else float("nan")


def _predicted(span: _Span, step: int, tolerance_nT: float) -> float:
    """Return the share that the record, thinned to each n-th reading, predicts."""
    shares = []
    for start in _starts(step):
        groups = predicted_groups(
            span.time[start::step],
            span.value[start::step],
            span.minute,
            base_noise_nT=span.noise_nT,
            max_gap_s=max(span.max_gap_s, 1.5 * step * span.interval_s),
        )
        shares.append(_share_within(groups, tolerance_nT))
    known = [found for found in shares if np.isfinite(found)]
    return float(np.mean(known)) if known else float("nan")


def _scaled(span: _Span, wanted_s: float) -> Groups:
    """Predict the errors of a base with another interval from the growth of the misfits."""
    if span.time.size < 2:
        return no_groups(span.minute.size)
    scale = local_scale(span.time, span.value, base_noise_nT=span.noise_nT)
    # Intervals under ten seconds are counted by the group, not made one by one.
    step = max(wanted_s, GROUP_S)
    time = np.arange(span.time[0], span.time[-1] + 0.5 * step, step)
    time[-1] = min(time[-1], span.time[-1])
    if time.size < 2 or time[-1] <= span.minute[0] or time[0] >= span.minute[-1] + MINUTE_S:
        return no_groups(span.minute.size)
    middle, growth, spread = (
        interpolate_linear(time, span.time, values, max_gap=span.max_gap_s)
        for values in (scale.middle_nT2, scale.growth, scale.spread)
    )
    middle = middle * (wanted_s / span.interval_s) ** growth
    groups = gather(
        time,
        LocalScale(middle, growth, spread, step),
        cut_at_minutes(time, span.minute),
        n_minutes=span.minute.size,
        max_gap_s=1.5 * step,
        base_noise_nT=span.noise_nT,
        distance_nT=np.zeros(time.size),
    )
    return replace(groups, number=groups.number * step / wanted_s)


def _share_within(groups: Groups, size_nT: float) -> float:
    """Return the expected share of minutes within a size; NaN where none can be judged."""
    chance = chance_over(groups, np.full(groups.mean_nT2.size, size_nT))
    known = chance[np.isfinite(chance)]
    return float(1 - known.mean()) if known.size else float("nan")


def _size_within(groups: Groups, share: float) -> float:
    """Return the size that an expected share of minutes stays within, by bisection [nT]."""
    unit = np.sqrt(groups.variance_nT2)
    low, high = 1e-3 * max(float(unit.min()), 1e-6), 100 * max(float(unit.max()), 1e-6)
    for _ in range(30):
        middle = float(np.sqrt(low * high))
        if _share_within(groups, middle) < share:
            low = middle
        else:
            high = middle
    return high
