"""Equivalent sources: a layer under the sensor whose field is the readings', at any height."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding._source_layer import (
    Mesh,
    Operator,
    Solution,
    damped_fit,
    mesh_around,
    places_on,
    reweighted_fit,
)
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.line_folds import KEPT, line_folds
from lodewalk.methods.gridding.source_layer import (
    FEWEST_IN_DEPTH,
    MARGIN,
    SourceLayer,
    on_trend,
)
from lodewalk.methods.parts import Each, in_turn
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Mesh spacings in the depth of the layer: usual, and where layers are only compared.
SPACINGS_IN_DEPTH: Final = 3.0
ROUGH_SPACINGS: Final = 2.0
#: Width over which the strengths of one round weigh the next, in depths of the layer.
WIDTH: Final = 0.4
TRENDS: Final = ("plane", "mean", "none")
MOST_ITERATIONS: Final = 2000
#: For `choose_layer`: depths in line spacings, decades of damping, squares in a line spacing,
#: the tolerance of a fit (a few hundredths of the noise), and squares of ties that suffice.
DEPTHS: Final = (0.3, 0.4, 0.55, 0.75, 1.0, 1.4, 2.0)
LOWEST, FIRST, HIGHEST = -8, -2, 1
SQUARES_IN_SPACING: Final = 5
ROUGH: Final = 2e-4
ENOUGH_TIES: Final = 200
MOST_ROUNDS: Final = 1


def fit_layer(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    depth_m: float,
    damping: float,
    sd: ArrayLike | None = None,
    rounds: int = 0,
    trend: str = "plane",
    spacing_m: float | None = None,
    tolerance: float = 3e-5,
) -> SourceLayer:
    """Fit an equivalent layer to readings.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    value : array, shape (n,)
        Readings of the anomaly, in any unit; one without a position, value or sd (NaN) is left
        out.
    depth_m : float
        Depth of the layer below the sensor [m]; `choose_layer` finds one.
    damping : float
        Variance of a usual reading's noise over the variance of the anomaly; `choose_layer`
        finds one.
    sd : array, shape (n,), optional
        Standard deviation of each reading, above zero; readings weigh 1/sd**2, relative to the
        median's (default: all the same).
    rounds : int
        How many times the fit is repeated with a damping that is weaker where the strengths of
        the fit before are large, and stronger where the ground was quiet (default 0).
    trend : str
        What is taken off before and put back at any height: the "plane" of least squares
        (default), the "mean", or "none" where the readings' zero is known to be that of no
        anomaly.
    spacing_m : float, optional
        Distance between the sources (default: a third of the depth), at most depth/1.5 [m].
    tolerance : float
        The fit ends when its gradient has shrunk to this share (default: what is left changes the
        field by about a hundredth of the noise).

    Returns
    -------
    SourceLayer
        Gives the anomaly at any place and height above the layer.

    Raises
    ------
    InputError
        When lengths differ, a setting is not above zero, fewer than three readings are left, they
        lie along one line, or the mesh is too large.

    Notes
    -----
    The anomaly above a layer at depth d, where it is s, is s folded with the Poisson kernel
    ``h / (2 pi (rho^2 + h^2)^(3/2))``, h the height over the layer ([1]_, [2]_ chapter 12),
    whichever way the field points: the anomaly is harmonic. The strengths s lie on an even mesh
    that reaches 5 d beyond the readings and make

    ``sum w (T(s) - t)^2 + mu sum s^2``

    least, T the field at the readings, t the readings less the trend, ``mu = damping a^2 / (8 pi
    d^2)`` and a the spacing, since white strengths of variance 1 make an anomaly of variance
    ``a^2 / (8 pi d^2)``. That is kriging with the covariance ``(2 d)^3 / (rho^2 + (2 d)^2)^(3/2)``
    times the variance of the anomaly.

    Magnetised ground isn't spread evenly. Each further round divides ``s^2`` by v, the mean square
    of the last strengths under a Gaussian of 0.4 d (standard deviation), scaled to the mean 1:
    the prior variance is then that of the place (re-weighted least squares, common practice).
    Compact bodies and dykes come out sharper between lines; noise can too, so left-out lines
    decide.

    The kernel is ``exp(-k h)`` in wavenumbers, the field between nodes their cubic B-spline,
    with its transpose in the gradient: the cost is two Fourier transforms and sixteen weights a
    reading for each step of conjugate gradients, in one thread. Readings aren't averaged, and
    their order changes no bit.

    The layer follows the sensor: positions are map positions, and each reading is taken to be
    `depth_m` above the layer. That neglects how the walked surface bends and tilts within a few
    depths. Over a planted hill with slopes up to 10, 16 and 22 %, dipoles 30 to 100 m below the
    sensor, lines 25 m apart and noise 0.5 nT, the error of 0.50 nT on flat ground became 0.51,
    0.53 and 0.55 nT; 20 m higher up 0.38 became 0.51, 0.65 and 0.82 nT (3 trials each).

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
    for name, number in (("depth_m", depth_m), ("damping", damping), ("tolerance", tolerance)):
        check_positive(number, name=name)
    spacing = _spacing(depth_m, spacing_m)
    if rounds < 0:
        raise InputError("rounds must not be below zero.", value=rounds)
    if trend not in TRENDS:
        raise InputError(f"The trend must be one of {', '.join(TRENDS)}.", value=trend)
    _, (east, north, readings, weight) = _usable(easting_m, northing_m, value, sd)
    _check_spread(east, north, spacing)
    mesh = mesh_around(east, north, spacing_m=spacing, margin_m=MARGIN * depth_m)
    places = places_on(mesh, east, north)
    order = np.lexsort((weight, readings, east, north, places.column, places.row))
    east, north, readings, weight = (part[order] for part in (east, north, readings, weight))
    plane = _trend(mesh, east, north, readings, weight, trend)
    rest = readings - on_trend(plane, mesh, east, north)
    layer = Operator(mesh, places_on(mesh, east, north), mesh.kernel(depth_m))
    found = _repeated(layer, rest, weight, depth_m, damping, tolerance, rounds)
    return SourceLayer(
        mesh, mesh.back(found.strength), plane, depth_m, found.iterations, found.left
    )


