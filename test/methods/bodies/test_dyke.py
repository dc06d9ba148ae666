"""The two-dimensional dyke against published points, closed forms and identities."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    dyke_anomaly,
    dyke_field,
    dyke_index,
    index_dyke_anomaly,
    profile_distance,
)

PUBLISHED = Path(__file__).parents[2] / "published"
POLE = {
    "dip_deg": 90.0,
    "susceptibility": 0.01,
    "strength_nT": 50000.0,
    "inclination_deg": 90.0,
    "profile_azimuth_deg": 0.0,
}
SOUTH = {
    "dip_deg": 65.0,
    "susceptibility": 0.02,
    "strength_nT": 23000.0,
    "inclination_deg": -38.0,
    "profile_azimuth_deg": 55.0,
}


def rows(name):
    with (PUBLISHED / name).open(newline="") as stream:
        return list(csv.DictReader(stream))


CLOSED = {row["id"]: float(row["value"]) for row in rows("closed_form_checks.csv")}
POINTS = [
    {key: float(value) for key, value in row.items()} for row in rows("dyke_point_checks.csv")
]
PETERS = {name: value for name, value in CLOSED.items() if name.startswith("P_")}


@pytest.mark.parametrize("point", POINTS)
def test_published_points(point):
    anomaly = dyke_anomaly(
        point["x_m"],
        depth_m=point["depth_to_top_m"],
        half_width_m=point["half_width_m"],
        dip_deg=point["dip_from_positive_x_deg"],
        susceptibility=point["k_SI"],
        strength_nT=point["F_nT"],
        inclination_deg=point["incl_deg"],
        profile_azimuth_deg=point["profile_azimuth_from_magnetic_north_deg"],
    )
    assert anomaly == pytest.approx(point["dT_nT"], abs=1e-5)


def test_thin_sheet_peak():
    # half of 2 m against a depth of 10 m is thin to (b/h)^2/3 = 0.3 %; 2 mm is thin to 1e-7
    thin = dyke_anomaly(0.0, depth_m=10.0, half_width_m=0.001, **POLE)
    assert float(thin) * 1000.0 == pytest.approx(CLOSED["A5"], rel=1e-6)


def test_thick_dyke_peak():
    thick = dyke_anomaly(0.0, depth_m=10.0, half_width_m=20.0, **POLE)
    assert thick == pytest.approx(CLOSED["A6"], rel=1e-6)


def test_contact_step_and_steepest_gradient():
    wide = {"depth_m": 10.0, "half_width_m": 1e7, **POLE}
    low, high = dyke_anomaly([-1.001e7 - 1e6, -9e6], **wide)
    # far from the edge, but not so far that the other edge is felt: 1e-5 of the step remain
    assert high - low == pytest.approx(CLOSED["A7"], rel=1e-4)
    near = dyke_anomaly([-1e7 - 0.01, -1e7 + 0.01], **wide)
    assert np.diff(near)[0] / 0.02 == pytest.approx(CLOSED["A8"], rel=1e-5)


@pytest.mark.parametrize(
    ("distance", "expected"), [(0.0, 147.5836), (20.0, 77.7509), (50.0, -9.5989)]
)
def test_dyke_with_a_bottom(distance, expected):
    # (k F / 2 pi) times the difference of the angles of top and bottom, worked out by hand
    got = dyke_anomaly(distance, depth_m=10.0, bottom_depth_m=110.0, half_width_m=20.0, **POLE)
    assert got == pytest.approx(expected, abs=6e-5)


def test_half_width_of_a_thin_sheet():
    x = np.array([0.0, CLOSED["HW4"] * 10.0])
    peak, side = dyke_anomaly(x, depth_m=10.0, half_width_m=0.001, **POLE)
    assert side / peak == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize(("name", "factor"), PETERS.items())
def test_half_slope_distance(name, factor):
    half = float(name[2:])
    x = half + np.linspace(-half, 6.0, 60001)
    curve = dyke_anomaly(x, depth_m=1.0, half_width_m=half, **POLE)
    slope = -np.gradient(curve, x)
    steep = slope >= 0.5 * slope.max()
    assert np.ptp(x[steep]) == pytest.approx(factor, abs=0.005)


def test_index_form_equals_the_full_form():
    x = np.linspace(-90.0, 120.0, 37)
    amplitude, index = dyke_index(**SOUTH)
    full = dyke_anomaly(x, depth_m=12.0, half_width_m=7.0, **SOUTH)
    short = index_dyke_anomaly(
        x, depth_m=12.0, half_width_m=7.0, amplitude_nT=amplitude, index_angle_deg=index
    )
    np.testing.assert_allclose(short, full, atol=1e-10)


@pytest.mark.parametrize(
    ("dip", "inclination"), [(30.0, -60.0), (90.0, 0.0), (150.0, -60.0), (150.0, 80.0)]
)
def test_index_angle_stays_in_one_turn(dip, inclination):
    settings = {**SOUTH, "dip_deg": dip, "inclination_deg": inclination}
    assert -180.0 <= dyke_index(**settings)[1] < 180.0


@pytest.mark.parametrize("azimuth", [0.0, 55.0, 170.0])
def test_vector_field_projects_to_the_anomaly(azimuth):
    x = np.linspace(-80.0, 80.0, 41)
    settings = {**SOUTH, "profile_azimuth_deg": azimuth}
    shape = {"depth_m": 9.0, "half_width_m": 4.0, "bottom_depth_m": 60.0}
    inclination, turn = np.radians(-38.0), np.radians(azimuth)
    toward = np.cos(inclination) * np.cos(turn)
    induced = 0.02 * 23000e-9 / 1.25663706127e-6
    along, down = dyke_field(
        x,
        dip_deg=65.0,
        magnetisation_along=induced * toward,
        magnetisation_down=induced * np.sin(inclination),
        **shape,
    )
    expected = dyke_anomaly(x, **shape, **settings)
    np.testing.assert_allclose(along * toward + down * np.sin(inclination), expected, atol=1e-9)


def test_reversed_profile_over_a_vertical_dyke_at_the_pole():
    x = np.linspace(-50.0, 50.0, 21)
    curve = dyke_anomaly(x, depth_m=10.0, half_width_m=6.0, **POLE)
    np.testing.assert_allclose(curve, curve[::-1], rtol=1e-14)


def test_walking_the_profile_the_other_way_mirrors_the_curve():
    x = np.linspace(-80.0, 80.0, 41)
    shape = {"depth_m": 9.0, "half_width_m": 4.0, "bottom_depth_m": 200.0}
    back = {**SOUTH, "dip_deg": 115.0, "profile_azimuth_deg": 55.0 + 180.0}
    np.testing.assert_allclose(
        dyke_anomaly(-x, **shape, **back), dyke_anomaly(x, **shape, **SOUTH), atol=1e-10
    )


def test_all_lengths_scaled_leave_a_dyke_unchanged():
    x = np.linspace(-50.0, 50.0, 21)
    once = dyke_anomaly(x, depth_m=10.0, half_width_m=6.0, **SOUTH)
    thrice = dyke_anomaly(3.0 * x, depth_m=30.0, half_width_m=18.0, **SOUTH)
    np.testing.assert_allclose(thrice, once, rtol=1e-12)


def test_side_by_side_dykes_make_one():
    x = np.linspace(-50.0, 50.0, 21)
    shape = {"depth_m": 10.0, "bottom_depth_m": 40.0}
    whole = dyke_anomaly(x, half_width_m=8.0, **shape, **SOUTH)
    left = dyke_anomaly(x + 5.0, half_width_m=3.0, **shape, **SOUTH)
    right = dyke_anomaly(x - 3.0, half_width_m=5.0, **shape, **SOUTH)
    np.testing.assert_allclose(left + right, whole, atol=1e-10)


def test_an_endless_slab_has_no_anomaly():
    # what is left is the far edges: k F (thickness / half width), here 1e-4 nT
    slab = dyke_anomaly(0.0, depth_m=10.0, bottom_depth_m=110.0, half_width_m=1e9, **SOUTH)
    assert abs(float(slab)) < 1e-4


def test_narrow_strips_keep_their_digits():
    # to first order in the half width b: angle 2 b h / (x^2 + h^2), log -2 b x / (x^2 + h^2)
    amplitude, index = dyke_index(**SOUTH)
    turn, b, h, x = np.radians(index), 1e-9, 10.0, 25.0
    expected = 2.0 * b * amplitude * (h * np.cos(turn) + x * np.sin(turn)) / (x**2 + h**2)
    got = dyke_anomaly(x, depth_m=h, half_width_m=b, **SOUTH)
    assert got == pytest.approx(expected, rel=1e-12)


def test_distance_is_positive_to_the_right_of_the_strike():
    # a strike of 130 degrees has south-west (220) at its right hand
    right = 50.0 * np.array([np.sin(np.radians(220.0)), np.cos(np.radians(220.0))])
    ahead = 30.0 * np.array([np.sin(np.radians(130.0)), np.cos(np.radians(130.0))])
    point = [1000.0, 2000.0]
    east, north = point + right + ahead
    assert profile_distance(east, north, point=point, strike_deg=130.0) == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"depth_m": 0.0}, "Depth of the top"),
        ({"half_width_m": -1.0}, "Half width"),
        ({"dip_deg": 180.0}, "Dip must be above 0 and below 180"),
        ({"bottom_depth_m": 10.0}, "bottom of a dyke must lie below"),
        ({"strength_nT": 0.0}, "Strength"),
        ({"inclination_deg": -91.0}, "Inclination"),
    ],
)
def test_wrong_arguments(change, text):
    settings = {"depth_m": 10.0, "half_width_m": 1.0, **POLE, **change}
    with pytest.raises(InputError, match=text):
        dyke_anomaly(0.0, **settings)
