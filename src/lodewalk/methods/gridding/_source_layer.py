"""The mesh of an equivalent layer: field from strengths, its transpose, and the damped fit."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.fft import fftfreq, irfft2, next_fast_len, rfft2, rfftfreq

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]
Spectrum = NDArray[np.complex128]
Unknown = NDArray[Any]

#: Largest mesh, in nodes; the fit needs about a hundred bytes a node.
MAX_NODES: Final = 16_000_000
#: Share of the mean that no local variance of the strengths falls below.
QUIETEST: Final = 1e-3


@dataclass(frozen=True)
class Mesh:
    """An even mesh whose edges meet (a torus): south-west node, spacing, rows and columns."""

    west_m: float
    south_m: float
    spacing_m: float
    shape: tuple[int, int]

    def wavenumber(self) -> FloatArray:
        """Return the wavenumber of each part of a half spectrum [rad/m]."""
        north = fftfreq(self.shape[0], self.spacing_m / (2 * np.pi))
        east = rfftfreq(self.shape[1], self.spacing_m / (2 * np.pi))
        return np.asarray(np.hypot(north[:, None], east))

    def spline_symbol(self) -> FloatArray:
        """Return what cubic B-splines on the nodes make of each wave, at the nodes.

        One third (2 + cos k a) each way, the transform of 1/6, 4/6, 1/6.
        """
        north = (2 + np.cos(2 * np.pi * fftfreq(self.shape[0]))) / 3
        east = (2 + np.cos(2 * np.pi * rfftfreq(self.shape[1]))) / 3
        return np.asarray(north[:, None] * east)

    def kernel(self, height_m: float) -> FloatArray:
        """Return the factors from strengths to the spline coefficients of the field.

        ``exp(-k h)`` is the transform of the Poisson kernel h / (2 pi (rho^2 + h^2)^(3/2)).
        """
        return np.asarray(np.exp(-self.wavenumber() * height_m) / self.spline_symbol())

    def forward(self, strength: FloatArray) -> Spectrum:
        """Return the half spectrum of values at the nodes."""
        return np.asarray(rfft2(strength))

    def back(self, spectrum: Spectrum) -> FloatArray:
        """Return the values at the nodes of a half spectrum."""
        return np.asarray(irfft2(spectrum, s=self.shape))

    def product(self, one: Spectrum, other: Spectrum) -> float:
        """Return the sum over the nodes of the product of what two half spectra stand for."""
        parts = one.real * other.real + one.imag * other.imag
        columns = np.sum(parts, axis=0)
        once = columns[0] + (columns[-1] if self.shape[1] % 2 == 0 else 0.0)
        return float(2 * np.sum(columns) - once) / (self.shape[0] * self.shape[1])


class Places(NamedTuple):
    """Places on a mesh by row of nodes: first node and part of a spacing beyond the second."""

    row: IntArray
    column: IntArray
    north: FloatArray
    east: FloatArray


def mesh_around(
    easting: FloatArray, northing: FloatArray, *, spacing_m: float, margin_m: float
) -> Mesh:
    """Return a mesh that holds the places and a margin."""
    around = 2 + int(np.ceil(margin_m / spacing_m))
    lows = [float(place.min()) - around * spacing_m for place in (easting, northing)]
    counts = [float(np.ptp(place)) / spacing_m + 2 * around + 1 for place in (northing, easting)]
    remedy = "Choose a deeper layer, or look for readings far from the others."
    return Mesh(lows[0], lows[1], spacing_m, fast_shape((counts[0], counts[1]), remedy=remedy))


def fast_shape(shape: tuple[float, float], *, remedy: str) -> tuple[int, int]:
    """Return a shape that holds at least as many nodes and whose transforms are fast."""
    if not shape[0] * shape[1] <= MAX_NODES:
        raise InputError(
            f"The mesh of a layer may have at most {MAX_NODES // 1_000_000} million nodes.",
            value=f"{shape[0]:.0f} x {shape[1]:.0f}",
            remedy=remedy,
        )
    rows, columns = (int(next_fast_len(int(np.ceil(count)), real=True)) for count in shape)
    return rows, columns


def places_on(mesh: Mesh, easting: FloatArray, northing: FloatArray) -> Places:
    """Return where places lie on a mesh; they must be a node or more inside."""
    column = (easting - mesh.west_m) / mesh.spacing_m
    row = (northing - mesh.south_m) / mesh.spacing_m
    whole_row, whole_column = np.floor(row), np.floor(column)
    return Places(
        whole_row.astype(np.int64) - 1,
        whole_column.astype(np.int64) - 1,
        row - whole_row,
        column - whole_column,
    )


@njit(nogil=True, cache=True, inline="always")
def splines(t: float) -> tuple[float, float, float, float]:
    """Return the four cubic B-splines at a part of a spacing beyond the second node."""
    u = 1.0 - t
    return (
        u * u * u / 6.0,
        (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
        (4.0 - 6.0 * u * u + 3.0 * u * u * u) / 6.0,
        t * t * t / 6.0,
    )


@njit(nogil=True, cache=True, inline="always")
def _spline_at(c: FloatArray, i: int, j: int, a: tuple[float, ...], b: tuple[float, ...]) -> float:
    """Return the sum of sixteen coefficients times the splines."""
    total = 0.0
    for r in range(4):
        part = b[0] * c[i + r, j] + b[1] * c[i + r, j + 1]
        part += b[2] * c[i + r, j + 2] + b[3] * c[i + r, j + 3]
        total += a[r] * part
    return total


@njit(nogil=True, cache=True, inline="always")
def _spread(
    c: FloatArray, i: int, j: int, a: tuple[float, ...], b: tuple[float, ...], value: float
) -> None:
    """Add a value to sixteen coefficients times the splines."""
    for r in range(4):
        part = a[r] * value
        c[i + r, j] += part * b[0]
        c[i + r, j + 1] += part * b[1]
        c[i + r, j + 2] += part * b[2]
        c[i + r, j + 3] += part * b[3]


@njit(nogil=True, cache=True)
def gather(
    c: FloatArray, row: IntArray, column: IntArray, north: FloatArray, east: FloatArray
) -> FloatArray:
    """Return the spline with coefficients `c` at each place."""
    out = np.empty(row.size)
    for k in range(row.size):
        out[k] = _spline_at(c, row[k], column[k], splines(north[k]), splines(east[k]))
    return out


@njit(nogil=True, cache=True)
def scatter(
    value: FloatArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
    shape: tuple[int, int],
) -> FloatArray:
    """Return the transpose of `gather`: each value spread over its sixteen nodes."""
    c = np.zeros(shape)
    for k in range(row.size):
        _spread(c, row[k], column[k], splines(north[k]), splines(east[k]), value[k])
    return c


@njit(nogil=True, cache=True)
def _there_and_back(
    c: FloatArray,
    weight: FloatArray,
    row: IntArray,
    column: IntArray,
    north: FloatArray,
    east: FloatArray,
) -> FloatArray:
    """Return `scatter` of the weights times `gather`, in one pass."""
    out = np.zeros_like(c)
    for k in range(row.size):
        a, b = splines(north[k]), splines(east[k])
        value = weight[k] * _spline_at(c, row[k], column[k], a, b)
        _spread(out, row[k], column[k], a, b, value)
    return out


@dataclass(frozen=True)
class Operator:
    """The field of a layer at the readings, and its transpose; spectra are half spectra."""

    mesh: Mesh
    places: Places
    factors: FloatArray

    def field(self, strength: Spectrum) -> FloatArray:
        """Return the field at the readings of strengths given by their spectrum."""
        return np.asarray(gather(self.mesh.back(strength * self.factors), *self.places))

    def transpose(self, value: FloatArray) -> Spectrum:
        """Return the spectrum of the strengths' share in values at the readings."""
        return self.mesh.forward(scatter(value, *self.places, self.mesh.shape)) * self.factors

    def normal(self, strength: Spectrum, weight: FloatArray) -> Spectrum:
        """Return the transpose of the weights times the field."""
        coefficients = self.mesh.back(strength * self.factors)
        return self.mesh.forward(_there_and_back(coefficients, weight, *self.places)) * self.factors


