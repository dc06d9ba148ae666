"""The offset that the zigzag between opposite-going passages asks for, and how sure it is."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from lodewalk.methods.checks.clocks.zigzag_match import (
    Matches,
    slant_misfits,
    with_neighbours,
)
from lodewalk.methods.checks.clocks.zigzag_passages import Passages
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: Error of position that a line is expected to have [m] (satellite receivers, from memory), and how
#: many degrees of freedom that expectation is worth beside the residuals.
POSITION_SD_M: Final = 1.5
POSITION_FREEDOM: Final = 4.0

#: A match counts when it leaves less than this share of the window's sum of squares.
WORST_MATCH: Final = 0.4

#: A strike counts when it leaves less than this share over the lines and windows that share it.
WORST_STRIKE: Final = 0.5

#: Shifts about the common strike are looked for up to this [m].
REACH_M: Final = 12.0

#: A passage counts when an offset moves it against its neighbours by at least this share of what
#: it does between passages walked in opposite directions.
LEAST_LEVER: Final = 0.3

#: Residuals beyond this many sd count less (Huber).
HUBER_SD: Final = 3.0

#: Fewest passages with matches that an offset can rest on.
FEWEST_LINES: Final = 4

#: Half-width of a 90 % interval in sd.
NINETY: Final = 1.645


@dataclass(frozen=True)
class Zigzag:
    """Offset left over [s], its sd [s], and the number of lines that it rests on."""

    offset_s: float
    sd_s: float
    lines: int


@dataclass(frozen=True)
class _Lines:
    """One figure for each passage: apparent displacement [m] against its neighbours' mean."""

    shift_m: FloatArray
    lever_m_s: FloatArray
    weight: FloatArray


def neighbour_shares(passages: Passages) -> FloatArray:
    """Return the weights (n, 2) that interpolate straight between the two neighbours."""
    gap = np.abs(passages.across_m[passages.beside] - passages.across_m[:, None]) + 0.1
    shares = gap[:, ::-1] / gap.sum(axis=1, keepdims=True)
    both = np.all(passages.beside >= 0, axis=1, keepdims=True)
    return np.where(both, shares, np.nan)


def levers(passages: Passages) -> FloatArray:
    """Return the zigzag of each passage for one second of offset [m/s]; NaN where too little."""
    speed = passages.velocity_m_s
    lever = np.sum(neighbour_shares(passages) * speed[passages.beside], axis=1) - speed
    enough = np.abs(lever) >= 2 * LEAST_LEVER * np.abs(speed)
    return np.where(enough, lever, np.nan)


def window_shifts(
    matches: Matches, passages: Passages, *, least_energy: float
) -> tuple[FloatArray, FloatArray]:
    """Return the displacement (n, windows) against the neighbours' mean [m] and its variance.

    NaN where the window isn't found well on both neighbours, or where its sum of squares is below
    `least_energy`.
    """
    slants, misfit = slant_misfits(matches, passages)
    common = with_neighbours(misfit)
    slant = slants[np.argmin(common, axis=2)]
    followed = (
        common.min(axis=2) < WORST_STRIKE * with_neighbours(2 * matches.energy[:, :, None])[:, :, 0]
    )
    shares = neighbour_shares(passages)
    shift, variance = np.zeros(slant.shape), np.zeros(slant.shape)
    for side in range(2):
        gap = passages.across_m[passages.beside[:, side]] - passages.across_m
        found, spread = _lowest(
            matches.misfit[:, side], matches.energy, gap[:, None] * slant, matches.step_m
        )
        shift += shares[:, side, None] * found
        variance += shares[:, side, None] ** 2 * spread
    return np.where(followed & (matches.energy >= least_energy), shift, np.nan), variance


