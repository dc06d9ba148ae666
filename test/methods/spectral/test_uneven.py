"""Transforms over a hill against exact fields of dipoles, beside those that take a plane."""

import numpy as np
import pytest

from dipole_ground import axis, towards
from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.spectral.operators import Direction, to_pole, upward, vertical_derivative
from lodewalk.methods.spectral.relief import sensor_surface
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


def errors(seed, amplitude, noise=0.0):
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


@pytest.mark.parametrize("amplitude", [10.0, 20.0])
def test_over_a_hill_the_layer_is_well_below_the_plane(amplitude):
    """Heights vary by half to one spacing: upward and derivative half, the pole three quarters.

    What lies beyond the edge is in both, and more of it at the pole.
    """
    plane, layer = np.mean([errors(seed, amplitude) for seed in range(3)], axis=0)
    assert np.all(layer[:2] < plane[:2] / 2), (plane, layer)
    assert layer[2] < 0.75 * plane[2], (plane, layer)


def test_noise_grows_no_more_than_over_a_plane():
    """Little noise: what it adds to a derivative is that of the plane's within a tenth."""
    plane, layer = np.mean([errors(seed, 10.0, noise=0.02) for seed in range(3)], axis=0)
    assert np.all(layer < 1.02 * plane), (plane, layer)


def test_the_surface_is_parted_into_a_plane_and_what_departs_from_it():
    """Waves of 200 m under a Gaussian of 6.7 m lose exp(-(2 pi 6.7 / 200)^2 / 2), 2 %."""
    wave = 10.0 * np.sin(2 * np.pi * NORTH / 200.0)
    lines = np.zeros(EAST.shape, dtype=bool)
    lines[:, :: round(LINES / SPACING)] = True
    height = 400 + 0.1 * EAST + wave
    found = sensor_surface(
        EAST[lines], NORTH[lines], height[lines],
        region=Region(EAST.min(), NORTH.min(), EAST.shape), spacing_m=SPACING,
        line_spacing_m=LINES, known=np.ones(EAST.shape, dtype=bool),
    )  # fmt: skip
    assert found.slope_east == pytest.approx(0.1, abs=1e-3)
    assert found.departure_m == pytest.approx(2 * 9.88, rel=0.1)
    inner = np.s_[10:-10, 10:-10]
    trend = found.slope_north * NORTH
    rest = (found.rise_m + trend - 0.98 * wave)[inner]
    assert np.std(rest) < 0.4


def test_heights_that_tell_no_surface_are_refused():
    plain = prepare(dipoles(hill(0, 10.0)[1], 0.0, FIELD), SPACING)
    with pytest.raises(InputError, match="No node has a height"):
        over_relief(plain, np.full(EAST.shape, np.nan), depth_m=10.0, damping=0.01)
    with pytest.raises(InputError, match="nodes of the grid"):
        over_relief(plain, np.zeros((3, 3)), depth_m=10.0, damping=0.01)
    with pytest.raises(InputError, match="depth_m"):
        over_relief(plain, np.zeros(EAST.shape), depth_m=0.0, damping=0.01)
    with pytest.raises(InputError, match="Too few readings"):
        sensor_surface(
            [0.0], [0.0], [1.0], region=Region(0.0, 0.0, (9, 9)), spacing_m=5.0,
            line_spacing_m=20.0, known=np.ones((9, 9), dtype=bool),
        )  # fmt: skip
