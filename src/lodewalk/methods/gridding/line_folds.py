"""Which survey lines to leave out together when a setting is chosen by prediction."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]

#: Fold of readings that are never left out.
KEPT = -1


class _Lines(NamedTuple):
    """For each line: its reading count, centre, and the sums of squares about it."""

    readings: FloatArray
    east: FloatArray
    north: FloatArray
    square_e: FloatArray
    square_n: FloatArray
    cross: FloatArray


def line_folds(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    line: ArrayLike,
    *,
    line_spacing_m: float,
    folds: int = 4,
) -> IntArray:
    """Return the fold in which each reading is left out, whole lines together.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    line : array, shape (n,)
        Name or number of each reading's line.
    line_spacing_m : float
        Distance between neighbouring lines [m].
    folds : int
        Every so-manieth line is left out together; 2 or more.

    Returns
    -------
    int array, shape (n,)
        0 to folds - 1 for lines, `folds` for tie lines, all of them together, and -1 for readings
        that are always kept: the outermost lines, and what ties there are beyond them, since
        nothing on their far side would predict them.

    Raises
    ------
    InputError
        When lengths differ, a setting is out of range, or there are fewer than three places for
        lines.

    Notes
    -----
    The lines' direction is the one that most of the walk has; a line more than 45 degrees off it
    is a tie line. Lines of the same place across (a line in parts, or walked twice) are left out
    together, else one would predict the other.

    Examples
    --------
    >>> east, north = (axis.ravel() for axis in np.meshgrid([0.0, 10.0, 20.0, 30.0], [0.0, 50.0]))
    >>> line_folds(east, north, east, line_spacing_m=10.0, folds=2)[:4].tolist()
    [-1, 0, 1, -1]
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, line=line)
    check_positive(line_spacing_m, name="line_spacing_m")
    if folds < 2:
        raise InputError("At least two folds are needed.", value=folds)
    east = np.atleast_1d(np.asarray(easting_m, dtype=np.float64))
    north = np.atleast_1d(np.asarray(northing_m, dtype=np.float64))
    number = np.unique(np.atleast_1d(np.asarray(line)), return_inverse=True)[1].ravel()
    lines = _summed(east, north, number)
    angle, tie = _directions(lines)
    across = lines.north * np.cos(angle) - lines.east * np.sin(angle)
    if tie.all() or np.ptp(across[~tie]) < 1.5 * line_spacing_m:
        raise InputError(
            "Leaving lines out needs at least three lines beside each other.",
            value=int(np.count_nonzero(~tie)),
            remedy="Give the depth and the damping of the layer yourself.",
        )
    low, high = float(across[~tie].min()), float(across[~tie].max())
    place = np.rint((across - low) / line_spacing_m).astype(np.int64)
    last = int(np.rint((high - low) / line_spacing_m))
    fold = np.where((place > 0) & (place < last), place % folds, KEPT)
    found = np.where(tie, folds, fold)[number]
    beyond = north * np.cos(angle) - east * np.sin(angle)
    slack = 0.1 * line_spacing_m
    found[tie[number] & ((beyond < low - slack) | (beyond > high + slack))] = KEPT
    return found.astype(np.int64)


def line_directions(
    east: FloatArray, north: FloatArray, number: IntArray
) -> tuple[float, NDArray[np.bool_]]:
    """Return the direction that most of the walk has, and which lines cross it.

    Parameters
    ----------
    east, north : array, shape (n,)
        Positions, in any unit.
    number : int array, shape (n,)
        Line of each reading, 0 to n_lines - 1, each with a reading.

    Returns
    -------
    angle : float
        From the first axis towards the second [rad].
    tie : bool array, shape (n_lines,)
        Lines more than 45 degrees off it.

    Examples
    --------
    >>> angle, tie = line_directions(np.array([0.0, 9, 5, 5]), np.array([0.0, 0, -1, 1]),
    ...                              np.array([0, 0, 1, 1]))
    >>> abs(angle) < 1e-9, tie.tolist()
    (True, [False, True])
    """
    return _directions(_summed(east, north, number))


def _summed(east: FloatArray, north: FloatArray, number: IntArray) -> _Lines:
    """Return the sums over the readings of each line."""
    count = np.bincount(number).astype(np.float64)
    mean_e, mean_n = (np.bincount(number, part) / count for part in (east, north))
    e, n = east - mean_e[number], north - mean_n[number]
    sums = [np.bincount(number, part).astype(np.float64) for part in (e * e, n * n, e * n)]
    return _Lines(count, mean_e, mean_n, *sums)


def _directions(lines: _Lines) -> tuple[float, NDArray[np.bool_]]:
    """Return the angle from east of the lines, and which lines cross them."""
    own = 0.5 * np.arctan2(2 * lines.cross, lines.square_e - lines.square_n)
    # Twice the angle, so that the way back counts as the same direction.
    length = lines.readings * np.sqrt((lines.square_e + lines.square_n) / lines.readings)
    angle = 0.5 * np.arctan2(np.sum(length * np.sin(2 * own)), np.sum(length * np.cos(2 * own)))
    return float(angle), np.cos(2 * (own - angle)) < 0
