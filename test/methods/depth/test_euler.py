"""Euler's equation on exact gradients gives the source to rounding; holes are told."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.depth.euler import clusters, euler_grid

AXIS = np.arange(-30.0, 31.0) * 2.0
NORTH, EAST = np.meshgrid(AXIS, AXIS, indexing="ij")


def dipole(east_m, north_m, depth_m, moment):
    """Return the potential's derivative along a moment, seen along the same, by differences."""
    along = np.asarray(moment) / np.linalg.norm(moment)

    def field(east, north, down):
        x, y, z = east - east_m, north - north_m, down - depth_m
        square = x * x + y * y + z * z
        dot = along[0] * x + along[1] * y + along[2] * z
        return 1e6 * (3 * dot**2 - square) / square**2.5

    return field


def pole(depth_m):
    return lambda east, north, down: (
        1e4 * (depth_m - down) / (east**2 + north**2 + (down - depth_m) ** 2) ** 1.5
    )


def sheet(depth_m, index_deg=-50.0):
    turn = np.exp(1j * np.radians(index_deg))
    return lambda east, north, down: np.real(1e3 * turn / (depth_m - down + 1j * east)) + 0 * north


def with_gradients(field):
    """Return the field and its gradients by the complex step, exact to rounding."""
    tiny, zero = 1e-30, np.zeros_like(EAST)

    def slope(east, north, down):
        return np.imag(field(EAST + 1j * east, NORTH + 1j * north, zero + 1j * down)) / tiny

    return field(EAST, NORTH, zero), {
        "east": slope(tiny, 0, 0), "north": slope(0, tiny, 0), "down": slope(0, 0, tiny),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("field", "depth", "index"),
    [
        (dipole(3.0, -5.0, 20.0, (0.5, 0.3, 0.8)), 20.0, 3.0),
        (pole(15.0), 15.0, 2.0),
    ],
)
def test_exact_gradients_give_the_source(field, depth, index):
    """CHECKS 4.6: sphere 3, end of a pipe 2."""
    values, gradients = with_gradients(field)
    found = euler_grid(values + 37.0, **gradients, spacing_m=2.0)
    assert found.depth_m.size > 50
    assert np.allclose(found.depth_m, depth, rtol=1e-5)
    assert np.allclose(found.index, index, atol=1e-5)


def test_places_are_those_of_the_source():
    values, gradients = with_gradients(dipole(3.0, -5.0, 20.0, (0.5, 0.3, 0.8)))
    found = euler_grid(values, **gradients, spacing_m=2.0)
    assert np.allclose(found.easting_m, 63.0, atol=1e-3)
    assert np.allclose(found.northing_m, 55.0, atol=1e-3)
    [(place, group), *_] = clusters(found, reach_m=10.0)
    assert place == pytest.approx([63.0, 55.0], abs=1e-3)
    assert group.size == found.depth_m.size


def test_windows_with_holes_are_counted_and_skipped():
    values, gradients = with_gradients(pole(15.0))
    values[30, 30] = np.nan
    found = euler_grid(values, **gradients, spacing_m=2.0, window=10)
    assert found.with_holes == 100
    assert found.windows == 52 * 52
    assert np.allclose(found.depth_m, 15.0, rtol=1e-5)


def test_noise_stays_within_the_stated_error():
    """White noise on field and gradients alike: the median answer within its error and bias."""
    values, gradients = with_gradients(dipole(0.0, 0.0, 20.0, (0.0, 0.0, 1.0)))
    rng = np.random.default_rng(3)
    noisy = {k: v + rng.normal(0, 2e-4 * np.abs(v).max(), v.shape) for k, v in gradients.items()}
    found = euler_grid(values, **noisy, spacing_m=2.0, window=16)
    assert np.median(found.depth_m) == pytest.approx(20.0, rel=0.1)


def test_a_flat_grid_has_no_answer():
    flat = np.zeros((20, 20))
    found = euler_grid(flat, east=flat, north=flat, down=flat, spacing_m=1.0)
    assert found.depth_m.size == 0
    assert found.refused == found.windows == 121


def test_bad_grids_are_refused():
    flat = np.zeros((20, 20))
    with pytest.raises(InputError, match="one shape"):
        euler_grid(flat, east=flat[1:], north=flat, down=flat, spacing_m=1.0)
    with pytest.raises(InputError, match="window"):
        euler_grid(flat, east=flat, north=flat, down=flat, spacing_m=1.0, window=21)
