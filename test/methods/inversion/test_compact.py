"""Compact bodies fitted to windows: truth found, intervals, slopes, and what is refused."""

from functools import cache

import numpy as np
import pytest

from compact_world import compact_world
from lodewalk.errors import InputError
from lodewalk.methods.bodies import ambient_vector, dipole_field, exact_anomaly
from lodewalk.methods.inversion import Noise
from lodewalk.methods.inversion._compact import Window, _evaluate, noise_root
from lodewalk.methods.inversion.compact import cone_of, fit_compact

AMBIENT = ambient_vector(strength_nT=48_000.0, inclination_deg=62.0, declination_deg=4.0)
CENTRE, MOMENT = np.array([502.0, 797.0, 88.0]), np.array([900.0, -1500.0, 400.0])


def walked(moment=MOMENT, *, noise=0.0, seed=1, lines=9, half=34.0, middle=(500.0, 800.0)):
    """Return readings along uneven lines over a dipole, with a slope."""
    rng = np.random.default_rng(seed)
    along = np.arange(-half, half, 2.0)
    across = np.linspace(-half, half, lines)
    east = middle[0] + (across[:, None] + rng.normal(0.0, 0.4, (lines, along.size))).ravel()
    north = middle[1] + (along + rng.normal(0.0, 0.3, (lines, along.size))).ravel()
    height = 100.0 + 0.02 * (east - 500.0) + rng.normal(0.0, 0.1, east.size)
    field = dipole_field(east, north, height, centre=CENTRE, moment=moment)
    values = exact_anomaly(field, ambient_nT=AMBIENT) + 20.0 + 0.1 * (north - 800.0)
    return east, north, height, values + noise * rng.normal(size=east.size)


def test_a_dipole_comes_back_on_uneven_ground_and_lines():
    fit = fit_compact(*walked(), ambient_nT=AMBIENT, sd_nT=0.2)
    assert fit.problem == ""
    place = [fit.estimates[name].value for name in ("easting_m", "northing_m")]
    np.testing.assert_allclose(place, CENTRE[:2], atol=1e-3)
    height = fit.middle[2] - fit.estimates["depth_m"].value
    assert height == pytest.approx(CENTRE[2], abs=2e-3)
    np.testing.assert_allclose(fit.moment, MOMENT, rtol=1e-3)
    declination = fit.estimates["declination_deg"].value
    assert declination == pytest.approx(np.degrees(np.arctan2(-1500.0, 900.0)), abs=0.02)


def test_a_strong_anomaly_is_an_exact_difference():
    # 20 % of the field: the projected anomaly alone would be off by hundreds of nT
    strong = 110.0 * MOMENT
    data = walked(strong)
    assert 0.15 < np.abs(data[3]).max() / 48_000.0 < 0.6
    fit = fit_compact(*data, ambient_nT=AMBIENT, sd_nT=1.0)
    np.testing.assert_allclose(fit.moment, strong, rtol=1e-3)


@pytest.mark.parametrize("shape", [False, True])
def test_slopes_of_the_problem_by_differences(shape):
    east, north, height, data = (part[::5] for part in walked())
    points = np.array([east, north, height])
    root = noise_root(points, sd=np.full(data.size, 0.5), correlated=0.4, length=9.0)
    window = Window(points, data, AMBIENT, root)
    measured = window.whitened(np.column_stack([data, window.trend()]))
    values = np.array([501.0, 799.0, np.log(14.0), 800.0, -1300.0, 500.0, 15.0, 1.0, 2.0])
    values = np.append(values, [3.0, -5.0, 2.0, 1.0, -4.0]) if shape else values

    def rest(v):
        return _evaluate(window, v, measured, exact=True, deep=14.0)[0]

    found = _evaluate(window, values, measured, exact=True, deep=14.0)[1]
    for i in range(values.size):
        step = np.zeros(values.size)
        step[i] = 1e-5 if i == 2 else 1e-2
        parts = [rest(values + k * step) for k in (-2, -1, 1, 2)]
        expected = (parts[0] - 8 * parts[1] + 8 * parts[2] - parts[3]) / (12 * step[i])
        largest = np.abs(expected).max()
        np.testing.assert_allclose(found[:, i], expected, rtol=1e-5, atol=1e-6 * largest)