def _repeated(
    layer: Operator,
    value: FloatArray,
    weight: FloatArray,
    depth_m: float,
    damping: float,
    tolerance: float,
    rounds: int,
) -> Solution:
    """Fit the strengths, once and in further rounds."""
    rows, columns = (float(np.ptp(part)) + 1 for part in layer.places[:2])
    damping *= layer.mesh.spacing_m**2 / (8 * np.pi * depth_m**2)
    found = damped_fit(
        layer,
        value,
        weight,
        damping=damping,
        density=float(np.sum(weight)) / (rows * columns),
        tolerance=max(tolerance, ROUGH) if rounds else tolerance,
        most=MOST_ITERATIONS,
    )
    for _ in range(rounds):
        found = reweighted_fit(
            layer,
            value,
            weight,
            found.strength,
            damping=damping,
            width_m=WIDTH * depth_m,
            tolerance=tolerance,
            most=MOST_ITERATIONS,
        )
    return found


def _usable(
    easting: ArrayLike, northing: ArrayLike, value: ArrayLike, sd: ArrayLike | None
) -> tuple[BoolArray, list[FloatArray]]:
    """Return which readings have all that is needed, and their place, value, relative weight."""
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


class Trial(NamedTuple):
    """Depth [m], damping and rounds tried, and the rms error of what they predicted."""

    depth_m: float
    damping: float
    rounds: int
    rms: float


class LayerChoice(NamedTuple):
    """The depth [m], damping and rounds that predict best, and their rms errors.

    `rms_lines` is the error on left-out lines, `rms_ties` that on tie lines, all left out (NaN
    where there are none); `by_ties` says which of them chose, `trials` holds that of all tried.
    """

    depth_m: float
    damping: float
    rounds: int
    rms_lines: float
    rms_ties: float
    by_ties: bool
    trials: tuple[Trial, ...]


class _Fold(NamedTuple):
    """Readings of one fold, averaged over small squares, and their relative weights."""

    east: FloatArray
    north: FloatArray
    value: FloatArray
    weight: FloatArray


