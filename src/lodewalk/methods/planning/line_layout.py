"""Parallel lines and tie lines over an area, the readings on them, and their block means."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]

#: Tie lines that any plan with tie lines has: one alone ties lines only where it crosses them.
LEAST_TIES: Final = 2

#: Tie lines lie this many line spacings apart where nothing is set (4 to 20 in published surveys).
TIE_RATIO: Final = 10.0


@dataclass(frozen=True)
class LineLayout:
    """Parallel lines, tie lines across them, and how they are walked.

    Parameters
    ----------
    azimuth_deg : float
        Azimuth of the lines from grid north [deg].
    spacing_m : float
        Distance between lines [m].
    tie_spacing_m : float, optional
        Distance between tie lines [m], of which there are at least two; None for no tie lines.
    reading_interval_m : float
        Distance between readings [m].
    sensor_height_m : float
        Height of the sensor above ground [m].
    pace_m_s : float
        Pace [m/s].
    shift : float
        How far the lines are moved across from the middle, in spacings.

    Raises
    ------
    InputError
        For a number not above zero.
    """

    azimuth_deg: float
    spacing_m: float
    tie_spacing_m: float | None = None
    reading_interval_m: float = 1.0
    sensor_height_m: float = 2.0
    pace_m_s: float = 1.1
    shift: float = 0.0

    def __post_init__(self) -> None:
        """Raise when a number isn't above zero."""
        for name in ("spacing_m", "reading_interval_m", "sensor_height_m", "pace_m_s"):
            check_positive(getattr(self, name), name=name)
        if self.tie_spacing_m is not None:
            check_positive(self.tie_spacing_m, name="tie_spacing_m")


@dataclass(frozen=True)
class Readings:
    """Planned or recorded readings.

    Parameters
    ----------
    easting_m, northing_m : float array, shape (n,)
        Positions [m].
    line : int array, shape (n,)
        Number of the straight piece of line, whatever numbers they are.
    time_s : float array, shape (n,)
        Time from any start [s].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    line: IntArray
    time_s: FloatArray

    def __post_init__(self) -> None:
        """Raise when lengths differ."""
        check_same_length(
            easting_m=self.easting_m,
            northing_m=self.northing_m,
            line=self.line,
            time_s=self.time_s,
        )


@dataclass(frozen=True)
class Blocks:
    """Means of the readings of each length of line.

    Parameters
    ----------
    easting_m, northing_m : float array, shape (n,)
        Mean positions [m].
    line : int array, shape (n,)
        Piece of line.
    time_s : float array, shape (n,)
        Mean time [s].
    count : float array, shape (n,)
        Readings in each.
    group : int array, shape (n_readings,)
        Block of each reading.
    spread_m : float array, shape (n, 2)
        Standard deviation of the positions along the line, as a vector [m].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    line: IntArray
    time_s: FloatArray
    count: FloatArray
    group: IntArray
    spread_m: FloatArray

    def means(self, value: ArrayLike) -> FloatArray:
        """Return the mean of each block of values of the readings, shape (..., n)."""
        values = np.atleast_2d(np.asarray(value, dtype=np.float64))
        sums = [np.bincount(self.group, weights=row, minlength=self.count.size) for row in values]
        means: FloatArray = np.array(sums) / self.count
        return means.reshape(*np.shape(value)[:-1], self.count.size)

    def part(self, index: IntArray) -> "Blocks":
        """Return some of the blocks, without the readings in them."""
        return Blocks(
            self.easting_m[index],
            self.northing_m[index],
            self.line[index],
            self.time_s[index],
            self.count[index],
            np.empty(0, dtype=np.int64),
            self.spread_m[index],
        )


def line_pieces(area_m: ArrayLike, layout: LineLayout) -> tuple[FloatArray, IntArray]:
    """Return the straight pieces of lines and tie lines over an area, as they are walked.

    Parameters
    ----------
    area_m : array, shape (n, 2)
        Vertices of the area, easting and northing [m]; it may be closed or not.
    layout : LineLayout
        The lines.

    Returns
    -------
    pieces : array, shape (n_pieces, 4)
        Easting and northing of start and end [m].
    tie : int array, shape (n_pieces,)
        1 for a piece of tie line.

    Raises
    ------
    InputError
        When the area isn't three or more pairs of finite numbers.

    Notes
    -----
    Lines lie round the middle of the area, as many as leave no place of it farther than half a
    spacing from a line; tie lines likewise, evenly, at least two. Neighbouring lines are walked
    to and fro. Lines end at the boundary (even-odd rule).

    Examples
    --------
    >>> square = [(0, 0), (100, 0), (100, 100), (0, 100)]
    >>> pieces, tie = line_pieces(square, LineLayout(0.0, 50.0))
    >>> pieces.round(6).tolist()
    [[25.0, 0.0, 25.0, 100.0], [75.0, 100.0, 75.0, 0.0]]
    """
    corners = area_corners(area_m)
    frame = frame_of(layout.azimuth_deg)
    across, along = (corners @ frame).T
    lines = _crossed(across, along, _line_places(across, layout))
    walked = [_to_and_fro(lines) @ _both(frame.T)]
    ties = np.empty((0, 4))
    if layout.tie_spacing_m is not None:
        size = np.ptp(along)
        count = max(LEAST_TIES, round(size / layout.tie_spacing_m))
        places = along.min() + size * (np.arange(count) + 0.5) / count
        swapped = _to_and_fro(_crossed(along, across, places))
        ties = swapped[:, [1, 0, 3, 2]] @ _both(frame.T)
    pieces = np.vstack([*walked, ties])
    tie = np.repeat([0, 1], [len(pieces) - len(ties), len(ties)])
    return pieces, tie


