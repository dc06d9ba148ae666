"""Equivalent sources: layers under the sensor whose field is the readings', at any height."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding._layer_fit import damped_fit, layers_under
from lodewalk.methods.gridding._source_layer import Mesh, places_on
from lodewalk.methods.gridding.source_layer import FEWEST_IN_DEPTH, SourceLayer, on_trend
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Mesh spacings in the depth of the upper layer.
SPACINGS_IN_DEPTH: Final = 3.0
TRENDS: Final = ("plane", "mean", "none")
MOST_LAYERS: Final = 5
MOST_ITERATIONS: Final = 2000
#: Where a fit ends (see its tolerance), one of further rounds, and a round before the last.
ENDS: Final = 3e-5
ENDS_ROUNDS: Final = 1e-3
ROUGH: Final = 3e-3


def fit_layer(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    depth_m: float,
    damping: float,
    sd: ArrayLike | None = None,
    layers: int = 1,
    rounds: int = 0,
    trend: str = "plane",
    spacing_m: float | None = None,
    tolerance: float | None = None,
) -> SourceLayer:
    """Fit an equivalent layer, or several under each other, to readings.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    value : array, shape (n,)
        Readings of the anomaly, in any unit; one without a position, value or sd (NaN) is left
        out.
    depth_m : float
        Depth of the upper layer below the sensor [m]; `choose_layer` finds one.
    damping : float
        Variance of a usual reading's noise over the variance of the anomaly; `choose_layer`
        finds one.
    sd : array, shape (n,), optional
        Standard deviation of each reading, above zero; readings weigh 1/sd**2, relative to the
        median's (default: all the same).
    layers : int
        Number of layers, 1 (default) to 5, each twice as deep as the one above it.
    rounds : int
        How many times the fit is repeated with a damping that is weaker where the strengths of
        the fit before are large, and stronger where the ground was quiet (default 0).
    trend : str
        What is taken off before and put back at any height: the "plane" of least squares
        (default), the "mean", or "none" where the readings' zero is known to be that of no
        anomaly.
    spacing_m : float, optional
        Distance between the sources of the upper layer (default: a third of its depth), at most
        depth/1.5 [m].
    tolerance : float, optional
        The fit ends when its gradient has shrunk to this share. Default: 3e-5, when what is left
        changes the field by about a hundredth of the noise; with further rounds 1e-3, when the
        error against planted bodies has come within about a hundredth of its own size of what it
        is in the end. For readings without noise give 1e-5.

    Returns
    -------
    SourceLayer
        Gives the anomaly at any place and height above the upper layer.

    Raises
    ------
    InputError
        When lengths differ, a setting is out of range, fewer than three readings are left, they
        lie along one line, or the mesh is too large.

    Notes
    -----
    The anomaly above a layer at depth d, where it is s, is s folded with the Poisson kernel
    ``h / (2 pi (rho^2 + h^2)^(3/2))``, h the height over the layer ([1]_, [2]_ chapter 12),
    whichever way the field points: the anomaly is harmonic. The strengths s lie on even meshes
    that reach 5 d beyond the readings (8 d with three layers) and make

    ``sum w (T(s) - t)^2 + mu sum s^2 / v``

    least, T the field at the readings, t the readings less the trend, mu the damping, and v the
    variance of the strengths that gives the anomaly the variance 1: ``8 pi d^2 / (a^2 m)`` for
    each of m layers, a its spacing, since white strengths of variance 1 make an anomaly of
    variance ``a^2 / (8 pi d^2)``. That is kriging with the covariance ``(2 d)^3 / (rho^2 +
    (2 d)^2)^(3/2)``, the mean over the layers, times the variance of the anomaly.

    Magnetised ground isn't spread evenly. In each further round v is the mean square of the last
    strengths under a Gaussian of 0.4 d (standard deviation, d that of each layer), scaled so that
    the mean over the readings is 1 for all layers together: the prior variance is that of the
    place and depth (re-weighted least squares, common practice). A compact body, which a shallow
    layer alone can't tell from many, then takes few sources of the layer next to its depth.
    Bodies and dykes come out sharper between lines; noise can too, so left-out lines decide.

    The kernel is ``exp(-k h)`` in wavenumbers, the field between nodes their cubic B-spline. The
    unknowns are one weight a reading, x with ``s = v T' x``, whose conjugate gradients are those
    of ``s / sqrt(v)`` itself. A step costs two Fourier transforms and sixteen weights a reading
    there and back; with uneven variances two transforms more for each layer, each on a mesh of a
    quarter of the nodes of the one above. A round starts from the weights of the one before.
    The transforms run in numba's number of threads. Neither that nor the order of the readings,
    which aren't averaged, changes a bit. In the end one layer at `depth_m` stands for all, each
    continued up to it.

    The layer follows the sensor: positions are map positions, and each reading is taken to be
    `depth_m` above the layer. That neglects how the walked surface bends and tilts within a few
    depths. Over a planted hill with slopes up to 10, 16 and 22 %, dipoles 30 to 100 m below the
    sensor, lines 25 m apart and noise 0.5 nT, the error of 0.50 nT on flat ground became 0.51,
    0.53 and 0.55 nT; 20 m higher up 0.38 became 0.51, 0.65 and 0.82 nT (one layer, 3 trials each).

    Two readings in one place count both; three make a plane. A plane is the same at any height,
    but takes a little of a wide anomaly with it, which "none" avoids. What neighbouring lines
    can't tell of sources shallower than the line spacing stays unknown.

    References
    ----------
    .. [1] Dampney, C. N. G. (1969), The equivalent source technique, Geophysics 34, 39-53 (from
       memory), doi:10.1190/1.1439996.
    .. [2] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press (chapter from memory).

    Examples
    --------
    A plane has no sources:

    >>> east, north = (axis.ravel() for axis in np.meshgrid([0.0, 10.0, 20.0], [0.0, 10.0, 20.0]))
    >>> layer = fit_layer(east, north, 5 + 0.1 * east, depth_m=10.0, damping=0.01)
    >>> layer.at([15.0], [5.0], height_m=30.0).round(6).tolist()
    [6.5]
    """
    if tolerance is None:
        tolerance = ENDS_ROUNDS if rounds else ENDS
    check_positive(tolerance, name="tolerance")
    if rounds < 0:
        raise InputError("rounds must not be below zero.", value=rounds)
    _, columns = usable(easting_m, northing_m, value, sd)
    ends = [max(tolerance, ROUGH)] * rounds + [tolerance]
    *_, last = fits_of_rounds(
        columns,
        depth_m=depth_m,
        damping=damping,
        layers=layers,
        trend=trend,
        spacing_m=_spacing(depth_m, spacing_m),
        tolerances=ends,
    )
    return last


def fits_of_rounds(
    columns: Sequence[FloatArray],
    *,
    depth_m: float,
    damping: float,
    layers: int,
    spacing_m: float,
    tolerances: Sequence[float],
    trend: str = "plane",
) -> Iterator[SourceLayer]:
    """Yield the layer after each round, one a tolerance.

    Parameters
    ----------
    columns : sequence of array, shape (n,)
        Easting, northing [m], value and relative weight of the readings, as of `usable`.
    depth_m, damping, layers, spacing_m, trend
        As for `fit_layer`.
    tolerances : sequence of float
        Where each round ends.

    Yields
    ------
    SourceLayer

    Raises
    ------
    InputError
        As `fit_layer`.
    """
    check_positive(depth_m, name="depth_m")
    check_positive(damping, name="damping")
    if trend not in TRENDS:
        raise InputError(f"The trend must be one of {', '.join(TRENDS)}.", value=trend)
    if not 1 <= layers <= MOST_LAYERS:
        raise InputError(f"layers must be from 1 to {MOST_LAYERS}.", value=layers)
    _check_spread(columns[0], columns[1], spacing_m)
    under = layers_under(*columns[:2], depth_m=depth_m, spacing_m=spacing_m, count=layers)
    mesh, places = under.meshes[0], under.places
    order = np.lexsort((columns[3], columns[2], *columns[:2], places.column, places.row))
    east, north, readings, weight = (part[order] for part in columns)
    under = replace(under, places=places_on(mesh, east, north))
    plane = _trend(mesh, east, north, readings, weight, trend)
    rest = readings - on_trend(plane, mesh, east, north)
    prior, weights, count = under.even(), None, 0
    for tolerance in tolerances:
        found = damped_fit(
            under, prior, rest, weight,
            damping=damping, first=weights, tolerance=tolerance, most=MOST_ITERATIONS,
        )  # fmt: skip
        weights, count = found.weights, count + found.iterations
        strengths = under.strengths(weights, prior)
        yield SourceLayer(mesh, under.merged(strengths), plane, depth_m, count, found.left)
        prior = under.local(strengths)


def usable(
    easting: ArrayLike, northing: ArrayLike, value: ArrayLike, sd: ArrayLike | None
) -> tuple[BoolArray, list[FloatArray]]:
    """Return which readings have all that is needed, and their place, value, relative weight.

    Parameters
    ----------
    easting, northing, value, sd : array, shape (n,)
        As for `fit_layer`.

    Returns
    -------
    tuple = (used, columns)
        Bool array, shape (n,), and four arrays of the used readings.

    Raises
    ------
    InputError
        As `fit_layer`.
    """
    if sd is None:
        sd = np.ones(np.atleast_1d(np.asarray(value)).size)
    check_same_length(easting_m=easting, northing_m=northing, value=value, sd=sd)
    columns = [
        np.atleast_1d(np.asarray(column, dtype=np.float64))
        for column in (easting, northing, value, sd)
    ]
    used = np.all(np.isfinite(columns), axis=0)
    if np.count_nonzero(used) < 3:
        raise InputError(
            "A layer needs at least three readings that have a position and a value.",
            value=f"{np.count_nonzero(used)} of {used.size}",
            remedy="See why readings were rejected or have no anomaly.",
        )
    east, north, readings, spread = (column[used] for column in columns)
    check_positive(float(spread.min()), name="sd")
    return used, [east, north, readings, (np.median(spread) / spread) ** 2]


def _check_spread(east: FloatArray, north: FloatArray, spacing: float) -> None:
    """Raise when the readings don't span an area."""
    column, row = east - east.mean(), north - north.mean()
    along = 0.5 * np.arctan2(2 * np.sum(column * row), np.sum(column**2) - np.sum(row**2))
    width = float(np.ptp(row * np.cos(along) - column * np.sin(along)))
    if width < spacing:
        raise InputError(
            "A layer can't be fitted to readings along one line.",
            value=f"a strip {width:.2g} m wide",
            remedy=f"Add a second line, more than half the layer's depth ({spacing:.3g} m) away.",
        )


