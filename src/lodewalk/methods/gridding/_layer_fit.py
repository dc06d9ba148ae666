"""The damped fit of layers one under the other, each twice as deep as the one above."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.gridding._source_layer import (
    Mesh,
    Places,
    Spectrum,
    gather,
    mesh_around,
    places_on,
    scatter,
)
from lodewalk.validation import FloatArray

Unknown = NDArray[Any]

#: Share of its even variance that no local variance of a layer's strengths falls below.
QUIETEST: Final = 1e-3
#: Width over which the strengths of one round weigh the next, in depths of each layer.
WIDTH: Final = 0.4
#: Mesh's edge beyond the readings, in depths of the upper and of the deepest layer.
MARGIN: Final = 5.0
DEEP_MARGIN: Final = 2.0


class Prior(NamedTuple):
    """Variance of the strengths of each layer, even or at each node.

    `spectrum` holds what even variances of all layers make together, from readings to the spline
    coefficients of their field.
    """

    variance: tuple[FloatArray, ...]
    spectrum: FloatArray | None = None


class Solution(NamedTuple):
    """Weights of the readings, iterations, and what is left of the gradient (a ratio)."""

    weights: FloatArray
    iterations: int
    left: float


@dataclass(frozen=True)
class Layers:
    """Meshes of layers at depths d, 2 d, 4 d, ..., spaced alike in their depth, and the readings.

    All span the same torus, so a coarser one has the low part of the finer one's spectrum.
    """

    meshes: tuple[Mesh, ...]
    depths: tuple[float, ...]
    places: Places

    @cached_property
    def _factors(self) -> tuple[FloatArray, ...]:
        """Return for each layer the factors from strengths to spline coefficients of their field.

        exp(-k d) over the symbol of the upper mesh's splines; 0 where a coarse mesh can't tell a
        wave's phase.
        """
        unspline = 1 / self.meshes[0].spline_symbol()
        found = [np.exp(-self.meshes[0].wavenumber() * self.depths[0]) * unspline]
        for mesh, depth in zip(self.meshes[1:], self.depths[1:], strict=True):
            factors = np.exp(-mesh.wavenumber() * depth) * _low_part(unspline, mesh)
            found.append(_without_nyquist(factors, mesh))
        return tuple(found)

    @cached_property
    def units(self) -> tuple[float, ...]:
        """Return the variance of the strengths of each layer that gives an anomaly of variance 1.

        White strengths of variance 1 make one of ``a^2 / (8 pi d^2)``, a their spacing.
        """
        return tuple(
            8 * np.pi * (depth / mesh.spacing_m) ** 2
            for mesh, depth in zip(self.meshes, self.depths, strict=True)
        )

    def even(self) -> Prior:
        """Return the prior of even variances: each layer gives the same share of 1."""
        wavenumber, share = self.meshes[0].wavenumber(), 1 / len(self.meshes)
        finest = [8 * np.pi * (depth / self.meshes[0].spacing_m) ** 2 for depth in self.depths]
        spectrum = np.zeros(wavenumber.shape)
        for unit, depth in zip(finest, self.depths, strict=True):
            spectrum += share * unit * np.exp(-2 * depth * wavenumber)
        variance = tuple(np.asarray(share * unit) for unit in self.units)
        return Prior(variance, spectrum / self.meshes[0].spline_symbol() ** 2)

    def covariance(self, weights: FloatArray, prior: Prior) -> FloatArray:
        """Return the covariance of the anomaly at the readings, times weights of theirs."""
        spread = self._spread(weights)
        if prior.spectrum is not None:
            return self._gathered(spread * prior.spectrum)
        field = self._under(spread, 0, prior) * self._factors[0]
        for number in range(1, len(self.meshes)):
            part = self._under(spread, number, prior) * self._factors[number]
            self._add(field, part, number)
        return self._gathered(field)

    def strengths(self, weights: FloatArray, prior: Prior) -> list[FloatArray]:
        """Return the strengths of each layer that weights of the readings stand for."""
        spread = self._spread(weights)
        return [
            self._down(spread, number) * prior.variance[number]
            for number in range(len(self.meshes))
        ]

    def local(self, strengths: Sequence[FloatArray]) -> Prior:
        """Return the prior whose variances follow the strengths, 1 in the mean of the readings.

        A variance is the mean square of the strengths under a Gaussian.
        """
        powers = []
        for mesh, depth, strength in zip(self.meshes, self.depths, strengths, strict=True):
            blur = np.exp(-0.5 * (WIDTH * depth * mesh.wavenumber()) ** 2)
            powers.append(np.maximum(mesh.back(mesh.forward(strength**2) * blur), 0.0))
        total = sum(
            float(np.mean(gather(power, *self._places_on(number)))) / self.units[number]
            for number, power in enumerate(powers)
        )
        if total <= 0:
            return self.even()
        return Prior(
            tuple(
                power / total + QUIETEST / len(powers) * unit
                for power, unit in zip(powers, self.units, strict=True)
            )
        )

    def merged(self, strengths: Sequence[FloatArray]) -> FloatArray:
        """Return the strengths of the upper layer alone that have the field of all above it."""
        upper = self.meshes[0]
        total = upper.forward(strengths[0])
        for number in range(1, len(self.meshes)):
            mesh, below = self.meshes[number], self.depths[number] - self.depths[0]
            rise = _without_nyquist(np.exp(-mesh.wavenumber() * below), mesh)
            self._add(total, mesh.forward(strengths[number]) * rise, number)
        return upper.back(total)

    def _places_on(self, number: int) -> Places:
        """Return where the readings lie on the mesh of a layer."""
        if number == 0:
            return self.places
        upper, mesh = self.meshes[0], self.meshes[number]
        east = upper.west_m + upper.spacing_m * (self.places.column + 1 + self.places.east)
        north = upper.south_m + upper.spacing_m * (self.places.row + 1 + self.places.north)
        return places_on(mesh, east, north)

    def _spread(self, weights: FloatArray) -> Spectrum:
        """Return the spectrum of weights spread over the nodes."""
        mesh = self.meshes[0]
        return mesh.forward(scatter(weights, *self.places, mesh.shape))

    def _gathered(self, coefficients: Spectrum) -> FloatArray:
        """Return at the readings the spline with coefficients of that spectrum."""
        return np.asarray(gather(self.meshes[0].back(coefficients), *self.places))

    def _under(self, spread: Spectrum, number: int, prior: Prior) -> Spectrum:
        """Return the spectrum of a layer's strengths that a spectrum of weights stands for."""
        strength = self._down(spread, number)
        strength *= prior.variance[number]
        return self.meshes[number].forward(strength)

    def _down(self, spread: Spectrum, number: int) -> FloatArray:
        """Return at the nodes of a layer what a spectrum of weights has there."""
        mesh = self.meshes[number]
        low: Spectrum = _low_part(spread, mesh)
        return mesh.back(low * self._factors[number])

    def _add(self, total: Spectrum, part: Spectrum, number: int) -> None:
        """Add the spectrum on a coarse mesh to that of the same values on the upper mesh."""
        mesh = self.meshes[number]
        part *= (mesh.spacing_m / self.meshes[0].spacing_m) ** 2
        north, south = _north_and_south(mesh)
        total[:north, : part.shape[1]] += part[:north]
        total[south:, : part.shape[1]] += part[north:]


