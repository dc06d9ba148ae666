"""Correlation of two gradients of the field reduced to the pole, for trial directions."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.optimize import minimize

from lodewalk.validation import FloatArray

#: Least size of the direction factors of the reduction, squared, which are divided by.
DAMPING = 0.01
#: Angle between the trial directions of a first look [deg].
STEP_DEG = 15.0


@dataclass(frozen=True)
class Reduced:
    """Spectrum of an anomaly without its field's direction, and where to correlate."""

    spectrum: NDArray[np.complex128]
    north: FloatArray  # wavenumbers [1/m]
    east: FloatArray
    size: FloatArray
    shape: tuple[int, int]
    inside: NDArray[np.bool_]

    def correlation(self, direction: FloatArray) -> float:
        """Return the correlation for a direction of magnetisation (north, east, down)."""
        factor = direction[2] + 1j * (
            (direction[0] * self.north + direction[1] * self.east) / self.size
        )
        square = np.abs(factor) ** 2
        # damped, but of full size where it is not small
        pole = self.spectrum * factor.conj() / np.maximum(square, DAMPING)
        rows, columns = self.inside.shape
        parts = [
            irfft2(pole * times, s=self.shape)[:rows, :columns][self.inside]
            for times in (1j * self.north, 1j * self.east, self.size)
        ]
        total = np.sqrt(parts[0] ** 2 + parts[1] ** 2 + parts[2] ** 2)
        return _alike(parts[2], total)


def reduced(
    anomaly: FloatArray,
    *,
    spacing_m: float,
    ambient: FloatArray,
    up_m: float,
    inside: NDArray[np.bool_],
) -> Reduced:
    """Return the spectrum of a window's anomaly (rows to the north), continued upwards.

    The anomaly falls to zero at the edges over a tenth of the window and stands in zeros twice as
    wide.
    """
    padded = [next_fast_len(2 * count, real=True) for count in anomaly.shape]
    taper = np.outer(*(_taper(count) for count in anomaly.shape))
    spectrum = rfft2(anomaly * taper, s=padded)
    north = 2.0 * np.pi * np.fft.fftfreq(padded[0], spacing_m)[:, None]
    east = 2.0 * np.pi * np.fft.rfftfreq(padded[1], spacing_m)[None, :]
    size = np.hypot(north, east)
    size[0, 0] = 1.0
    unit = ambient / np.linalg.norm(ambient)
    factor = unit[2] + 1j * ((unit[0] * north + unit[1] * east) / size)
    spectrum *= factor.conj() / np.maximum(np.abs(factor) ** 2, DAMPING) * np.exp(-size * up_m)
    spectrum[0, 0] = 0.0
    return Reduced(spectrum, north + 0.0 * east, east + 0.0 * north, size, tuple(padded), inside)


def best_direction(field: Reduced, start: FloatArray | None = None) -> tuple[FloatArray, float]:
    """Return the direction of the highest correlation, and that correlation."""
    trials = sphere(STEP_DEG) if start is None else [start]
    first = max(trials, key=field.correlation)
    along, across = tangents(first)

    def turned(angles: FloatArray) -> FloatArray:
        moved = first + angles[0] * along + angles[1] * across
        return np.asarray(moved / np.linalg.norm(moved))

    simplex = np.radians(STEP_DEG / 2) * np.array([[-0.5, -0.5], [1.0, 0.0], [0.0, 1.0]])
    done = minimize(
        lambda angles: -field.correlation(turned(angles)),
        np.zeros(2),
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 2e-3, "fatol": 1e-7, "maxfev": 80},
    )
    return turned(done.x), -float(done.fun)


def sphere(step_deg: float) -> list[FloatArray]:
    """Return directions spread evenly over the sphere, about a step apart."""
    found = []
    for dip in np.arange(-90.0 + step_deg / 2, 90.0, step_deg):
        count = max(3, round(360.0 * np.cos(np.radians(dip)) / step_deg))
        for turn in np.arange(count) * 2.0 * np.pi / count:
            flat = np.cos(np.radians(dip))
            found.append(
                np.array([flat * np.cos(turn), flat * np.sin(turn), np.sin(np.radians(dip))])
            )
    return found


def tangents(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors across a direction and each other."""
    other = np.eye(3)[int(np.argmin(np.abs(direction)))]
    along = np.cross(direction, other)
    along = along / np.linalg.norm(along)
    return along, np.cross(direction, along)


def _taper(count: int) -> FloatArray:
    """Return a window that falls to zero over a tenth of its length on each side."""
    edge = max(1, count // 10)
    taper = np.ones(count)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    taper[:edge], taper[-edge:] = rise, rise[::-1]
    return taper


def _alike(one: FloatArray, two: FloatArray) -> float:
    """Return the correlation of two arrays."""
    a, b = one - one.mean(), two - two.mean()
    return float((a * b).sum() / np.sqrt((a * a).sum() * (b * b).sum()))
