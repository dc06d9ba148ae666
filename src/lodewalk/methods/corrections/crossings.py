"""Crossings of survey lines, and the misfit of readings where lines cross."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]

#: Side of a search cell in mean segment lengths.
_CELL_SEGMENTS: Final = 4.0


@dataclass(frozen=True)
class Crossings:
    """Where lines cross; see `find_crossings`."""

    first: FloatArray
    second: FloatArray
    easting: FloatArray
    northing: FloatArray
    angle_deg: FloatArray

    def __len__(self) -> int:
        return len(self.first)


def find_crossings(
    line_ids: ArrayLike, easting: ArrayLike, northing: ArrayLike, *, max_gap_m: float
) -> Crossings:
    """Points where two different lines cross, each line joined up straight between readings.

    Parameters
    ----------
    line_ids : array_like, shape (n,)
        Name or number of the line of each reading. Readings of a line stand together, in the order
        walked.
    easting, northing : array_like, shape (n,)
        Positions [m]; a reading without a position (NaN) interrupts its line.
    max_gap_m : float
        Readings of a line further apart than this are not joined [m].

    Returns
    -------
    Crossings
        In the order of `first`, then `second`. `first` and `second` are positions along the input,
        as fractional indexes: 12.25 lies a quarter of the way from reading 12 to reading 13;
        `first` is always the smaller. `easting` and `northing` give the point [m], `angle_deg` the
        angle between the lines, 0 to 90 [degrees].

    Raises
    ------
    InputError
        If arrays differ in length or `max_gap_m` is not above zero.

    Notes
    -----
    Two segments cross where the ends of each lie on opposite sides of the other; an end exactly on
    the other counts as on its left. So a crossing at a reading is found once, and lines on top of
    each other do not cross. A line is not compared with itself. Segments are sorted into square
    cells, so the work grows with the number of readings and not with its square.

    The smaller the angle, the worse the point is determined: an error of position across a line
    moves it by that error over the sine of the angle. Where errors of position are not small
    against the spacing of the readings, one meeting of two lines can count three times or more.

    Examples
    --------
    >>> lines = ["A", "A", "A", "B", "B"]
    >>> found = find_crossings(
    ...     lines, [0, 10, 20, 14, 14], [0, 0, 0, -5, 15], max_gap_m=25.0
    ... )
    >>> found.first.tolist(), found.second.tolist()
    ([1.4], [3.25])
    """
    check_positive(max_gap_m, name="max_gap_m")
    check_same_length(line_ids=line_ids, easting=easting, northing=northing)
    east = np.atleast_1d(np.asarray(easting, dtype=float))
    north = np.atleast_1d(np.asarray(northing, dtype=float))
    line = np.unique(np.atleast_1d(np.asarray(line_ids)), return_inverse=True)[1]
    start = _segment_starts(line, east, north, max_gap_m)
    if not start.size:
        nothing = np.empty(0)
        return Crossings(nothing, nothing, nothing, nothing, nothing)
    return _crossings_at(_crossing_pairs(start, line, east, north), east, north)


def at_positions(positions: ArrayLike, values: ArrayLike) -> FloatArray:
    """Values at fractional indexes, linear between the readings on either side.

    Parameters
    ----------
    positions : array_like, shape (m,)
        Fractional indexes into `values`, such as `Crossings.first`.
    values : array_like, shape (n,)
        One value for each reading, in any unit; NaN where missing.

    Returns
    -------
    numpy.ndarray, shape (m,)
        NaN where a value that is needed is missing.

    Examples
    --------
    >>> at_positions([0.25, 1.0], [10.0, 20.0, float("nan")]).tolist()
    [12.5, 20.0]
    """
    given = np.atleast_1d(np.asarray(values, dtype=float))
    where = np.atleast_1d(np.asarray(positions, dtype=float))
    before = np.floor(where).astype(np.int64)
    share = where - before
    after = np.minimum(before + 1, given.size - 1)
    between = given[before] + share * (given[after] - given[before])
    result: FloatArray = np.where(share == 0.0, given[before], between)
    return result


def crossing_misfits(crossings: Crossings, values: ArrayLike) -> FloatArray:
    """Value on the first line minus value on the second, at each crossing.

    Parameters
    ----------
    crossings : Crossings
        From `find_crossings`, for readings in the same order as `values`.
    values : array_like, shape (n,)
        One value for each reading, such as the anomaly [nT]; NaN where missing.

    Returns
    -------
    numpy.ndarray, shape (m,)
        Misfits in the unit of `values`; NaN where a reading beside the crossing is missing.

    Notes
    -----
    Values are linear between the two readings on either side; that is wrong by at most an eighth of
    the second derivative along the line times the square of their distance.

    Examples
    --------
    >>> found = find_crossings(
    ...     ["A", "A", "B", "B"], [0, 10, 5, 5], [0, 0, -5, 5], max_gap_m=20.0
    ... )
    >>> crossing_misfits(found, [100.0, 104.0, 99.0, 101.0]).tolist()
    [2.0]
    """
    return at_positions(crossings.first, values) - at_positions(crossings.second, values)


def _segment_starts(
    line: IntArray, east: FloatArray, north: FloatArray, max_gap_m: float
) -> IntArray:
    """Index of the first reading of each segment that joins two readings of a line."""
    length = np.hypot(np.diff(east), np.diff(north))  # NaN compares as too long
    starts: IntArray = np.flatnonzero((np.diff(line) == 0) & (length > 0) & (length <= max_gap_m))
    return starts


def _crossing_pairs(
    start: IntArray, line: IntArray, east: FloatArray, north: FloatArray
) -> IntArray:
    """Pairs (m, 2) of crossing segments, by their first readings, in order."""
    length = np.hypot(east[start + 1] - east[start], north[start + 1] - north[start])
    cell_m = _CELL_SEGMENTS * float(length.mean())
    column, row = _cell_range(east, start, cell_m), _cell_range(north, start, cell_m)
    cell, segment = _fill_cells(column, row, int(row[:, 1].max()) + 1)
    order = np.argsort(cell, kind="stable")
    pairs = _test_cells(cell[order], start[segment[order]], line, east, north)
    return np.unique(pairs, axis=0)  # two segments may share more than one cell


def _cell_range(value: FloatArray, start: IntArray, cell_m: float) -> IntArray:
    """First and last cell (s, 2) that each segment reaches along one axis."""
    ends = np.sort(np.stack([value[start], value[start + 1]], axis=1), axis=1)
    cells: IntArray = np.floor((ends - ends[:, 0].min()) / cell_m).astype(np.int64)
    return cells


@njit(nogil=True, cache=True)
def _fill_cells(column: IntArray, row: IntArray, rows: int) -> tuple[IntArray, IntArray]:
    """Cell number and segment of every cell that a segment's box covers."""
    size = 0
    for i in range(len(row)):
        size += (column[i, 1] - column[i, 0] + 1) * (row[i, 1] - row[i, 0] + 1)
    cell = np.empty(size, dtype=np.int64)
    segment = np.empty(size, dtype=np.int64)
    at = 0
    for i in range(len(row)):
        for c in range(column[i, 0], column[i, 1] + 1):
            for r in range(row[i, 0], row[i, 1] + 1):
                cell[at] = c * rows + r
                segment[at] = i
                at += 1
    return cell, segment


