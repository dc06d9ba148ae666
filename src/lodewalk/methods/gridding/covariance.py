"""Covariance of the anomaly from place to place, fitted to readings on lines."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cholesky, qr, solve_triangular
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from lodewalk.errors import InputError
from lodewalk.methods.gridding.line_blocks import LineBlocks, line_blocks
from lodewalk.validation import FloatArray, check_positive

#: Depths that are tried, in line spacings: first these, then two between the best's neighbours.
DEPTHS: Final = tuple(0.15 * (4 / 0.15) ** (step / 8) for step in range(9))
#: Block means of a window, the most windows, and the fewest block means that tell anything.
IN_WINDOW: Final = 256
MOST_WINDOWS: Final = 5
LEAST: Final = 30
#: Variances that are tried, in mean squares of a window's values; steps of 5 %, so
#: that rounding, which may differ with the number of threads, doesn't reach the result.
_VARIANCES: Final = np.exp(np.arange(np.log(1e-6), np.log(1e3), 0.05))


class DepthTrial(NamedTuple):
    """One depth [m] and minus twice the restricted log likelihood of all windows with it."""

    depth_m: float
    deviance: float


@dataclass(frozen=True)
class FieldCovariance:
    """Covariance of the anomaly about its trend: that of a white layer under the sensor.

    Parameters
    ----------
    depth_m : float
        Depth of the layer below the sensor, above zero [m].
    variance_nT2 : float
        Variance of the anomaly, above zero [nT2].
    window_variance_nT2 : tuple of float
        The variance of each window by itself [nT2]; where they differ by more than ten times, the
        ground isn't stationary.
    tried : tuple of DepthTrial
        What was tried, in order of depth.
    """

    depth_m: float
    variance_nT2: float
    window_variance_nT2: tuple[float, ...] = ()
    tried: tuple[DepthTrial, ...] = ()

    def __post_init__(self) -> None:
        """Raise when a parameter isn't above zero."""
        check_positive(self.depth_m, name="depth_m")
        check_positive(self.variance_nT2, name="variance_nT2")

    def at(self, distance_m: ArrayLike) -> FloatArray:
        """Return the covariance of two places so far apart.

        Parameters
        ----------
        distance_m : array
            Distance [m].

        Returns
        -------
        array, shape of `distance_m`
            Covariance [nT2].

        Notes
        -----
        ``C(r) = s2 (1 + r^2 / (2 d)^2)^(-3/2)``. The field of sources at depth d is the sources'
        own field there under the Poisson kernel ``d / (2 pi (r^2 + d^2)^(3/2))``, upward
        continuation [1]_; white noise under it has the kernel convolved with itself as its
        covariance, and that is the Poisson kernel of twice the depth.

        References
        ----------
        .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
           Cambridge University Press, section 12.1 (from memory).

        Examples
        --------
        >>> FieldCovariance(5.0, 8.0).at([0.0, 10.0 * 3**0.5])
        array([8., 1.])
        """
        part = np.asarray(distance_m, dtype=np.float64) / (2 * self.depth_m)
        return np.asarray(self.variance_nT2 * (1 + part**2) ** -1.5)


def fit_covariance(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value_nT: ArrayLike,
    *,
    sd_nT: ArrayLike,
    passage: ArrayLike,
    line_spacing_m: float,
    line_sd_nT: float = 0.0,
    shared: ArrayLike | None = None,
) -> FieldCovariance:
    """Fit the covariance of the anomaly to readings on lines.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    value_nT : array, shape (n,)
        Anomaly [nT].
    sd_nT : array, shape (n,)
        Standard deviation of each reading's own error, above zero [nT].
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.
    line_spacing_m : float
        Distance between neighbouring lines [m].
    line_sd_nT : float
        Standard deviation of the error that the readings of a passage share [nT].
    shared : array, shape (n, k), optional
        Further errors that they share, as in `line_blocks`.

    Returns
    -------
    FieldCovariance

    Raises
    ------
    InputError
        When lengths differ, a number is missing or out of range, or fewer than thirty block
        means are left.

    Notes
    -----
    Restricted maximum likelihood [1]_: values less a plane, whatever the plane is. It is summed
    over up to five windows of 256 block means each, round the middle and the quarters of the
    survey; each window has a plane and a variance of its own, the depth is common to all. So
    rough ground beside quiet ground hardly moves the depth. The variance is the windows' median.

    The model holds for ground of one roughness. A single strong dyke, or sources at two very
    different depths, are not of that kind: the depth is then that of the layer which explains the
    readings best from block to block, and the variance must be scaled by place
    (`calibrate`). Smooth ground under noise may leave the depth at the end of what is tried.

    References
    ----------
    .. [1] Patterson, H. D., and Thompson, R. (1971), Recovery of inter-block information when
       block sizes are unequal, Biometrika 58, 545-554 (from memory), doi:10.1093/biomet/58.3.545.

    Examples
    --------
    >>> east, north = (axis.ravel() for axis in np.meshgrid(np.arange(8) * 20.0,
    ...                                                     np.arange(0, 160, 5.0)))
    >>> value = 9 * np.cos(east / 40) * np.sin(north / 30)
    >>> found = fit_covariance(east, north, value, sd_nT=np.full(256, 0.1),
    ...                        passage=np.rint(east / 20).astype(int), line_spacing_m=20.0)
    >>> found.depth_m > 20
    True
    """
    blocks = line_blocks(
        easting_m, northing_m, value_nT, sd_nT=sd_nT, passage=passage,
        size_m=line_spacing_m / 4, shared=shared,
    )  # fmt: skip
    return covariance_of(blocks, line_spacing_m=line_spacing_m, line_sd_nT=line_sd_nT)


