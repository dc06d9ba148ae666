"""What a wrong clock does to the diurnal correction: clock error times the rate of the field."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive

#: Least half length of the chord whose rate counts [s], and in base intervals.
HALF_S: Final = 15.0
HALF_INTERVALS: Final = 1.0
#: An offset of more standard deviations than this is one.
FOUND_SD: Final = 3.0


class ClockLeft(NamedTuple):
    """What a clock may still be off by: the mean, that clock minus UTC, and its sd [s]."""

    mean_s: float
    sd_s: float


def clock_left(
    offset_s: float | None, sd_s: float | None, *, decided_s: float, usual_sd_s: float
) -> ClockLeft:
    """Return how far a clock may still be off, after what was decided.

    Parameters
    ----------
    offset_s, sd_s : float or None
        Clock minus UTC as the evidence has it, and its standard deviation [s]; None where there
        is no evidence.
    decided_s : float
        Clock minus UTC that was decided and is corrected, 0 where nothing was [s].
    usual_sd_s : float
        Standard deviation of such a clock where nothing tells, above zero [s].

    Returns
    -------
    ClockLeft

    Raises
    ------
    InputError
        When `usual_sd_s` isn't above zero.

    Notes
    -----
    Bayes' rule for two normal pieces: what is usual, about what was decided, and the evidence, by
    their weights ``1 / sd^2``. An offset of more than three sd is no usual one, and stays in full.

    Examples
    --------
    >>> left = clock_left(0.1, 0.75, decided_s=0.0, usual_sd_s=1.0)
    >>> round(left.mean_s, 3), round(left.sd_s, 3)
    (0.064, 0.6)
    >>> clock_left(30.0, 0.75, decided_s=0.0, usual_sd_s=1.0).mean_s
    30.0
    """
    check_positive(usual_sd_s, name="usual_sd_s")
    if offset_s is None or sd_s is None:
        return ClockLeft(0.0, usual_sd_s)
    left = offset_s - decided_s
    if abs(left) > FOUND_SD * float(np.hypot(sd_s, usual_sd_s)):
        return ClockLeft(left, sd_s)
    share = usual_sd_s**2 / (usual_sd_s**2 + sd_s**2)
    return ClockLeft(left * share, sd_s * float(np.sqrt(share)))


def clock_sd(
    time_s: ArrayLike,
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    clock_sd_s: float,
    max_gap_s: float,
) -> FloatArray:
    """Return the error of the diurnal correction that a wrong clock makes.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times of the readings, in any order [s].
    base_time_s, base_nT : array, shape (n_base,)
        The base's increasing times [s] and readings [nT].
    clock_sd_s : float
        Standard deviation of rover's clock less base's, 0 or more [s].
    max_gap_s : float
        A longer interval between two base readings is a gap [s].

    Returns
    -------
    float array, shape (n,)
        Sd [nT]; NaN outside the base record and in its gaps.

    Raises
    ------
    InputError
        When lengths differ, the base times don't increase or the clock's sd is below zero.

    Notes
    -----
    ``sd = s |dF/dt|`` (propagation of errors). The rate is that of the chord from h before to h
    after the reading, one-sided at the ends of the record, with h the clock's sd, but at least
    15 s and one base interval: base noise between two readings a second apart is no rate. All
    readings of a clock share its error.

    Examples
    --------
    The field rises by 1 nT a minute; the clocks are to 3 s:

    >>> base_time = np.arange(0.0, 3600.0, 10.0)
    >>> sd = clock_sd([1800.0], base_time, base_time / 60, clock_sd_s=3.0, max_gap_s=30)
    >>> round(float(sd[0]), 6)
    0.05
    """
    if not clock_sd_s >= 0:
        raise InputError("clock_sd_s must not be below zero.", value=clock_sd_s)
    check_positive(max_gap_s, name="max_gap_s")
    time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    knots = np.asarray(base_time_s, dtype=np.float64)
    inside = interpolate_linear(time, knots, base_nT, max_gap=max_gap_s)
    if not knots.size:
        return np.full(time.shape, np.nan)
    interval = nominal_interval(knots) if knots.size > 1 else 0.0
    half = max(HALF_S, HALF_INTERVALS * interval, clock_sd_s)
    before, after = (np.clip(time + side, knots[0], knots[-1]) for side in (-half, half))
    ends = [interpolate_linear(at, knots, base_nT, max_gap=np.inf) for at in (before, after)]
    rate = (ends[1] - ends[0]) / np.maximum(after - before, 1e-9)
    return np.where(np.isnan(inside), np.nan, clock_sd_s * np.abs(rate))
