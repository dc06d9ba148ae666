"""The mesh of an equivalent layer, and splines between its nodes and places."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import get_num_threads, njit
from numpy.typing import NDArray
from scipy.fft import fftfreq, irfft2, next_fast_len, rfft2, rfftfreq

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]
Spectrum = NDArray[np.complex128]

#: Largest mesh, in nodes; the fit needs about a hundred bytes a node.
MAX_NODES: Final = 16_000_000


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
        """Return the half spectrum of values at the nodes; threads change no bit of it."""
        return np.asarray(rfft2(strength, workers=get_num_threads()))

    def back(self, spectrum: Spectrum) -> FloatArray:
        """Return the values at the nodes of a half spectrum; threads change no bit of them."""
        return np.asarray(irfft2(spectrum, s=self.shape, workers=get_num_threads()))


class Places(NamedTuple):
    """Places on a mesh by row of nodes: first node and part of a spacing beyond the second."""

    row: IntArray
    column: IntArray
    north: FloatArray
    east: FloatArray


def mesh_around(
    easting: FloatArray,
    northing: FloatArray,
    *,
    spacing_m: float,
    margin_m: float,
    multiple: int = 1,
) -> Mesh:
    """Return a mesh that holds the places and a margin, its sides so-manifold nodes."""
    around = 2 + int(np.ceil(margin_m / spacing_m))
    lows = [float(place.min()) - around * spacing_m for place in (easting, northing)]
    counts = [float(np.ptp(place)) / spacing_m + 2 * around + 1 for place in (northing, easting)]
    remedy = "Choose a deeper layer, or look for readings far from the others."
    shape = fast_shape((counts[0], counts[1]), remedy=remedy, multiple=multiple)
    return Mesh(lows[0], lows[1], spacing_m, shape)


def fast_shape(shape: tuple[float, float], *, remedy: str, multiple: int = 1) -> tuple[int, int]:
    """Return a shape that holds at least as many nodes and whose transforms are fast."""
    if not shape[0] * shape[1] <= MAX_NODES:
        raise InputError(
            f"The mesh of a layer may have at most {MAX_NODES // 1_000_000} million nodes.",
            value=f"{shape[0]:.0f} x {shape[1]:.0f}",
            remedy=remedy,
        )
    rows, columns = (
        multiple * int(next_fast_len(int(np.ceil(count / multiple)), real=True)) for count in shape
    )
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
