"""The offset between two clocks whose instruments saw the same variation of the field."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import median_filter

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks._pair_field import Record, fit_apart, unrelated_likelihood
from lodewalk.methods.checks.clocks._pair_search import (
    Pair,
    misfit_inflation,
    refit,
    search,
    widened,
)
from lodewalk.methods.checks.clocks.evidence import NOTHING, ClockEvidence
from lodewalk.validation import check_increasing, check_positive, check_same_length

#: Readings that a record must have.
LEAST_READINGS: Final = 20

#: Readings of the longer record that must fall into the time of the shorter one.
LEAST_TOGETHER: Final = 5

#: Least span of the shorter record [s].
LEAST_SPAN_S: Final = 60.0

#: A longer run is cut into spans of half this [s], at most so many, spread evenly over it.
WHOLE_S: Final = 2400.0
MOST_SPANS: Final = 5

#: Record kept beyond the range that is searched [s].
BESIDE_S: Final = 120.0

#: Log of how much likelier the records must be with a common field than without; and where they
#: move apart by more than the field itself moves.
LOG_ODDS: Final = 4.0
LOG_ODDS_APART: Final = 12.0

#: Rounds of finding the offset and fitting the field at it.
ROUNDS: Final = 3

#: A reading further from the median of five than so many sd of such departures is left out.
SPIKE_SD: Final = 8.0

SECONDS_PER_DAY: Final = 86_400.0


def pair_offset(
    first_time_s: ArrayLike,
    first_nT: ArrayLike,
    second_time_s: ArrayLike,
    second_nT: ArrayLike,
    *,
    first_noise_nT: float | None = None,
    second_noise_nT: float | None = None,
    max_offset_s: float = 900.0,
) -> ClockEvidence:
    """Measure how far two clocks are apart from the variation of the field that both saw.

    For a rover that stands beside the base, a rover that stands still elsewhere, or two bases.

    Parameters
    ----------
    first_time_s, second_time_s : array, shapes (n,) and (n_second,)
        Times of the readings by each instrument's own clock, not decreasing [s]. The intervals,
        gaps and lengths of the two may differ.
    first_nT, second_nT : array, shapes (n,) and (n_second,)
        Readings [nT]; missing ones (NaN) and lone spikes are left out. Any constant may lie
        between the records.
    first_noise_nT, second_noise_nT : float, optional
        Sd of the white noise of a reading [nT]; without it, it is fitted to the record.
    max_offset_s : float
        Largest offset that is looked for [s] (default 900, which holds GPS-UTC and clocks set by
        hand; slips of hours are found otherwise).

    Returns
    -------
    ClockEvidence
        First clock minus second, and the sd whose 1.645 times holds it with 90 % probability. Of
        a run longer than 40 minutes, the offset at its middle and the drift, from up to five
        spans of it. `NOTHING` where the records don't show the same field, or are too short (20
        readings and a minute).

    Raises
    ------
    InputError
        When lengths differ, times decrease, a noise or `max_offset_s` isn't above zero.

    Notes
    -----
    Model: the field is a random process g, the records are ``g(t - offset) + difference + noise``
    and ``g(t) + noise``. The level of g integrates a slope, which is a short-lived part
    (Ornstein-Uhlenbeck) plus a random walk; its spectrum falls by the powers -4, -2 and -4 in
    turn. A Kalman filter gives the likelihood of both records at any offset (Harvey 1989). The
    rates of the field and the noises are those of greatest likelihood, first of each record by
    itself, then of both at the best offset, where a slow random walk of the difference is let in
    if it raises the log likelihood by 2. With these, and each offset alike beforehand, the
    posterior is summed on a grid from blocks of some seconds down to a sixth of its width, so
    that a second peak counts. The offset is its median; sd is the distance from it that holds
    90 %, over 1.645, or that holds 99 %, over 2.576, if that is larger. Where the slopes of the
    log likelihood hang together over 20 to 80 s, so that the misfit isn't white, log likelihoods
    are divided by the sandwich ratio (White 1982, Newey & West 1987) first.

    Nothing is said unless the records are e^4 times likelier with a common field than with
    unrelated ones (e^12 times, where they move apart by more over a minute than the field moves).
    On a field that moves little the posterior is wide and often has several peaks. Two unrelated
    records of a smooth field, a slow rise and fall each, are sometimes matched, seldom to 2 s.
    Not valid where one instrument moves through a gradient, or for an offset that changes by more
    than its sd within 40 minutes. Where the field has more variation above half the slower
    sampling frequency than the noise, an offset is good to some hundredths of the interval only.

    References
    ----------
    Harvey, A. C. (1989), Forecasting, structural time series models and the Kalman filter,
    Cambridge University Press, doi:10.1017/CBO9781107049994.

    White, H. (1982), Maximum likelihood estimation of misspecified models, Econometrica 50, 1-25,
    doi:10.2307/1912526.

    Newey, W. K. and West, K. D. (1987), A simple, positive semi-definite, heteroskedasticity and
    autocorrelation consistent covariance matrix, Econometrica 55, 703-708, doi:10.2307/1913610.

    Examples
    --------
    >>> time = np.arange(0.0, 900.0)
    >>> rng = np.random.default_rng(1)
    >>> field = 48_000 + 2 * np.sin(time / 40) + 3 * np.sin(time / 150)
    >>> rover, base = (field + rng.normal(scale=sd, size=900) for sd in (0.1, 0.05))
    >>> found = pair_offset(time[200:800] + 18, rover[200:800] + 30, time, base)
    >>> abs(found.offset_s - 18) < 3 * found.sd_s, found.state
    (True, 'measured')
    """
    first = _record(first_time_s, first_nT, first_noise_nT, "first")
    second = _record(second_time_s, second_nT, second_noise_nT, "second")
    check_positive(max_offset_s, name="max_offset_s")
    if min(first.time.size, second.time.size) < LEAST_READINGS:
        return NOTHING
    if np.ptp(first.time) > np.ptp(second.time):
        return _turned(_runs_offset(second, first, max_offset_s))
    return _runs_offset(first, second, max_offset_s)


def pair_drift(
    time_s: ArrayLike, offset_s: ArrayLike, sd_s: ArrayLike, *, at_s: float | None = None
) -> ClockEvidence:
    """Fit a line to the offsets that several runs gave.

    Parameters
    ----------
    time_s : array, shape (n,)
        Time of each run [s].
    offset_s, sd_s : array, shape (n,)
        Offset of the clocks in each run and its sd [s]; a run without (NaN, infinite) is left out.
    at_s : float, optional
        Time at which the offset is wanted [s] (default the weighted mean of the runs, where it is
        known best).

    Returns
    -------
    ClockEvidence
        Offset at that time and drift. Where all runs are at one time the drift is NaN, and there
        is no offset at any other time. `NOTHING` without any run.

    Raises
    ------
    InputError
        When lengths differ or an sd isn't above zero.

    Notes
    -----
    Weighted least squares, ``offset = mean + rate (t - t_mean)``, with the variances ``1 / sum w``
    and ``1 / sum w (t - t_mean)^2``, w = sd^-2. Both are raised by the misfit's reduced chi square
    where that is above one. Valid for a steady drift; a clock that was set between two runs shows
    as misfit.

    Examples
    --------
    >>> line = pair_drift([0.0, 43_200.0, 86_400.0], [1.0, 2.0, 3.0], [0.3, 0.3, 0.3])
    >>> round(line.offset_s, 6), round(line.drift_s_per_day, 6)
    (2.0, 2.0)
    """
    time, offset, sd = (np.asarray(a, dtype=np.float64) for a in (time_s, offset_s, sd_s))
    check_same_length(time_s=time, offset_s=offset, sd_s=sd)
    known = np.isfinite(time) & np.isfinite(offset) & np.isfinite(sd)
    if np.any(sd[known] <= 0):
        raise InputError("sd_s must be above zero.", value=float(sd[known].min()))
    time, offset, sd = time[known], offset[known], sd[known]
    if not time.size:
        return NOTHING
    weight = sd**-2.0
    middle = float(np.average(time, weights=weight))
    mean, variance = float(np.average(offset, weights=weight)), 1 / float(weight.sum())
    spread = float(weight @ (time - middle) ** 2)
    if np.ptp(time) == 0:
        here = at_s is None or at_s == middle
        return ClockEvidence(mean, variance**0.5, time.size) if here else NOTHING
    rate = float(weight @ ((time - middle) * (offset - mean))) / spread
    misfit = offset - mean - rate * (time - middle)
    freedom = time.size - 2
    inflation = max(1.0, float(weight @ misfit**2) / freedom) if freedom else 1.0
    ahead = (middle if at_s is None else at_s) - middle
    return ClockEvidence(
        mean + rate * ahead,
        float(np.sqrt(inflation * (variance + ahead**2 / spread))),
        time.size,
        rate * SECONDS_PER_DAY,
        float(np.sqrt(inflation / spread)) * SECONDS_PER_DAY,
    )


def _record(time_s: ArrayLike, value_nT: ArrayLike, noise_nT: float | None, name: str) -> Record:
    """Return the readings that are known and no spikes."""
    time, value = np.asarray(time_s, dtype=np.float64), np.asarray(value_nT, dtype=np.float64)
    check_same_length(**{f"{name}_time_s": time, f"{name}_nT": value})
    known = np.isfinite(time) & np.isfinite(value)
    time, value = time[known], value[known]
    check_increasing(time, name=f"{name}_time_s", strictly=False)
    if noise_nT is not None:
        check_positive(noise_nT, name=f"{name}_noise_nT")
    if value.size:
        off = np.abs(value - median_filter(value, size=5, mode="nearest"))
        usual = np.median(off[off > 0]) / 0.6745 if np.any(off > 0) else 0.0
        time, value = time[off <= SPIKE_SD * usual], value[off <= SPIKE_SD * usual]
        value = value - np.median(value)
    return Record(time, value, float("nan") if noise_nT is None else float(noise_nT))


def _turned(found: ClockEvidence) -> ClockEvidence:
    """Return the second clock less the first as the first less the second."""
    return ClockEvidence(
        -found.offset_s,
        found.sd_s,
        found.count,
        -found.drift_s_per_day,
        found.drift_sd_s_per_day,
    )


def _runs_offset(first: Record, second: Record, limit: float) -> ClockEvidence:
    """Return the offset of a run from a longer record; of several spans of it where it is long."""
    start, end = float(first.time[0]), float(first.time[-1])
    if end - start <= WHOLE_S:
        return _span_offset(first, second, limit)
    length = WHOLE_S / 2
    number = min(MOST_SPANS, int((end - start) // length))
    starts = np.linspace(start, end - length, number)
    spans = [first.between(s, s + length + 1e-6) for s in starts]
    found = [_span_offset(span, second, limit) for span in spans]
    offsets, sds = [f.offset_s for f in found], [f.sd_s for f in found]
    middle = (start + end) / 2 if np.isfinite(offsets).sum() > 1 else None
    line = pair_drift(starts + length / 2, offsets, sds, at_s=middle)
    count = sum(f.count for f in found)
    return ClockEvidence(
        line.offset_s, line.sd_s, count, line.drift_s_per_day, line.drift_sd_s_per_day
    )


def _span_offset(first: Record, second: Record, limit: float) -> ClockEvidence:
    """Return the offset of a short run from the part of the second record around it."""
    if first.time.size < LEAST_READINGS or np.ptp(first.time) < LEAST_SPAN_S:
        return NOTHING
    origin = float(first.time[0])
    around = limit + BESIDE_S + 3 * second.interval
    second = second.between(origin - around, first.time[-1] + around)
    if second.time.size < LEAST_READINGS or min(np.ptp(first.value), np.ptp(second.value)) == 0:
        return NOTHING
    first, second = (
        Record(r.time - origin, r.value - np.median(r.value), r.noise) for r in (first, second)
    )
    found = _median_and_sd(first, second, limit)
    if found is None:
        return NOTHING
    return ClockEvidence(*found, first.time.size)


def _median_and_sd(first: Record, second: Record, limit: float) -> tuple[float, float] | None:
    """Return median and sd of the offset; None where the records don't go together."""
    apart = model = fit_apart(first, second)
    beside = BESIDE_S + 10 * second.interval
    posterior = search(first, second, model, limit)
    for _ in range(ROUNDS):
        best = posterior.best
        start, end = first.time[0] - posterior.shifts[-1], first.time[-1] - posterior.shifts[0]
        part = second.between(start - beside, end + beside)
        if part.time.size < LEAST_TOGETHER:
            return None
        model = refit(first, part, model, best)
        posterior = search(first, second, model, limit)
        if abs(posterior.best - best) <= max(2.0, 2 * posterior.width):
            break
    together = posterior.evidence - np.log(2 * limit) + Pair(first, part, model).of_second
    least = LOG_ODDS_APART if model.differs else LOG_ODDS
    if together < unrelated_likelihood(first, part, apart) + least:
        return None
    pair = Pair(first, second, model)
    inflation = misfit_inflation(pair, posterior)
    if inflation > 1:
        posterior = widened(pair, posterior, inflation, limit)
    return posterior.median_and_sd()
