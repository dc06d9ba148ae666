"""Kernels of the strike's coherence: neighbouring profiles matched along one strike."""

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Less than this share of a window tells nothing.
_LEAST_KNOWN = 0.25


@njit(nogil=True, cache=True, inline="always")
def _at(row: FloatArray, place: float) -> float:
    """Return a sampled profile at any place; NaN outside it or in a hole."""
    if not (0.0 <= place <= row.size - 1.0):
        return np.nan
    low = min(int(place), row.size - 2)
    part = place - low
    if part == 0.0:
        return float(row[low])
    if part == 1.0:
        return float(row[low + 1])
    return float(row[low] + part * (row[low + 1] - row[low]))


@njit(nogil=True, cache=True, inline="always")
def _matched(
    across: FloatArray, value: FloatArray, k: int, m: int, place: float, at: float, slope: float
) -> tuple[float, float, float, float]:
    """Return both lines' places across and readings where a strike through a point meets them.

    The point lies `at` across and `place` samples along; `slope` is samples along over distance
    across. Lines aren't straight, so the place across is looked up once again where it was met.
    """
    first = int(np.rint(place))
    below = place + slope * (across[k, first] - at)
    above = place + slope * (across[m, first] - at)
    low, high = _at(across[k], below), _at(across[m], above)
    below, above = place + slope * (low - at), place + slope * (high - at)
    return low, high, _at(value[k], below), _at(value[m], above)


@njit(nogil=True, cache=True)
def _running_mean(row: FloatArray, half: int) -> FloatArray:
    """Return means over `half` samples either way, with zeros beyond the ends."""
    n = row.size
    total = np.zeros(n + 1)
    for j in range(n):
        total[j + 1] = total[j] + row[j]
    out = np.empty(n)
    for j in range(n):
        out[j] = (total[min(j + half + 1, n)] - total[max(j - half, 0)]) / (2 * half + 1)
    return out


@njit(nogil=True, cache=True)
def _pairs(
    across: FloatArray, value: FloatArray, right: IntArray, slope: float, half: int
) -> tuple[FloatArray, FloatArray]:
    """Return half the mean square difference and the mean square of matched readings.

    One value for each line and its right neighbour, and each sample at the middle between them,
    over a window of two running means; NaN where too little is known.
    """
    lines, samples = value.shape
    difference, size = np.zeros((lines, samples)), np.zeros((lines, samples))
    for k in range(lines):
        known = np.zeros(samples)
        for j in range(samples):
            m = right[k, j]
            if m < 0:
                continue
            middle = (across[k, j] + across[m, j]) / 2
            _, _, p, q = _matched(across, value, k, m, float(j), middle, slope)
            if np.isfinite(p + q):
                known[j] = 1.0
                difference[k, j] = (p - q) ** 2 / 2
                size[k, j] = (p * p + q * q) / 2
        for _ in range(2):
            known = _running_mean(known, half)
            difference[k] = _running_mean(difference[k], half)
            size[k] = _running_mean(size[k], half)
        for j in range(samples):
            enough = known[j] > _LEAST_KNOWN
            difference[k, j] = difference[k, j] / known[j] if enough else np.nan
            size[k, j] = size[k, j] / known[j] if enough else np.nan
    return difference, size


@njit(nogil=True, cache=True, inline="always")
def _next_pair(right: IntArray, line: int, at: int, side: int) -> int:
    """Return the first line of the pair on one side of a pair, or -1."""
    if side > 0:
        return int(right[line, at])
    for k in range(line - 1, -1, -1):
        if right[k, at] == line:
            return k
    return -1


@njit(nogil=True, cache=True, inline="always")
def _beside(
    across: FloatArray, right: IntArray, slope: float, k: int, j: int, side: int
) -> tuple[int, int]:
    """Return the pair, and its sample, that a strike through the middle of a pair comes to."""
    pair = _next_pair(right, k, j, side)
    if pair < 0 or right[pair, j] < 0:
        return -1, 0
    here = (across[k, j] + across[right[k, j], j]) / 2
    there = (across[pair, j] + across[right[pair, j], j]) / 2
    at = int(np.rint(j + slope * (there - here)))
    if at < 0 or at >= across.shape[1] or right[pair, at] < 0:
        return -1, 0
    return pair, at