def line_length(area_m: ArrayLike, layout: LineLayout) -> float:
    """Return the length of all lines and tie lines over an area.

    Parameters
    ----------
    area_m, layout
        As for `line_pieces`.

    Returns
    -------
    float
        Length [m], ways between lines not counted.

    Examples
    --------
    >>> line_length([(0, 0), (100, 0), (100, 100), (0, 100)], LineLayout(0.0, 50.0, 500.0))
    400.0
    """
    pieces, _ = line_pieces(area_m, layout)
    return float(np.hypot(*(pieces[:, 2:] - pieces[:, :2]).T).sum())


def parallel_lines(area_m: ArrayLike, layout: LineLayout) -> Readings:
    """Return the readings on lines and tie lines over an area.

    Parameters
    ----------
    area_m, layout
        As for `line_pieces`.

    Returns
    -------
    Readings
        In the order in which they are walked, tie lines last; the way to the next line takes
        its time.

    Examples
    --------
    >>> readings = parallel_lines([(0, 0), (9, 0), (9, 20), (0, 20)], LineLayout(0.0, 5.0))
    >>> readings.line.size, readings.northing_m[[0, 20, 21]].tolist()
    (42, [0.0, 20.0, 20.0])
    """
    pieces, _ = line_pieces(area_m, layout)
    return readings_on(
        pieces, reading_interval_m=layout.reading_interval_m, pace_m_s=layout.pace_m_s
    )


def readings_on(
    pieces_m: ArrayLike, *, reading_interval_m: float = 1.0, pace_m_s: float = 1.1
) -> Readings:
    """Return the readings on straight pieces of lines, walked one after the other.

    Parameters
    ----------
    pieces_m : array, shape (n_pieces, 4)
        Easting and northing of start and end of each [m].
    reading_interval_m : float
        Distance between readings [m].
    pace_m_s : float
        Pace [m/s].

    Returns
    -------
    Readings

    Examples
    --------
    >>> readings_on([(0, 0, 0, 10)], reading_interval_m=5.0, pace_m_s=1.0).time_s.tolist()
    [0.0, 5.0, 10.0]
    """
    pieces = np.asarray(pieces_m, dtype=np.float64).reshape(-1, 4)
    parts, clock, place = [np.empty((0, 4))], 0.0, None
    for number, (start, end) in enumerate(pieces.reshape(-1, 2, 2)):
        if place is not None:
            clock += float(np.hypot(*(start - place))) / pace_m_s
        length = float(np.hypot(*(end - start)))
        away = np.arange(0.0, length + 1e-6, reading_interval_m)
        points = start + np.outer(away / max(length, 1e-9), end - start)
        time = clock + away / pace_m_s
        parts.append(np.column_stack([points, np.full(away.size, float(number)), time]))
        clock, place = clock + length / pace_m_s, end
    east, north, line, time = np.vstack(parts).T
    return Readings(east, north, line.astype(np.int64), time)


