"""Transforms over a hill against exact fields of dipoles, beside those that take a plane."""

import numpy as np
import pytest

from hill_ground import EAST, FIELD, LINES, NORTH, SPACING, dipoles, hill, hill_errors
from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.spectral.relief import sensor_surface
from lodewalk.methods.spectral.transforms import prepare
from lodewalk.methods.spectral.uneven import over_relief


@pytest.mark.parametrize("amplitude", [10.0, 20.0])
def test_over_a_hill_the_layer_is_well_below_the_plane(amplitude):
    """Heights vary by half to one spacing: upward and derivative half, the pole three quarters.

    What lies beyond the edge is in both, and more of it at the pole.
    """
    plane, layer = np.mean([hill_errors(seed, amplitude) for seed in range(3)], axis=0)
    assert np.all(layer[:2] < plane[:2] / 2), (plane, layer)
    assert layer[2] < 0.75 * plane[2], (plane, layer)


def test_noise_grows_no_more_than_over_a_plane():
    """Little noise: what it adds to a derivative is that of the plane's within a tenth."""
    plane, layer = np.mean([hill_errors(seed, 10.0, noise=0.02) for seed in range(3)], axis=0)
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
