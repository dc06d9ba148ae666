"""Profiles of neighbouring lines at common distances along the lines."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.gridding.line_folds import line_directions
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Lines this near across, in line spacings, are one: a line in parts, or walked twice.
ONE_LINE: Final = 0.3
#: Readings farther apart along a line than this leave a hole in its profile [line spacings].
HOLE: Final = 0.5
#: Neighbours farther apart than this are none [line spacings].
FARTHEST: Final = 3.2


class Frame(NamedTuple):
    """Direction of the lines from the first axis [rad], and the origin along and across."""

    angle: float
    along: float
    across: float

    def turned(self, first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the place along and across the lines."""
        cosine, sine = np.cos(self.angle), np.sin(self.angle)
        along = first * cosine + second * sine - self.along
        across = second * cosine - first * sine - self.across
        return along, across


class Profiles(NamedTuple):
    """What the lines read at common places along them; all lengths in one unit.

    Parameters
    ----------
    frame : Frame
        Where along and across are counted from.
    step : float
        Distance between samples along the lines.
    across : array, shape (n_lines, n_samples)
        Place across of each line, in order; NaN where it has no reading.
    value : array, shape (n_lines, n_samples)
        Reading there; NaN where there is none.
    right : int array, shape (n_lines, n_samples)
        The next line across at each sample; -1 where there is none near enough.
    """

    frame: Frame
    step: float
    across: FloatArray
    value: FloatArray
    right: IntArray


def line_profiles(
    east: FloatArray,
    north: FloatArray,
    value: FloatArray,
    line: IntArray,
    *,
    weight: FloatArray,
    line_spacing: float,
    step: float,
) -> Profiles | None:
    """Return the lines' profiles at common places, tie lines left aside.

    Parameters
    ----------
    east, north : array, shape (n,)
        Positions, in any unit of length.
    value : array, shape (n,)
        Readings.
    line : int array, shape (n,)
        Number of each reading's line; below zero for none.
    weight : array, shape (n,)
        Weight of each, above zero.
    line_spacing, step : float
        Distance between lines, and between samples along them, in the unit of the positions.

    Returns
    -------
    Profiles or None
        None with fewer than two lines beside each other.

    Notes
    -----
    Readings are averaged over pieces a step long, position and value alike, and the means are
    joined by straight lines, so that a plane stays one.

    Examples
    --------
    >>> east, north = np.repeat([0.0, 10.0], 21), np.tile(np.arange(21.0), 2)
    >>> found = line_profiles(east, north, east + north, np.repeat([0, 1], 21),
    ...                       weight=np.ones(42), line_spacing=10.0, step=1.0)
    >>> found.value.shape, bool(np.allclose(np.abs(np.diff(found.value, axis=0)), 10))
    ((2, 21), True)
    """
    named = np.flatnonzero(line >= 0)
    if named.size < 2:
        return None
    number = np.unique(line[named], return_inverse=True)[1].ravel()
    angle, tie = line_directions(east[named], north[named], number)
    if tie.all():
        return None
    used, number = named[~tie[number]], number[~tie[number]]
    along, across = Frame(angle, 0.0, 0.0).turned(east[used], north[used])
    frame = Frame(angle, float(along.min()), float(across.min()))
    along, across = along - frame.along, across - frame.across
    place = _places(across, number, line_spacing)
    count = int(np.floor(along.max() / step)) + 1
    if place.max() < 1 or count < 2:
        return None
    hole = max(HOLE * line_spacing, 2 * step)
    lies = np.full((int(place.max()) + 1, count), np.nan)
    read = lies.copy()
    for k in range(lies.shape[0]):
        own = place == k
        parts = across[own], value[used][own]
        lies[k], read[k] = _sampled(along[own], parts, weight[used][own], count, step, hole)
    return Profiles(frame, step, lies, read, _neighbours(lies, FARTHEST * line_spacing))


def _places(across: FloatArray, number: IntArray, spacing: float) -> IntArray:
    """Return the place of each reading's line, from low to high, those near each other as one."""
    lines = np.unique(number, return_inverse=True)[1].ravel()
    mean = np.bincount(lines, across) / np.bincount(lines)
    order = np.argsort(mean, kind="stable")
    place = np.zeros(order.size, dtype=np.int64)
    first, current = mean[order[0]], 0
    for k in order:
        if mean[k] - first > ONE_LINE * spacing:
            first, current = mean[k], current + 1
        place[k] = current
    found: IntArray = place[lines]
    return found


def _sampled(
    along: FloatArray,
    parts: tuple[FloatArray, ...],
    weight: FloatArray,
    count: int,
    step: float,
    hole: float,
) -> list[FloatArray]:
    """Return `parts` at whole steps along a line; NaN outside it and in its holes."""
    order = np.lexsort((weight, *parts, along))
    weight = weight[order]
    piece = np.floor(along[order] / step + 0.5)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(piece) != 0]))
    total = np.add.reduceat(weight, starts)
    at, *means = (np.add.reduceat(weight * part[order], starts) / total for part in (along, *parts))
    places = np.arange(count) * step
    after = np.searchsorted(at, places)
    above, below = np.append(at, np.inf)[after], np.append(-np.inf, at)[after]
    known = above - below <= hole
    # Half a piece at the ends, and a reading by itself.
    known |= np.minimum(above - places, places - below) <= step / 2
    return [np.where(known, np.interp(places, at, mean), np.nan) for mean in means]


def _neighbours(across: FloatArray, farthest: float) -> IntArray:
    """Return for each line and sample the next line across, or -1."""
    found = np.full(across.shape, -1, dtype=np.int64)
    following = np.full(across.shape[1], -1, dtype=np.int64)
    sample = np.arange(across.shape[1])
    for k in range(across.shape[0] - 1, -1, -1):
        known = np.isfinite(across[k])
        there = known & (following >= 0)
        apart = across[following[there], sample[there]] - across[k, there]
        near = there.copy()
        # Lines that cross have no order.
        near[there] = (apart > 0) & (apart <= farthest)
        found[k, near] = following[near]
        following[known] = k
    return found
