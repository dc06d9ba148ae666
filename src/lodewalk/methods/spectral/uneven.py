"""Transforms of a grid over an uneven surface, from equivalent sources at the true heights."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numba import get_num_threads
from numpy.typing import ArrayLike
from scipy.fft import irfft2, rfft2

from lodewalk.errors import InputError
from lodewalk.methods.spectral._torus import on_torus
from lodewalk.methods.spectral.operators import Operator, Spectrum
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.validation import FloatArray, check_positive

#: Heights between which the layer's field is interpolated: fewest, most, and its largest error as a
#: share of a wave's amplitude at the layer.
LEVELS: Final = (3, 14)
LEVEL_ERROR: Final = 1e-3
#: Where the fit ends: this share of the first gradient, or so many rounds. What is left of the
#: grid is transformed as on a plane, so nothing is lost by ending early.
ENDS: Final = 1e-2
MOST_ROUNDS: Final = 30


@dataclass(frozen=True)
class UnevenSpectrum:
    """A grid over an uneven surface made ready for transforms, from `over_relief`.

    Parameters
    ----------
    rest : GridSpectrum
        The grid less the field of the layer.
    layer : complex array
        Half spectrum of the layer's field on the plane.
    levels_m : array, shape (n,)
        Heights above the plane between which fields are interpolated [m].
    shares : array, shape (n, n_north, n_east)
        What share each of them has at each node.
    rounds : int
        Rounds of the fit.
    """

    rest: GridSpectrum
    layer: Spectrum
    levels_m: FloatArray
    shares: FloatArray
    rounds: int

    def apply(self, *operators: Operator) -> tuple[FloatArray, ...]:
        """Return the grid under each operator at the sensor's own height, NaN in gaps."""
        axes = self.rest.wavenumbers()
        k = np.hypot(axes[0][:, None], axes[1])
        found = self.rest.apply(*operators)
        for operator, total in zip(operators, found, strict=True):
            turned = operator.times(self.layer, *axes)
            for level, share in zip(self.levels_m, self.shares, strict=True):
                total += share * self.rest.back(turned * np.exp(-k * level))
        return found


def over_relief(
    prepared: GridSpectrum, rise_m: ArrayLike, *, depth_m: float, damping: float
) -> UnevenSpectrum:
    """Fit equivalent sources to a grid whose nodes lie above and below a plane.

    Parameters
    ----------
    prepared : GridSpectrum
        The grid, from `prepare`.
    rise_m : array, shape (n_north, n_east)
        Height of the sensor above the plane at each node [m]; NaN is filled smoothly.
    depth_m : float
        Depth of the layer below the lowest place of the sensor [m].
    damping : float
        Variance of the grid's error over that of the anomaly.

    Returns
    -------
    UnevenSpectrum

    Raises
    ------
    InputError
        When the shape differs, no height is known, or a length or the damping isn't above zero.

    Notes
    -----
    White strengths s of a level layer have at the height z above it the field ``exp(-k z)`` s in
    wavenumbers [1]_. At uneven heights that is interpolated between a few levels (Lagrange's
    polynomial on Chebyshev's nodes), so that field F and its transpose cost a Fourier transform a
    level. ``|F s - t|^2 + damping |s|^2 / v`` is made least by conjugate gradients, eased by the
    solution over a plane; v gives the anomaly the variance 1. Transforms are then taken of the
    layer's field at the heights of the nodes, with no continuation to a common level; what the
    layer leaves of the grid is transformed as on a plane, so a coarse layer loses nothing and a
    level surface gives the plain transform.

    The plane's slope isn't taken off the directions: at a slope of 10 % the vertical is 6 degrees
    from its normal.

    References
    ----------
    .. [1] Dampney, C. N. G. (1969), The equivalent source technique, Geophysics 34, 39-53 (from
       memory), doi:10.1190/1.1439996; on a mesh with Fourier transforms Xia, J., Sprowl, D. R. and
       Adkins-Heljeson, D. (1993), Geophysics 58, 515-523 (from memory).

    Examples
    --------
    >>> from lodewalk.methods.spectral.operators import upward
    >>> from lodewalk.methods.spectral.transforms import prepare
    >>> plain = prepare(np.add.outer(np.arange(16.0) ** 2, np.arange(16.0)), 5.0)
    >>> level = over_relief(plain, np.zeros((16, 16)), depth_m=20.0, damping=0.01)
    >>> bool(np.allclose(level.apply(upward(9.0))[0], plain.apply(upward(9.0))[0]))
    True
    """
    rise = np.asarray(rise_m, dtype=np.float64)
    if rise.shape != prepared.known.shape:
        raise InputError("Heights must be given at the nodes of the grid.", value=rise.shape)
    held = np.isfinite(rise)
    if not held.any():
        raise InputError("No node has a height.")
    check_positive(depth_m, name="depth_m")
    check_positive(damping, name="damping")
    high = on_torus(rise, held, prepared.torus).values
    below = depth_m - float(high.min())
    levels = _levels(float(high.min()), float(high.max()), below)
    shares = _lagrange(levels, high)
    north, east = prepared.wavenumbers()
    sources = _Sources.of(np.hypot(north[:, None], east), below, prepared, levels, shares)
    value = irfft2(prepared.spectrum.copy(), s=prepared.torus, workers=get_num_threads())
    strength, rounds = _fitted(sources, value, damping)
    left = rfft2(value - sources.field(strength), workers=get_num_threads())
    rest = replace(prepared, spectrum=np.asarray(left))
    (row, column), (rows, columns) = prepared.corner, rise.shape
    cut = np.ascontiguousarray(shares[:, row : row + rows, column : column + columns])
    return UnevenSpectrum(rest, strength * sources.on_plane, levels, cut, rounds)