def covariance_of(
    blocks: LineBlocks, *, line_spacing_m: float, line_sd_nT: float = 0.0
) -> FieldCovariance:
    """Fit the covariance to block means, as `fit_covariance` does to readings.

    Parameters
    ----------
    blocks : LineBlocks
        Means of the anomaly [nT].
    line_spacing_m, line_sd_nT : float
        As in `fit_covariance`.

    Returns
    -------
    FieldCovariance

    Raises
    ------
    InputError
        With fewer than thirty block means.
    """
    if blocks.value.size < LEAST:
        raise InputError(
            f"A covariance needs at least {LEAST} block means.",
            value=blocks.value.size,
            remedy="Give depth and variance of the layer yourself.",
        )
    windows = [_prepare(blocks, window, line_sd_nT) for window in _windows(blocks)]
    ratio = DEPTHS[1] / DEPTHS[0]
    tried = {part: _all_windows(windows, part * line_spacing_m) for part in DEPTHS}
    best = min(tried, key=lambda part: tried[part][0])
    for part in (best * ratio**-0.5, best * ratio**0.5):
        if DEPTHS[0] < part < DEPTHS[-1]:
            tried[part] = _all_windows(windows, part * line_spacing_m)
    best = min(tried, key=lambda part: tried[part][0])
    variances = tried[best][1]
    trials = tuple(DepthTrial(p * line_spacing_m, tried[p][0]) for p in sorted(tried))
    return FieldCovariance(
        best * line_spacing_m, float(np.median(variances)), tuple(variances), trials
    )


class _Whitened(NamedTuple):
    """A window: distances, what turns values into contrasts of unit noise, and the contrasts."""

    distance: FloatArray
    to_contrast: FloatArray
    contrast: FloatArray
    mean_square: float


def _windows(blocks: LineBlocks) -> list[NDArray[np.int64]]:
    """Return the block means next to the middle and to the quarters, as many as there is room."""
    place = np.column_stack([blocks.easting, blocks.northing])
    low, high = place.min(axis=0), place.max(axis=0)
    parts = ((0.5, 0.5), (0.25, 0.25), (0.75, 0.75), (0.25, 0.75), (0.75, 0.25))
    number = min(max(len(place) // IN_WINDOW, 1), MOST_WINDOWS)
    tree, count = cKDTree(place), min(IN_WINDOW, len(place))
    return [
        np.sort(tree.query(low + (high - low) * np.array(part), k=count)[1])
        for part in parts[:number]
    ]


def _prepare(blocks: LineBlocks, window: NDArray[np.int64], line_sd: float) -> _Whitened:
    """Whiten the noise of a window and take its plane off."""
    east, north = blocks.easting[window], blocks.northing[window]
    value, passage = blocks.value[window], blocks.passage[window]
    same = (passage[:, None] == passage) & (passage[:, None] >= 0)
    shared = blocks.shared[window]
    alone = np.where(passage < 0, np.sum(shared**2, axis=1), 0.0)
    common = (line_sd**2 + shared @ shared.T) * same
    noise = np.diag(blocks.variance[window] + alone) + common
    root = cholesky(noise, lower=True)
    plane = np.column_stack([np.ones(east.size), east - east.mean(), north - north.mean()])
    whitened = solve_triangular(root, plane, lower=True)
    contrasts = qr(whitened)[0][:, 3:]
    to_contrast = solve_triangular(root, contrasts, lower=True, trans="T")
    place = np.column_stack([east, north])
    # Without the level, the products below keep their digits.
    return _Whitened(
        cdist(place, place),
        to_contrast,
        to_contrast.T @ (value - value.mean()),
        max(float(np.var(value)), 1e-12),
    )


def _all_windows(windows: list[_Whitened], depth: float) -> tuple[float, list[float]]:
    """Return the deviance of a depth, and the best variance of each window."""
    found = [_deviance(window, depth) for window in windows]
    return sum(deviance for deviance, _ in found), [variance for _, variance in found]


def _deviance(window: _Whitened, depth: float) -> tuple[float, float]:
    """Return minus twice the restricted log likelihood at its best variance, and that variance.

    In the eigenvectors of the whitened covariance all contrasts are independent.
    """
    shape = FieldCovariance(depth, 1.0).at(window.distance)
    size, vectors = np.linalg.eigh(window.to_contrast.T @ shape @ window.to_contrast)
    square = (vectors.T @ window.contrast) ** 2
    variance = window.mean_square * _VARIANCES
    total = 1 + np.maximum(size, 0.0) * variance[:, None]
    deviance = np.sum(np.log(total) + square / total, axis=1)
    best = int(np.argmin(deviance))
    return float(deviance[best]), float(variance[best])
