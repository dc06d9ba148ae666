"""Cylinder and polygonal section against closed forms, the dyke and a line of dipoles."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    cylinder_anomaly,
    dipole_field,
    dyke_field,
    polygon_field,
    projected_anomaly,
)

PUBLISHED = Path(__file__).parents[2] / "published"
POLE = {
    "susceptibility": 0.01,
    "strength_nT": 50000.0,
    "inclination_deg": 90.0,
    "profile_azimuth_deg": 0.0,
}
X = np.linspace(-80.0, 80.0, 41)

with (PUBLISHED / "closed_form_checks.csv").open(newline="") as stream:
    CLOSED = {row["id"]: float(row["value"]) for row in csv.DictReader(stream)}


def test_peak_at_the_pole():
    peak = cylinder_anomaly(0.0, depth_m=20.0, radius_m=10.0, **POLE)
    assert peak == pytest.approx(CLOSED["A4"], rel=1e-6)


def test_half_width_at_the_pole():
    x = np.array([0.0, CLOSED["HW2"] * 20.0])
    peak, side = cylinder_anomaly(x, depth_m=20.0, radius_m=10.0, **POLE)
    assert side / peak == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize(("inclination", "azimuth"), [(-60.0, 20.0), (0.0, 70.0), (35.0, 200.0)])
def test_cylinder_is_a_line_of_dipoles(inclination, azimuth):
    # dipoles along the strike, 1 m apart for 40 km; the profile runs towards `azimuth`
    ambient = ambient_vector(strength_nT=23000.0, inclination_deg=inclination)
    turn = np.radians(azimuth)
    moment = np.pi * 16.0 * 0.02 * ambient * 1e-9 / 1.25663706127e-6
    along = np.arange(-20000.0, 20000.5, 1.0)[:, None]
    field = dipole_field(
        X * np.sin(turn) + along * np.cos(turn),
        X * np.cos(turn) - along * np.sin(turn),
        12.0,
        centre=[0.0, 0.0, 0.0],
        moment=moment,
    )
    expected = projected_anomaly(field, ambient_nT=ambient).sum(axis=0)
    got = cylinder_anomaly(
        X,
        depth_m=12.0,
        radius_m=4.0,
        susceptibility=0.02,
        strength_nT=23000.0,
        inclination_deg=inclination,
        profile_azimuth_deg=azimuth,
    )
    # the ends are poles of pi R^2 M, worth 2 * 100 nT * 18 A m / (20 km)^2 at most
    np.testing.assert_allclose(got, expected, atol=1e-5)


def test_demagnetised_cylinder():
    weak = cylinder_anomaly(X, depth_m=20.0, radius_m=10.0, **POLE)
    strong = cylinder_anomaly(
        X, depth_m=20.0, radius_m=10.0, demagnetisation=0.5, **{**POLE, "susceptibility": 2.0}
    )
    np.testing.assert_allclose(strong, 100.0 * weak)  # k / (1 + k / 2) is 1


@pytest.mark.parametrize("dip", [35.0, 90.0, 130.0])
@pytest.mark.parametrize("turned", [False, True])
def test_polygon_equals_the_dyke(dip, turned):
    shift = 60.0 / np.tan(np.radians(dip))
    corners = [[-7.0, 10.0], [7.0, 10.0], [7.0 + shift, 70.0], [-7.0 + shift, 70.0]]
    magnetisation = {"magnetisation_along": 0.3, "magnetisation_down": -0.2}
    got = polygon_field(X, 0.0, corners=corners[::-1] if turned else corners, **magnetisation)
    expected = dyke_field(
        X, depth_m=10.0, bottom_depth_m=70.0, half_width_m=7.0, dip_deg=dip, **magnetisation
    )
    np.testing.assert_allclose(np.array(got), np.array(expected), atol=1e-9)


@pytest.mark.parametrize(
    ("distance", "expected"), [(0.0, 147.5836), (20.0, 77.7509), (50.0, -9.5989)]
)
def test_polygon_equals_the_worked_values(distance, expected):
    corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    induced = 0.01 * 50000e-9 / 1.25663706127e-6
    down = polygon_field(
        distance, 0.0, corners=corners, magnetisation_along=0.0, magnetisation_down=induced
    )[1]
    assert down == pytest.approx(expected, abs=6e-5)


def test_polygon_with_many_sides_is_a_cylinder():
    turn = 2.0 * np.pi / 90
    radius = 4.0 * np.sqrt(turn / np.sin(turn))
    angles = turn * np.arange(90)
    corners = np.column_stack([radius * np.sin(angles), 12.0 + radius * np.cos(angles)])
    induced = 0.01 * 50000e-9 / 1.25663706127e-6
    down = polygon_field(
        X, 0.0, corners=corners, magnetisation_along=0.0, magnetisation_down=induced
    )[1]
    expected = cylinder_anomaly(X, depth_m=12.0, radius_m=4.0, **POLE)
    np.testing.assert_allclose(down, expected, atol=1e-6 * expected.max())


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: cylinder_anomaly(0.0, depth_m=9.0, radius_m=0.0, **POLE), "Radius"),
        (lambda: cylinder_anomaly(0.0, depth_m=9.0, radius_m=9.0, **POLE), "deeper"),
        (
            lambda: polygon_field(
                0.0,
                0.0,
                corners=[[0.0, 1.0], [1.0, 1.0], [2.0, 1.0]],
                magnetisation_along=0.0,
                magnetisation_down=1.0,
            ),
            "area",
        ),
    ],
)
def test_wrong_arguments(call, text):
    with pytest.raises(InputError, match=text):
        call()