@dataclass(frozen=True)
class _Sources:
    """The layer and the levels: factors from strengths to the field on each and on the plane."""

    factors: tuple[FloatArray, ...]
    shares: FloatArray
    on_plane: FloatArray
    unit: float

    @classmethod
    def of(
        cls, k: FloatArray, below_m: float, prepared: GridSpectrum, levels: FloatArray,
        shares: FloatArray,
    ) -> "_Sources":  # fmt: skip
        """Return a layer so far below the plane; k is the size of the wavenumbers [rad/m]."""
        factors = tuple(np.exp(-k * (below_m + level)) for level in levels)
        # White strengths of variance 1 make an anomaly of a^2 / (8 pi d^2), a their spacing.
        unit = 8 * np.pi * (below_m / prepared.spacing_m) ** 2
        return cls(factors, shares, np.exp(-k * below_m), unit)

    def field(self, strength: Spectrum) -> FloatArray:
        """Return the field at the true heights, all over the torus."""
        threads, total = get_num_threads(), np.zeros(self.shares.shape[1:])
        for share, factor in zip(self.shares, self.factors, strict=True):
            total += share * irfft2(strength * factor, s=total.shape, workers=threads)
        return total

    def strengths(self, weights: FloatArray) -> Spectrum:
        """Return the strengths that weights of the values stand for: variance times transpose."""
        threads, total = get_num_threads(), np.zeros(self.on_plane.shape, dtype=np.complex128)
        for share, factor in zip(self.shares, self.factors, strict=True):
            total += rfft2(share * weights, workers=threads) * factor
        return total * self.unit

    def eased(self, values: FloatArray, damping: float) -> FloatArray:
        """Return the weights of values were the surface the plane."""
        threads = get_num_threads()
        waves = rfft2(values, workers=threads) / (self.unit * self.on_plane**2 + damping)
        return np.asarray(irfft2(waves, s=values.shape, workers=threads))


def _fitted(sources: _Sources, value: FloatArray, damping: float) -> tuple[Spectrum, int]:
    """Return the strengths whose field is the values', and the rounds it took.

    Conjugate gradients of ``(F v F' + damping) x = t`` (Hestenes and Stiefel 1952), s = v F' x.
    """
    weights, rest = np.zeros_like(value), value.copy()
    way = eased = sources.eased(rest, damping)
    size = start = float(np.sum(rest * eased))
    rounds = 0
    while rounds < MOST_ROUNDS and size > ENDS**2 * start:
        image = sources.field(sources.strengths(way)) + damping * way
        step = size / float(np.sum(way * image))
        weights += step * way
        rest -= step * image
        eased = sources.eased(rest, damping)
        before, size = size, float(np.sum(rest * eased))
        way = eased + size / before * way
        rounds += 1
    return sources.strengths(weights), rounds


def _levels(low: float, top: float, below_m: float) -> FloatArray:
    """Return heights between which each wave of a layer so far below the plane is interpolated."""
    middle, half = (low + top) / 2, (top - low) / 2
    if half < 1e-6 * below_m:
        return np.array([middle])
    k = np.linspace(0, 12 / (below_m + low), 100)[:, None]
    height = np.linspace(low, top, 100)
    levels = np.empty(0)
    for count in range(LEVELS[0], LEVELS[1] + 1):
        levels = middle + half * np.cos(np.pi * (np.arange(count) + 0.5) / count)
        found = np.exp(-k * (levels + below_m)) @ _lagrange(levels, height)
        if np.abs(found - np.exp(-k * (height + below_m))).max() < LEVEL_ERROR:
            break
    return levels


def _lagrange(levels: FloatArray, height: FloatArray) -> FloatArray:
    """Return the share of each level at heights: Lagrange's polynomials."""
    found = np.ones((levels.size, *height.shape))
    for own, share in zip(levels, found, strict=True):
        for other in levels[levels != own]:
            share *= (height - other) / (own - other)
    return found
