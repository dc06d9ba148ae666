"""Gross slips of a clock, from places visited twice and the base record between the visits."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.evidence import DETECTED_SD, NOTHING, ClockEvidence
from lodewalk.methods.checks.clocks.revisits_likelihood import (
    Base,
    Likelihood,
    Pairs,
    offset_likelihood,
)
from lodewalk.methods.checks.clocks.revisits_posterior import Grid, find_peaks
from lodewalk.methods.checks.clocks.revisits_prior import RIGHT
from lodewalk.methods.checks.clocks.revisits_unknown import Variogram, fit_variogram
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.units import SECONDS_PER_DAY
from lodewalk.validation import (
    FloatArray,
    check_increasing,
    check_positive,
    check_same_length,
)

#: A slip is claimed at this probability.
CLAIMED: Final = 0.99

#: An offset near zero is given at this probability.
SURE: Final = 0.9

#: Fewest covered pairs that a claim rests on.
FEWEST_PAIRS: Final = 6

#: How far the field at the rover can run behind or ahead of the base's [s]: ground that conducts
#: otherwise shifts the phase of variations by several degrees, 6 degrees of 10 minutes are 10 s.
LAG_SD_S: Final = 10.0

#: A correlation counts when it is this many of its sd from zero.
CHANCE_SD: Final = 2.6

#: Odds that a curve much like the true one is taken for it; residuals with structure raise them.
MISFIT_ODDS: Final = 0.005

#: Share of the log-likelihood gained by a fit that structure in its residuals must exceed.
MISFIT_SHARE: Final = 0.05

#: Most pairs used, evenly taken.
MOST_PAIRS: Final = 200

#: Offsets scanned lie this far apart, further where there would be too many [s].
STEP_S: Final = 30.0
MOST_OFFSETS: Final = 10_000


@dataclass(frozen=True)
class Candidate:
    """One possible offset.

    Parameters
    ----------
    offset_s, sd_s : float
        Rover's clock minus the base's, and its sd if this is the right candidate [s].
    probability : float
        Its probability among all.
    """

    offset_s: float
    sd_s: float
    probability: float


@dataclass(frozen=True)
class RevisitClock:
    """What revisits say of a rover's clock against the base's; see `revisit_clock`.

    Parameters
    ----------
    evidence : ClockEvidence
        Rover's clock minus the base's.
    slip_probability : float
        Probability that the clocks are apart by more than their ordinary scatter; NaN where
        there was nothing to judge.
    candidates : tuple of Candidate
        Offsets that compete, the most probable first.
    count : int
        Pairs that the base covers at the first candidate.
    """

    evidence: ClockEvidence
    slip_probability: float
    candidates: tuple[Candidate, ...]
    count: int


UNKNOWN: Final = RevisitClock(NOTHING, float("nan"), (), 0)


def revisit_clock(
    first_time_s: ArrayLike,
    second_time_s: ArrayLike,
    difference_nT: ArrayLike,
    *,
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    difference_sd_nT: ArrayLike | None = None,
    max_gap_s: float | None = None,
    max_offset_s: float = 10.5 * SECONDS_PER_DAY,
) -> RevisitClock:
    """Judge a rover's clock by places that it visited twice.

    Parameters
    ----------
    first_time_s, second_time_s : array, shape (n,)
        Times of the two visits by the rover's clock as recorded [s]: crossings of lines with tie
        lines, check stations. Both times are of the same clock in one setting.
    difference_nT : array, shape (n,)
        Raw first reading minus raw second [nT]; pairs with a NaN are left out.
    base_time_s : array, shape (n_base,)
        Increasing times of the base readings by the base's clock as recorded [s].
    base_nT : array, shape (n_base,)
        Base readings [nT]; NaN is stepped over.
    difference_sd_nT : array, shape (n,), optional
        Sd of each difference from noise and from position times gradient [nT]; a common factor
        on it is estimated. Without it all pairs are alike.
    max_gap_s : float, optional
        A longer interval between base readings is a gap [s]; by default five of the usual
        intervals, two minutes at least.
    max_offset_s : float
        Largest offset looked at [s]. By default ten and a half days. Records that lie further
        apart are compared wherever they meet.

    Returns
    -------
    RevisitClock
        Its evidence is ``NOTHING`` where slip and no slip can't be told apart, where fewer than
        six pairs are covered at the best offset, and without a usable base.

    Raises
    ------
    InputError
        When lengths differ, base times don't increase, or an sd or a limit isn't above zero.

    Notes
    -----
    With d the rover's clock minus the base's, ``difference = B(t1 - d) - B(t2 - d) + noise``,
    B the base record. Every d at which the base covers a pair is tried. The noise is Student's t
    with three degrees of freedom, its spread averaged out. A pair that isn't covered at some d has
    the density that the earlier pairs and a random field of the base's variogram give it
    (``sill (1 - exp(-(lag / 4 h)^a))``, fitted to the base, at three scales), so that offsets
    which cover few pairs compete fairly. A base that tells nothing, and one that wasn't running
    during the walk, have a chance of exp(-3) each. Residuals that neighbouring pairs share lower
    the weight of all. A clock is right in 90 of 100 cases, within 20 s; else off by a multiple
    of half an hour, by whole days or by 1024 weeks; rarely by anything. These shares are
    judgement.

    A slip is claimed at a probability of 0.99. That is lowered where the residuals have structure
    in time, the more the less the fit gained: a curve of another quiet day looks much alike.
    Where the two records don't meet as recorded, only round slips are believed. The sd has 10 s
    for the lag of variations in ground of other conductivity added, and the base's interval over
    the root of 12; so the state is never ``measured``, the 90 % interval holds more than 90 %,
    and slips under about two minutes, GPS time among them, are not identifiable by this.

    In trials with a walk of one day, quiet daily curve 35 nT, nearly all slips of 1 h to 1 day
    were found from 20 pairs where the noise of a difference was 0.3 nT, or 1 nT under red noise of
    3 nT rms; from 50 to 100 pairs at 1 nT, and from 100 pairs at 3 nT, on quieter days. A base
    that is smooth over the walk leaves no claim, nor, nearly always, does one that was moved
    between days, another day's base or a rover that drifts; those can hide a slip as well. One
    offset holds for all pairs: a clock set anew each day is judged day by day.

    References
    ----------
    Lange, K. L., Little, R. J. A. and Taylor, J. M. G. (1989), Robust statistical modeling using
    the t distribution, Journal of the American Statistical Association 84, 881-896,
    doi:10.1080/01621459.1989.10478852.
    Matheron, G. (1973), The intrinsic random functions and their applications, Advances in
    Applied Probability 5, 439-468, doi:10.2307/1425829.

    Examples
    --------
    A rover an hour ahead:

    >>> base_time = np.arange(0.0, 28_800.0, 30.0)
    >>> base = 48_000 + 20 * np.sin(base_time / 5000) + 3 * np.sin(base_time / 300)
    >>> first, second = np.arange(3600.0, 21_600.0, 300.0), np.linspace(22_000.0, 25_000.0, 60)
    >>> difference = np.interp(first, base_time, base) - np.interp(second, base_time, base)
    >>> found = revisit_clock(first + 3600, second + 3600, difference + 0.3 * np.sin(first),
    ...     base_time_s=base_time, base_nT=base)
    >>> found.evidence.state, round(found.evidence.offset_s / 3600, 2)
    ('detected', 1.0)
    """
    pairs = _pairs(first_time_s, second_time_s, difference_nT, difference_sd_nT)
    base = _base(base_time_s, base_nT, max_gap_s)
    check_positive(max_offset_s, name="max_offset_s")
    if len(pairs) < FEWEST_PAIRS or base.time_s.size < 3:
        return UNKNOWN
    variogram = _variogram(base)
    if variogram is None:
        return UNKNOWN
    offsets = _offsets(pairs, base, max_offset_s)
    known_sd = difference_sd_nT is not None
    likelihood = offset_likelihood(pairs, base, variogram, known_sd=known_sd)
    log_like = likelihood(offsets)
    share = _independent_share(likelihood, offsets, log_like)
    if share < 1:
        likelihood = replace(likelihood, share=share)
        log_like = likelihood(offsets)
    return _judge(likelihood, offsets, log_like)


def _pairs(
    first_s: ArrayLike, second_s: ArrayLike, difference: ArrayLike, sd: ArrayLike | None
) -> Pairs:
    """Return the pairs that are known in full, no more than needed."""
    first, second, value = (
        np.atleast_1d(np.asarray(a, float)) for a in (first_s, second_s, difference)
    )
    unit = (
        np.ones(value.size) if sd is None else np.broadcast_to(np.asarray(sd, float), value.shape)
    )
    check_same_length(
        first_time_s=first, second_time_s=second, difference_nT=value, difference_sd_nT=unit
    )
    if np.any(unit <= 0):
        raise InputError("difference_sd_nT must be above zero.", value=float(np.nanmin(unit)))
    known = np.flatnonzero(np.isfinite(first + second + value + unit))
    if known.size > MOST_PAIRS:
        known = known[np.linspace(0, known.size - 1, MOST_PAIRS).round().astype(int)]
    floor = np.median(unit[known]) / 4 if known.size else 1.0
    # No pair is so sure that it outweighs the rest.
    return Pairs(first[known], second[known], value[known], np.maximum(unit[known], floor))


def _base(time_s: ArrayLike, value_nT: ArrayLike, max_gap_s: float | None) -> Base:
    """Return the known base readings."""
    time, value = np.asarray(time_s, float), np.asarray(value_nT, float)
    check_same_length(base_time_s=time, base_nT=value)
    check_increasing(time, name="base_time_s")
    known = np.isfinite(value)
    time, value = time[known], value[known]
    if max_gap_s is None:
        max_gap_s = max(5 * nominal_interval(time), 120.0) if time.size > 1 else 120.0
    check_positive(max_gap_s, name="max_gap_s")
    return Base(time, value, max_gap_s)


def _variogram(base: Base) -> Variogram | None:
    """Return the variogram of the base record."""
    interval = max(nominal_interval(base.time_s), 10.0)
    length = float(base.time_s[-1] - base.time_s[0])
    interval = max(interval, length / 100_000)
    return fit_variogram(
        base.at(np.arange(base.time_s[0], base.time_s[-1], interval)), interval_s=interval
    )


def _offsets(pairs: Pairs, base: Base, max_offset_s: float) -> FloatArray:
    """Return the offsets to scan: all that let the base cover a pair, and zero."""
    times = np.concatenate([pairs.first_s, pairs.second_s])
    low, high = times.min() - base.time_s[-1], times.max() - base.time_s[0]
    if low < max_offset_s and high > -max_offset_s:
        low, high = max(low, -max_offset_s), min(high, max_offset_s)
    step = max(STEP_S, (high - low) / MOST_OFFSETS)
    scanned: FloatArray = step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)
    return scanned


def _independent_share(likelihood: Likelihood, offsets: FloatArray, log_like: FloatArray) -> float:
    """Return how many pairs tell something of their own, as a share.

    Neighbouring crossings that err alike count less.
    """
    residual = likelihood.residuals(offsets[[int(np.argmax(log_like))]])[0]
    residual = residual / likelihood.pairs.unit_nT
    alike = []
    for time in (likelihood.pairs.first_s, likelihood.pairs.second_s):
        run = residual[np.argsort(time, kind="stable")]
        alike.append(_correlation_sum(run[np.isfinite(run)]))
    return 1.0 / (1.0 + 2.0 * max(alike))


def _correlation_sum(run: FloatArray, most: int = 4) -> float:
    """Return the sum of correlations along a run, up to the first that is chance."""
    if run.size < 3 * most:
        return 0.0
    scale = 1.4826 * np.median(np.abs(run - np.median(run)))
    run = np.clip(run - np.median(run), -3 * scale, 3 * scale)
    power, total = float(run @ run), 0.0
    for lag in range(1, most + 1):
        correlation = float(run[lag:] @ run[:-lag]) / power if power > 0 else 0.0
        if correlation < CHANCE_SD / np.sqrt(run.size):
            break
        total += correlation
    return total


def _judge(likelihood: Likelihood, offsets: FloatArray, log_like: FloatArray) -> RevisitClock:
    """Return candidates and evidence."""
    # Where the records don't meet, the base may be another day's: only a round slip is believed.
    met = bool(np.isfinite(likelihood.residuals(np.zeros(1))).any())
    range_s = float(offsets[-1] - offsets[0]) if met else np.inf
    grid = Grid(offsets, float(offsets[1] - offsets[0]), log_like, range_s)
    peaks, right_outside, slip_outside = find_peaks(grid, likelihood)
    log_right = [*(peak.log_right for peak in peaks), right_outside]
    if not offsets[0] <= 0.0 <= offsets[-1]:
        log_right.append(np.log(RIGHT))  # a right clock, and a base that ran at another time
    log_slip = [*(peak.log_slip for peak in peaks), slip_outside]
    log_total = np.logaddexp.reduce([*log_right, *log_slip])
    candidates = tuple(
        Candidate(peak.offset_s, peak.sd_s, float(np.exp(peak.log_mass - log_total)))
        for peak in peaks
    )
    best = peaks[0].top_s
    count = int(np.isfinite(likelihood.residuals(np.array([best]))).sum())
    if count < FEWEST_PAIRS:
        return RevisitClock(NOTHING, float("nan"), candidates, count)
    slip = float(1 - np.exp(np.logaddexp.reduce(log_right) - log_total))
    slip /= 1 + MISFIT_ODDS * np.exp(_misfit(likelihood, best))
    floor_s = float(np.hypot(LAG_SD_S, nominal_interval(likelihood.base.time_s) / np.sqrt(12)))
    return RevisitClock(_evidence(candidates, slip, count, floor_s), slip, candidates, count)


def _misfit(likelihood: Likelihood, offset_s: float) -> float:
    """Return the log odds that an offset fits by a likeness of curves only.

    The closer the fit, the less a remainder counts.
    """
    gain = max(float(likelihood(np.array([offset_s]))[0]), 0.0)
    return min(likelihood.structure(offset_s) - MISFIT_SHARE * gain, 50.0)


def _evidence(
    candidates: tuple[Candidate, ...], slip: float, count: int, floor_s: float
) -> ClockEvidence:
    """Return what can be said: the first candidate if it is sure, or the spread of all slips."""
    best = candidates[0]
    sd = float(np.hypot(best.sd_s, floor_s))
    if slip < CLAIMED:
        right = best.probability >= SURE and abs(best.offset_s) <= DETECTED_SD * sd
        return ClockEvidence(best.offset_s, sd, count) if right else NOTHING
    if best.probability >= CLAIMED:
        return ClockEvidence(best.offset_s, sd, count)
    share = np.array([c.probability for c in candidates])
    share /= share.sum()
    at = np.array([c.offset_s for c in candidates])
    offset = float(share @ at)
    inside = np.array([c.sd_s for c in candidates]) ** 2 + floor_s**2
    return ClockEvidence(offset, float(np.sqrt(share @ (inside + (at - offset) ** 2))), count)
