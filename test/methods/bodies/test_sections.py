"""Polygons of finite strike against dyke, prism and the endless polygon."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.methods.bodies import (
    ambient_vector,
    finite_polygon_field,
    induced_magnetisation,
    polygon_field,
    prisms_field,
    projected_anomaly,
)

PUBLISHED = Path(__file__).parents[2] / "published"
#: Concave on purpose.
SECTION = np.array([[-22.0, 9.0], [14.0, 12.0], [25.0, 70.0], [-4.0, 40.0], [-19.0, 55.0]])


def dykes():
    with (PUBLISHED / "dyke_point_checks.csv").open(newline="") as stream:
        return [{key: float(v) for key, v in row.items()} for row in csv.DictReader(stream)]


@pytest.mark.parametrize("row", dykes()[::3])
def test_deep_and_long_it_is_the_published_dyke(row):
    depth, half, bottom = row["depth_to_top_m"], row["half_width_m"], 1e10
    shift = (bottom - depth) / np.tan(np.radians(row["dip_from_positive_x_deg"]))
    corners = [[-half, depth], [half, depth], [half + shift, bottom], [shift - half, bottom]]
    # the frame: north along the profile, east along the strike
    ambient = ambient_vector(
        strength_nT=row["F_nT"], inclination_deg=row["incl_deg"],
        declination_deg=-row["profile_azimuth_from_magnetic_north_deg"],
    )  # fmt: skip
    own = induced_magnetisation(ambient, susceptibility=row["k_SI"])
    field = finite_polygon_field(
        row["x_m"], 0.0, 0.0, corners=corners, ends=(-1e12, 1e12), magnetisation=own
    )
    expected = pytest.approx(row["dT_nT"], abs=1e-5)
    assert float(projected_anomaly(field, ambient_nT=ambient)) == expected


@pytest.mark.parametrize(("x", "nT"), [(0.0, 147.5836), (20.0, 77.7509), (50.0, -9.5989)])
def test_published_dyke_of_finite_depth(x, nT):
    corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    own = induced_magnetisation([0.0, 0.0, 50_000.0], susceptibility=0.01)
    down = finite_polygon_field(x, 0.0, 0.0, corners=corners, ends=(-1e6, 1e6), magnetisation=own)[
        2
    ]
    # the published figures have four decimals
    assert float(down) == pytest.approx(nT, abs=6e-5)


def test_a_rectangle_is_the_prism():
    rng = np.random.default_rng(3)
    north, east = rng.uniform(-60.0, 60.0, (2, 40))
    own = [0.3, -1.1, 0.8]
    corners = [[-20.0, 10.0], [-20.0, 45.0], [12.0, 45.0], [12.0, 10.0]]
    field = finite_polygon_field(
        north, east, 0.0, corners=corners, ends=(-9.0, 31.0), magnetisation=own
    )
    prism = prisms_field(
        east, north, 0.0, bounds=[[-9.0, 31.0, -20.0, 12.0, -45.0, -10.0]], magnetisation=own
    )
    np.testing.assert_allclose(np.array(field), np.array(prism), atol=1e-9)


def test_far_ends_are_the_endless_polygon():
    x = np.linspace(-80.0, 80.0, 9)
    along, strike, down = finite_polygon_field(
        x, 5.0, 1.0, corners=SECTION, ends=(-1e6, 1e6), magnetisation=[0.7, 0.0, 1.3]
    )
    expected = polygon_field(
        x, 1.0, corners=SECTION, magnetisation_along=0.7, magnetisation_down=1.3
    )
    largest = np.abs(expected).max()
    np.testing.assert_allclose([along, down], np.array(expected), atol=1e-7 * largest)
    np.testing.assert_allclose(strike, 0.0, atol=1e-7 * largest)


def test_two_halves_are_the_whole():
    x, offset = np.linspace(-80.0, 80.0, 9), 4.0
    parts = [
        finite_polygon_field(x, offset, 0.0, corners=SECTION, ends=ends, magnetisation=[1, 2, 3])
        for ends in ((-30.0, 11.0), (11.0, 40.0), (-30.0, 40.0))
    ]
    np.testing.assert_allclose(np.add(parts[0], parts[1]), np.array(parts[2]), atol=1e-9)