def choose_layer(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    line: ArrayLike,
    line_spacing_m: float,
    sd: ArrayLike | None = None,
    depths: Sequence[float] = DEPTHS,
    folds: int = 4,
    each: Each = in_turn,
) -> LayerChoice:
    """Choose depth, damping and rounds of a layer by what it predicts of lines left out.

    Parameters
    ----------
    easting_m, northing_m, value, sd : array, shape (n,)
        As for `fit_layer`.
    line : array, shape (n,)
        Name or number of each reading's line.
    line_spacing_m : float
        Distance between neighbouring lines [m].
    depths : sequence of float
        Depths to try, in line spacings, in rising order.
    folds : int
        Every so-manieth line is left out together; all tie lines make one fold more.
    each : Each
        Does the layers without a fold (default: one after the other).

    Returns
    -------
    LayerChoice
        What predicts best, and all that was tried.

    Raises
    ------
    InputError
        As `fit_layer` and `line_folds`.

    Notes
    -----
    Where there are tie lines enough (`ENOUGH_TIES` squares, some thirty line spacings of them),
    the error on them decides, all tie lines left out: between lines they see the gaps that the
    grid has. A left-out line sees gaps twice as wide, so what predicts it best is too smooth; it
    decides where there are no ties.

    Readings of a fold are averaged over squares of a fifth of the line spacing. At each depth the
    damping goes down or up by factors of ten from the last depth's best until the error rises,
    and the depth down and up from the middle one likewise; then again with one round more, from
    the best so far.
    """
    check_same_length(value=value, line=line)
    used, columns = _usable(easting_m, northing_m, value, sd)
    east, north = columns[:2]
    fold = line_folds(
        east,
        north,
        np.atleast_1d(np.asarray(line))[used],
        line_spacing_m=line_spacing_m,
        folds=folds,
    )
    side = line_spacing_m / SQUARES_IN_SPACING
    parts = {
        int(number): _averaged([column[fold == number] for column in columns], side)
        for number in np.unique(fold)
    }
    lines = [number for number in parts if number not in (KEPT, folds)]
    by_ties = folds in parts and parts[folds].value.size >= ENOUGH_TIES
    left_out = [folds] if by_ties else lines
    trials: dict[tuple[int, int, int], Trial] = {}

    def error(depth: int, decade: int, rounds: int) -> float:
        if (depth, decade, rounds) not in trials:
            setting = depths[depth] * line_spacing_m, 10.0**decade, rounds
            rms = _prediction_error(parts, left_out, *setting, each)
            trials[depth, decade, rounds] = Trial(*setting, rms)
        return trials[depth, decade, rounds].rms

    place = len(depths) // 2, FIRST
    for rounds in range(MOST_ROUNDS + 1):
        place = _walk_down(partial(error, rounds=rounds), len(depths), place)
    best = min(trials.values(), key=lambda trial: (trial.rms, trial))
    rms_lines, rms_ties = (
        _prediction_error(parts, [n for n in numbers if n in parts], *best[:3], each)
        for numbers in (lines, [folds])
    )
    return LayerChoice(*best[:3], rms_lines, rms_ties, by_ties, tuple(sorted(trials.values())))


def _walk_down(
    error: Callable[[int, int], float], depths: int, place: tuple[int, int]
) -> tuple[int, int]:
    """Go from pair to pair of depth and decade of damping until no step lowers the error."""

    def best_decade(depth: int, decade: int) -> int:
        for step in (-1, 1):
            while LOWEST <= decade + step <= HIGHEST and error(depth, decade + step) < error(
                depth, decade
            ):
                decade += step
        return decade

    place = place[0], best_decade(*place)
    for step in (-1, 1):
        while 0 <= place[0] + step < depths:
            depth = place[0] + step
            there = depth, best_decade(depth, place[1])
            if error(*there) >= error(*place):
                break
            place = there
    return place


def _averaged(columns: list[FloatArray], side: float) -> _Fold:
    """Return the means of readings over squares, and their weights."""
    east, north, value, weight = columns
    means = block_means(east / side, north / side, value, weight=weight)
    return _Fold(means.column * side, means.row * side, means.value, means.weight)


def _prediction_error(
    parts: Mapping[int, _Fold],
    left_out: Sequence[int],
    depth: float,
    damping: float,
    rounds: int,
    each: Each,
) -> float:
    """Predict each of the folds to leave out from all others; NaN without one."""
    squares = each(partial(_squares, dict(parts), depth, damping, rounds), left_out)
    return float(np.sqrt(np.mean(np.concatenate(squares)))) if squares else float("nan")


def _squares(
    parts: Mapping[int, _Fold], depth: float, damping: float, rounds: int, number: int
) -> FloatArray:
    """Return the squared errors of predicting one fold from all others."""
    others = [part for other, part in parts.items() if other != number]
    east, north, value, weight = (np.concatenate(column) for column in zip(*others, strict=True))
    layer = fit_layer(
        east,
        north,
        value,
        sd=1 / np.sqrt(weight),
        depth_m=depth,
        # For a usual reading here, but for a usual square there.
        damping=damping / float(np.median(weight)),
        rounds=rounds,
        spacing_m=depth / ROUGH_SPACINGS,
        tolerance=ROUGH,
    )
    out = parts[number]
    errors: FloatArray = (layer.at(out.east, out.north) - out.value) ** 2
    return errors
