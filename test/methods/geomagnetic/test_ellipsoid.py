"""Geodetic to geocentric positions against worked examples."""

import numpy as np
import pytest

from lodewalk.methods.geomagnetic import geodetic_to_geocentric
from lodewalk.methods.geomagnetic.ellipsoid import geocentric_direction


def test_worked_example_of_the_world_magnetic_model():
    """World Magnetic Model report, worked example: lat -80, h 100 km."""
    latitude, radius = geodetic_to_geocentric(-80.0, 100e3)
    assert radius == pytest.approx(6_457_402.348447, abs=1e-6)
    assert np.radians(latitude) == pytest.approx(-1.395128958887, abs=1e-12)
    assert latitude == pytest.approx(-79.93500122, abs=1e-8)


def test_worked_example_of_guidance_note_7_2():
    """EPSG Guidance Note 7-2, method 9602: 53 48 33.82 N, 2 07 46.38 E, 73.0 m."""
    x, y, z = 3_771_793.97, 140_253.34, 5_124_304.35
    latitude, radius = geodetic_to_geocentric(53 + 48 / 60 + 33.82 / 3600, 73.0)
    assert radius == pytest.approx(np.sqrt(x * x + y * y + z * z), abs=0.01)
    away = np.radians(latitude - np.degrees(np.arctan2(z, np.hypot(x, y)))) * radius
    assert abs(away) < 0.2  # [m]; seconds of arc are given to 0.01, 0.3 m


def test_axes_of_the_ellipsoid():
    """WGS84 (EPSG:7030): a 6378137 m, b 6356752.314245 m; poles and equator stay where they are."""
    latitude, radius = geodetic_to_geocentric([0.0, 90.0, -90.0], [0.0, 0.0, 1000.0])
    assert latitude == pytest.approx([0.0, 90.0, -90.0], abs=1e-12)
    assert radius == pytest.approx([6_378_137.0, 6_356_752.314245, 6_357_752.314245], abs=1e-6)


def test_largest_difference_of_the_two_latitudes():
    """On the ellipsoid it is asin[(a^2 - b^2) / (a^2 + b^2)], where tan(geodetic) = a / b."""
    a, b = 6_378_137.0, 6_356_752.314245
    geodetic = np.linspace(0.0, 90.0, 9001)
    latitude, _ = geodetic_to_geocentric(geodetic, 0.0)
    difference = geodetic - latitude
    assert difference.max() == pytest.approx(
        np.degrees(np.arcsin((a * a - b * b) / (a * a + b * b))), abs=1e-7
    )
    assert geodetic[difference.argmax()] == pytest.approx(np.degrees(np.arctan(a / b)), abs=0.01)


def test_sine_and_cosine_belong_together():
    latitude = np.radians(np.linspace(-90, 90, 19))
    place = geocentric_direction(np.sin(latitude), np.cos(latitude), np.full(19, 500.0))
    assert place.sine**2 + place.cosine**2 == pytest.approx(np.ones(19), abs=1e-15)