@cache
def drawn(seed):
    """Return the world and its fit."""
    world = compact_world(seed, signal=(20.0, 60.0))
    flat = [part.ravel()[::3] for part in (world.east, world.north, 0.0 * world.east, world.values)]
    fit = fit_compact(*flat, ambient_nT=world.ambient, sd_nT=world.sd, noise=world.noise)
    return world, fit


def test_bodies_that_are_no_dipoles_lie_inside_their_intervals():
    inside = []
    for seed in range(400, 408):
        world, fit = drawn(seed)
        assert fit.problem == ""
        for name, truth in zip(("easting_m", "northing_m", "depth_m"), world.centre, strict=True):
            found = fit.estimates[name]
            inside.append(found.low <= (-truth if name == "depth_m" else truth) <= found.high)
        share = fit.moment @ world.direction / np.linalg.norm(fit.moment)
        inside.append(np.degrees(np.arccos(share)) <= fit.cone_deg)
    # of 32, 90 % on the average; the four of a body are not independent
    assert np.mean(inside) >= 0.8


def test_the_cone_holds_nine_of_ten():
    rng = np.random.default_rng(2)
    moment = np.array([300.0, -200.0, 500.0])
    root = np.array([[20.0, 0.0, 0.0], [12.0, 9.0, 0.0], [-5.0, 4.0, 30.0]])
    drawn_moments = moment + rng.normal(size=(40_000, 3)) @ root.T
    share = drawn_moments @ moment / np.linalg.norm(moment)
    off = np.degrees(np.arccos(share / np.linalg.norm(drawn_moments, axis=1)))
    held = np.mean(off <= cone_of(moment, root @ root.T))
    assert held == pytest.approx(0.9, abs=0.015)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        ([part[:20] for part in walked()], "too few"),
        ([part[:34] for part in walked()], "too few"),
        (walked(0.0 * MOMENT, noise=1.0), "flat"),
        (walked(middle=(530.0, 800.0), noise=0.5), "edge"),
    ],
)
def test_no_number_rather_than_a_wrong_one(data, kind):
    fit = fit_compact(*data, ambient_nT=AMBIENT, sd_nT=1.0)
    assert (fit.kind, dict(fit.estimates)) == (kind, {})
    assert fit.problem.endswith(".")


def test_a_neighbour_in_the_window_is_told():
    east, north, height, values = walked(noise=0.5)
    other = dipole_field(
        east, north, height, centre=[485.0, 815.0, 87.0], moment=[0.0, 900.0, 900.0]
    )
    fit = fit_compact(
        east, north, height, values + exact_anomaly(other, ambient_nT=AMBIENT),
        ambient_nT=AMBIENT, sd_nT=0.5,
    )  # fmt: skip
    assert (fit.kind, dict(fit.estimates)) == ("neighbour", {})


def test_noise_that_neighbours_share_widens_the_cone():
    data = walked(noise=1.0)
    alone = fit_compact(*data, ambient_nT=AMBIENT, sd_nT=1.0)
    shared = fit_compact(*data, ambient_nT=AMBIENT, sd_nT=1.0, noise=Noise(1.0, 3.0, 8.0))
    assert shared.cone_deg > 1.2 * alone.cone_deg


def test_wrong_arguments():
    east, north, height, values = walked()
    with pytest.raises(InputError, match="same length"):
        fit_compact(east, north, height, values[1:], ambient_nT=AMBIENT)
    with pytest.raises(InputError, match="finite"):
        fit_compact(east, north, height, values * np.nan, ambient_nT=AMBIENT)