@njit(nogil=True, cache=True)
def _left(east: FloatArray, north: FloatArray, start: int, point: int) -> bool:
    """Whether a reading lies left of, or on, the straight through a segment."""
    de, dn = east[start + 1] - east[start], north[start + 1] - north[start]
    return bool(de * (north[point] - north[start]) - dn * (east[point] - east[start]) >= 0.0)


@njit(nogil=True, cache=True)
def _test_cells(
    cell: IntArray, start: IntArray, line: IntArray, east: FloatArray, north: FloatArray
) -> IntArray:
    """Crossing pairs of segments among those in the same cell; cells stand in order."""
    found = [(np.int64(0), np.int64(0)) for _ in range(0)]
    for i in range(len(cell)):
        a = start[i]
        for j in range(i + 1, len(cell)):
            if cell[j] != cell[i]:
                break
            b = start[j]
            if line[a] == line[b] or _left(east, north, a, b) == _left(east, north, a, b + 1):
                continue
            if _left(east, north, b, a) != _left(east, north, b, a + 1):
                found.append((min(a, b), max(a, b)))
    pairs = np.empty((len(found), 2), dtype=np.int64)
    for k in range(len(found)):
        pairs[k, 0], pairs[k, 1] = found[k]
    return pairs


def _crossings_at(pairs: IntArray, east: FloatArray, north: FloatArray) -> Crossings:
    """Place of each crossing from its two segments."""
    (a, b), position = pairs.T, np.column_stack([east, north])
    along_a, along_b = position[a + 1] - position[a], position[b + 1] - position[b]
    apart = position[b] - position[a]
    area = _cross(along_a, along_b)
    share_a = np.clip(_cross(apart, along_b) / area, 0.0, 1.0)
    share_b = np.clip(_cross(apart, along_a) / area, 0.0, 1.0)
    point = position[a] + share_a[:, None] * along_a
    along = np.abs(np.sum(along_a * along_b, axis=1))
    order = np.lexsort((b + share_b, a + share_a))
    return Crossings(
        first=(a + share_a)[order],
        second=(b + share_b)[order],
        easting=point[order, 0],
        northing=point[order, 1],
        angle_deg=np.degrees(np.arctan2(np.abs(area), along))[order],
    )


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Signed area of the parallelogram of two vectors (m, 2)."""
    return first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
