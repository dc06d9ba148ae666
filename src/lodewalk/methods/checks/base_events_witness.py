"""Whether a second record of the same field saw what a base record shows."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from lodewalk.methods.checks.base_events_scan import ALONE_S, departure_from_sides
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

#: Spread of the share of an event that a record shows, beside its noise: an event that is in it
#: in full (another place, another clock) and one that isn't.
IN_FULL: Final = 0.3
NOT_AT_ALL: Final = 0.15

#: Middles of forty equal parts of a normal variable.
QUANTILES: Final = ndtri((np.arange(40) + 0.5) / 40)

#: Readings that the witness needs within a bump.
WITHIN: Final = 3

#: A step needs the witness at least this often [s].
STEP_INTERVAL_S: Final = 30.0

#: Readings that an event needs on each of its sides to be compared.
LEAST_SIDE: Final = 4

#: Readings on each side of a step that tell its size.
SIDE_READINGS: Final = 3

#: Length of the blocks whose medians tell a creep [s], readings in one, and how many are needed.
CREEP_BLOCK_S: Final = 600.0
CREEP_READINGS: Final = 3
CREEP_BLOCKS: Final = 4

#: Share of the variation by which two places may differ without either record creeping.
PLACES_DIFFER: Final = 0.1

#: A creep exceeds so many sd of a block; the sd is the median size of the difference of two
#: blocks over this.
CREEP_SD: Final = 6.0
OF_DIFFERENCE: Final = 0.954

#: A creep lasts from where it has made this share of its change to where as much is left.
ENDS: Final = 0.1


@dataclass(frozen=True)
class Pair:
    """A base record and a witness at the same times: those of the one that reads less often.

    Parameters
    ----------
    time_s, base_nT, witness_nT : float array, shape (n,)
        Where both have a value.
    interval_s : float
        Usual interval of the times [s].
    """

    time_s: FloatArray
    base_nT: FloatArray
    witness_nT: FloatArray
    interval_s: float


def paired(
    time: FloatArray, value: FloatArray, witness_time: FloatArray, witness: FloatArray
) -> Pair | None:
    """Put a base and a witness on the same times; None where they don't overlap.

    A line between readings far apart isn't the field, so the more frequent record is taken at
    the times of the other.
    """
    known, sure = np.isfinite(value), np.isfinite(witness)
    records = [(time[known], value[known]), (witness_time[sure], witness[sure])]
    intervals = [nominal_interval(times) for times, _ in records]
    if np.isnan(intervals).any():
        return None
    rare = int(intervals[1] > 1.01 * intervals[0])
    at = records[rare][0]
    often, gap = records[1 - rare], max(3 * intervals[1 - rare], 1.5)
    other = interpolate_linear(at, *often, max_gap=gap)
    both = np.isfinite(other)
    if not both.any():
        return None
    at, own, other = at[both], records[rare][1][both], other[both]
    return Pair(at, *((other, own) if rare else (own, other)), intervals[rare])


def share_seen(pair: Pair, start_s: float, end_s: float, *, step: bool) -> tuple[float, float]:
    """Return which share of a base event its witness shows, and the sd of that share.

    NaN where the witness doesn't cover the event and both its sides, or reads too seldom.
    """
    return _share(pair, start_s, end_s, step, "base", "witness")


def share_of_base(pair: Pair, start_s: float, end_s: float, *, step: bool) -> tuple[float, float]:
    """Return which share of an event of the difference the base shows, and the sd of it."""
    return _share(pair, start_s, end_s, step, "difference", "base")


def _share(
    pair: Pair, start: float, end: float, step: bool, of: str, shown_by: str
) -> tuple[float, float]:
    """Return the regression of one record on another over an event, and its sd."""
    nothing = (float("nan"), float("nan"))
    enough = STEP_INTERVAL_S if step else max(end - start, 0.0) / WITHIN
    if not pair.interval_s <= max(enough, 1.5):
        return nothing
    low, high = np.searchsorted(pair.time_s, (start - ALONE_S, end + ALONE_S + 1e-6))
    part = slice(low, high)
    time = pair.time_s[part]
    inside: BoolArray = (time >= start) & (time <= end)
    if min((time < start).sum(), (time > end).sum()) < LEAST_SIDE or not (step or inside.any()):
        return nothing
    records = {"base": pair.base_nT[part], "witness": pair.witness_nT[part]}
    records["difference"] = records["base"] - records["witness"]
    if step:
        time = time - (start + end) / 2
    (size, _), (shown, error) = (
        (_rise if step else _departures)(time, records[name], inside) for name in (of, shown_by)
    )
    square = float(size @ size)
    if not square > 0:
        return nothing
    return float(size @ shown) / square, error / float(np.sqrt(square))


def _departures(time: FloatArray, value: FloatArray, inside: BoolArray) -> tuple[FloatArray, float]:
    """Return the differences over a quarter of a bump, and the error of each from the sides.

    The field changes less in so short a time than over the bump, the bump itself doesn't.
    """
    lag = max(1, int(inside.sum()) // 4)
    rate = departure_from_sides(time, value, inside, order=1)
    rate = rate[lag:] - rate[:-lag]
    touched = inside[lag:] | inside[:-lag]
    # So many differences in a row aren't independent.
    return rate[touched], float(np.sqrt(2 * lag * np.mean(rate[~touched] ** 2)))


def _rise(time: FloatArray, value: FloatArray, inside: BoolArray) -> tuple[FloatArray, float]:
    """Return the change of the level across a step at time 0, and its error from the sides.

    A few readings on each side, across which the field changes little.
    """
    first, last = int((time < 0).sum()) - 1, int((time <= 0).sum())
    if inside.any():
        first, last = int(np.argmax(inside)), inside.size - 1 - int(np.argmax(inside[::-1]))
    few = min(SIDE_READINGS, first + 1, time.size - last)
    lag, number = last - first + few - 1, np.ones(few) / few
    level = np.convolve(value, number, mode="valid")
    change = level[lag:] - level[:-lag]
    at = first + 1 - few
    beside = np.abs(np.arange(change.size) - at) > lag + few
    error = np.sqrt(np.mean(change[beside] ** 2)) if beside.any() else np.inf
    return change[at : at + 1], float(error)


def odds_alone(share: float, sd: float) -> float:
    """Return the odds that a witness saw nothing of an event to its having seen it in full."""
    return float(np.exp(_log_normal(share, 0, sd, NOT_AT_ALL) - _log_normal(share, 1, sd, IN_FULL)))


def odds_base(share: float, sd: float) -> float:
    """Return the odds that an event of the difference is the base's alone.

    Against it stand that it is the witness's, and that it is real and larger in one of the two:
    where the witness shows a share r of what the base does, the base shows 1/(1-r) of the
    difference.
    """
    places = np.concatenate(([1.0, 0.0], 1 / (IN_FULL * QUANTILES)))
    own, other, *both = (np.exp(_log_normal(share, place, sd, NOT_AT_ALL)) for place in places)
    return float(own / (other + np.mean(both)))


def _log_normal(value: float, mean: float, sd: float, spread: float) -> float:
    """Return the logarithm of a normal density, never less than e^-25 of its height."""
    total = np.hypot(sd, spread)
    if np.isinf(total):  # nothing is known, so all values are as likely
        return 0.0
    return float(-min(0.5 * ((value - mean) / total) ** 2, 25) - np.log(total))


def _creep_blocks(pair: Pair) -> list[slice]:
    """Return the blocks of ten minutes that hold enough readings."""
    if not pair.time_s.size:
        return []
    block = ((pair.time_s - pair.time_s[0]) // CREEP_BLOCK_S).astype(np.int64)
    _, starts, counts = np.unique(block, return_index=True, return_counts=True)
    pairs = zip(starts.tolist(), counts.tolist(), strict=True)
    return [slice(start, start + n) for start, n in pairs if n >= CREEP_READINGS]


def creep_testable(pair: Pair) -> bool:
    """Tell whether base and witness share enough blocks of ten minutes to show a drift."""
    return len(_creep_blocks(pair)) >= CREEP_BLOCKS


def creep(pair: Pair, *, least_nT: float) -> tuple[float, float, float] | None:
    """Find a slow drift of base less witness.

    Returns
    -------
    tuple or None
        Start and end [s] of the greatest change of the medians of ten minutes, and that change
        [nT]; None where it is within `least_nT`, a tenth of the variation itself, or the noise.
    """
    blocks = _creep_blocks(pair)
    if len(blocks) < CREEP_BLOCKS:
        return None
    difference = pair.base_nT - pair.witness_nT
    level, of_witness, middle = (
        np.array([np.median(values[block]) for block in blocks])
        for values in (difference, pair.witness_nT, pair.time_s)
    )
    one, two = sorted((int(np.argmin(level)), int(np.argmax(level))))
    change = float(level[two] - level[one])
    noise = float(np.median(np.abs(np.diff(level)))) / OF_DIFFERENCE
    places = PLACES_DIFFER * float(np.ptp(of_witness))
    if abs(change) <= max(least_nT, places, CREEP_SD * noise):
        return None
    share = (level - level[one]) / change
    start = one + int(np.flatnonzero(share[one : two + 1] < ENDS)[-1])
    end = start + int(np.flatnonzero(share[start : two + 1] > 1 - ENDS)[0])
    return float(middle[start]), float(middle[end]), change