def block_means(readings: Readings, block_m: float) -> Blocks:
    """Put the readings of each length of line together.

    Parameters
    ----------
    readings : Readings
        The readings.
    block_m : float
        Length of a block, from the first reading of each piece of line on [m].

    Returns
    -------
    Blocks

    Examples
    --------
    >>> readings = readings_on([(0, 0, 0, 9)])
    >>> block_means(readings, 5.0).northing_m.tolist()
    [2.0, 7.0]
    """
    check_positive(block_m, name="block_m")
    lines, first, number = np.unique(readings.line, return_index=True, return_inverse=True)
    away = np.hypot(
        readings.easting_m - readings.easting_m[first][number],
        readings.northing_m - readings.northing_m[first][number],
    )
    step = np.floor(away / block_m + 1e-9).astype(np.int64)
    width = int(step.max(initial=0)) + 1
    kinds, group = np.unique(number * width + step, return_inverse=True)
    count = np.bincount(group).astype(np.float64)

    def mean(value: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(group, weights=value) / count)

    east, north, time = map(mean, (readings.easting_m, readings.northing_m, readings.time_s))
    off_east, off_north = readings.easting_m - east[group], readings.northing_m - north[group]
    sign = np.where(mean(off_east * off_north) < 0, -1.0, 1.0)
    spread = np.column_stack([np.sqrt(mean(off_east**2)), sign * np.sqrt(mean(off_north**2))])
    return Blocks(east, north, lines[kinds // width], time, count, group, spread)


def area_corners(area_m: ArrayLike) -> FloatArray:
    """Return the vertices of an area, the first not repeated.

    Parameters
    ----------
    area_m : array, shape (n, 2)
        Easting and northing [m].

    Returns
    -------
    array, shape (m, 2)

    Raises
    ------
    InputError
        When they aren't three or more pairs of finite numbers.

    Examples
    --------
    >>> len(area_corners([(0, 0), (1, 0), (0, 1), (0, 0)]))
    3
    """
    corners = np.asarray(area_m, dtype=np.float64)
    if corners.ndim == 2 and len(corners) > 1 and np.array_equal(corners[0], corners[-1]):
        corners = corners[:-1]
    if corners.ndim != 2 or corners.shape[1:] != (2,) or len(corners) < 3:
        raise InputError(
            "An area must be at least three pairs of easting and northing.", value=corners.shape
        )
    if not np.isfinite(corners).all():
        raise InputError("The vertices of an area must be finite numbers.", value=corners)
    return corners


def area_size(area_m: ArrayLike) -> float:
    """Return the size of an area.

    Parameters
    ----------
    area_m : array, shape (n, 2)
        Vertices [m].

    Returns
    -------
    float
        Size [m2].

    Examples
    --------
    >>> area_size([(0, 0), (10, 0), (10, 5), (0, 5)])
    50.0
    """
    east, north = (area_corners(area_m) - area_corners(area_m)[0]).T
    return float(0.5 * abs(east @ np.roll(north, -1) - north @ np.roll(east, -1)))


def within_area(place_m: ArrayLike, area_m: ArrayLike) -> NDArray[np.bool_]:
    """Tell which places lie in an area (even-odd rule).

    Parameters
    ----------
    place_m : array, shape (n, 2)
        Places [m].
    area_m : array, shape (m, 2)
        Vertices [m].

    Returns
    -------
    bool array, shape (n,)

    Examples
    --------
    >>> within_area([(1, 1), (11, 1)], [(0, 0), (10, 0), (10, 5), (0, 5)]).tolist()
    [True, False]
    """
    places, corners = np.asarray(place_m, dtype=np.float64), area_corners(area_m)
    inside = np.zeros(len(places), dtype=bool)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        spans = (start[1] > places[:, 1]) != (end[1] > places[:, 1])
        if spans.any():
            share = (places[:, 1] - start[1]) / (end[1] - start[1])
            inside ^= spans & (places[:, 0] < start[0] + share * (end[0] - start[0]))
    return inside


def frame_of(azimuth_deg: float) -> FloatArray:
    """Return the matrix that turns (easting, northing) into (right of, along) an azimuth.

    Parameters
    ----------
    azimuth_deg : float
        Azimuth from grid north [deg].

    Returns
    -------
    array, shape (2, 2)
        ``places @ frame`` is distance to the right and along; its transpose turns back.

    Examples
    --------
    >>> (np.array([3.0, 0.0]) @ frame_of(90.0)).round(9).tolist()
    [0.0, 3.0]
    """
    turn = np.radians(azimuth_deg)
    return np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])


def _both(frame: FloatArray) -> FloatArray:
    """Return the matrix that turns start and end in one row."""
    return np.asarray(np.kron(np.eye(2), frame), dtype=np.float64)


def _line_places(across: FloatArray, layout: LineLayout) -> FloatArray:
    """Return where lines cross the direction across them."""
    size = float(np.ptp(across))
    count = max(1, int(np.ceil(size / layout.spacing_m - 1e-9)))
    middle = 0.5 * (across.min() + across.max()) + layout.shift * layout.spacing_m
    places: FloatArray = middle + layout.spacing_m * (np.arange(count) - 0.5 * (count - 1))
    return places


def _crossed(across: FloatArray, along: FloatArray, places: FloatArray) -> FloatArray:
    """Return pieces (across, start, across, end) of the lines at places inside a polygon."""
    pieces = [np.empty((0, 4))]
    after_across, after_along = np.roll(across, -1), np.roll(along, -1)
    for place in places:
        spans = (across > place) != (after_across > place)
        share = (place - across[spans]) / (after_across[spans] - across[spans])
        ends = np.sort(along[spans] + share * (after_along[spans] - along[spans]))
        starts, stops = ends[0::2], ends[1::2]
        same = np.full(starts.size, place)
        pieces.append(np.column_stack([same, starts, same, stops]))
    return np.vstack(pieces)


def _to_and_fro(pieces: FloatArray) -> FloatArray:
    """Return the pieces in the order of lines, every other line walked back."""
    if not len(pieces):
        return pieces
    _, number = np.unique(pieces[:, 0], return_inverse=True)
    parts = []
    for line in range(int(number.max()) + 1):
        own = pieces[number == line]
        parts.append(own if line % 2 == 0 else own[::-1][:, [2, 3, 0, 1]])
    return np.vstack(parts)
