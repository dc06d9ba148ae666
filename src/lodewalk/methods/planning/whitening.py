"""Whitening of block means by the covariance of their noise, quick where there are many."""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from lodewalk.methods.planning.line_layout import Blocks
from lodewalk.methods.planning.survey_noise import SurveyNoise, noise_covariance
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Up to so many blocks the factor is that of the whole covariance.
EXACT: Final = 500

#: Blocks that are taken together at most, and those before them against which they are seen: so
#: many, or those of so many lines where that is more.
TOGETHER, BEFORE, LINES = 160, 96, 3.3


def whitened(
    blocks: Blocks, noise: SurveyNoise, values: FloatArray, *, exact: int = EXACT
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
    exact : int
        Up to so many blocks the covariance is factorised as a whole (default 500).

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
    are then right to about half a hundredth where lines cross a long body; where they run along
    it, to 1.5 in the mean.

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
    >>> round(float(white.T @ white), 2)
    8.0
    """
    if blocks.count.size <= exact:
        covariance = noise_covariance(blocks, noise)
        return _solved(covariance, values)
    lines, number = np.unique(blocks.line, return_inverse=True)
    before = max(BEFORE, int(LINES * blocks.count.size / lines.size))
    columns = np.hstack([values, number[:, None] == np.arange(lines.size)])
    place = np.column_stack([blocks.easting_m, blocks.northing_m])
    found = np.empty_like(columns)
    for first, last in _groups(blocks.line):
        near = _nearest(place[:first], place[first:last], before)
        both = np.concatenate([near, np.arange(first, last)])
        covariance = noise_covariance(blocks.part(both), noise, levels=False)
        found[first:last] = _solved(covariance, columns[both])[near.size :]
    white, levels = np.split(found, [values.shape[1]], axis=1)
    basis, _ = np.linalg.qr(levels)
    return np.asarray(white - basis @ (basis.T @ white))


def _solved(covariance: FloatArray, values: FloatArray) -> FloatArray:
    """Return values over the lower Cholesky factor of a covariance."""
    root = cholesky(covariance, lower=True, overwrite_a=True, check_finite=False)
    return np.asarray(solve_triangular(root, values, lower=True, check_finite=False))


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
