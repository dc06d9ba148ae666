"""Ground of dipoles whose field and derivatives are known exactly, for tests of transforms."""

from typing import NamedTuple

import numpy as np


class Dipoles(NamedTuple):
    """Easting, northing, depth below the sensor [m] and strength of each."""

    easting: np.ndarray
    northing: np.ndarray
    depth: np.ndarray
    strength: np.ndarray


def towards(inclination, declination):
    dip, turn = np.radians([inclination, declination])
    return np.array([np.cos(dip) * np.cos(turn), np.cos(dip) * np.sin(turn), np.sin(dip)])


def axis(count, spacing):
    return (np.arange(count) - (count - 1) / 2) * spacing


def anomaly(dipoles, count, spacing, field, rocks=None, height=0.0):
    """Return the projected anomaly on a square grid round the origin; rows go north.

    (3 (m.u)(f.u) - m.f) / r^3 times the depth cubed: the dipole's formula written once more.
    """
    f, m = towards(*field), towards(*(rocks or field))
    north, east = np.meshgrid(axis(count, spacing), axis(count, spacing), indexing="ij")
    total = np.zeros(north.shape)
    for e, n, depth, strength in zip(*dipoles, strict=True):
        x, y, z = north - n, east - e, -(depth + height)
        square = x * x + y * y + z * z
        along = (f[0] * x + f[1] * y + f[2] * z) * (m[0] * x + m[1] * y + m[2] * z)
        total += strength * depth**3 * (3 * along / square - f @ m) / square**1.5
    return total


def one(depth, easting=0.0, northing=0.0):
    return Dipoles(*(np.array([value]) for value in (easting, northing, depth, 100.0)))


def scattered(rng, side, depths=(20.0, 60.0), per_km2=150.0):
    """Return dipoles of the same peak, log-uniform depths, on a square twice as wide as `side`."""
    count = rng.poisson(per_km2 * (2 * side / 1000) ** 2)
    return Dipoles(
        *rng.uniform(-side, side, (2, count)),
        np.exp(rng.uniform(*np.log(depths), count)),
        rng.normal(0, 10, count),
    )


def smooth_noise(rng, count, spacing, depth):
    """Return noise of unit variance as smooth as the field of a white layer, not periodic."""
    wide = 2 * count
    k = np.hypot(np.fft.fftfreq(wide, spacing)[:, None], np.fft.rfftfreq(wide, spacing)) * (
        2 * np.pi
    )
    white = np.fft.rfft2(rng.normal(size=(wide, wide)))
    noise = np.fft.irfft2(white * np.exp(-k * depth), s=(wide, wide))
    return (noise / noise.std())[:count, :count]