@njit(nogil=True, cache=True)
def _followed(
    across: FloatArray, right: IntArray, slope: float, difference: FloatArray, size: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the means of `_pairs` over each pair and those that its strike comes to beside it."""
    lines, samples = across.shape
    wide, large = np.full((lines, samples), np.nan), np.full((lines, samples), np.nan)
    for k in range(lines):
        for j in range(samples):
            if right[k, j] < 0 or not np.isfinite(difference[k, j]):
                continue
            total, squares, count = difference[k, j], size[k, j], 1
            for side in (-1, 1):
                pair, at = _beside(across, right, slope, k, j, side)
                if pair >= 0 and np.isfinite(difference[pair, at]):
                    total += difference[pair, at]
                    squares += size[pair, at]
                    count += 1
            wide[k, j], large[k, j] = total / count, squares / count
    return wide, large


@njit(nogil=True, cache=True, parallel=True)
def alike(
    across: FloatArray, value: FloatArray, right: IntArray, slope: FloatArray, half: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return difference and size of matched readings for each strike, pair and sample."""
    shape = (slope.size, *value.shape)
    difference, size = np.empty(shape), np.empty(shape)
    for number in prange(slope.size):
        one, other = _pairs(across, value, right, slope[number], half[number])
        one, other = _followed(across, right, slope[number], one, other)
        difference[number] = one
        size[number] = other
    return difference, size


@njit(nogil=True, cache=True, parallel=True)
def bracket(along: FloatArray, across: FloatArray, lies: FloatArray, right: IntArray) -> IntArray:
    """Return the line on the near side of each point, -1 where it lies between no neighbours.

    `along` counts samples.
    """
    found = np.full(along.size, -1, dtype=np.int64)
    for point in prange(along.size):
        j = int(np.rint(along[point]))
        if j < 0 or j >= lies.shape[1]:
            continue
        for k in range(lies.shape[0]):
            m = right[k, j]
            if m >= 0 and lies[k, j] <= across[point] < lies[m, j]:
                found[point] = k
    return found


@njit(nogil=True, cache=True, parallel=True)
def carry(
    sums: FloatArray,
    points: tuple[FloatArray, FloatArray, IntArray],
    profiles: tuple[FloatArray, FloatArray, IntArray],
    matches: tuple[FloatArray, FloatArray],
    slope: FloatArray,
    angle: FloatArray,
    power: float,
) -> None:
    """Add what each strike says of each point to the sums.

    The sums, a row a point, are of likelihoods, and of these times the value, its square,
    difference and size, and the cosine and sine of twice the strike's angle; last comes the
    likelihood of strikes along which nothing was read.
    """
    along, across, near = points
    lies, value, right = profiles
    difference, size = matches
    double = np.cos(2 * angle), np.sin(2 * angle)
    for point in prange(along.size):
        k = near[point]
        place, at = along[point], across[point]
        j = int(np.rint(place))
        m = right[k, j]
        off = (lies[k, j] + lies[m, j]) / 2 - at
        row = sums[point]
        for number in range(slope.size):
            middle = place + slope[number] * off
            d, s = _at(difference[number, k], middle), _at(size[number, k], middle)
            if not s > 0.0 or right[k, int(np.rint(middle))] != m:
                continue
            # No two lines agree to the last digit, so one strike never has all the likelihood.
            likely = (s / (d + 1e-6 * s)) ** power
            low, high, p, q = _matched(lies, value, k, m, place, at, slope[number])
            if not np.isfinite(p + q) or high <= low:
                row[7] += likely
                continue
            v = p + (at - low) / (high - low) * (q - p)
            row[0] += likely
            row[1] += likely * v
            row[2] += likely * v * v
            row[3] += likely * d
            row[4] += likely * s
            row[5] += likely * double[0][number]
            row[6] += likely * double[1][number]
