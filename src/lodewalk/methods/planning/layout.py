"""Small geometry of a plan: the stretch that is repeated, places around the base."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.validation import check_positive

FloatArray = NDArray[np.float64]
#: Tie lines that any plan has.
LEAST_TIES = 2


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


def middle_line(number: NDArray[np.int64]) -> int:
    """Return the number of the line in the middle, the lower of two.

    Examples
    --------
    >>> middle_line(np.array([0, 0, 1, 2, 3]))
    1
    """
    lines = np.unique(number)
    return int(lines[(lines.size - 1) // 2])


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
