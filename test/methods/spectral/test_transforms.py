"""Transforms against exact fields: published identities, edges, holes, bad grids."""

import numpy as np
import pytest
from scipy.ndimage import binary_erosion

from dipole_ground import anomaly, axis, one
from lodewalk.errors import InputError
from lodewalk.methods.bodies import dyke_anomaly
from lodewalk.methods.spectral.operators import (
    Direction,
    Operator,
    downward,
    east_derivative,
    north_derivative,
    to_equator,
    to_pole,
    upward,
    vertical_derivative,
)
from lodewalk.methods.spectral.transforms import (
    gradients,
    horizontal_gradient,
    prepare,
    reduce_to_equator,
    reduce_to_pole,
    tilt_angle,
    total_gradient,
    upward_continued,
)

COUNT, SPACING, DEPTH = 512, 2.0, 40.0
HALF = np.s_[COUNT // 4 : -COUNT // 4, COUNT // 4 : -COUNT // 4]
FIELD = (60.0, 10.0)
POLE = (90.0, 0.0)


def slope(function, step=0.01):
    """Return the derivative towards the sources by differences of the fourth order."""
    near, far = function(-step) - function(step), function(-2 * step) - function(2 * step)
    return (8 * near - far) / (12 * step)


@pytest.fixture(scope="module")
def dipole():
    """512 x 512 nodes 2 m apart, a dipole 40 m down, as the published identities have it."""
    return prepare(anomaly(one(DEPTH), COUNT, SPACING, FIELD), SPACING)


def worst(found, truth, where=HALF):
    return float(np.abs(found - truth)[where].max() / np.abs(truth).max())


def test_upward_continuation_is_the_field_higher_up(dipole):
    (found,) = dipole.apply(upward(20.0))
    assert worst(found, anomaly(one(DEPTH), COUNT, SPACING, FIELD, height=20.0)) < 4e-5


def test_the_vertical_derivative_is_the_analytic_one(dipole):
    (found,) = dipole.apply(vertical_derivative())
    truth = slope(lambda up: anomaly(one(DEPTH), COUNT, SPACING, FIELD, height=up))
    assert found[COUNT // 2, COUNT // 2] > 0
    assert worst(found, truth) < 1e-5


def test_horizontal_derivatives_are_the_analytic_ones(dipole):
    north, east = dipole.apply(north_derivative(), east_derivative())
    for found, shift in ((north, (0.0, -1.0)), (east, (-1.0, 0.0))):
        truth = slope(
            lambda s, d=shift: anomaly(one(DEPTH, -d[0] * s, -d[1] * s), COUNT, SPACING, FIELD)
        )
        assert worst(found, -truth) < 1e-5 or worst(found, truth) < 1e-5
    assert north[COUNT // 2 - 20, COUNT // 2] > 0  # the slope up to the high from the south


@pytest.mark.parametrize(("inclination", "bound"), [(60, 1.4e-4), (30, 6.6e-4), (15, 1.6e-3)])
def test_reduction_to_the_pole_is_the_field_there(inclination, bound):
    found = reduce_to_pole(
        anomaly(one(DEPTH), COUNT, SPACING, (inclination, 10.0)), SPACING,
        inclination_deg=inclination, declination_deg=10.0,
    )  # fmt: skip
    assert worst(found, anomaly(one(DEPTH), COUNT, SPACING, POLE)) < bound


def test_rocks_magnetised_otherwise_come_to_the_pole_and_to_the_equator():
    field, rocks = (-35.0, -20.0), (40.0, 70.0)
    seen = anomaly(one(DEPTH), COUNT, SPACING, field, rocks)
    words = {
        "inclination_deg": field[0], "declination_deg": field[1],
        "magnetisation_inclination_deg": rocks[0], "magnetisation_declination_deg": rocks[1],
    }  # fmt: skip
    pole = reduce_to_pole(seen, SPACING, **words)
    assert worst(pole, anomaly(one(DEPTH), COUNT, SPACING, POLE)) < 1e-3
    level = reduce_to_equator(seen, SPACING, **words)
    assert worst(level, anomaly(one(DEPTH), COUNT, SPACING, (0.0, field[1]))) < 1e-3


def test_up_and_down_by_the_same_height_returns_the_grid(dipole):
    given = anomaly(one(DEPTH), COUNT, SPACING, FIELD)
    (raised,) = dipole.apply(upward(10.0))
    (back,) = dipole.apply(upward(10.0) * downward(10.0))
    assert worst(back, given) < 1e-9
    (lowered,) = prepare(raised, SPACING).apply(downward(10.0))
    assert worst(lowered, given) < 1e-3


@pytest.mark.parametrize("dip", [40.0, 90.0, 130.0])
def test_slopes_across_a_dyke_are_a_hilbert_pair(dip):
    """The total gradient depends on dip and inclination by the dyke's amplitude alone.

    That amplitude is c sin d with c = sin^2 I on a profile to the magnetic east (Reford 1964). The
    operators act on the profile itself, as waves that all go east: a grid of a dyke has ends.
    """
    across, inclination = 16384, 50.0
    k_east = 2 * np.pi * np.fft.rfftfreq(across, SPACING)
    words = {"depth_m": 40.0, "half_width_m": 10.0, "susceptibility": 0.01, "strength_nT": 5e4}
    sizes = []
    for turn, tilt in ((dip, inclination), (90.0, 90.0)):
        profile = dyke_anomaly(
            axis(across, SPACING), dip_deg=turn, inclination_deg=tilt, profile_azimuth_deg=90.0,
            **words,
        )  # fmt: skip
        spectrum = np.fft.rfft(profile)[None, :]
        east, down = (
            np.fft.irfft(operator.times(spectrum, np.zeros(1), k_east)[0], across)
            for operator in (east_derivative(), vertical_derivative())
        )
        sizes.append(np.hypot(east, down))
    amplitude = np.sin(np.radians(inclination)) ** 2 * np.sin(np.radians(dip))
    middle = slice(across // 4, -across // 4)
    assert np.abs(sizes[0] / amplitude - sizes[1])[middle].max() < 2e-4 * sizes[1].max()


def test_gradients_and_tilt_are_kept_apart():
    slopes = gradients(anomaly(one(20.0), 96, 4.0, POLE), 4.0)
    level, whole = horizontal_gradient(slopes), total_gradient(slopes)
    assert np.allclose(whole**2, level**2 + slopes.vertical**2)
    tilt = tilt_angle(slopes)
    assert np.abs(tilt).max() <= 90
    assert tilt[48, 48] > 60  # steep over the body


def test_nothing_rings_at_an_edge_or_a_hole():
    """A dipole 20 m down a node row from the edge, another beside a hole, nodes 5 m apart."""
    count, spacing = 120, 5.0
    edge = one(25.0, easting=290.0, northing=40.0)
    hole = one(25.0, easting=-100.0, northing=-60.0)
    ground = type(edge)(*(np.concatenate(pair) for pair in zip(edge, hole, strict=True)))
    grid = anomaly(ground, count, spacing, FIELD)
    gaps = grid.copy()
    gaps[30:40, 20:30] = np.nan
    found, slopes = prepare(gaps, spacing).apply(upward(10.0), vertical_derivative())
    up = anomaly(ground, count, spacing, FIELD, height=10.0)
    down = slope(lambda height: anomaly(ground, count, spacing, FIELD, height=height))
    assert np.isnan(found[35, 25])
    assert np.isnan(slopes[35, 25])
    inside = binary_erosion(np.isfinite(gaps), iterations=5)  # a depth away from what isn't known
    for values, truth in ((found, up), (slopes, down)):
        error = np.abs(values - truth) / np.abs(truth).max()
        assert error[inside].max() < 0.05
        assert error[50:75, 40:90].max() < 6e-3  # far from both
    # Without ring and fill the edges meet with a step, and the derivative rings.
    bare = np.fft.rfft2(np.where(np.isnan(gaps), 0.0, gaps))
    k = (
        2
        * np.pi
        * np.hypot(np.fft.fftfreq(count, spacing)[:, None], np.fft.rfftfreq(count, spacing))
    )
    naive = np.fft.irfft2(bare * k, s=grid.shape)
    known = np.isfinite(gaps)
    rms = [np.sqrt(np.mean((v - down)[known] ** 2)) for v in (slopes, naive)]
    assert rms[0] < 0.3 * rms[1]


def test_a_plane_comes_out_as_it_should():
    north, east = np.meshgrid(axis(40, 5.0), axis(30, 5.0), indexing="ij")
    ramp = 7 + 0.3 * north - 0.2 * east
    up, by_north, by_east, down = prepare(ramp, 5.0).apply(
        upward(50.0), north_derivative(), east_derivative(), vertical_derivative()
    )
    for found, plane in ((up, ramp), (by_north, 0.3), (by_east, -0.2), (down, 0.0)):
        assert np.allclose(found, plane, atol=1e-9)


def test_operators_are_joined():
    both = upward(5.0) * vertical_derivative() * to_pole(Direction(30.0, 5.0))
    assert (both.height_m, both.down, len(both.given)) == (5.0, 1, 2)
    level = to_equator(Direction(30.0, 5.0))
    assert level.wanted == (Direction(0.0, 5.0),) * 2


@pytest.mark.parametrize(
    ("grid", "message"),
    [
        (np.full((40, 40), np.nan), "at least 32 nodes"),
        (np.full((40, 40), 3.0), "flat"),
        (np.ones((4, 40)), "at least 8 nodes each way"),
        (np.ones(40), "at least 8 nodes each way"),
    ],
)
def test_bad_grids_get_one_clear_error(grid, message):
    with pytest.raises(InputError, match=message):
        prepare(grid, 5.0)


def test_numbers_out_of_range_are_named():
    with pytest.raises(InputError, match="Inclination"):
        to_pole(Direction(95.0, 0.0))
    with pytest.raises(InputError, match="finite"):
        Operator(height_m=np.nan)
    with pytest.raises(InputError, match="height_m"):
        upward_continued(np.eye(40), 5.0, height_m=-3.0)


def test_a_level_direction_gives_no_number_where_there_is_none():
    """At zero inclination waves along the magnetic equator are left out, not divided by 0."""
    found = reduce_to_pole(
        anomaly(one(25.0), 64, 5.0, (0.0, 0.0)), 5.0, inclination_deg=0.0, declination_deg=0.0
    )
    assert np.isfinite(found).all()
