"""Small geometry of a plan: the stretch that is repeated, places around the base."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.validation import check_positive

FloatArray = NDArray[np.float64]
#: Tie lines that any plan has.
LEAST_TIES = 2
DAY_S = 86_400.0


def nearest_stretch(
    first: FloatArray, second: FloatArray, base: FloatArray, *, length_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the stretch of some pieces whose middle is nearest to the base.

    Parameters
    ----------
    first, second : array, shape (n, 2)
        Ends of the pieces, at least one [m].
    base : array, shape (2,)
        The base [m].
    length_m : float
        Length wanted [m]; where no piece is so long, the longest is taken whole.

    Returns
    -------
    first, second : array, shape (2,)
        From the first to the second is the way of the piece [m].

    Examples
    --------
    >>> ends = nearest_stretch(np.array([[0.0, 0.0]]), np.array([[0.0, 500.0]]),
    ...                        np.array([-40.0, 450.0]), length_m=200.0)
    >>> [end.tolist() for end in ends]
    [[0.0, 300.0], [0.0, 500.0]]
    """
    check_positive(length_m, name="Length of the repeat line")
    whole = np.hypot(*(second - first).T)
    span = np.minimum(length_m, whole)
    along = (second - first) / whole[:, np.newaxis]
    begin = np.clip(np.sum((base - first) * along, axis=1) - span / 2, 0.0, whole - span)
    ends = [first + at[:, np.newaxis] * along for at in (begin, begin + span)]
    away = np.hypot(*((ends[0] + ends[1]) / 2 - base).T)
    # A long stretch counts more than a near one.
    best = int(np.lexsort((away, -span))[0])
    return ends[0][best], ends[1][best]


def ring_around(place: FloatArray, *, radius_m: float, count: int = 12) -> FloatArray:
    """Return places on a circle around one, from its north clockwise [m].

    Examples
    --------
    >>> ring_around(np.zeros(2), radius_m=10.0, count=4).round(6).tolist()
    [[0.0, 10.0], [10.0, 0.0], [0.0, -10.0], [-10.0, -0.0]]
    """
    angle = 2 * np.pi * np.arange(count) / count
    return np.asarray(place + radius_m * np.column_stack([np.sin(angle), np.cos(angle)]))


def central_lines(
    number: NDArray[np.int64], length_m: FloatArray, *, least_m: float
) -> NDArray[np.bool_]:
    """Tell which pieces belong to lines of the middle third, where one of these is long enough.

    Parameters
    ----------
    number : array, shape (n,)
        Line of each piece.
    length_m : array, shape (n,)
        Its length [m].
    least_m : float
        Length wanted of one of them [m]; where none has it, all pieces count.

    Examples
    --------
    >>> central_lines(np.arange(6), np.full(6, 300.0), least_m=200.0).tolist()
    [False, False, True, True, False, False]
    """
    lines, place = np.unique(number, return_inverse=True)
    middle = np.abs(place - (lines.size - 1) / 2) <= max(lines.size / 6, 0.5)
    return middle if (length_m[middle] >= least_m).any() else np.ones(number.size, dtype=bool)


def tie_spacing_over(length_m: float, wanted_m: float) -> float:
    """Return the distance between ties that lie evenly over a length, two or more of them [m].

    Parameters
    ----------
    length_m : float
        Extent of the area along its lines [m].
    wanted_m : float
        Distance wanted between tie lines [m].

    Notes
    -----
    One tie line alone ties lines only where it crosses them, so there are two at least.

    Examples
    --------
    >>> tie_spacing_over(900.0, 200.0), tie_spacing_over(900.0, 2000.0)
    (225.0, 450.0)
    """
    check_positive(wanted_m, name="Tie line spacing")
    return length_m / max(LEAST_TIES, round(length_m / wanted_m))


def readings_along(
    first: FloatArray,
    second: FloatArray,
    tours: list[tuple[NDArray[np.int64], NDArray[np.bool_]]],
    *,
    interval_m: float,
    pace_m_s: float,
) -> tuple[FloatArray, FloatArray, NDArray[np.int64], FloatArray]:
    """Return the readings along pieces of lines as they are walked.

    Parameters
    ----------
    first, second : array, shape (n, 2)
        Ends of the pieces [m].
    tours : list of (array, array)
        Numbers of the pieces in order, and whether each is turned, for each walk of a day.
    interval_m : float
        Distance between readings [m].
    pace_m_s : float
        Pace [m/s].

    Returns
    -------
    easting_m, northing_m : array, shape (readings,)
        Places [m].
    line : array of int
        Piece.
    time_s : array
        Time since the first reading, walks a day apart [s].

    Examples
    --------
    >>> found = readings_along(np.zeros((1, 2)), np.array([[0.0, 4.0]]),
    ...                        [(np.array([0]), np.array([True]))], interval_m=2.0, pace_m_s=1.0)
    >>> found[1].tolist(), found[3].tolist()
    ([4.0, 2.0, 0.0], [0.0, 2.0, 4.0])
    """
    check_positive(interval_m, name="Distance between readings")
    places, lines, times = [], [], []
    for day, (order, turned) in enumerate(tours):
        now = DAY_S * day
        for piece, back in zip(order.tolist(), turned.tolist(), strict=True):
            ends = (second, first) if back else (first, second)
            start, way = ends[0][piece], ends[1][piece] - ends[0][piece]
            length = float(np.hypot(*way))
            along = np.arange(0.0, length + 1e-9, interval_m)
            places.append(start + along[:, np.newaxis] / length * way)
            lines.append(np.full(along.size, piece))
            times.append(now + along / pace_m_s)
            now += length / pace_m_s
    every = np.concatenate(places)
    return every[:, 0], every[:, 1], np.concatenate(lines), np.concatenate(times)
