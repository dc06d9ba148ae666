"""From the likelihood of clock offsets to candidates with their probabilities."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.checks.clocks.revisits_prior import right_mass, slip_mass
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import FloatArray

#: A peak reaches as far as the log-likelihood stays within this of its top.
DEPTH: Final = 8.0

#: Peaks whose log posterior lies further than this below the best are left out.
NEGLIGIBLE: Final = 12.0

#: Most peaks looked at closely.
MOST_PEAKS: Final = 8

#: Offsets over a peak, and how often its range is narrowed to where the likelihood is.
FINE: Final = 81
NARROWED: Final = 3


@dataclass(frozen=True)
class Peak:
    """A peak of the likelihood.

    Parameters
    ----------
    offset_s, sd_s : float
        Mean and sd of the likelihood over the peak, no prior in it [s].
    top_s : float
        The most probable offset, prior and all [s].
    log_right, log_slip : float
        Log of the posterior mass, not normalised: of a right clock, and of a slip.
    """

    offset_s: float
    sd_s: float
    top_s: float
    log_right: float
    log_slip: float

    @property
    def log_mass(self) -> float:
        """Log of the whole mass, not normalised."""
        return float(np.logaddexp(self.log_right, self.log_slip))


@dataclass(frozen=True)
class Grid:
    """Offsets [s], the width of the bin around each [s], and their log-likelihood."""

    offset_s: FloatArray
    width_s: float
    log_like: FloatArray
    range_s: float

    def log_masses(self) -> tuple[FloatArray, FloatArray]:
        """Return the log posterior mass of each bin: of a right clock, and of a slip."""
        low, high = self.offset_s - self.width_s / 2, self.offset_s + self.width_s / 2
        tiny = np.finfo(float).tiny
        right = np.log(right_mass(low, high) + tiny)
        slip = np.log(slip_mass(low, high, range_s=self.range_s) + tiny)
        return self.log_like + right, self.log_like + slip


def find_peaks(
    grid: Grid, likelihood: Callable[[FloatArray], FloatArray]
) -> tuple[list[Peak], float, float]:
    """Return the peaks of the posterior, the best first, and the log masses outside them.

    Those are of a right clock and of a slip.
    """
    right, slip = grid.log_masses()
    total = np.logaddexp(right, slip)
    free = np.ones(total.size, dtype=bool)
    peaks: list[Peak] = []
    best = float(total.max())
    while free.any() and len(peaks) < MOST_PEAKS:
        top = int(np.argmax(np.where(free, total, -np.inf)))
        if total[top] < best - NEGLIGIBLE:
            break
        first, last = _reach(grid.log_like, _climb(grid.log_like, top, free), top, free)
        low, high = grid.offset_s[[first, last]] + np.array([-0.5, 0.5]) * grid.width_s
        peaks.append(_look_closely(low, high, grid.range_s, likelihood))
        free[first : last + 1] = False
    outside = [float(np.logaddexp.reduce(mass, where=free)) for mass in (right, slip)]
    return sorted(peaks, key=lambda peak: -peak.log_mass), outside[0], outside[1]


def _climb(log_like: FloatArray, start: int, free: BoolArray) -> int:
    """Return the top of the likelihood reached by going uphill from an offset."""
    here = start
    while True:
        near = [k for k in (here - 1, here + 1) if 0 <= k < free.size and free[k]]
        best = max(near, key=lambda k: log_like[k], default=here)
        if log_like[best] <= log_like[here]:
            return here
        here = best


def _reach(log_like: FloatArray, top: int, start: int, free: BoolArray) -> tuple[int, int]:
    """Return first and last offset of the peak around its top; `start` is always in it."""
    out = np.flatnonzero((log_like < log_like[top] - DEPTH) | ~free)
    before, after = out[out < top], out[out > top]
    first = int(before[-1]) + 1 if before.size else 0
    last = int(after[0]) - 1 if after.size else free.size - 1
    return min(first, start), max(last, start)


def _look_closely(
    low: float, high: float, range_s: float, likelihood: Callable[[FloatArray], FloatArray]
) -> Peak:
    """Return the moments and the mass of the likelihood between two offsets.

    The mass is that of the whole range; where the likelihood fills little of it, the range is
    narrowed, what is cut off having less than a thousandth of the mass.
    """
    for _ in range(NARROWED):
        width = (high - low) / FINE
        offset: FloatArray = np.asarray(low + width * (np.arange(FINE) + 0.5), dtype=np.float64)
        log_like = likelihood(offset)
        inside = np.flatnonzero(log_like > log_like.max() - 1.5 * DEPTH)
        if inside.size > FINE // 3:
            break
        low, high = offset[inside[0]] - width, offset[inside[-1]] + width
    fine = Grid(offset, width, log_like, range_s)
    right, slip = fine.log_masses()
    weight = np.exp(log_like - log_like.max())
    weight /= weight.sum()
    mean = float(weight @ offset)
    variance = float(weight @ (offset - mean) ** 2) + width**2 / 12
    return Peak(
        mean,
        float(np.sqrt(variance)),
        float(offset[np.argmax(np.logaddexp(right, slip))]),
        float(np.logaddexp.reduce(right)),
        float(np.logaddexp.reduce(slip)),
    )