class Solution(NamedTuple):
    """Half spectrum of the strengths, iterations, and what is left of the gradient (a ratio)."""

    strength: Unknown
    iterations: int
    left: float


def damped_fit(
    layer: Operator,
    value: FloatArray,
    weight: FloatArray,
    *,
    damping: float,
    density: float,
    tolerance: float,
    most: int,
) -> Solution:
    """Make ``sum w (G s - d)^2 + damping sum s^2`` least.

    The unknowns are spectra divided by the root of what the matrix would be if the weight were
    spread evenly, `density` a node: most of its eigenvalues are then near 1.
    """
    even = layer.factors * layer.mesh.spline_symbol()
    root = 1 / np.sqrt(density * even**2 + damping)

    def image(way: Spectrum) -> Spectrum:
        there = root * way
        return np.asarray(root * (layer.normal(there, weight) + damping * there))

    right = layer.transpose(weight * value) * root
    found = _conjugate_gradients(
        image, right, np.zeros_like(right), layer.mesh.product, tolerance=tolerance, most=most
    )
    return found._replace(strength=root * found.strength)


def reweighted_fit(
    layer: Operator,
    value: FloatArray,
    weight: FloatArray,
    before: Spectrum,
    *,
    damping: float,
    width_m: float,
    tolerance: float,
    most: int,
) -> Solution:
    """Make ``sum w (G s - d)^2 + damping sum s^2 / v`` least, from the solution before.

    v is the mean square of the strengths before over a Gaussian of that width, its mean where
    the readings lie 1. The unknowns are ``s / sqrt(v)``.
    """
    mesh = layer.mesh
    strength = mesh.back(before)
    blur = np.exp(-0.5 * (width_m * mesh.wavenumber()) ** 2)
    power = mesh.back(mesh.forward(strength**2) * blur)
    row, column = layer.places.row, layer.places.column
    inside = power[row.min() + 1 : row.max() + 3, column.min() + 1 : column.max() + 3]
    mean = float(np.mean(inside))
    root = np.sqrt(np.maximum(power / mean, 0.0) + QUIETEST) if mean > 0 else np.ones(mesh.shape)

    def image(way: FloatArray) -> FloatArray:
        normal = mesh.back(layer.normal(mesh.forward(root * way), weight))
        return np.asarray(root * normal + damping * way)

    right = root * mesh.back(layer.transpose(weight * value))
    found = _conjugate_gradients(
        image,
        right,
        strength / root,
        lambda one, other: float(np.sum(one * other)),
        tolerance=tolerance,
        most=most,
    )
    return Solution(mesh.forward(root * found.strength), found.iterations, found.left)


def _conjugate_gradients(
    image: Callable[[Unknown], Unknown],
    right: Unknown,
    found: Unknown,
    product: Callable[[Unknown, Unknown], float],
    *,
    tolerance: float,
    most: int,
) -> Solution:
    """Solve ``image(found) = right`` from a first guess (Hestenes and Stiefel 1952)."""
    start = product(right, right)
    rest = right - image(found)
    way = rest
    size = product(rest, rest)
    count = 0
    while count < most and size > tolerance**2 * start:
        there = image(way)
        step = size / product(way, there)
        found = found + step * way
        rest = rest - step * there
        before, size = size, product(rest, rest)
        way = rest + (size / before) * way
        count += 1
    return Solution(found, count, float(np.sqrt(size / start)) if start > 0 else 0.0)
