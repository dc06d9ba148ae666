"""Anomalies of a passage looked for on the passages beside it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from scipy.ndimage import uniform_filter1d

from lodewalk.methods.checks.clocks.zigzag_passages import Passages
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: An anomaly may be so many times weaker or stronger on the next line.
MAX_CHANGE: Final = 2.5

#: Strikes are looked for up to this many metres along for each metre across: 65 degrees.
MAX_SLANT: Final = 2.2

#: Shifts are looked for up to this [m].
MAX_SHIFT_M: Final = 90.0

#: The strike is common to so many lines and windows.
STRIKE_LINES, STRIKE_WINDOWS = 3, 3


@dataclass(frozen=True)
class Matches:
    """Misfit of each window of a passage against its two neighbours.

    Parameters
    ----------
    misfit : array, shape (n, 2, windows, shifts)
        Sum of squares left by the neighbour at each shift; NaN where it isn't known.
    energy : array, shape (n, windows)
        Sum of squares of the window about its mean; NaN where it isn't known.
    step_m : float
        Step of the shifts, which are centred on zero [m].
    """

    misfit: FloatArray
    energy: FloatArray
    step_m: float


def match_windows(
    profile: FloatArray, passages: Passages, *, window_m: float, every_m: float
) -> Matches:
    """Return how well each window of each passage is found on the passages beside it."""
    width = max(round(window_m / passages.step_m), 5)
    every = max(round(every_m / passages.step_m), 1)
    starts = np.arange(0, max(profile.shape[1] - width + 1, 0), every)
    gap = np.abs(passages.across_m[passages.beside] - passages.across_m[:, None])
    usual = float(np.median(gap[passages.beside >= 0])) if np.any(passages.beside >= 0) else 0.0
    reach_m = min(MAX_SLANT * usual + 20.0, MAX_SHIFT_M)
    misfit, energy = _misfits(
        profile, passages.beside, starts, width, int(reach_m / passages.step_m)
    )
    return Matches(misfit, energy, passages.step_m)


@njit(nogil=True, cache=True)
def _misfits(
    profile: FloatArray, beside: IntArray, starts: IntArray, width: int, reach: int
) -> tuple[FloatArray, FloatArray]:
    """Sums of squares left after the best level and strength of the neighbour, at each shift."""
    count, places = profile.shape
    misfit = np.full((count, 2, starts.size, 2 * reach + 1), np.nan)
    energy = np.full((count, starts.size), np.nan)
    own = np.empty(width)
    for n in range(count):
        for w in range(starts.size):
            start = starts[w]
            mean = 0.0
            for k in range(width):
                own[k] = profile[n, start + k]
                mean += own[k]
            mean /= width
            if not np.isfinite(mean):
                continue
            total = 0.0
            for k in range(width):
                own[k] -= mean
                total += own[k] * own[k]
            energy[n, w] = total
            for side in range(2):
                other = beside[n, side]
                if other < 0:
                    continue
                for shift in range(-reach, reach + 1):
                    first = start + shift
                    if first < 0 or first + width > places:
                        continue
                    misfit[n, side, w, shift + reach] = _left_over(
                        own, total, profile[other, first : first + width]
                    )
    return misfit, energy


@njit(nogil=True, cache=True, fastmath={"reassoc", "contract"})
def _left_over(own: FloatArray, total: float, other: FloatArray) -> float:
    """Sum of squares of one window less the other at its best level and strength."""
    level = square = common = 0.0
    for k in range(own.size):
        level += other[k]
        square += other[k] * other[k]
        common += own[k] * other[k]
    square -= level * level / own.size
    if not np.isfinite(square):
        return np.nan
    strength = common / square if square > 0 else 0.0
    strength = min(max(strength, 1 / MAX_CHANGE), MAX_CHANGE)
    return total - 2 * strength * common + strength * strength * square


def slant_misfits(matches: Matches, passages: Passages) -> tuple[FloatArray, FloatArray]:
    """Return slants [m along for each m across] and the misfit (n, windows, slants) at each.

    Both neighbours count, at shifts in proportion to their distance across, so that only a
    straight strike is followed and never a zigzag.
    """
    gap = passages.across_m[passages.beside] - passages.across_m[:, None]
    usual = float(np.median(np.abs(gap[passages.beside >= 0])))
    slants = np.arange(-MAX_SLANT, MAX_SLANT + 1e-9, matches.step_m / max(usual, 5.0))
    reach = matches.misfit.shape[-1] // 2
    total = np.zeros((*matches.energy.shape, slants.size))
    for side in range(2):
        shift = np.rint(gap[:, side, None] * slants / matches.step_m).astype(np.int64)
        inside = np.abs(shift) <= reach
        index = np.where(inside, shift, 0) + reach
        found = np.take_along_axis(matches.misfit[:, side], index[:, None, :], axis=2)
        found = np.where(inside[:, None, :], found, np.nan)
        worst = matches.energy[:, :, None]
        total += np.where(np.isfinite(found), np.minimum(found, worst), worst)
    return slants, total


def with_neighbours(misfit: FloatArray) -> FloatArray:
    """Return misfits averaged over a few lines and windows, as the strike is common to them."""
    known = np.isfinite(misfit)
    total = np.where(known, misfit, 0.0)
    for axis, size in ((0, STRIKE_LINES), (1, STRIKE_WINDOWS)):
        total = uniform_filter1d(total, size, axis=axis, mode="constant")
    return total
