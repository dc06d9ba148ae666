"""Euler deconvolution of a grid: place, depth and structural index from every window."""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive

#: Relative error of the depth above which a window's answer is refused, and the range of indices
#: that bodies can have, with room for noise: common practice.
LARGEST_ERROR = 0.15
INDEX_RANGE = (-0.5, 3.5)


@dataclass(frozen=True)
class EulerSolutions:
    """What the windows of a grid say.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Place of each source from the grid's first node [m].
    depth_m, depth_sd_m : array, shape (n,)
        Depth below the grid's level and its standard deviation [m].
    index, index_sd : array, shape (n,)
        Structural index and its standard deviation; 0 where the index was given.
    windows, with_holes, refused : int
        Windows looked at, those of them skipped for a hole, and those whose answer was refused.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    depth_m: FloatArray
    depth_sd_m: FloatArray
    index: FloatArray
    index_sd: FloatArray
    windows: int
    with_holes: int
    refused: int


def euler_grid(
    field_nT: ArrayLike,
    *,
    east: ArrayLike,
    north: ArrayLike,
    down: ArrayLike,
    spacing_m: float,
    window: int = 10,
    largest_error: float = LARGEST_ERROR,
) -> EulerSolutions:
    """Return sources under a grid from each of its windows, the structural index estimated.

    Parameters
    ----------
    field_nT : array, shape (rows, columns)
        Total-field anomaly, rows northwards and columns eastwards [nT]; NaN in holes.
    east, north, down : arrays of the same shape
        Its gradients towards east and north, and the vertical one, positive where the field
        grows downwards [nT/m].
    spacing_m : float
        Distance between nodes [m], above zero.
    window : int
        Side of the square window in nodes, 4 or more (default 10).
    largest_error : float
        Standard deviation of the depth in depths above which an answer is refused.

    Returns
    -------
    EulerSolutions
        Answers that aren't refused: index within -0.5 to 3.5, depth above zero, source under its
        window, error small enough.

    Raises
    ------
    InputError
        For grids of different shape or a window that doesn't fit.

    Notes
    -----
    ``(x - x0) Tx + (y - y0) Ty + (z - z0) Tz = N (B - T)`` [1]_ is linear in ``x0, y0, z0, N``
    and ``N B``: each window, one at every node, solves the normal equations of the five, with
    distances from its middle. The standard deviations are those of the least-squares
    covariance; gradients are taken as free of error, so noise makes depth and index too small.

    References
    ----------
    .. [1] Reid, A. B., Allsop, J. M., Granser, H., Millett, A. J., and Somerton, I. W. (1990),
       Magnetic interpretation in three dimensions using Euler deconvolution, Geophysics, 55(1),
       80-91, doi:10.1190/1.1442774 (from memory).

    Examples
    --------
    A pole at 10 m: ``T = 1 / r`` has the index 1.

    >>> north, east = np.meshgrid(np.arange(-20.0, 21.0), np.arange(-20.0, 21.0), indexing="ij")
    >>> r = np.sqrt(east**2 + north**2 + 100.0)
    >>> found = euler_grid(1 / r, east=-east / r**3, north=-north / r**3, down=10 / r**3,
    ...     spacing_m=1.0)
    >>> round(float(np.median(found.depth_m)), 6), round(float(np.median(found.index)), 6)
    (10.0, 1.0)
    """
    grids = [np.asarray(part, dtype=float) for part in (field_nT, east, north, down)]
    shape = grids[0].shape
    if len(shape) != 2 or any(part.shape != shape for part in grids):
        raise InputError("Field and gradients must be grids of one shape.", value=shape)
    check_positive(spacing_m, name="Spacing of the grid")
    if not 4 <= window <= min(shape):
        raise InputError(
            "A window has 4 nodes or more a side and fits into the grid.", value=window
        )
    stack = np.ascontiguousarray(np.stack(grids, axis=-1))
    # gradients in field units a node and the field in units of its size keep the sums even
    whole = np.isfinite(stack).all(axis=-1)
    size = float(np.abs(stack[whole, 0]).max(initial=0.0)) or 1.0
    scaled = np.where(whole[..., None], stack, np.nan) / size
    scaled[..., 1:] *= spacing_m
    scaled[..., 0] -= np.mean(scaled[whole, 0]) if whole.any() else 0.0
    found, holes = _windows(scaled, window)
    return _kept(found, holes, window, spacing_m, largest_error)


def _kept(
    found: FloatArray, holes: int, window: int, spacing: float, largest_error: float
) -> EulerSolutions:
    """Return the answers that hold, in metres."""
    rows, columns, _ = found.shape
    east, north, depth, index, error, index_error = np.moveaxis(found, -1, 0)
    half = 0.5 * window
    with np.errstate(invalid="ignore"):
        good = (np.abs(east) <= half) & (np.abs(north) <= half) & (depth > 0.0)
        good &= (error <= largest_error * depth) & (index >= INDEX_RANGE[0])
        good &= index <= INDEX_RANGE[1]
    row, column = np.nonzero(good)
    middle = 0.5 * (window - 1)
    return EulerSolutions(
        easting_m=(column + middle + east[good]) * spacing,
        northing_m=(row + middle + north[good]) * spacing,
        depth_m=depth[good] * spacing,
        depth_sd_m=error[good] * spacing,
        index=index[good],
        index_sd=index_error[good],
        windows=rows * columns,
        with_holes=int(holes),
        refused=int(rows * columns - holes - good.sum()),
    )


@numba.njit(cache=True, nogil=True)
def _windows(scaled: FloatArray, window: int) -> tuple[FloatArray, int]:
    """Return place, depth, index and errors of every window in nodes, and windows with holes.

    Sums over columns are taken afresh for each row of windows, so no error grows along the grid.
    """
    rows, columns = scaled.shape[0] - window + 1, scaled.shape[1] - window + 1
    found = np.full((rows, columns, 6), np.nan)
    holes = 0
    sums = np.empty((scaled.shape[1], 21))
    normal, right = np.empty((5, 5)), np.empty(5)
    for row in range(rows):
        _column_sums(scaled, row, window, sums)
        for column in range(columns):
            square = _gathered(sums, column, window, normal, right)
            if np.isnan(square):
                holes += 1
            else:
                _solve(normal, right, square, window * window, found[row, column])
    return found, holes


@numba.njit(cache=True, nogil=True)
def _column_sums(scaled: FloatArray, row: int, window: int, sums: FloatArray) -> None:
    """Write the sums of products down each column of a row of windows."""
    middle = 0.5 * (window - 1)
    sums[:] = 0.0
    for step in range(window):
        away = step - middle
        for column in range(scaled.shape[1]):
            field, east = scaled[row + step, column, 0], scaled[row + step, column, 1]
            north, down = scaled[row + step, column, 2], scaled[row + step, column, 3]
            moved = away * north
            own = sums[column]
            own[0] += east * east
            own[1] += east * north
            own[2] += east * down
            own[3] += east * field
            own[4] += east
            own[5] += north * north
            own[6] += north * down
            own[7] += north * field
            own[8] += north
            own[9] += down * down
            own[10] += down * field
            own[11] += down
            own[12] += field * field
            own[13] += field
            own[14] += moved * east
            own[15] += moved * north
            own[16] += moved * down
            own[17] += moved * field
            own[18] += moved
            own[19] += moved * moved


@numba.njit(cache=True, nogil=True)
def _gathered(
    sums: FloatArray, column: int, window: int, normal: FloatArray, right: FloatArray
) -> float:
    """Write the normal equations of a window for x0, y0, z0, N and N B; return the square."""
    middle = 0.5 * (window - 1)
    total = np.zeros(20)
    moved = np.zeros(5)
    square = 0.0
    for step in range(window):
        away = step - middle
        own = sums[column + step]
        for part in range(20):
            total[part] += own[part]
        for part in range(5):
            moved[part] += away * own[part]
        square += away * (away * own[0] + 2.0 * own[14])
    # columns: east, north, down, -field, 1
    normal[0, 0], normal[0, 1], normal[0, 2] = total[0], total[1], total[2]
    normal[0, 3], normal[0, 4] = -total[3], total[4]
    normal[1, 1], normal[1, 2], normal[1, 3], normal[1, 4] = total[5], total[6], -total[7], total[8]
    normal[2, 2], normal[2, 3], normal[2, 4] = total[9], -total[10], total[11]
    normal[3, 3], normal[3, 4], normal[4, 4] = total[12], -total[13], window * window
    for part in range(3):
        right[part] = moved[part] + total[14 + part]
    right[3] = -(moved[3] + total[17])
    right[4] = moved[4] + total[18]
    return float(square + total[19])


@numba.njit(cache=True, nogil=True)
def _solve(
    normal: FloatArray, right: FloatArray, square: float, count: int, out: FloatArray
) -> None:
    """Write the solution by Cholesky's factor, with the errors of depth and index."""
    factor = np.zeros((5, 5))
    if not _factorised(normal, factor):
        return
    solved = np.empty(5)
    left = square
    for i in range(5):
        value = right[i]
        for k in range(i):
            value -= factor[i, k] * solved[k]
        solved[i] = value / factor[i, i]
        left -= solved[i] * solved[i]
    for i in range(4, -1, -1):
        value = solved[i]
        for k in range(i + 1, 5):
            value -= factor[k, i] * solved[k]
        solved[i] = value / factor[i, i]
    variance = max(left, 0.0) / (count - 5)
    for i in range(4):
        out[i] = solved[i]
    out[4] = np.sqrt(variance * _inverse(factor, 2))
    out[5] = np.sqrt(variance * _inverse(factor, 3))


