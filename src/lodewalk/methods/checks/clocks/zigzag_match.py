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
    level, square = _window_sums(profile, width)
    own = np.empty(width)
    for n in range(count):
        for w in range(starts.size):
            start = starts[w]
            mean = level[n, start] / width
            if not np.isfinite(mean):
                continue
            total = 0.0
            for k in range(width):
                own[k] = profile[n, start + k] - mean
                total += own[k] * own[k]
            energy[n, w] = total
            for side in range(2):
                other = beside[n, side]
                if other < 0:
                    continue
                for shift in range(max(-reach, -start), min(reach, places - width - start) + 1):
                    first = start + shift
                    if np.isfinite(level[other, first]):
                        common = _product(own, profile[other], first)
                        rest = square[other, first] - level[other, first] ** 2 / width
                        misfit[n, side, w, shift + reach] = _left_over(total, common, rest)
    return misfit, energy


@njit(nogil=True, cache=True)
def _window_sums(profile: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Sum and sum of squares of the window that begins at each place; NaN with one missing."""
    count, places = profile.shape
    level = np.full((count, places), np.nan)
    square = np.full((count, places), np.nan)
    for n in range(count):
        one = two = 0.0
        known = 0
        for k in range(places):
            value = profile[n, k]
            if not np.isfinite(value):
                one, two, known = 0.0, 0.0, 0
                continue
            one, two, known = one + value, two + value * value, known + 1
            if known > width:
                old = profile[n, k - width]
                one, two = one - old, two - old * old
            if known >= width:
                level[n, k - width + 1], square[n, k - width + 1] = one, two
    return level, square


@njit(nogil=True, cache=True, fastmath={"reassoc", "contract"})
def _product(own: FloatArray, other: FloatArray, first: int) -> float:
    """Sum of the products of a window and the other's values from a place on."""
    total = 0.0
    for k in range(own.size):
        total += own[k] * other[first + k]
    return total


@njit(nogil=True, cache=True)
def _left_over(total: float, common: float, square: float) -> float:
    """Sum of squares of one window less the other at its best level and strength."""
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
