"""Spikes of a base record: a person, a vehicle or the logger, not the field of the Earth."""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.methods.checks.spans import BoolArray, IntArray, piece_bounds
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Longest spike in readings.
MAX_WIDTH: Final = 2

#: Readings on each side of a spike that tell how much the record moves there.
SIDE: Final = 15

#: Departures that a side must have to be used.
MIN_SIDE: Final = 5

#: Upper quartile of the size of a normal variable, in sd.
UPPER_QUARTILE: Final = 1.150349


def find_base_spikes(
    base_time_s: ArrayLike, base_nT: ArrayLike, *, k_sd: float = 7.5, floor_nT: float = 3.0
) -> BoolArray:
    """Find isolated spikes of one or two readings in a base record.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s]; an interval above three usual ones parts the record.
    base_nT : array, shape (n,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    k_sd : float
        A spike stands off by more than this many sd of the departures around it (default 7.5).
    floor_nT : float
        A spike also stands off by more than this, and by more than two steps of the instrument's
        resolution [nT] (default 3.0, the usual tolerance of a base, see `chord_departures`).

    Returns
    -------
    bool array, shape (n,)
        True at each reading of a spike.

    Raises
    ------
    InputError
        When the lengths differ, the times don't increase, or a setting isn't above zero.

    Notes
    -----
    A block of one or two readings is predicted three times: by the straight line across it, and
    by those through the two readings before and the two after it. It stands off by the least of
    the three departures, and by none where their signs differ; so a step (a sudden commencement),
    a bend and a crest stand off by nothing. The sd comes from the departures of single readings
    from the line between their neighbours: the upper quartile of 15 on each side, the larger
    side of the two. So pulsations at the Nyquist period and the onset of a storm are kept.

    The settings come from trials on the observatory record of the great storm of May 2024: of
    spikes of 5 nT and more and ten times the usual second difference around them, 94 % (two
    readings, one each 60 s) to all (1 s) are found; of the storm, nothing at 1 and 10 s, and one
    reading in nine days at 60 s. A real pulse as short as one or two readings can't be told from
    a spike, nor can a burst of pulsations of less than about eight readings. A single good
    reading between two spikes goes with them. The first and last two readings of a piece aren't
    judged.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0.0, 400.0, 10.0)
    >>> field = 48_000 + np.round(20 * np.sin(time / 200), 1)
    >>> field[20] += 6.0
    >>> find_base_spikes(time, field).nonzero()[0].tolist()
    [20]
    """
    check_positive(k_sd, name="k_sd")
    check_positive(floor_nT, name="floor_nT")
    time, value = np.asarray(base_time_s, float), np.asarray(base_nT, float)
    check_same_length(base_time_s=time, base_nT=value)
    check_increasing(time, name="base_time_s")
    floor = max(floor_nT, 2 * value_resolution(value))
    spikes = np.zeros(value.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(value))
    bounds = piece_bounds(time[known], max_gap_s=3 * nominal_interval(time[known]))
    for start, stop in pairwise(bounds):
        piece = known[start:stop]
        spikes[piece] = _spikes_of_piece(time[piece], value[piece], k_sd, floor)
    return spikes


def _spikes_of_piece(time: FloatArray, value: FloatArray, k_sd: float, floor: float) -> BoolArray:
    """Mark the spikes of an unbroken piece."""
    spikes = np.zeros(value.size, dtype=bool)
    departure = _departures(time, value)
    for width in range(1, MAX_WIDTH + 1):
        first: IntArray = np.arange(2, value.size - width - 1)
        stand_off = _stand_off(time, value, first, width)
        first, stand_off = first[stand_off > floor], stand_off[stand_off > floor]
        before = _upper_quartile(departure, first - 1 - SIDE)
        after = _upper_quartile(departure, first + width + 1)
        sd = np.fmax(before, after) / UPPER_QUARTILE
        found = first[stand_off > k_sd * sd]  # no sd (NaN): not judged
        for place in range(width):
            spikes[found + place] = True
    return spikes


def _line(
    time: FloatArray, value: FloatArray, one: IntArray, two: IntArray, at: IntArray
) -> FloatArray:
    """Return the straight line through the readings `one` and `two` at the times of `at`."""
    share = (time[at] - time[one]) / (time[two] - time[one])
    return value[one] + share * (value[two] - value[one])


def _departures(time: FloatArray, value: FloatArray) -> FloatArray:
    """Return the size of each departure from the line between the neighbours; NaN at the ends."""
    departure = np.full(value.size, np.nan)
    inner: IntArray = np.arange(1, value.size - 1)
    departure[inner] = np.abs(value[inner] - _line(time, value, inner - 1, inner + 1, inner))
    return departure


def _stand_off(time: FloatArray, value: FloatArray, first: IntArray, width: int) -> FloatArray:
    """Return how far the block that begins at each of `first` stands off from both its sides."""
    a, b, c, d = first - 2, first - 1, first + width, first + width + 1
    least = np.full(first.size, np.inf)
    for at in (first + place for place in range(width)):
        lines = [_line(time, value, one, two, at) for one, two in ((a, b), (b, c), (c, d))]
        up = value[at] - np.max(lines, axis=0)
        down = np.min(lines, axis=0) - value[at]
        least = np.minimum(least, np.maximum(0, np.maximum(up, down)))
    return least


def _upper_quartile(departure: FloatArray, start: IntArray) -> FloatArray:
    """Return the upper quartile of the `SIDE` departures from each start; NaN where too few."""
    at = start[:, np.newaxis] + np.arange(SIDE)
    inside = (at >= 0) & (at < departure.size)
    side = np.where(inside, departure[np.clip(at, 0, departure.size - 1)], np.nan)
    count = np.isfinite(side).sum(axis=1)
    rank = np.maximum(0, 3 * (count - 1) // 4)
    quartile: FloatArray = np.sort(side, axis=1)[np.arange(start.size), rank]  # NaN comes last
    return np.where(count >= MIN_SIDE, quartile, np.nan)
