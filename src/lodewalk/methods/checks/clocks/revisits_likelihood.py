"""Likelihood of a clock offset, given the field's differences between two visits of a place."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit

from lodewalk.methods.checks.clocks.revisits_unknown import (
    SCALES,
    Variogram,
    predictive_densities,
    student_constant,
)
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

#: Degrees of freedom of Student's t for the noise of a difference: its tails are heavy.
FREEDOM: Final = 3.0

#: Spreads of the noise tried, in units of a pair's own sd.
SPREADS: Final[FloatArray] = np.asarray(0.15 * 2.0 ** np.arange(9), dtype=np.float64)

#: Log of how much rarer a true offset is at which the base covers nothing: it was set up to run
#: while the rover walked (judgement: one walk in twenty without it).
UNCOVERED: Final = -3.0

#: Log of the share of bases that don't tell what the rover saw: moved, disturbed, another day's.
USELESS: Final = -3.0

#: Scales of the field's variogram at which a misfit with structure is looked for.
MISFIT_SCALES: Final = (0.0, 0.02, 0.1, 0.5)

#: Most offsets in one block.
BLOCK: Final = 4096


@dataclass(frozen=True)
class Pairs:
    """Two visits of each place: times [s], first value less second [nT], noise scale [nT]."""

    first_s: FloatArray
    second_s: FloatArray
    difference_nT: FloatArray
    unit_nT: FloatArray

    def __len__(self) -> int:
        return len(self.first_s)


@dataclass(frozen=True)
class Base:
    """A base record: times [s], values [nT], and the longest interval that isn't a gap [s]."""

    time_s: FloatArray
    value_nT: FloatArray
    max_gap_s: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the base field; NaN outside the record and in gaps."""
        return interpolate_linear(time_s, self.time_s, self.value_nT, max_gap=self.max_gap_s)


@dataclass(frozen=True)
class Likelihood:
    """Log-likelihood of offsets against knowing nothing of the field; see `offset_likelihood`.

    Parameters
    ----------
    pairs, base : Pairs, Base
        The data.
    unknown : array, shape (n, n_spreads * n_scales)
        Log-density of each difference where the base doesn't tell, spread by spread.
    log_spread : array, shape (n_spreads,)
        Log prior of each spread.
    share : float
        Independent pieces over pairs, 0 to 1: the power to which the likelihood is taken.
    """

    pairs: Pairs
    base: Base
    variogram: Variogram
    unknown: FloatArray
    log_spread: FloatArray
    share: float = 1.0

    def residuals(self, offset_s: FloatArray) -> FloatArray:
        """Return observed less expected difference (m, n) [nT]; NaN where not covered."""
        first = self.base.at((self.pairs.first_s - offset_s[:, None]).ravel())
        second = self.base.at((self.pairs.second_s - offset_s[:, None]).ravel())
        shape = (offset_s.size, len(self.pairs))
        return self.pairs.difference_nT - (first - second).reshape(shape)

    def __call__(self, offset_s: FloatArray) -> FloatArray:
        """Return the log-likelihood of each offset; zero where no pair is covered."""
        if not offset_s.size:
            return np.empty(0)
        parts = range(0, offset_s.size, BLOCK)
        return np.concatenate([self._block(offset_s[k : k + BLOCK]) for k in parts])

    def _block(self, offset_s: FloatArray) -> FloatArray:
        scaled: FloatArray = np.asarray(self.residuals(offset_s) / self.pairs.unit_nT, dtype=float)
        covered = np.isfinite(scaled)
        logs = student_logs(scaled**2, SPREADS)
        logs -= covered @ np.log(self.pairs.unit_nT)[:, None]
        joint = np.repeat(logs, len(SCALES), axis=1)
        joint += ~covered @ self.unknown
        nothing = self.unknown.sum(axis=0)[None, :]
        like = self._log_mean(joint) - self._log_mean(nothing)
        total: FloatArray = np.logaddexp(like, USELESS) - UNCOVERED * covered.mean(axis=1)
        return total

    def _log_mean(self, joint: FloatArray) -> FloatArray:
        """Return the log of the mean likelihood over spreads and scales."""
        weight = np.repeat(self.log_spread - np.log(len(SCALES)), len(SCALES))
        mean: FloatArray = np.logaddexp.reduce(self.share * joint + weight, axis=1)
        return mean

    def structure(self, offset_s: float) -> float:
        """Return the log odds by which the residuals at an offset vary with time, not at random."""
        residual = self.residuals(np.array([offset_s]))[0]
        covered = np.isfinite(residual)
        pairs = self.pairs
        densities = predictive_densities(
            pairs.first_s[covered],
            pairs.second_s[covered],
            residual[covered],
            noise_nT=SPREADS[:, None] * pairs.unit_nT[covered],
            variogram=self.variogram,
            freedom=FREEDOM,
            scales=MISFIT_SCALES,
        ).sum(axis=0)
        joint = densities.reshape(SPREADS.size, -1) + self.log_spread[:, None]
        joint = np.logaddexp.reduce(joint, axis=0)
        return float(np.logaddexp.reduce(joint[1:]) - np.log(joint.size - 1) - joint[0])


def offset_likelihood(
    pairs: Pairs, base: Base, variogram: Variogram, *, known_sd: bool
) -> Likelihood:
    """Return the likelihood of offsets, the noise's spread and the field's scale averaged out."""
    centre, width = (1.0, 0.7) if known_sd else (1.5, 1.0)
    unknown = predictive_densities(
        pairs.first_s,
        pairs.second_s,
        pairs.difference_nT,
        noise_nT=SPREADS[:, None] * pairs.unit_nT,
        variogram=variogram,
        freedom=FREEDOM,
        scales=SCALES,
    )
    log_spread = -0.5 * (np.log(SPREADS / centre) / width) ** 2
    log_spread -= np.logaddexp.reduce(log_spread)
    return Likelihood(pairs, base, variogram, unknown, log_spread)


def student_logs(squared: FloatArray, spreads: FloatArray) -> FloatArray:
    """Return the sum over pairs of Student's log-density, for each row and spread; NaN skipped."""
    constant = student_constant(FREEDOM)
    logs = _tail_logs(np.ascontiguousarray(squared), FREEDOM * spreads**2)
    count = np.isfinite(squared).sum(axis=1)
    sums: FloatArray = count[:, None] * (constant - np.log(spreads)) - (FREEDOM + 1) / 2 * logs
    return sums


@njit(nogil=True, cache=True)
def _tail_logs(squared: FloatArray, widths: FloatArray) -> FloatArray:
    """Sum of log(1 + squared / width) over each row; products are cheaper than logarithms."""
    sums = np.zeros((squared.shape[0], widths.size))
    inverse = 1.0 / widths
    for i in range(squared.shape[0]):
        for k in range(widths.size):
            product, total = 1.0, 0.0
            for j in range(squared.shape[1]):
                value = squared[i, j]
                if value == value:
                    product *= 1.0 + value * inverse[k]
                    if product > 1e200:
                        total += np.log(product)
                        product = 1.0
            sums[i, k] = total + np.log(product)
    return sums
