"""Linear interpolation between knots: no extrapolation, nothing inside a gap."""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_increasing, check_same_length

#: Most buckets of the look-up table for each knot.
MAX_BUCKETS_PER_KNOT: Final = 8


def interpolate_linear(
    at: ArrayLike, knots: ArrayLike, values: ArrayLike, *, max_gap: float
) -> FloatArray:
    """Interpolate on straight lines between knots.

    Parameters
    ----------
    at : array, shape (n,)
        Where to interpolate, in any order; fastest in order.
    knots : array, shape (n_knots,)
        Increasing places of the known values.
    values : array, shape (n_knots,)
        Value at each knot; a missing one (NaN) is stepped over.
    max_gap : float
        A longer interval between two knots is a gap; infinity for none.

    Returns
    -------
    float array, shape (n,)
        NaN outside the knots and inside a gap; the value itself at a knot, also beside a gap.

    Raises
    ------
    InputError
        When the lengths differ, the knots don't increase, or `max_gap` isn't above zero.

    Notes
    -----
    Places in order take one pass along the knots. In any order, a table of even buckets over the
    knots says where to look; evenly spaced knots need no table. The answer is the same.

    Examples
    --------
    >>> interpolate_linear([0.5, 3.0, 4.0, 9.0], [0, 1, 4, 5], [0, 10, 20, 30], max_gap=2).tolist()
    [5.0, nan, 20.0, nan]
    """
    places = np.ascontiguousarray(at, dtype=np.float64)
    knot, value = np.array(knots, dtype=np.float64), np.array(values, dtype=np.float64)
    check_same_length(knots=knot, values=value)
    check_increasing(knot, name="knots")
    if not max_gap > 0:
        raise InputError("max_gap must be above zero.", value=max_gap)
    known = np.isfinite(value)
    if not known.all():
        knot, value = knot[known], value[known]
    if not knot.size:
        return np.full(places.shape, np.nan)
    out = np.empty(places.shape)
    if _in_order(places):
        _fill_in_order(places, knot, value, max_gap, out)
    elif _are_even(knot, max_gap):
        _fill_even(places, knot[0], knot[1] - knot[0], value, out)
    else:
        _fill_any_order(places, knot, value, max_gap, *_table(knot), out)
    return out


def _are_even(knot: FloatArray, max_gap: float) -> bool:
    """Tell whether the knots lie exactly at even places without a gap."""
    if knot.size < 2:
        return False
    width = knot[1] - knot[0]
    return bool(width <= max_gap) and np.array_equal(knot, knot[0] + width * np.arange(knot.size))


def _table(knot: FloatArray) -> tuple[NDArray[np.int64], float]:
    """Return the last knot at or before each of many even buckets, and buckets per unit."""
    if knot.size < 2:
        return np.zeros(1, dtype=np.int64), 0.0
    span = float(knot[-1] - knot[0])
    width = max(float(np.median(np.diff(knot))), span / (MAX_BUCKETS_PER_KNOT * knot.size))
    edges = knot[0] + width * np.arange(int(span / width) + 1)
    return np.searchsorted(knot, edges, side="right") - 1, 1 / width


@njit(nogil=True, cache=True)
def _in_order(at: FloatArray) -> bool:
    """Tell whether no place lies before the one before it; False where one is missing."""
    for i in range(1, at.size):  # noqa: SIM110 (a kernel takes no generator)
        if not at[i] >= at[i - 1]:
            return False
    return True


@njit(nogil=True, cache=True)
def _slope(j: int, knot: FloatArray, value: FloatArray, max_gap: float) -> float:
    """Return the slope of the line that begins at knot `j`; NaN at a gap and at the last knot."""
    if j + 1 == knot.size or knot[j + 1] - knot[j] > max_gap:
        return np.nan
    return (value[j + 1] - value[j]) / (knot[j + 1] - knot[j])  # type: ignore[no-any-return]


@njit(nogil=True, cache=True)
def _fill_in_order(
    at: FloatArray, knot: FloatArray, value: FloatArray, max_gap: float, out: FloatArray
) -> None:
    """Fill `out` along the knots; each interval's line serves all the places inside it."""
    i, n = 0, at.size
    while i < n and at[i] < knot[0]:
        out[i] = np.nan
        i += 1
    for j in range(knot.size):
        low, base, slope = knot[j], value[j], _slope(j, knot, value, max_gap)
        while i < n and at[i] == low:
            out[i] = base
            i += 1
        high = knot[j + 1] if j + 1 < knot.size else low
        while i < n and at[i] < high:
            out[i] = base + (at[i] - low) * slope
            i += 1
        if i == n:
            return
    out[i:] = np.nan


@njit(nogil=True, cache=True)
def _fill_even(
    at: FloatArray, first: float, width: float, value: FloatArray, out: FloatArray
) -> None:
    """Fill `out` from knots at ``first + j width`` without looking at the knots."""
    last = value.size - 1
    end, per_unit = first + last * width, 1 / width
    for i in range(at.size):
        t = at[i]
        if (first <= t) & (t < end):
            j = int((t - first) * per_unit)
            j -= t < first + j * width  # rounding
            j += t >= first + (j + 1) * width
            low = first + j * width
            slope = (value[j + 1] - value[j]) / (first + (j + 1) * width - low)
            out[i] = value[j] + (t - low) * slope
        else:
            out[i] = value[last] if t == end else np.nan


@njit(nogil=True, cache=True)
def _fill_any_order(
    at: FloatArray,
    knot: FloatArray,
    value: FloatArray,
    max_gap: float,
    table: NDArray[np.int64],
    per_unit: float,
    out: FloatArray,
) -> None:
    """Fill `out`, looking each place up in the table."""
    first, end = knot[0], knot[-1]
    for i in range(at.size):
        t = at[i]
        if not (first <= t) & (t <= end):
            out[i] = np.nan
            continue
        j = _last_before(t, knot, table[min(int((t - first) * per_unit), table.size - 1)])
        low, base = knot[j], value[j]
        out[i] = base if t == low else base + (t - low) * _slope(j, knot, value, max_gap)


@njit(nogil=True, cache=True)
def _last_before(t: float, knot: FloatArray, guess: int) -> int:
    """Return the last knot at or before `t`, which lies within the knots; `guess` is near it."""
    while knot[guess] > t:
        guess -= 1
    step = 1
    while guess + step < knot.size and knot[guess + step] <= t:
        guess += step
        step *= 2
    while step > 1:
        step //= 2
        if guess + step < knot.size and knot[guess + step] <= t:
            guess += step
    return guess