def _lowest(
    misfit: FloatArray, energy: FloatArray, about_m: FloatArray, step_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return the shift with the least misfit near `about_m` [m], and its variance [m2]."""
    reach, half = misfit.shape[-1] // 2, int(REACH_M / step_m)
    first = np.rint(about_m / step_m).astype(np.int64) + reach - half
    first = np.clip(first, 0, max(2 * reach - 2 * half, 0))
    index = first[..., None] + np.arange(2 * half + 1)
    near = np.take_along_axis(misfit, index, axis=-1)
    at = np.argmin(np.where(np.isfinite(near), near, np.inf), axis=-1)
    inner = np.clip(at, 1, 2 * half - 1)
    before, here, after = (
        np.take_along_axis(near, (inner + k)[..., None], axis=-1)[..., 0] for k in (-1, 0, 1)
    )
    bend = before - 2 * here + after
    good = (inner == at) & (bend > 0) & (here < WORST_MATCH * energy)
    bend = np.where(good, bend, np.nan)
    shift = (first + inner - reach + 0.5 * (before - after) / bend) * step_m
    return shift, 2 * here / bend * step_m**2 / 10.0


def fit_zigzag(shift_m: FloatArray, variance_m2: FloatArray, passages: Passages) -> Zigzag | None:
    """Return the offset by weighted least squares over the passages; None with too few.

    See `zigzag_offset` for the model.
    """
    lines = _by_line(shift_m, variance_m2 + POSITION_SD_M**2, levers(passages))
    used = np.flatnonzero(lines.weight > 0)
    if used.size < FEWEST_LINES:
        return None
    lever, weight = lines.lever_m_s[used], lines.weight[used]
    square = np.sum(weight * lever**2)
    offset = float(np.sum(weight * lever * lines.shift_m[used]) / square)
    left = lines.shift_m[used] - lever * offset
    own = _own_errors(passages, used)
    smooth = np.outer(lever, weight * lever) / square
    spread = np.sqrt(weight)[:, None] * (own - smooth @ own)
    moments = spread.T @ spread
    trace = float(np.trace(moments))
    freedom = trace**2 / float(np.sum(moments**2))
    seen = freedom * float(np.sum(weight * left**2)) / trace
    freedom += POSITION_FREEDOM
    variance = (seen + POSITION_FREEDOM * POSITION_SD_M**2) / freedom
    gain = (weight * lever / square) @ own
    sd = float(np.sqrt(variance * np.sum(gain**2)))
    return Zigzag(offset, sd * float(stats.t.ppf(0.95, freedom)) / NINETY, int(used.size))


def _by_line(shift_m: FloatArray, variance_m2: FloatArray, lever_m_s: FloatArray) -> _Lines:
    """Return the mean over each passage's windows, windows that stand out counting less."""
    lever = np.broadcast_to(lever_m_s[:, None], shift_m.shape)
    good = np.isfinite(shift_m + variance_m2 + lever)
    weight = np.where(good, 1 / np.where(good, variance_m2, 1.0), 0.0)
    shift = np.where(good, shift_m, 0.0)
    lever = np.where(good, lever, 0.0)
    robust = weight
    for _ in range(8):
        square = np.sum(robust * lever**2)
        if not square > 0:
            break
        left = np.abs(shift - lever * (np.sum(robust * lever * shift) / square))
        scale = 1.4826 * _weighted_median(left[good], weight[good])
        robust = weight * np.minimum(1.0, HUBER_SD * scale / np.maximum(left, 1e-9))
    total = robust.sum(axis=1)
    mean = np.sum(robust * shift, axis=1) / np.where(total > 0, total, 1.0)
    # Windows of a passage share most of its position error, so they don't add up in full.
    return _Lines(mean, np.where(total > 0, lever_m_s, 0.0), np.sqrt(total))


def _weighted_median(value: FloatArray, weight: FloatArray) -> float:
    """Return the value that half the weight lies below."""
    order = np.argsort(value)
    share = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(share, share[-1] / 2)])


def _own_errors(passages: Passages, used: IntArray) -> FloatArray:
    """Return what the passages' own errors do to the displacements of those used."""
    effect = np.zeros((used.size, len(passages)))
    rows = np.arange(used.size)
    shares = neighbour_shares(passages)
    effect[rows, used] = -1.0
    for side in range(2):
        effect[rows, passages.beside[used, side]] += shares[used, side]
    return effect