@numba.njit(cache=True, nogil=True)
def _factorised(normal: FloatArray, factor: FloatArray) -> bool:
    """Write Cholesky's factor of the upper half of a matrix; False where it is singular."""
    for i in range(5):
        for j in range(i + 1):
            value = normal[j, i]
            for k in range(j):
                value -= factor[i, k] * factor[j, k]
            if i == j:
                if not value > 1e-13 * normal[i, i]:
                    return False
                factor[i, i] = np.sqrt(value)
            else:
                factor[i, j] = value / factor[j, j]
    return True


@numba.njit(cache=True, nogil=True)
def _inverse(factor: FloatArray, which: int) -> float:
    """Return one diagonal member of the inverse of the normal matrix."""
    column = np.zeros(5)
    total = 0.0
    for i in range(which, 5):
        value = 1.0 if i == which else 0.0
        for k in range(which, i):
            value -= factor[i, k] * column[k]
        column[i] = value / factor[i, i]
        total += column[i] * column[i]
    return total


def clusters(
    found: EulerSolutions, *, reach_m: float, least: int = 20
) -> list[tuple[FloatArray, NDArray[np.intp]]]:
    """Return places where many windows agree, the most agreed first.

    Parameters
    ----------
    found : EulerSolutions
        From `euler_grid`.
    reach_m : float
        Answers nearer than this in plan to a place belong to it [m], above zero.
    least : int
        Fewest answers of a place.

    Returns
    -------
    list of (array of shape (2,), array of int)
        Easting and northing of each place from the grid's first node [m] and its answers.

    Examples
    --------
    >>> none = EulerSolutions(*[np.zeros(0)] * 6, 0, 0, 0)
    >>> clusters(none, reach_m=1.0)
    []
    """
    check_positive(reach_m, name="Reach of a place")
    place = np.stack([found.easting_m, found.northing_m], axis=1)
    cell = np.floor(place / reach_m).astype(np.int64)
    _, which, counts = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    order = np.argsort(-counts, kind="stable")
    groups = [np.flatnonzero(which == one) for one in order if counts[one] >= least]
    return [(np.median(place[group], axis=0), group) for group in groups]
