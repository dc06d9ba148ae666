"""Standard error of transforms: the grid's own error carried on, and what lies beyond its edge."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numba import get_num_threads
from numpy.typing import ArrayLike
from scipy.fft import fftfreq, irfft2, rfft2, rfftfreq
from scipy.ndimage import distance_transform_edt, gaussian_filter

from lodewalk.methods.spectral.operators import Direction, Operator, Spectrum
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.transforms import GridSpectrum, prepare
from lodewalk.validation import FloatArray, check_positive

#: Fields that are drawn to see what gaps and edges cost, and the width of the means over nodes.
DRAWS: Final = 10
SMOOTH: Final = 2.0
#: Most nodes along a side of the fields drawn; larger grids are drawn with fewer nodes.
MOST_SIDE: Final = 192
#: Rounds that part the grid's error into independent ones, and the least part of the mean that
#: one of them keeps.
ROUNDS: Final = 8
LEAST_PART: Final = 1e-6
#: How much finer the grid's error is than the geometric mean of its two lengths.
FINER: Final = 0.75
#: Least share of the grid's variance that isn't taken as shared by lines; waves of stripes.
LEAST_OWN: Final = 0.1
STRIPES: Final = 256
#: How far from gaps and edges the anomaly tells how large it is beyond [sides of the grid].
NEAR: Final = 0.1


class SharedLevel(NamedTuple):
    """What all readings of a line share: standard deviation [nT], direction and spacing of lines.

    The direction is clockwise from grid north [deg], the spacing in metres.
    """

    sd_nT: float
    azimuth_deg: float
    spacing_m: float


class ErrorParts(NamedTuple):
    """Variances of the error of a transform: carried on from the grid, and from gaps and edges."""

    grid: FloatArray
    edge: FloatArray

    @property
    def sd(self) -> FloatArray:
        """Standard deviation of both together."""
        return np.sqrt(self.grid + self.edge)


def transform_errors(
    sd_nT: ArrayLike,
    prepared: GridSpectrum,
    operators: Sequence[Operator],
    *,
    error_depth_m: float,
    directions: tuple[Direction, ...] = (),
    shared: SharedLevel | None = None,
    rng: np.random.Generator,
) -> tuple[ErrorParts, ...]:
    """Predict the error of each transform of a grid at each node.

    Parameters
    ----------
    sd_nT : array, shape (n_north, n_east)
        Standard error of the grid [nT], none missing where the grid has a value.
    prepared : GridSpectrum
        The grid, from `prepare`.
    operators : sequence of Operator
    error_depth_m : float
        How the grid's error hangs together: errors ``r`` apart have the correlation
        ``(1 + r^2 / (2 d)^2)^(-3/2)``, as the field of a white layer at the depth d [m].
    directions : tuple of Direction
        Field and magnetisation (default: the ground is alike in all directions as it is seen).
    shared : SharedLevel, optional
        The part of the grid's error that whole lines share (default: none).
    rng : numpy.random.Generator
        Draws the fields that stand for the ground beyond the edge.

    Returns
    -------
    tuple of ErrorParts
        One for each operator, NaN where the grid had no value.

    Notes
    -----
    1. The grid's error is taken as white noise of uneven strength s under the kernel g of a layer
       at the depth d, ``e = g * (s w)``; the strengths are those whose error has the stated size.
       A transform with the kernel t has then the variance ``(t * g)^2 * s^2`` exactly, all on the
       torus.
    2. What lies in gaps and beyond the edge isn't known. Fields with the radially averaged power
       spectrum of the anomaly are drawn on a torus of twice the size, cut to the grid, filled and
       transformed as it was, and compared with their own transform without gap or edge. Damped
       operators lose part of the signal, and that is in it too.

    3. A level that a line shares reaches along all of it, and the grid goes straight from it to
       that of the next: stripes of white levels under a hat function. They are taken out of the
       part of 1, of which at least a tenth stays, and their variance under the transform is added.

    All are added. The assumption is that the anomaly is stationary and the grid's error hangs
    together equally in all directions; neither quite holds between lines.
    """
    check_positive(error_depth_m, name="error_depth_m")
    axes = prepared.wavenumbers()
    sd = np.asarray(sd_nT, dtype=np.float64)
    level = _stripes(shared, Operator(), prepared)
    own = np.sqrt(np.maximum(sd**2 - level, LEAST_OWN * sd**2))
    square = _strengths(own, prepared, error_depth_m)
    smooth = Operator(height_m=error_depth_m)
    edges = _edge_errors(prepared, operators, directions, rng)
    found = []
    for operator, edge in zip(operators, edges, strict=True):
        ones = np.ones_like(prepared.spectrum)
        kernel = (operator * smooth).times(ones, *axes)
        variance = _spread_square(kernel, square, prepared.torus) / _norm(prepared, smooth)
        variance += _stripes(shared, operator, prepared)
        found.append(ErrorParts(_cut(variance, prepared), edge))
    return tuple(found)


def error_depth(line_spacing_m: float, depth_m: float | None) -> float:
    """Return how smooth the error of a grid of lines is taken to be, as a layer's depth [m].

    Parameters
    ----------
    line_spacing_m : float
        Distance between lines [m].
    depth_m : float or None
        Depth of the layer whose field is as smooth as the anomaly, from `fit_covariance`; None
        where it isn't known.

    Returns
    -------
    float
        Depth for `transform_errors` [m].

    Notes
    -----
    Across the lines the error changes from line to middle, a quarter of their spacing; along them
    it is as smooth as what isn't known of the field. One number stands for both: three quarters of
    their geometric mean, at most half the spacing. The three quarters were chosen on 32 planted
    surveys, for the coverage of first derivatives, and judged on others (see doc/evidence.rst).

    Examples
    --------
    >>> error_depth(20.0, 20.0)
    7.5
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    across = line_spacing_m / 4
    along = across if depth_m is None else depth_m
    between = FINER * np.sqrt(along * min(along, across))
    return float(min(between, line_spacing_m / 2))


