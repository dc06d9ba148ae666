"""Whitening of block means by the covariance of their noise, quick where there are many."""

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from lodewalk.methods.planning.line_layout import Blocks
from lodewalk.methods.planning.survey_noise import SurveyNoise, noise_covariance
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Up to so many blocks, or on fewer lines, the factor is that of the whole covariance.
EXACT, MANY_LINES = 500, 24

#: Blocks that are taken together at most, and those before them against which they are seen: so
#: many, or those of so many lines where that is more.
TOGETHER, BEFORE, LINES = 160, 96, 3.3


def whitened(
    blocks: Blocks,
    noise: SurveyNoise,
    values: FloatArray,
    *,
    exact: int = EXACT,
    many_lines: int = MANY_LINES,
) -> FloatArray:
    """Return values at blocks, whitened by the covariance of the noise of their means.

    Parameters
    ----------
    blocks : Blocks
        The blocks, those of a line in order.
    noise : SurveyNoise
        Noise, its random fields as `block_noise` makes them.
    values : array, shape (n, n_columns)
        Values at the blocks [nT].
    exact, many_lines : int
        Up to so many blocks (default 500), or on fewer lines (default 24), the covariance is
        factorised as a whole.

    Returns
    -------
    array, shape (n, n_columns)
        Products of two columns are those by the inverse covariance, in which the level of each
        line is free.

    Notes
    -----
    With many blocks each line, or piece of a long one, is seen against the nearest blocks of the
    lines before it only (Vecchia 1988, by groups as in Stein, Chi and Welty 2004; both from
    memory), and levels are taken off by least squares of the whitened values. Expected scores
    are then right to a hundredth where lines cross a long body, and to 4 for a compact one. Where
    lines run along a long body few of them count, and the whole covariance is taken.

    References
    ----------
    Vecchia, A. V. (1988), Estimation and model identification for continuous spatial processes,
    Journal of the Royal Statistical Society B 50, 297-312.

    Examples
    --------
    >>> place = np.array([0.0, 5.0, 9.0])
    >>> three = Blocks(place, place, np.array([1, 1, 1]), place, np.array([4.0, 4.0, 4.0]),
    ...                np.array([0, 1, 2]), np.zeros((3, 2)))
    >>> quiet = SurveyNoise(instrument_nT=1.0, walking_nT=0.0, diurnal_nT=0.0)
    >>> white = whitened(three, quiet, np.array([[1.0], [0.0], [-1.0]]))
    >>> round(float((white**2).sum()), 2)
    8.0
    """
    lines, number = np.unique(blocks.line, return_inverse=True)
    if blocks.count.size <= exact or lines.size < many_lines:
        covariance = noise_covariance(blocks, noise)
        root = cholesky(covariance, lower=True, overwrite_a=True, check_finite=False)
        return np.asarray(solve_triangular(root, values, lower=True, check_finite=False))
    before = max(BEFORE, int(LINES * blocks.count.size / lines.size))
    columns = np.hstack([values, number[:, None] == np.arange(lines.size)])
    place = np.column_stack([blocks.easting_m, blocks.northing_m])
    found = np.empty_like(columns)
    for first, last in _groups(blocks.line):
        near = _nearest(place[:first], place[first:last], before)
        both = np.concatenate([near, np.arange(first, last)])
        covariance = noise_covariance(blocks.part(both), noise, levels=False)
        found[first:last] = _given(covariance, columns[near], columns[first:last])
    white, levels = np.split(found, [values.shape[1]], axis=1)
    basis, _ = np.linalg.qr(levels)
    return np.asarray(white - basis @ (basis.T @ white))


def _given(covariance: FloatArray, near: FloatArray, own: FloatArray) -> FloatArray:
    """Return values of some blocks given those of others that stand before them, whitened."""
    count = len(near)
    root = cholesky(covariance, lower=True, overwrite_a=True, check_finite=False)
    if count:
        share = solve_triangular(
            root[:count, :count], root[count:, :count].T, lower=True, trans="T", check_finite=False
        )
        own = own - share.T @ near
    return np.asarray(solve_triangular(root[count:, count:], own, lower=True, check_finite=False))


def _groups(line: IntArray) -> list[tuple[int, int]]:
    """Return first and end of runs of blocks of one line, none too long."""
    ends = [*(np.flatnonzero(np.diff(line)) + 1), line.size]
    groups, first = [], 0
    for end in ends:
        parts = -(-(end - first) // TOGETHER)
        cuts = np.linspace(first, end, parts + 1).astype(int)
        groups += list(zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True))
        first = end
    return groups


def _nearest(place: FloatArray, own: FloatArray, most: int) -> IntArray:
    """Return the places that lie nearest to any of some others, in their order."""
    if len(place) <= most:
        return np.arange(len(place))
    away = _least_square(place, own)
    return np.sort(np.argpartition(away, most)[:most])


@njit(nogil=True, cache=True)
def _least_square(place: FloatArray, own: FloatArray) -> FloatArray:
    """Return the square of the distance of each place from the nearest of some others."""
    away = np.full(len(place), np.inf)
    for i in range(len(place)):
        for j in range(len(own)):
            square = (place[i, 0] - own[j, 0]) ** 2 + (place[i, 1] - own[j, 1]) ** 2
            away[i] = min(away[i], square)
    return away
