"""The radially averaged power spectrum of a grid, and two layers of sources read from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.spectral.operators import Direction, Operator
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.validation import FloatArray

#: Least weight of a direction, so that a spectrum at the pole never rests on nothing.
LEAST_WEIGHT: Final = 1e-6


@dataclass(frozen=True)
class RadialPower:
    """Radially averaged power spectrum of a grid.

    Parameters
    ----------
    wavenumber : array, shape (n,)
        Middle of each ring [rad/m].
    power : array, shape (n,)
        Mean power of its waves; white noise of unit variance has the power 1 [nT2].
    waves : array, shape (n,)
        Number of waves of each ring.
    """

    wavenumber: FloatArray
    power: FloatArray
    waves: FloatArray

    def amplitude(self, k: FloatArray) -> FloatArray:
        """Return the square root of the power at wavenumbers [rad/m], by its logarithm."""
        logs = np.log(np.maximum(self.power, 1e-30 * self.power.max()))
        return np.asarray(np.exp(np.interp(k, self.wavenumber, logs) / 2))


def radial_power(prepared: GridSpectrum, directions: Sequence[Direction] = ()) -> RadialPower:
    """Return the radially averaged power spectrum of a grid.

    Parameters
    ----------
    prepared : GridSpectrum
        The grid, from `prepare`.
    directions : sequence of Direction
        Field and magnetisation; given, the spectrum is that of the anomaly at the pole, sources
        being alike in all directions: the power of each ring over the mean square of the
        directional factor along it (default: that of the grid as it is).

    Returns
    -------
    RadialPower

    Notes
    -----
    Rings are one step of the torus's longer side wide. The power counts per node that had a value.
    """
    k_north, k_east = prepared.wavenumbers()
    k = np.hypot(k_north[:, None], k_east)
    width = 2 * np.pi / (prepared.spacing_m * max(prepared.torus))
    ring = np.rint(k / width).astype(np.int64)
    # A half spectrum holds each wave but those of its first column (and the last) once of twice.
    once = np.where((k_east == 0) | (np.arange(k_east.size) * 2 == prepared.torus[1]), 1.0, 2.0)
    counts = np.broadcast_to(once, k.shape)
    last = int(np.pi / prepared.spacing_m / width)

    def per_ring(values: FloatArray) -> FloatArray:
        total = np.bincount(ring.ravel(), weights=(counts * values).ravel(), minlength=last + 1)
        return np.asarray(total[1 : last + 1])

    waves = per_ring(np.ones(k.shape))
    weight = waves
    if directions:
        ones = np.ones(k.shape, dtype=np.complex128)
        factor = Operator(wanted=tuple(directions)).times(ones, k_north, k_east)
        weight = np.maximum(per_ring(np.abs(factor) ** 2), LEAST_WEIGHT * waves)
    total = per_ring(np.abs(prepared.spectrum) ** 2) / prepared.known.sum()
    used = waves > 0
    numbers = np.asarray(width * np.arange(1, last + 1), dtype=np.float64)
    return RadialPower(numbers[used], (total / np.maximum(weight, 1e-30))[used], waves[used])
