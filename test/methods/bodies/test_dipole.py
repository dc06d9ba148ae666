"""Dipole, sphere and total-field anomaly against closed forms and published points."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import (
    ambient_vector,
    dipole_field,
    exact_anomaly,
    induced_magnetisation,
    projected_anomaly,
    sphere_moment,
)

PUBLISHED = Path(__file__).parents[2] / "published"


def rows(name):
    with (PUBLISHED / name).open(newline="") as stream:
        return list(csv.DictReader(stream))


CLOSED = {row["id"]: row for row in rows("closed_form_checks.csv")}
POINTS = [
    {key: float(value) for key, value in row.items()} for row in rows("dipole_point_checks.csv")
]


def sphere_anomaly(inclination, k, *, radius=10.0, depth=20.0, north=0.0):
    ambient = ambient_vector(strength_nT=50000.0, inclination_deg=inclination)
    moment = sphere_moment(ambient, radius_m=radius, susceptibility=k)
    field = dipole_field(0.0, north, depth, centre=[0, 0, 0], moment=moment)
    return float(projected_anomaly(field, ambient_nT=ambient))


@pytest.mark.parametrize("point", POINTS)
def test_published_points(point):
    ambient = ambient_vector(
        strength_nT=point["F_nT"],
        inclination_deg=point["incl_deg"],
        declination_deg=point["decl_deg"],
    )
    field = dipole_field(
        point["east_m"],
        point["north_m"],
        point["depth_below_sensor_m"],
        centre=[0.0, 0.0, 0.0],
        moment=point["moment_A_m2"] * ambient / point["F_nT"],
    )
    parts = [point["Bn_nT"], point["Be_nT"], point["Bdown_nT"]]
    np.testing.assert_allclose(np.array(field), parts, atol=1e-5)
    projected = projected_anomaly(field, ambient_nT=ambient)
    assert projected == pytest.approx(point["dT_projected_nT"], abs=1e-5)
    assert exact_anomaly(field, ambient_nT=ambient) == pytest.approx(point["dT_exact_nT"], abs=1e-5)


@pytest.mark.parametrize(("name", "inclination", "k"), [("A1", 90, 0.01), ("A3", 0, 0.01)])
def test_sphere_at_low_susceptibility(name, inclination, k):
    # the table leaves demagnetisation out; 1 + k/3 puts it back
    expected = float(CLOSED[name]["value"]) / (1.0 + k / 3.0)
    assert sphere_anomaly(inclination, k) == pytest.approx(expected, rel=1e-6)


def test_sphere_with_demagnetisation():
    assert sphere_anomaly(90, 0.5) == pytest.approx(float(CLOSED["A2"]["value"]), rel=1e-6)


def test_half_width_of_a_sphere_at_the_pole():
    half = float(CLOSED["HW1"]["value"]) * 20.0
    share = sphere_anomaly(90, 0.01, north=half) / sphere_anomaly(90, 0.01)
    assert share == pytest.approx(0.5, abs=2e-4)


def test_dipole_constant():
    axial = dipole_field(0.0, 0.0, 1.0, centre=[0, 0, 0], moment=[0, 0, 1])[2]
    assert axial == pytest.approx(2.0 * float(CLOSED["A9"]["value"]), rel=1e-6)
    equatorial = dipole_field(1.0, 0.0, 0.0, centre=[0, 0, 0], moment=[0, 0, 1])[2]
    assert equatorial == pytest.approx(-float(CLOSED["A9"]["value"]), rel=1e-6)


def test_all_lengths_scaled_leave_a_sphere_unchanged():
    once = sphere_anomaly(-39, 0.02, north=7.0)
    assert sphere_anomaly(-39, 0.02, radius=30, depth=60, north=21.0) == pytest.approx(once)


def test_exact_anomaly_is_the_difference_of_lengths():
    field = (np.array([3000.0, -10.0]), np.array([-400.0, 0.0]), np.array([2500.0, 1e-3]))
    ambient = np.array([15000.0, -5000.0, -16000.0])
    summed = np.array([[18000.0, -5400.0, -13500.0], [14990.0, -5000.0, -15999.999]])
    expected = np.linalg.norm(summed, axis=1) - np.linalg.norm(ambient)
    np.testing.assert_allclose(exact_anomaly(field, ambient_nT=ambient), expected, rtol=1e-9)
    many = tuple(np.full(2, part) for part in ambient)
    np.testing.assert_allclose(exact_anomaly(field, ambient_nT=many), expected, rtol=1e-9)


def test_ambient_vector_points_east_for_a_declination_of_90():
    vector = ambient_vector(strength_nT=2.0, inclination_deg=-30.0, declination_deg=90.0)
    np.testing.assert_allclose(vector, [0.0, np.sqrt(3.0), -1.0], atol=1e-12)


def test_field_at_the_dipole_is_missing():
    assert np.isnan(dipole_field(0.0, 0.0, 0.0, centre=[0, 0, 0], moment=[0, 0, 1])[2])


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: ambient_vector(strength_nT=0.0, inclination_deg=0.0), "above zero"),
        (lambda: ambient_vector(strength_nT=1.0, inclination_deg=91.0), "Inclination"),
        (lambda: induced_magnetisation([0, 0, 1], susceptibility=-1.0), "above -1 SI"),
        (
            lambda: induced_magnetisation([0, 0, 1], susceptibility=0.1, demagnetisation=1.1),
            "Demagnetisation",
        ),
        (lambda: sphere_moment([0, 0, 1], radius_m=0.0, susceptibility=0.1), "Radius"),
    ],
)
def test_wrong_arguments(call, text):
    with pytest.raises(InputError, match=text):
        call()