def layers_under(
    easting: FloatArray, northing: FloatArray, *, depth_m: float, spacing_m: float, count: int
) -> Layers:
    """Return so many layers under readings, the upper one at a depth and with a spacing."""
    coarsest = 2 ** (count - 1)
    upper = mesh_around(
        easting,
        northing,
        spacing_m=spacing_m,
        margin_m=depth_m * max(MARGIN, DEEP_MARGIN * coarsest),
        multiple=coarsest,
    )
    steps = [2**number for number in range(count)]
    meshes = tuple(
        Mesh(
            upper.west_m,
            upper.south_m,
            step * spacing_m,
            (upper.shape[0] // step, upper.shape[1] // step),
        )
        for step in steps
    )
    depths = tuple(step * depth_m for step in steps)
    return Layers(meshes, depths, places_on(upper, easting, northing))


def damped_fit(
    layers: Layers,
    prior: Prior,
    value: FloatArray,
    weight: FloatArray,
    *,
    damping: float,
    first: FloatArray | None = None,
    tolerance: float,
    most: int,
) -> Solution:
    """Make ``sum w (G s - d)^2 + damping sum s^2 / v`` least, G s the field of the strengths s.

    With ``s = v G' x`` that asks for ``(1 + w/damping K) x = w/damping d``, K = G v G', which is
    symmetric in the product with K: conjugate gradients (Hestenes and Stiefel 1952) in that product
    take the very steps that they take for ``s / sqrt(v)``, at one K each, and vectors of readings.
    Sums by numpy alone, since a matrix product may add up in another order with more threads.
    """
    scale = weight / damping
    right = scale * value
    rest, found = right, np.zeros_like(right)
    rest_field = layers.covariance(rest, prior)
    size = start = float(np.sum(rest * rest_field))
    if first is not None:
        found = first
        rest = right - scale * layers.covariance(first, prior) - first
        rest_field = layers.covariance(rest, prior)
        size = float(np.sum(rest * rest_field))
    way, way_field = rest, rest_field
    count = 0
    while count < most and size > tolerance**2 * start:
        image = way + scale * way_field
        step = size / float(np.sum(image * way_field))
        found = found + step * way
        rest = rest - step * image
        rest_field = layers.covariance(rest, prior)
        before, size = size, float(np.sum(rest * rest_field))
        way, way_field = (
            new + (size / before) * old for new, old in ((rest, way), (rest_field, way_field))
        )
        count += 1
    return Solution(found, count, float(np.sqrt(max(size, 0) / start)) if start > 0 else 0.0)


def _north_and_south(mesh: Mesh) -> tuple[int, int]:
    """Return where in a finer half spectrum a mesh's waves to the north end, to the south begin."""
    north = (mesh.shape[0] + 1) // 2
    return north, north - mesh.shape[0]


def _low_part(finer: Unknown, mesh: Mesh) -> Unknown:
    """Return the part of a finer half spectrum that a mesh has."""
    columns = mesh.shape[1] // 2 + 1
    if finer.shape == (mesh.shape[0], columns):
        return finer
    north, south = _north_and_south(mesh)
    return np.concatenate([finer[:north, :columns], finer[south:, :columns]])


def _without_nyquist(factors: FloatArray, mesh: Mesh) -> FloatArray:
    """Return factors of a half spectrum, 0 for the shortest waves, whose phase is unknown."""
    if mesh.shape[0] % 2 == 0:
        factors[mesh.shape[0] // 2] = 0.0
    if mesh.shape[1] % 2 == 0:
        factors[:, -1] = 0.0
    return factors
