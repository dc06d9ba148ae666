"""IGRF-14 fields against published tables and an independent implementation."""

import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import (
    direction_change,
    field_elements,
    igrf_change,
    igrf_coefficients,
    igrf_field,
    synthesise_geocentric,
    total_field,
    total_field_change,
)

PUBLISHED = Path(__file__).parents[2] / "published"


def published(name):
    return np.genfromtxt(PUBLISHED / name, delimiter=",", names=True)


def geocentric_field(row, colatitude, longitude="elon_deg"):
    return synthesise_geocentric(
        igrf_coefficients(row["year"]),
        90.0 - row[colatitude],
        row[longitude],
        1000.0 * row["radius_km"],
    )


def test_test_file_of_the_british_geological_survey():
    """Twelve points, 1900 to 2030; BGS test file for IGRF-14, printed to 0.01 nT."""
    table = published("igrf14_test_values_bgs_geocentric.csv")
    assert len(table) == 12
    for row in table:
        expected = [row["X_nT"], row["Y_nT"], row["Z_nT"]]
        np.testing.assert_allclose(geocentric_field(row, "colat_deg"), expected, atol=0.02, rtol=0)


def test_geocentric_table_of_the_original_program():
    """99 points made with the program igrf14syn."""
    table = published("igrf14_test_values_geocentric.csv")
    assert len(table) == 99
    for row in table:
        field = geocentric_field(row, "colat_geocentric_deg")
        found = [*field, field_elements(*field).total_nT]
        expected = [row[key] for key in ("X_nT", "Y_nT", "Z_nT", "F_nT")]
        np.testing.assert_allclose(found, expected, atol=0.02, rtol=0)


def test_geodetic_table_of_the_original_program():
    """99 points made with the program igrf14syn; all at once, each with its own epoch.

    Heights are printed to 0.01 km: half of that is worth 0.12 nT.
    """
    table = published("igrf14_test_values_geodetic.csv")
    assert len(table) == 99
    latitude, height = 90.0 - table["colat_geodetic_deg"], 1000.0 * table["height_km"]
    place = (latitude, table["elon_deg"], height)
    found = igrf_field(*place, decimal_year=table["year"])
    expected = [table["X_nT"], table["Y_nT"], table["Z_nT"]]
    np.testing.assert_allclose(found, expected, atol=0.12, rtol=0)
    total = total_field(*place, decimal_year=table["year"])
    np.testing.assert_allclose(total, table["F_nT"], atol=0.12, rtol=0)


def oracle_dates(count, rng):
    """Dates, and the epochs that give the same blend of five-yearly sets.

    ppigrf blends by days over each five years, the model by decimal year. The two differ by up to
    the change in 0.6 day, 0.3 nT, which says nothing about the sum over harmonics.
    """
    for _ in range(count):
        start = int(rng.choice(np.arange(1900, 2030, 5)))
        days = (datetime(start + 5, 1, 1) - datetime(start, 1, 1)).days
        day = int(rng.integers(0, days + 1))
        yield datetime(start, 1, 1) + timedelta(days=day), start + 5 * day / days


def test_independent_implementation():
    """ppigrf 2.1 at 500 points and 25 dates, with the poles and the date line among them."""
    ppigrf = pytest.importorskip("ppigrf")
    rng = np.random.default_rng(20250101)
    for date, epoch in oracle_dates(25, rng):
        latitude = np.degrees(np.arcsin(rng.uniform(-1, 1, 20)))
        longitude = rng.uniform(-360, 360, 20)
        height = rng.uniform(-500, 600e3, 20)
        latitude[:4], longitude[4:8] = [90, -90, 89.99, -89.99], [180, -180, 179.9999, 540]
        # It divides by the sine of the colatitude: at a pole it is asked 0.1 m away.
        asked = np.clip(latitude, -89.999_999, 89.999_999)
        east, north, up = ppigrf.igrf(longitude, asked, height / 1000, date)
        found = igrf_field(latitude, longitude, height, decimal_year=epoch)
        np.testing.assert_allclose(found, [north[0], east[0], -up[0]], atol=0.01, rtol=0)