def _spacing(depth_m: float, spacing_m: float | None) -> float:
    """Return the distance between sources."""
    if spacing_m is None:
        return depth_m / SPACINGS_IN_DEPTH
    check_positive(spacing_m, name="spacing_m")
    if spacing_m > depth_m / FEWEST_IN_DEPTH:
        raise InputError(
            f"spacing_m must be at most the layer's depth by {FEWEST_IN_DEPTH}.",
            value=f"{spacing_m:.4g} m",
            remedy=f"At this depth the widest is {depth_m / FEWEST_IN_DEPTH:.4g} m.",
        )
    return spacing_m


def _trend(
    mesh: Mesh,
    east: FloatArray,
    north: FloatArray,
    value: FloatArray,
    weight: FloatArray,
    trend: str,
) -> tuple[float, float, float]:
    """Return the weighted plane of least squares, the mean or nothing.

    Sums by numpy alone: a matrix product may add up in another order with more threads.
    """
    if trend == "none":
        return 0.0, 0.0, 0.0
    total = np.sum(weight)
    means = [float(np.sum(weight * part) / total) for part in (east, north, value)]
    if trend == "mean":
        return means[2], 0.0, 0.0
    e, n, v = east - means[0], north - means[1], value - means[2]
    cross = np.sum(weight * e * n)
    normal = [[np.sum(weight * e * e), cross], [cross, np.sum(weight * n * n)]]
    slope_e, slope_n = np.linalg.solve(normal, [np.sum(weight * e * v), np.sum(weight * n * v)])
    base = means[2] - slope_e * (means[0] - mesh.west_m) - slope_n * (means[1] - mesh.south_m)
    return float(base), float(slope_e), float(slope_n)