def _stripes(shared: SharedLevel | None, operator: Operator, prepared: GridSpectrum) -> float:
    """Return the variance of levels that lines share under an operator, mean from line to line.

    White levels L apart, joined by straight lines, have the power ``s^2 L sinc^4(k L / 2)``; waves
    longer than the torus count as a level.
    """
    if shared is None or not shared.sd_nT > 0:
        return 0.0
    width, turn = shared.spacing_m, np.radians(shared.azimuth_deg + 90.0)
    longest = 2 * np.pi / (prepared.spacing_m * max(prepared.torus))
    k = longest * (np.arange(STRIPES) + 0.5) * max(1.0, 6 * np.pi / (width * longest * STRIPES))
    power = shared.sd_nT**2 * width * np.sinc(k * width / (2 * np.pi)) ** 4
    waves = np.ones((STRIPES, STRIPES), dtype=np.complex128)
    factor = np.diagonal(operator.times(waves, k * np.cos(turn), k * np.sin(turn)))
    return float((power * np.abs(factor) ** 2).sum() * (k[1] - k[0]) / np.pi)


def _norm(prepared: GridSpectrum, smooth: Operator) -> float:
    """Return the variance of unit white noise under an operator."""
    kernel = smooth.times(np.ones_like(prepared.spectrum), *prepared.wavenumbers())
    return float((irfft2(kernel, s=prepared.torus) ** 2).sum())


def _spread_square(kernel: Spectrum, square: FloatArray, torus: tuple[int, int]) -> FloatArray:
    """Return a map under the square of the kernel of a half spectrum."""
    threads = get_num_threads()
    power = irfft2(kernel, s=torus, workers=threads, overwrite_x=True) ** 2
    spread = rfft2(power, workers=threads) * rfft2(square, workers=threads)
    found = irfft2(spread, s=torus, workers=threads, overwrite_x=True)
    return np.asarray(np.maximum(found, 0.0))


def _strengths(sd: FloatArray, prepared: GridSpectrum, depth_m: float) -> FloatArray:
    """Return squared strengths on the torus whose error has the stated variance at the nodes.

    Multiplicative rounds (Richardson 1972, Lucy 1974, from memory) keep them above zero. Beyond
    the grid it dies away as the fill does.
    """
    known = np.zeros(prepared.torus, dtype=bool)
    place = _place(prepared)
    known[place] = prepared.known & np.isfinite(sd)
    wanted = np.zeros(prepared.torus)
    wanted[place] = np.where(known[place], sd, 0.0) ** 2
    away, nearest = distance_transform_edt(~known, return_indices=True)
    # The fill takes over the error beside it, and smooths away what is short beside the distance.
    wanted = wanted[tuple(nearest)] * np.exp(-2 * away * prepared.spacing_m / depth_m)
    wanted = np.maximum(wanted, LEAST_PART * wanted.mean())
    smooth = Operator(height_m=depth_m)
    kernel = smooth.times(np.ones_like(prepared.spectrum), *prepared.wavenumbers())
    power = irfft2(kernel, s=prepared.torus) ** 2
    power = rfft2(power / power.sum())

    def under(values: FloatArray) -> FloatArray:
        return np.asarray(irfft2(rfft2(values) * power, s=prepared.torus))

    square = wanted.copy()
    for _ in range(ROUNDS):
        square *= np.maximum(under(wanted / np.maximum(under(square), 1e-300)), LEAST_PART)
    return np.asarray(square)


