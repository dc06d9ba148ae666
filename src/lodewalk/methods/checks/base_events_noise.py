"""Stretches in which the readings of a base become noisier and the field does not."""

from itertools import pairwise
from typing import Final

import numpy as np

from lodewalk.methods.checks.base_events_grid import Piece
from lodewalk.methods.checks.fourth_difference import NORMAL_MEDIAN_SIZE, WHITE_NOISE_GAIN
from lodewalk.methods.checks.spans import BoolArray, marked_spans
from lodewalk.validation import FloatArray

#: Fourth differences in a block that tells the noise to one part in six.
BLOCK: Final = 30

#: Noise that lasts shorter than this isn't a lasting change [s]; shorter lulls are bridged [s].
LASTING_S: Final = 180.0
LULL_S: Final = 120.0

#: Share of the blocks whose noise counts as usual: the quietest quarter.
USUAL: Final = 0.25

#: White noise has the same fourth difference whatever its spacing. That of the field grows with
#: it: from one interval to two, 1.41 times for a random walk, and more for what is smoother.
WHITE_GROWTH: Final = 1.2


def noise_blocks(piece: Piece) -> tuple[FloatArray, FloatArray]:
    """Return the noise sd of each block from fourth differences one and two intervals apart."""
    one, two = (_block_noise(piece.value, spacing) for spacing in (1, 2))
    return one[: two.size], two


def _block_noise(value: FloatArray, spacing: int) -> FloatArray:
    """Return the noise sd of each block [nT]."""
    s, n = spacing, value.size
    if n < 4 * s + BLOCK:
        return np.empty(0)
    sides = value[s : n - 3 * s] + value[3 * s : n - s]
    ends = value[: n - 4 * s] + value[4 * s :]
    size = np.abs(ends - 4 * sides + 6 * value[2 * s : n - 2 * s]) / 16
    median = np.median(size[: size.size // BLOCK * BLOCK].reshape(-1, BLOCK), axis=1)
    noise: FloatArray = median / (NORMAL_MEDIAN_SIZE * WHITE_NOISE_GAIN)
    return noise


def noisier_stretches(
    piece: Piece,
    blocks: tuple[FloatArray, FloatArray],
    *,
    least_nT: float,
) -> list[tuple[float, float, float, float]]:
    """Find the stretches with lasting white noise of more than `least_nT`.

    Returns
    -------
    list of tuple
        Start and end [s], noise sd [nT], and how many times over it passes.
    """
    one, _ = blocks
    if not one.size:
        return []
    block_s = BLOCK * piece.step_s
    noisy = _bridged(one > least_nT, max(1, round(LULL_S / block_s)))
    begin = piece.start_s + 2 * piece.step_s + block_s * np.arange(one.size)
    spans = marked_spans(noisy, time_s=begin)
    rows = []
    for first, last in zip(spans.first, spans.last, strict=True):
        start, end = float(begin[first]), float(begin[last] + block_s)
        noise, wider = (float(np.median(part[first : last + 1])) for part in blocks)
        lasting = end - start >= LASTING_S and last - first >= 2
        if lasting and noise > least_nT and wider < WHITE_GROWTH * noise:
            rows.append((start, end, noise, noise / least_nT))
    return rows


def _bridged(marks: BoolArray, lull: int) -> BoolArray:
    """Return the marks with runs of at most `lull` unmarked ones between marked ones filled."""
    at = np.flatnonzero(marks)
    filled = marks.copy()
    for before, after in pairwise(at):
        if after - before - 1 <= lull:
            filled[before:after] = True
    return filled
