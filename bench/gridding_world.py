"""A field of known bodies, read along lines: what gridders are timed and judged on.

Bodies are dipoles along the ambient field at depths below the sensor drawn log-uniform between 10
and 100 m, decided before anything was gridded. Readings lie 1 to 2 m apart on lines 25 m apart
with a tie line each 250 m, and carry noise of 0.5 nT. Invented, the formula of the dipole apart.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit, prange

SPACING_M, TIE_M, NOISE_NT, BODIES = 25.0, 250.0, 0.5, 300
SHALLOWEST_M, DEEPEST_M, SIZE_NT = 10.0, 100.0, 40.0
#: Direction of the ambient field towards north, east and down; inclination -40 degrees.
ALONG = np.array([0.720, -0.257, -0.643]) / np.linalg.norm([0.720, -0.257, -0.643])


@njit(parallel=True, cache=True)
def _anomaly(east, north, bodies, along):
    """Sum the total-field anomaly of dipoles; Blakely 1995, equation 4.13 (from memory)."""
    out = np.empty(east.size)
    for i in prange(east.size):
        total = 0.0
        for k in range(bodies.shape[0]):
            n, e, depth = north[i] - bodies[k, 1], east[i] - bodies[k, 0], bodies[k, 2]
            square = n * n + e * e + depth * depth
            # From the body up to the sensor: the down part is minus the depth.
            part = along[0] * n + along[1] * e - along[2] * depth
            shape = 3.0 * part * part / square - 1.0
            total += bodies[k, 3] * shape * (depth * depth / square) ** 1.5
        out[i] = total
    return out


@dataclass(frozen=True)
class World:
    """Readings and the field they come from; lines are numbered, tie lines from 10,000."""

    easting: np.ndarray
    northing: np.ndarray
    line: np.ndarray
    value: np.ndarray
    side_m: float
    bodies: np.ndarray

    def field(self, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        """Return the true anomaly [nT]."""
        flat = _anomaly(easting.ravel(), northing.ravel(), self.bodies, ALONG)
        return flat.reshape(easting.shape)


def world(readings: int, *, seed: int = 1) -> World:
    """Return a square block with about so many readings."""
    rng = np.random.default_rng(seed)
    # A metre and a half of line a reading, lines and tie lines.
    side = np.sqrt(readings * 1.5 / (1 / SPACING_M + 1 / TIE_M))
    parts = []
    for number in range(int(side / SPACING_M) + 1):
        along = _walk(rng, side)
        off = number * SPACING_M + 0.7 * np.sin(along / 60 + number)
        parts.append((off, along, np.full(along.size, number)))
    for number in range(int(side / TIE_M) + 1):
        along = _walk(rng, side)
        parts.append(
            (along, np.full(along.size, number * TIE_M), np.full(along.size, 10_000 + number))
        )
    east, north, line = (np.concatenate([part[k] for part in parts]) for k in range(3))
    depth = np.exp(rng.uniform(np.log(SHALLOWEST_M), np.log(DEEPEST_M), BODIES))
    places = rng.uniform(-50, side + 50, (2, BODIES))
    bodies = np.column_stack([*places, depth, rng.normal(0, SIZE_NT, BODIES)])
    made = World(east, north, line, east, side, bodies)
    value = made.field(east, north) + rng.normal(0, NOISE_NT, east.size)
    return World(east, north, line, value, side, bodies)


def _walk(rng: np.random.Generator, side: float) -> np.ndarray:
    """Return distances of readings along a line."""
    along = np.cumsum(rng.uniform(1, 2, int(side / 1.3)))
    return along[along < side]