def _place(prepared: GridSpectrum) -> tuple[slice, slice]:
    """Return where the grid lies on the torus."""
    (row, column), (rows, columns) = prepared.corner, prepared.known.shape
    return slice(row, row + rows), slice(column, column + columns)


def _cut(values: FloatArray, prepared: GridSpectrum) -> FloatArray:
    """Return the grid's part of the torus, NaN where it had no value."""
    return np.where(prepared.known, values[_place(prepared)], np.nan)


def _edge_errors(
    prepared: GridSpectrum,
    operators: Sequence[Operator],
    directions: tuple[Direction, ...],
    rng: np.random.Generator,
) -> list[FloatArray]:
    """Return the variance by which gaps and edges put transforms wrong, at the nodes."""
    step = 1
    while max(prepared.torus) > MOST_SIDE * step and step < 16:
        step *= 2
    known = prepared.known[::step, ::step]
    if min(known.shape) < 8 or known.sum() < 32:
        return [np.zeros(prepared.known.shape) for _ in operators]
    drawn = _Drawn.of(prepared, directions, step)
    total = [np.zeros(known.shape) for _ in operators]
    for _ in range(DRAWS):
        for number, square in enumerate(drawn.squares(known, operators, rng)):
            total[number] += square
    weight = gaussian_filter(known.astype(np.float64), SMOOTH)
    size = _near_edges(prepared)
    found = []
    for square in total:
        mean = gaussian_filter(np.where(known, square, 0.0), SMOOTH) / np.maximum(weight, 1e-9)
        wide = np.kron(size * mean / DRAWS, np.ones((step, step)))
        rows, columns = prepared.known.shape
        found.append(np.where(prepared.known, wide[:rows, :columns], np.nan))
    return found


@dataclass(frozen=True)
class _Drawn:
    """Fields on a torus of twice the size: their shape, spacing, amplitudes at the pole."""

    shape: tuple[int, int]
    spacing_m: float
    torus: tuple[int, int]
    amplitude: FloatArray
    directions: tuple[Direction, ...]

    @classmethod
    def of(cls, prepared: GridSpectrum, directions: tuple[Direction, ...], step: int) -> "_Drawn":
        """Return fields with the power spectrum of the grid, every so-many-th node of it."""
        rows, columns = (side // step for side in prepared.torus)
        bare = cls((2 * rows, 2 * columns), prepared.spacing_m * step, (rows, columns),
                   np.zeros(0), directions)  # fmt: skip
        north, east = bare.axes()
        power = radial_power(prepared, directions)
        return replace(bare, amplitude=power.amplitude(np.hypot(north[:, None], east)) / step)

    def axes(self) -> tuple[FloatArray, FloatArray]:
        """Return the wavenumbers [rad/m]."""
        per = self.spacing_m / (2 * np.pi)
        return fftfreq(self.shape[0], per), rfftfreq(self.shape[1], per)

    def squares(
        self, known: np.ndarray, operators: Sequence[Operator], rng: np.random.Generator
    ) -> list[FloatArray]:
        """Return squared errors of the transforms of one field cut to the grid."""
        threads, axes = get_num_threads(), self.axes()
        pole = rfft2(rng.standard_normal(self.shape), workers=threads) * self.amplitude
        seen = Operator(wanted=self.directions).times(pole, *axes)
        rows, columns = known.shape

        def cut(spectrum: np.ndarray) -> FloatArray:
            return np.asarray(
                irfft2(spectrum, s=self.shape, workers=threads, overwrite_x=True)[:rows, :columns]
            )

        field = cut(seen.copy())
        made = prepare(np.where(known, field, np.nan), self.spacing_m, torus=self.torus)
        errors = []
        for operator, values in zip(operators, made.apply(*operators), strict=True):
            # Without the directions that the operator takes out the field is known as it is.
            exact = replace(operator, given=(), damping=0.0)
            truth = cut(exact.times(pole if operator.given else seen, *axes))
            error = np.where(known, values - truth, 0.0)
            if operator.directions or operator.down < 0:
                error -= error[known].mean()
            errors.append(np.where(known, error, 0.0) ** 2)
        return errors


def _near_edges(prepared: GridSpectrum) -> float:
    """Return the mean square of the anomaly near gaps and edges over that everywhere.

    What lies beyond is as large as what lies beside it, not as a body in the middle.
    """
    spectrum = prepared.spectrum.copy()
    values = irfft2(spectrum, s=prepared.torus, overwrite_x=True)[_place(prepared)] ** 2
    inside = np.pad(prepared.known, 1)
    away = distance_transform_edt(inside)[1:-1, 1:-1]
    near = prepared.known & (away <= max(3.0, NEAR * min(prepared.known.shape)))
    return float(values[near].mean() / values[prepared.known].mean())
