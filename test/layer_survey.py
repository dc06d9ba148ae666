"""Readings on lines over dipoles, for tests of layers of equivalent sources."""

import numpy as np

SPACING = 25.0
FIELD = np.array([0.75, -0.2, -0.63]) / np.linalg.norm([0.75, -0.2, -0.63])


def dipole(east, north, depth):
    """Anomaly of a dipole along the field, of peak near 1: (3 (u.r)^2 / r^2 - 1) / r^3.

    Blakely (1995), Potential Theory in Gravity and Magnetic Applications, section 4.2 (from
    memory).
    """
    square = east**2 + north**2 + depth**2
    along = FIELD[0] * north + FIELD[1] * east - FIELD[2] * depth
    return depth**3 * (3 * along**2 / square - 1) / square**1.5


def walked(side, *, seed=0, step=1.5, ties=True):
    """Readings at uneven steps on north-going lines and tie lines 250 m apart."""
    rng = np.random.default_rng(seed)
    east, north, line = [], [], []
    places = [(k, k * SPACING, False) for k in range(int(side / SPACING) + 1)]
    places += [(1000 + k, k * 250.0, True) for k in range(int(side / 250) + 1) if ties]
    for number, across, tie in places:
        along = np.cumsum(rng.uniform(0.7 * step, 1.3 * step, int(side / step)))
        along = along[along < side]
        wobble = across + 0.5 * np.sin(along / 40 + number)
        east.append(along if tie else wobble)
        north.append(wobble if tie else along)
        line.append(np.full(along.size, number))
    return np.concatenate(east), np.concatenate(north), np.concatenate(line)


def bodies(side, depths, *, seed, density=1e-4):
    """Return the anomaly of dipoles all over the square, their depths even in the logarithm."""
    rng = np.random.default_rng(seed)
    count = int(density * (side + 200) ** 2)
    centre = rng.uniform(-100, side + 100, (2, count))
    depth = np.exp(rng.uniform(*np.log(depths), count))
    peak = rng.normal(0, 30, count)

    def anomaly(east, north):
        total = np.zeros(np.broadcast_shapes(np.shape(east), np.shape(north)))
        for k in range(count):
            total += peak[k] * dipole(east - centre[0, k], north - centre[1, k], depth[k])
        return total

    return anomaly