def test_epoch_of_each_point_gives_the_field_of_its_epoch():
    epochs = np.array([[1900.0, 1912.34], [1999.9, 2025.0], [2030.0, 2027.1]])
    latitude, longitude = np.array([10.0, -75.0]), 200.0
    found = np.array(igrf_field(latitude, longitude, 300.0, decimal_year=epochs))
    assert found.shape == (3, 3, 2)
    for i, j in np.ndindex(epochs.shape):
        alone = igrf_field(latitude[j], longitude, 300.0, decimal_year=epochs[i, j])
        np.testing.assert_allclose(found[:, i, j], alone, atol=1e-8)


def test_missing_epochs_give_missing_fields():
    found = igrf_field(10.0, 20.0, 0.0, decimal_year=[2025.0, np.nan])
    np.testing.assert_array_equal(np.isnan(found), [[False, True]] * 3)
    assert np.isnan(igrf_field(10.0, 20.0, 0.0, decimal_year=[np.nan])).all()


def test_change_is_the_difference_over_a_year():
    place = (np.array([-60.0, 0.0, 75.0]), np.array([10.0, 120.0, -70.0]), 500.0)
    early, late = (np.array(igrf_field(*place, decimal_year=y)) for y in (2026.0, 2027.0))
    np.testing.assert_allclose(igrf_change(*place, decimal_year=2026.5), late - early, atol=1e-7)


def test_change_of_the_total_field():
    assert total_field_change((300.0, 0.0, 400.0), (10.0, 77.0, 5.0)) == pytest.approx(10.0)
    assert np.isnan(total_field_change((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)))


@pytest.mark.parametrize(
    ("vector", "declination", "inclination", "horizontal", "total"),
    [
        ((3.0, 0.0, 4.0), 0.0, 53.130102354, 3.0, 5.0),
        ((0.0, -1.0, 0.0), -90.0, 0.0, 1.0, 1.0),
        ((-1.0, 1.0, -np.sqrt(2.0)), 135.0, -45.0, np.sqrt(2.0), 2.0),
        ((0.0, 0.0, -7.0), 0.0, -90.0, 0.0, 7.0),
    ],
)
def test_elements(vector, declination, inclination, horizontal, total):
    found = field_elements(*vector)
    assert found.declination_deg == pytest.approx(declination)
    assert found.inclination_deg == pytest.approx(inclination)
    assert found.horizontal_nT == pytest.approx(horizontal)
    assert found.total_nT == pytest.approx(total)


@pytest.mark.parametrize("epoch", [1899.9, 2030.1, [2025.0, 2031.0]])
def test_epochs_that_are_refused(epoch):
    with pytest.raises(InputError, match=r"decimal_year must lie in 1900 to 2030 \(IGRF-14\)"):
        igrf_field(0.0, 0.0, 0.0, decimal_year=epoch)


def test_shapes_that_are_refused():
    with pytest.raises(InputError, match=r"decimal_year must have shapes.*\(3,\), \(2,\)"):
        igrf_field(0.0, 0.0, np.zeros(3), decimal_year=[2025.0, 2026.0])


def test_import_does_not_load_the_compiler():
    code = (
        "import sys, lodewalk.methods.geomagnetic as room; room.decimal_year(0.0);"
        "sys.exit(any(name in sys.modules for name in ('numba', 'scipy', 'polars')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_change_of_direction_by_the_table_of_another_model():
    """WMM2025 report table: rates of I and D beside the vector and its rates."""
    table = published("wmm2025_test_values.csv")
    field = [table[key] for key in ("X_nT", "Y_nT", "Z_nT")]
    change = [table[key] for key in ("Xdot", "Ydot", "Zdot")]
    declination, inclination = direction_change(field, change)
    # Rates are printed to 0.1 nT and 0.01 degrees a year.
    np.testing.assert_allclose(declination, table["Ddot_deg_yr"], atol=0.007)
    np.testing.assert_allclose(inclination, table["Idot_deg_yr"], atol=0.006)


def test_change_of_direction_where_the_field_is_vertical():
    declination, inclination = direction_change((0.0, 0.0, 50_000.0), (10.0, 0.0, 0.0))
    assert np.isnan(declination)
    assert np.isnan(inclination)
