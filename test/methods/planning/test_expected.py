"""The expected anomaly against closed forms: place of high and low, width, strike in the field."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import Body, ambient_vector
from lodewalk.methods.planning.expected import (
    Curve,
    Source,
    expected_curve,
    expected_map,
    share_of_best_strike,
    strike_counts,
)

POLE = np.array([0.0, 0.0, 50000.0])
WEAK = 1e-4


def source(body, ambient=POLE, k=WEAK):
    return Source(body, np.asarray(ambient, dtype=float), k, np.zeros(3))


@pytest.mark.parametrize(
    ("body", "share"),
    [
        # full width at half maximum over depth: twice the half widths of the closed forms
        (Body(kind="sphere", depth_m=18.0, radius_m=1.0), 2 * 0.500683),
        (Body(kind="dyke", depth_m=18.0, width_m=0.1, length_m=1e4, depth_extent_m=1e5), 2.0),
        (Body(kind="pipe", depth_m=18.0, radius_m=0.1, depth_extent_m=1e5), 2 * 0.766421),
    ],
)
def test_width_at_the_pole(body, share):
    curve = expected_curve(source(body), azimuth_deg=90.0, sensor_height_m=2.0)
    # the level at the ends of the profile, 6 depths off, takes a part of the sheet's and pole's
    ends = {"sphere": 0.0, "dyke": 1 / 37, "pipe": 37**-1.5}[body.kind]
    wider = 2 * 20 * np.sqrt(2 / (1 + ends) - 1) if body.kind == "dyke" else 20 * share
    assert curve.width_m == pytest.approx(wider, abs=2.5)


@pytest.mark.parametrize("inclination", [30.0, 55.0, -55.0])
def test_high_lies_towards_the_equator_of_a_sphere(inclination):
    ambient = ambient_vector(strength_nT=40000.0, inclination_deg=inclination)
    body = Body(kind="sphere", depth_m=18.0, radius_m=4.0)
    found = expected_map(source(body, ambient), sensor_height_m=2.0)
    side = np.sign(inclination)  # in the north the high lies south of the body, in the south north
    assert side * found.high_at[1] < 0.0 < side * found.low_at[1]
    assert abs(found.high_at[0]) <= found.spacing_m
    assert np.abs(found.anomaly_nT).max() == found.anomaly_nT.max()


def test_at_the_equator_the_low_is_above_the_body():
    ambient = ambient_vector(strength_nT=30000.0, inclination_deg=0.0)
    body = Body(kind="sphere", depth_m=18.0, radius_m=4.0)
    found = expected_map(source(body, ambient), sensor_height_m=2.0)
    assert found.low_at == pytest.approx((0.0, 0.0), abs=1e-9)
    # -(1/3) k F (R/z)^3 above the centre, and half as much off along the field
    assert found.anomaly_nT.min() == pytest.approx(-WEAK * 30000 / 3 * 0.2**3, rel=1e-3)


def test_place_of_the_low_lies_between_nodes():
    # anomaly of a dipole in a field of 45 degrees, worked out on a fine profile of closed form:
    # (3 (t.r)^2 / r^2 - 1) / r^3 with t along the field
    y = np.linspace(-60.0, 60.0, 240001)
    across = (y - 20.0) / np.sqrt(2.0)  # t.r with the sensor 20 m above, field north and down
    curve = (3.0 * across**2 / (y**2 + 400.0) - 1.0) / (y**2 + 400.0) ** 1.5
    ambient = ambient_vector(strength_nT=40000.0, inclination_deg=45.0)
    body = Body(kind="sphere", depth_m=18.0, radius_m=1.0)
    found = expected_map(source(body, ambient), sensor_height_m=2.0)
    # to 2 % of the depth below the sensor
    assert found.high_at[1] == pytest.approx(y[np.argmax(curve)], abs=0.4)
    assert found.low_at[1] == pytest.approx(y[np.argmin(curve)], abs=0.4)


def test_a_body_against_the_field_turns_round():
    body = Body(kind="pipe")
    plain = expected_map(source(body), sensor_height_m=2.0)
    turned = Source(body, POLE, 0.0, np.array([0.0, 0.0, -0.01]))
    low = expected_map(turned, sensor_height_m=2.0).low_at
    assert low == pytest.approx(plain.high_at, abs=1e-9)


def test_curve_agrees_with_the_map():
    ambient = ambient_vector(strength_nT=40000.0, inclination_deg=40.0, declination_deg=10.0)
    known = source(Body(strike_deg=30.0, dip_deg=60.0, length_m=80.0), ambient)
    found = expected_map(known, sensor_height_m=2.0)
    curve = expected_curve(known, azimuth_deg=90.0, sensor_height_m=2.0)
    middle = found.anomaly_nT[found.anomaly_nT.shape[0] // 2]
    east = np.linspace(-found.half_side_m, found.half_side_m, middle.size)
    inside = np.abs(east) <= curve.distance_m.max()
    np.testing.assert_allclose(
        np.interp(east[inside], curve.distance_m, curve.anomaly_nT),
        middle[inside],
        atol=5e-3 * np.ptp(middle),
    )


def test_of_a_very_long_body_the_middle_is_shown():
    long = source(Body(length_m=1e5, strike_deg=35.0, width_m=10.0))
    found = expected_map(long, sensor_height_m=2.0)
    assert found.spacing_m < 0.5 * 12.0  # nodes closer than half the depth below the sensor
    curve = expected_curve(long, azimuth_deg=125.0, sensor_height_m=2.0)
    assert found.anomaly_nT.max() == pytest.approx(curve.anomaly_nT.max(), rel=0.02)


def test_a_dyke_along_a_level_field_shows_little_of_itself():
    ambient = ambient_vector(strength_nT=30000.0, inclination_deg=5.0)
    share, best = share_of_best_strike(
        source(Body(strike_deg=0.0, length_m=1000.0), ambient), sensor_height_m=2.0
    )
    # c = sin^2 I + (cos I cos b)^2: across the field 1, along it sin^2(5) = 0.0076
    assert share == pytest.approx(np.sin(np.radians(5.0)) ** 2, rel=0.3)
    assert best == 90.0
    across, _ = share_of_best_strike(
        source(Body(strike_deg=90.0, length_m=1000.0), ambient), sensor_height_m=2.0
    )
    assert across == 1.0


def test_at_the_pole_every_strike_shows_the_same():
    share, _ = share_of_best_strike(source(Body(strike_deg=20.0)), sensor_height_m=2.0)
    assert share == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("body", "counts"),
    [
        (Body(kind="sphere"), False),
        (Body(kind="pipe"), False),
        (Body(kind="contact", length_m=1.0), True),
        (Body(kind="prism", width_m=10.0, length_m=12.0), False),
        (Body(kind="prism", width_m=10.0, length_m=60.0), True),
    ],
)
def test_strike_counts_for_long_bodies(body, counts):
    assert strike_counts(body) is counts


def test_a_flat_curve_has_no_width():
    assert Curve(0.0, np.arange(5.0), np.zeros(5)).width_m == 0.0


def test_width_of_a_low():
    x = np.linspace(-100.0, 100.0, 2001)
    curve = Curve(0.0, x, 3.0 - np.exp(-0.5 * (x / 10.0) ** 2))
    assert curve.width_m == pytest.approx(2.3548 * 10.0, abs=0.25)


def test_sensor_below_ground():
    with pytest.raises(InputError, match="Height of the sensor"):
        expected_curve(source(Body()), azimuth_deg=0.0, sensor_height_m=-1.0)
