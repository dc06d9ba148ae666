"""Profiles across the strike: from planted lines over curves written here, not by the package."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.line_gradient import LineGradient
from lodewalk.methods.inversion.picking import (
    LEAST_READINGS,
    crossings,
    moving,
    pick_profile,
    profile_problem,
)
from lodewalk.methods.inversion.sensor_rise import local_height

ALONG = np.arange(-150.0, 150.1, 1.5)


def sheet(x, *, depth, size=1500.0, turn=0.4):
    """A thin sheet: 1 / (depth**2 + x**2) times depth and x (textbook form)."""
    return size * (depth * np.cos(turn) + x * np.sin(turn)) / (depth**2 + x**2)


def line_over(anomaly, *, azimuth=0.0, noise=0.2, seed=1):
    turn = np.radians(azimuth)
    rng = np.random.default_rng(seed)
    noisy = anomaly + rng.normal(0.0, noise, anomaly.size)
    return LineGradient(
        ALONG * np.sin(turn), ALONG * np.cos(turn), noisy, np.full(anomaly.size, noise)
    )


@pytest.mark.parametrize("depth", [3.0, 8.0, 20.0])
@pytest.mark.parametrize("azimuth", [0.0, 40.0, 205.0])
def test_the_first_look_is_near_the_depth_of_a_sheet(depth, azimuth):
    line = line_over(sheet(ALONG, depth=depth), azimuth=azimuth)
    assert line.half_width(2.0) == pytest.approx(depth, rel=0.3, abs=1.5)


def test_an_oblique_line_is_projected_on_the_normal_of_the_strike():
    # The line runs north, the body strikes 60 degrees: a metre of line is sin(60) metre across.
    share = np.sin(np.radians(60.0))
    line = line_over(sheet(ALONG * share, depth=10.0))
    found = pick_profile(line, (0.0, 0.0), strike_deg=60.0, window=4.0)
    assert not found.problem
    assert found.depth_m == pytest.approx(10.0, rel=0.3)
    # To the right of 60 degrees is 150 degrees, where north is behind.
    order = np.argsort(found.rows)
    np.testing.assert_allclose(
        found.distance_m[order], -share * ALONG[found.rows[order]], atol=1e-9
    )
    assert (np.diff(found.distance_m) > 0).all()
    assert abs(found.distance_m).max() <= found.half_window_m + 1e-9


def test_a_profile_ends_where_the_neighbour_begins():
    field = sheet(ALONG, depth=6.0) + sheet(ALONG - 30.0, depth=6.0)
    line = line_over(field)
    free = pick_profile(line, (0.0, 0.0), strike_deg=270.0, window=6.0)
    cut = pick_profile(
        line, (0.0, 0.0), strike_deg=270.0, window=6.0, neighbours_m=np.array([30.0])
    )
    assert free.distance_m[-1] > 25.0
    assert cut.distance_m[-1] == pytest.approx(15.0, abs=3.0)
    assert cut.distance_m[0] == pytest.approx(free.distance_m[0])


def test_a_second_pick_on_the_same_anomaly_cuts_nothing():
    line = line_over(sheet(ALONG, depth=10.0))
    alone = pick_profile(line, (0.0, 0.0), strike_deg=270.0, window=4.0)
    twin = pick_profile(
        line, (0.0, 0.0), strike_deg=270.0, window=4.0, neighbours_m=np.array([5.0])
    )
    np.testing.assert_array_equal(alone.rows, twin.rows)


def test_one_who_stands_counts_once():
    distance = np.sort(np.concatenate([np.arange(0.0, 30.0, 1.5), 12.0 + np.linspace(0, 0.2, 40)]))
    kept = distance[moving(distance)]
    assert kept.size == 20
    assert np.diff(kept).min() > 0.4


def problem_of(anomaly, *, low=-60.0, high=60.0, depth=10.0, sd=0.2):
    inside = (low <= ALONG) & (high >= ALONG)
    noise = np.random.default_rng(5).normal(0.0, sd, int(inside.sum()))
    return profile_problem(
        ALONG[inside], anomaly[inside] + noise, sd_nT=np.full(noise.size, sd), depth_m=depth
    )


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, ""),
        ({"low": -5.0, "high": 5.0}, f"a fit needs {LEAST_READINGS}"),
        ({"low": -12.0, "high": 12.0}, "needs 30 m"),
        ({"low": -4.0, "high": 60.0}, "cut by the edge"),
        ({"low": -60.0, "high": -2.0}, "cut by the edge"),
    ],
)
def test_what_a_profile_lacks_is_said(more, told):
    text = problem_of(sheet(ALONG, depth=10.0), **more)
    assert told in text
    assert bool(text) == bool(told)


def test_a_flat_profile_has_no_body():
    assert "flat" in problem_of(0.0 * ALONG + 3.0 + 0.01 * ALONG)


def test_chance_rarely_passes_for_an_anomaly():
    rng = np.random.default_rng(8)
    flat = [
        bool(profile_problem(ALONG, rng.normal(0, 1, ALONG.size), sd_nT=np.ones(ALONG.size),
                             depth_m=10.0))
        for _ in range(300)
    ]  # fmt: skip
    assert np.mean(flat) > 0.99


def test_a_line_along_the_strike_is_too_oblique():
    line = line_over(sheet(ALONG, depth=10.0))
    found = pick_profile(line, (0.0, 0.0), strike_deg=170.0, window=4.0)
    assert "under 10 degrees" in found.problem
    assert found.rows.size == 0


def test_crossings_of_a_wavering_track_count_once():
    east = 0.5 * np.sin(np.arange(200) * 0.7)
    track = np.stack([east, np.linspace(-50.0, 50.0, 200)], axis=1)
    corners = np.array([[-30.0, 0.2], [-0.2, 0.0], [0.3, 0.0], [30.0, -0.1]])
    found = crossings(corners, track, apart_m=10.0)
    assert len(found) == 1
    assert abs(found[0].northing_m) < 0.3
    assert track[found[0].row, 1] <= found[0].northing_m <= track[found[0].row + 1, 1]


def test_a_lineament_beside_a_line_has_no_crossing():
    corners = np.array([[5.0, -40.0], [5.0, 40.0]])
    track = np.stack([np.zeros(50), np.linspace(-50.0, 50.0, 50)], axis=1)
    assert crossings(corners, track, apart_m=10.0) == []


def test_the_ground_is_told_from_heights_that_wander_line_by_line():
    rng = np.random.default_rng(3)
    east, north = (axis.ravel() for axis in np.meshgrid(20.0 * np.arange(9), np.arange(0, 200, 10)))
    wander = rng.normal(0, 2.5, (9, 4))[(east // 20).astype(int), (north // 50).astype(int)]
    ground = 800.0 + 0.05 * north + 4.0 * np.sin(north / 120.0)
    own = (east == 80.0) & (north > 40) & (north < 160)
    found = local_height(
        east, north, ground + wander, at_easting_m=east[own], at_northing_m=north[own],
        reach_m=20.0,
    )  # fmt: skip
    truth = ground[own] - ground[own].mean()
    own_error = np.std((ground + wander)[own] - ground[own])
    assert np.std(found - found.mean() - truth) < 0.6 * own_error


def test_a_line_at_one_place_is_refused():
    with pytest.raises(InputError, match="four readings"):
        LineGradient(np.zeros(5), np.zeros(5), np.zeros(5), np.ones(5))
