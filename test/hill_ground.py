"""A hill over dipoles: exact transforms at the sensor's heights beside those of the package."""

import numpy as np

from dipole_ground import axis, towards
from lodewalk.methods.spectral.operators import Direction, to_pole, upward, vertical_derivative
from lodewalk.methods.spectral.transforms import prepare
from lodewalk.methods.spectral.uneven import over_relief

COUNT, SPACING, LINES = 90, 5.0, 20.0
FIELD = Direction(-38.0, -15.0)
POLE = (90.0, 0.0)
STEP = 0.05
NORTH, EAST = np.meshgrid(axis(COUNT, SPACING), axis(COUNT, SPACING), indexing="ij")


def dipoles(bodies, height, field):
    """Return the anomaly at the nodes at heights: (3 (m.u)^2 - 1) / r^3, written out."""
    f = towards(*field)
    total = np.zeros(NORTH.shape)
    for east, north, depth, moment in bodies:
        x, y, z = NORTH - north, EAST - east, -(depth + height)
        square = x * x + y * y + z * z
        along = f[0] * x + f[1] * y + f[2] * z
        total += moment * (3 * along**2 / square - 1) / square**1.5
    return total


def hill(seed, amplitude):
    """Return heights over their plane and dipoles 14 to 60 m below the sensor."""
    rng = np.random.default_rng([seed, 31])
    turn, wave = rng.uniform(0, 2 * np.pi), rng.uniform(120, 240)

    def ground(north, east):
        bump = np.exp(-((east - 30) ** 2 + (north + 20) ** 2) / (2 * 70.0**2))
        along = north * np.cos(turn) + east * np.sin(turn)
        return amplitude * (bump + 0.35 * np.sin(2 * np.pi * along / wave))

    height = ground(NORTH, EAST)
    height -= height.mean()
    count = 30
    east, north = rng.uniform(-140, 140, (2, count))
    depth = np.exp(rng.uniform(np.log(14), np.log(60), count))
    below = depth - (ground(north, east) - ground(NORTH, EAST).mean())
    moment = rng.normal(0, 30, count) * depth**3
    return height, list(zip(east, north, below, moment, strict=True))


def hill_errors(seed, amplitude, noise=0.0):
    """Return rms errors over the signal of each transform, by the plane and by the layer."""
    height, bodies = hill(seed, amplitude)
    grid = dipoles(bodies, height, FIELD)
    grid += noise * grid.std() * np.random.default_rng(seed).normal(size=grid.shape)
    truths = [
        dipoles(bodies, height + LINES, FIELD),
        (dipoles(bodies, height - STEP, FIELD) - dipoles(bodies, height + STEP, FIELD))
        / (2 * STEP),
        dipoles(bodies, height, POLE),
    ]
    operators = [upward(LINES), vertical_derivative(), to_pole(FIELD)]
    prepared = prepare(grid, SPACING)
    layer = over_relief(prepared, height, depth_m=LINES / 2, damping=0.01)
    inner = np.s_[10:-10, 10:-10]
    return np.array(
        [
            [np.std((made - true)[inner]) / np.std(true[inner])
             for made, true in zip(one.apply(*operators), truths, strict=True)]
            for one in (prepared, layer)
        ]
    )  # fmt: skip
