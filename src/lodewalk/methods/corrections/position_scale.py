"""How large the position errors of a survey really are, from its crossings."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Factors that are tried, evenly in their logarithm.
_FACTORS: Final = np.exp(np.linspace(np.log(0.1), np.log(10.0), 93))
#: Share of crossings with a gross error, and its size in standard deviations (common practice).
_GROSS, _WIDE = 0.02, 10.0


class PositionScale(NamedTuple):
    """Factor of the stated position errors, and the sd of its logarithm."""

    factor: float
    log_sd: float


def position_scale(
    off_nT: ArrayLike,
    other_sd_nT: ArrayLike,
    position_sd_nT: ArrayLike,
    *,
    spread: float = 0.6,
) -> PositionScale:
    """Return by which factor the stated position errors of a survey are to be changed.

    Parameters
    ----------
    off_nT : array, shape (m,)
        Difference of each crossing from what all the others say of it [nT].
    other_sd_nT : array, shape (m,)
        Its standard deviation from all but the positions [nT], above zero.
    position_sd_nT : array, shape (m,)
        Its standard deviation from the stated position errors, 0 or more [nT].
    spread : float
        Sd of the factor's logarithm before any evidence (default 0.6, common practice: receivers
        are about twice better or worse than their figures).

    Returns
    -------
    PositionScale
        Factor 1 and the spread itself where there is no crossing.

    Raises
    ------
    InputError
        When lengths differ, a number is missing or a sd is out of range.

    Notes
    -----
    Bayes' rule on a grid of factors f: a log-normal prior about 1, and for each crossing the normal
    distribution of variance ``other^2 + f^2 position^2``, mixed with 2 % of a Cauchy distribution
    ten times as wide, so that gross crossings don't count (Tukey's contaminated normal, from
    memory). The factor returned is the geometric mean of the posterior. Steep crossings tell most;
    on level ground the stated errors stay as they are. All position errors are taken to be off by
    one factor.

    Examples
    --------
    Four hundred steep crossings that differ by half of what is stated:

    >>> off = np.random.default_rng(1).normal(0, 0.5, 400)
    >>> bool(abs(position_scale(off, np.full(400, 0.01), np.ones(400)).factor - 0.5) < 0.06)
    True
    """
    check_positive(spread, name="spread")
    off, other, position = (
        np.atleast_1d(np.asarray(part, dtype=np.float64))
        for part in (off_nT, other_sd_nT, position_sd_nT)
    )
    check_same_length(off_nT=off, other_sd_nT=other, position_sd_nT=position)
    if not np.isfinite(off + other + position).all():
        raise InputError("Each crossing needs its difference and its errors.")
    if np.any(other <= 0) or np.any(position < 0):
        raise InputError("Errors of crossings must be above zero.", value=float(other.min()))
    log = np.log(_FACTORS)
    score = -0.5 * (log / spread) ** 2 + _likelihood(off, other, position)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    middle = float(weight @ log)
    return PositionScale(float(np.exp(middle)), float(np.sqrt(weight @ (log - middle) ** 2)))


def _likelihood(off: FloatArray, other: FloatArray, position: FloatArray) -> FloatArray:
    """Return the log likelihood of each factor."""
    sd = np.hypot(other, _FACTORS[:, None] * position)
    square = (off / sd) ** 2
    normal = np.exp(-0.5 * square) / np.sqrt(2 * np.pi)
    gross = 1 / (np.pi * _WIDE * (1 + square / _WIDE**2))
    return np.asarray(np.sum(np.log(((1 - _GROSS) * normal + _GROSS * gross) / sd), axis=1))
