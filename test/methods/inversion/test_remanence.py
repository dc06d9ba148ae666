"""Direction of magnetisation of bodies that are no dipoles, and what is refused."""

import numpy as np
import pytest

from compact_world import DISTURBED, compact_world
from lodewalk.errors import InputError
from lodewalk.methods.bodies import ambient_vector, dipole_field, exact_anomaly
from lodewalk.methods.inversion._pole_correlation import best_direction, reduced
from lodewalk.methods.inversion.remanence import magnetisation_direction


def told(world):
    return magnetisation_direction(
        world.values[::2, ::2], west_m=world.east[0, 0], south_m=world.north[0, 0],
        spacing_m=2.0 * world.spacing, height_m=0.0, ambient_nT=world.ambient, sd_nT=world.sd,
        noise=world.noise,
    )  # fmt: skip


def apart(one, two):
    share = one @ two / np.linalg.norm(one) / np.linalg.norm(two)
    return np.degrees(np.arccos(np.clip(share, -1.0, 1.0)))


@pytest.mark.parametrize("seed", range(600, 604))
def test_isolated_bodies_within_ten_degrees(seed):
    world = compact_world(seed, dip=(15.0, 90.0))
    found = told(world)
    assert found.problem == ""
    assert apart(found.direction, world.direction) < 10.0
    assert apart(found.by_correlation, world.direction) < 10.0


@pytest.mark.parametrize("kind", DISTURBED)
def test_disturbed_bodies_are_refused(kind):
    found = [told(compact_world(seed, kind)) for seed in range(700, 702)]
    assert all(one.problem and np.isnan(one.direction).all() for one in found)


def test_the_pole_correlation_alone_finds_a_reversed_dipole():
    axis = np.arange(-50.0, 51.0, 2.0)
    east, north = np.meshgrid(axis, axis)
    ambient = ambient_vector(strength_nT=50_000.0, inclination_deg=-48.0, declination_deg=20.0)
    own = np.array([-0.4, 0.7, 0.6])
    field = dipole_field(east, north, 0.0, centre=[2.0, -3.0, -13.0], moment=500.0 * own)
    spectrum = reduced(
        exact_anomaly(field, ambient_nT=ambient), spacing_m=2.0, ambient=ambient, up_m=4.0,
        inside=np.hypot(east - 2.0, north + 3.0) < 20.0,
    )  # fmt: skip
    direction, alike = best_direction(spectrum)
    assert apart(direction, own) < 2.0
    assert alike > 0.95


def window(moment, *, inclination=60.0, hole=0):
    axis = np.arange(-30.0, 31.0, 2.0)
    east, north = np.meshgrid(axis, axis)
    ambient = ambient_vector(strength_nT=50_000.0, inclination_deg=inclination)
    field = dipole_field(east, north, 0.0, centre=[3, -2, -12], moment=moment)
    values = exact_anomaly(field, ambient_nT=ambient)
    values[:hole] = np.nan
    return values, ambient


def ask(values, ambient):
    return magnetisation_direction(
        values, west_m=-30.0, south_m=-30.0, spacing_m=2.0, height_m=0.0, ambient_nT=ambient,
        sd_nT=0.5,
    )  # fmt: skip


def test_magnetisation_along_the_field_is_not_called_remanent():
    values, ambient = window(800.0 * np.array([0.5, 0.0, 0.866]))
    found = ask(values, ambient)
    assert not found.remanent
    assert found.off_field_deg < found.cone_deg


def test_a_level_field_is_told_by_the_fit_alone():
    found = ask(*window([300.0, 500.0, -100.0], inclination=4.0))
    assert found.problem == ""
    assert np.isnan(found.by_correlation).all()
    assert apart(found.direction, np.array([300.0, 500.0, -100.0])) < 0.5


def test_holes_are_told():
    assert ask(*window([300.0, 500.0, 900.0], hole=3)).problem == ""
    found = ask(*window([300.0, 500.0, 900.0], hole=12))
    assert (found.kind, found.problem) == ("holes", "Holes make up 39 % of the window.")


def test_a_window_has_rows_and_columns():
    with pytest.raises(InputError, match="rows and columns"):
        ask(np.zeros(9), np.array([0.0, 0.0, 5e4]))
