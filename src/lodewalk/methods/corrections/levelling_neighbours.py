"""Ties between passages that run alongside each other: repeats, or neighbours without tie lines."""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from lodewalk.errors import InputError
from lodewalk.methods.corrections.levelling_model import LineTies
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: A piece must be this many times as long as passages may be apart, or they only cross.
LENGTHS: Final = 4.0
#: Share of a piece along which both passages must run.
COVERED: Final = 0.5
#: Median size of a standard normal value.
MEDIAN_SIZE: Final = 0.6745


@dataclass(frozen=True)
class NeighbourTies:
    """Ties of passages alongside each other; see `neighbour_ties`.

    Parameters
    ----------
    ties : LineTies
        One tie for each pair of passages and piece.
    apart_m : array, shape (m,)
        Mean distance between the two [m].
    slope_nT_m : float
        Steepness across the lines that the sd of the ties rests on [nT/m].
    """

    ties: LineTies
    apart_m: FloatArray
    slope_nT_m: float


def neighbour_ties(
    passage: ArrayLike,
    along: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value_nT: ArrayLike,
    *,
    max_apart_m: float,
    piece_m: float,
    noise_nT: float,
    position_sd_m: float = 0.0,
    repeat_m: float = 3.0,
) -> NeighbourTies:
    """Compare passages that run alongside each other, such as repeated or adjoining lines.

    Parameters
    ----------
    passage : int array, shape (n,)
        Number of the passage of each reading; below 0 off lines.
    along : array, shape (n,)
        Coordinate in which drift counts, as for `level_lines`.
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    value_nT : array, shape (n,)
        Anomaly [nT]; NaN where missing.
    max_apart_m : float
        Passages farther apart than this are not compared [m]: a little above the line spacing, or
        a few metres for repeats alone.
    piece_m : float
        One tie for each such length [m], at least four times `max_apart_m`. Geology along the
        lines makes the errors of neighbouring pieces alike, so long pieces are safer.
    noise_nT : float
        Sd of the mean of a piece from anything but geology [nT], above zero.
    position_sd_m : float
        Standard deviation of the distance between the passages [m].
    repeat_m : float
        Passages up to this far apart are the same line walked again [m].

    Returns
    -------
    NeighbourTies

    Raises
    ------
    InputError
        When lengths differ, or a distance or the noise isn't above zero, or `piece_m` is short.

    Notes
    -----
    The value between the lines is not known, so a tie is wrong by the slope across times the
    distance. The slope is the rms slope along the lines over a distance like that between them,
    or what half of the differences between the lines show (median
    size / 0.6745), whichever is larger: the second holds level errors too, which makes the sd too
    large rather than too small. Where the passages are not one line walked again, all of the
    difference may be geology, so its sd is at least its size.

    **A tie of this kind cannot tell a level error from geology along
    the lines**; its sd only says how large that geology usually is.

    Examples
    --------
    A line of 200 m is walked twice, 0.5 nT apart:

    >>> s = np.arange(0.0, 201.0, 2.0)
    >>> found = neighbour_ties(np.repeat([0, 1], s.size), np.tile(s, 2), np.tile(s, 2),
    ...                        np.repeat([0.0, 1.0], s.size), np.repeat([3.0, 2.5], s.size),
    ...                        max_apart_m=5.0, piece_m=200.0, noise_nT=0.1)
    >>> found.ties.difference_nT.tolist()
    [0.5]
    """
    check_same_length(
        passage=passage,
        along=along,
        easting_m=easting_m,
        northing_m=northing_m,
        value_nT=value_nT,
    )
    check_positive(max_apart_m, name="max_apart_m")
    check_positive(noise_nT, name="noise_nT")
    if not piece_m >= LENGTHS * max_apart_m:
        rule = f"piece_m must be at least {LENGTHS:g} times max_apart_m."
        raise InputError(rule, value=piece_m)
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    columns = np.column_stack(
        [np.asarray(a, dtype=float) for a in (easting_m, northing_m, along, value_nT)]
    )
    known = (number >= 0) & np.isfinite(columns).all(axis=1)
    lines = {int(i): columns[known & (number == i)] for i in np.unique(number[known])}
    trees = {i: cKDTree(line[:, :2]) for i, line in lines.items()}
    found = [
        (i, j, *piece)
        for i, j in combinations(lines, 2)
        for piece in _pieces(lines[i], lines[j], trees[j], max_apart_m, piece_m)
    ]
    table = np.array(found, dtype=float).reshape(-1, 6)
    first, second = table[:, :2].T.astype(np.int64)
    difference, apart = table[:, 4], table[:, 5]
    slope = _slope(lines, difference, apart)
    across = slope * np.hypot(apart, position_sd_m)
    all_geology = np.where(apart > repeat_m, np.abs(difference), 0.0)
    sd = np.hypot(noise_nT, np.maximum(across, all_geology))
    ties = LineTies(first, table[:, 2], second, table[:, 3], difference, sd)
    return NeighbourTies(ties, apart, slope)


def _pieces(
    one: FloatArray, other: FloatArray, tree: cKDTree, max_apart_m: float, piece_m: float
) -> list[tuple[float, float, float, float]]:
    """Return places on both, mean difference and mean distance of each piece run together."""
    apart, nearest = tree.query(one[:, :2], distance_upper_bound=max_apart_m)
    step = np.hypot(*np.diff(one[:, :2], axis=0).T)
    walked = np.append(0.0, np.cumsum(step))
    count = max(int(np.round(walked[-1] / piece_m)), 1)
    piece = np.minimum((walked / max(walked[-1], 1e-9) * count).astype(np.int64), count - 1)
    found = []
    for k in range(count):
        rows = np.flatnonzero((piece == k) & np.isfinite(apart))
        if rows.size < 2 or _length(walked[rows], apart[rows]) < COVERED * piece_m:
            continue
        theirs = other[nearest[rows]]
        if np.ptp(theirs[:, 0]) + np.ptp(theirs[:, 1]) < COVERED * piece_m:
            continue
        found.append(
            (
                float(np.mean(one[rows, 2])),
                float(np.mean(theirs[:, 2])),
                float(np.mean(one[rows, 3] - theirs[:, 3])),
                float(np.mean(apart[rows])),
            )
        )
    return found


def _length(walked: FloatArray, apart: FloatArray) -> float:
    """Return over what length readings follow each other, jumps left out [m]."""
    step = np.diff(walked)
    return float(step[step <= np.maximum(apart[1:], 3 * np.median(step))].sum())


def _slope(lines: dict[int, FloatArray], difference: FloatArray, apart: FloatArray) -> float:
    """Return how steep the field is across, as far as lines can tell [nT/m]."""
    if not difference.size:
        return 0.0
    distance = float(np.median(apart))
    along = [_rms_slope(line, distance) for line in lines.values()]
    seen = along_slope = float(np.sqrt(np.nanmean(np.square(along)))) if along else 0.0
    if distance > 0:
        seen = float(np.median(np.abs(difference))) / MEDIAN_SIZE / distance
    return max(along_slope, seen)


def _rms_slope(line: FloatArray, distance: float) -> float:
    """Return the rms slope along a line over a distance [nT/m]."""
    walked = np.append(0.0, np.cumsum(np.hypot(*np.diff(line[:, :2], axis=0).T)))
    if walked[-1] <= distance or distance <= 0:
        return 0.0
    then = np.interp(walked + distance, walked, line[:, 3])
    inside = walked + distance <= walked[-1]
    return float(np.sqrt(np.mean((then - line[:, 3])[inside] ** 2))) / distance
