"""The spherical-harmonic sum: physical identities and the World Magnetic Model."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import (
    GaussCoefficients,
    field_elements,
    geodetic_to_geocentric,
    igrf_coefficients,
    synthesise,
    synthesise_geocentric,
    total_field_change,
)

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE_RADIUS_M = 6371.2e3


def random_coefficients(degree, seed=5):
    rng = np.random.default_rng(seed)
    g, h = (np.tril(rng.normal(scale=1000.0, size=(degree + 1, degree + 1))) for _ in "gh")
    g[0] = h[0] = h[:, 0] = 0.0
    return GaussCoefficients(g, h)


def random_places(count, seed=7):
    rng = np.random.default_rng(seed)
    latitude = np.degrees(np.arcsin(rng.uniform(-1, 1, count)))
    return latitude, rng.uniform(-180, 180, count), rng.uniform(-500, 9000, count)


def frame(latitude_deg, longitude_deg):
    """Unit vectors north, east and down in Cartesian axes of the Earth."""
    lat, lon = np.radians(latitude_deg), np.radians(longitude_deg)
    north = [-np.sin(lat) * np.cos(lon), -np.sin(lat) * np.sin(lon), np.cos(lat)]
    east = [-np.sin(lon), np.cos(lon), np.zeros_like(lon)]
    down = [-np.cos(lat) * np.cos(lon), -np.cos(lat) * np.sin(lon), -np.sin(lat)]
    return tuple(np.array(np.broadcast_arrays(*vector)) for vector in (north, east, down))


def cartesian(components, latitude_deg, longitude_deg):
    """The field vector in Cartesian axes of the Earth."""
    axes = frame(latitude_deg, longitude_deg)
    return sum(c * axis for c, axis in zip(components, axes, strict=True))


def test_tilted_dipole():
    """B = (a/r)^3 [3 (m . r) r - m] with m = (g11, h11, g10): any text on magnetostatics."""
    moment = np.array([-1410.3, 4545.5, -29350.0])
    g, h = np.zeros((2, 2)), np.zeros((2, 2))
    g[1, 1], h[1, 1], g[1, 0] = moment
    latitude, longitude, height = random_places(50)
    radius = REFERENCE_RADIUS_M + 30 * height
    found = synthesise_geocentric(GaussCoefficients(g, h), latitude, longitude, radius)
    outward = -frame(latitude, longitude)[2]
    along = (moment[:, None] * outward).sum(axis=0)
    expected = (REFERENCE_RADIUS_M / radius) ** 3 * (3 * along * outward - moment[:, None])
    np.testing.assert_allclose(cartesian(found, latitude, longitude), expected, atol=1e-9)


@pytest.mark.parametrize("degree", [1, 2, 7, 13, 20])
@pytest.mark.parametrize("ratio", [1.0, 0.95])
def test_mean_square_over_a_sphere(degree, ratio):
    """Mean square field = sum (n + 1) (a/r)^(2n + 4) sum (g^2 + h^2).

    Lowes (1966), J. Geophys. Res. 71(8), 2179. The mean is exact: Gauss-Legendre nodes along the
    meridian, equal steps along the parallel.
    """
    coefficients = random_coefficients(degree)
    nodes, weights = np.polynomial.legendre.leggauss(degree + 2)
    latitude = np.degrees(np.arcsin(nodes))[:, None]
    longitude = np.linspace(0, 360, 2 * degree + 3, endpoint=False)
    field = synthesise_geocentric(coefficients, latitude, longitude, REFERENCE_RADIUS_M / ratio)
    square = sum(component**2 for component in field).mean(axis=1)
    n = np.arange(degree + 1)
    power = (coefficients.g**2 + coefficients.h**2).sum(axis=1)
    expected = ((n + 1) * ratio ** (2 * n + 4) * power).sum()
    assert (square * weights).sum() / 2 == pytest.approx(expected, rel=1e-12)


def test_field_has_neither_source_nor_curl_outside_the_earth():
    """Maxwell: div B = 0 and curl B = 0 where no current flows; differences over 200 m."""
    coefficients = random_coefficients(8)
    step = 100.0
    point = np.array([3.1e6, -2.4e6, 5.6e6])

    def field_at(x, y, z):
        radius = np.sqrt(x * x + y * y + z * z)
        lat, lon = np.degrees(np.arcsin(z / radius)), np.degrees(np.arctan2(y, x))
        return cartesian(synthesise_geocentric(coefficients, lat, lon, radius), lat, lon)

    slope = np.array(
        [(field_at(*(point + d)) - field_at(*(point - d))) / (2 * step) for d in step * np.eye(3)]
    )
    largest = np.abs(slope).max()
    assert largest > 1e-4  # [nT/m]: there is something to see
    assert abs(np.trace(slope)) < 1e-6 * largest
    assert np.abs(slope - slope.T).max() < 1e-6 * largest


def test_geodetic_and_geocentric_frames_hold_the_same_vector():
    coefficients = igrf_coefficients(2025.0)
    latitude, longitude, height = random_places(200)
    geocentric_latitude, radius = geodetic_to_geocentric(latitude, height)
    tilted = synthesise(coefficients, latitude, longitude, height)
    straight = synthesise_geocentric(coefficients, geocentric_latitude, longitude, radius)
    np.testing.assert_allclose(
        cartesian(tilted, latitude, longitude),
        cartesian(straight, geocentric_latitude, longitude),
        atol=1e-8,
    )


@pytest.mark.parametrize("pole", [90.0, -90.0])
def test_pole_is_one_place_whatever_the_meridian(pole):
    coefficients = igrf_coefficients(2025.0)
    longitude = np.arange(-180.0, 181.0, 30.0)
    at_pole = synthesise(coefficients, pole, longitude, 0.0)
    vectors = cartesian(at_pole, np.full_like(longitude, pole), longitude)
    np.testing.assert_allclose(vectors, vectors[:, :1] * np.ones_like(longitude), atol=1e-8)
    near = synthesise(coefficients, np.sign(pole) * 89.999_999, longitude, 0.0)  # 0.1 m away
    np.testing.assert_allclose(at_pole, near, atol=0.01)


@pytest.mark.parametrize("turns", [-720.0, -360.0, 360.0, 1080.0])
def test_longitude_may_be_wrapped(turns):
    coefficients = igrf_coefficients(2025.0)
    latitude, longitude, height = random_places(20)
    np.testing.assert_allclose(
        synthesise(coefficients, latitude, longitude + turns, height),
        synthesise(coefficients, latitude, longitude, height),
        atol=1e-7,
    )


def test_date_line_is_no_edge():
    coefficients = igrf_coefficients(2025.0)
    west, east = (synthesise(coefficients, 52.0, lon, 10.0) for lon in (-180.0, 180.0))
    np.testing.assert_allclose(west, east, atol=1e-9)


def test_result_does_not_depend_on_the_neighbours():
    """Points one by one, in parts and in two threads give the same bits as all at once."""
    coefficients = igrf_coefficients(2025.0)
    places = np.array(random_places(40_000))
    whole = np.array(synthesise(coefficients, *places))
    one_by_one = np.array([synthesise(coefficients, *place) for place in places.T[:300]]).T
    np.testing.assert_array_equal(one_by_one, whole[:, :300])
    parts = np.array_split(places, [11, 777, 20_003], axis=1)
    with ThreadPoolExecutor(2) as pool:
        pieces = list(pool.map(lambda part: np.array(synthesise(coefficients, *part)), parts))
    np.testing.assert_array_equal(np.concatenate(pieces, axis=1), whole)


def test_missing_places_stay_missing_and_harm_no_other():
    coefficients = igrf_coefficients(2025.0)
    nan = np.nan
    field = synthesise(coefficients, [10.0, nan, 10, 10], [20.0, 20, nan, 20], [0.0, 0, 0, nan])
    alone = synthesise(coefficients, 10.0, 20.0, 0.0)
    for component, expected in zip(field, alone, strict=True):
        np.testing.assert_array_equal(component, [expected, nan, nan, nan])


def test_shapes_are_broadcast_and_kept():
    coefficients = igrf_coefficients(2025.0)
    north, east, down = synthesise(coefficients, np.zeros((3, 1)), np.zeros(4), 0.0)
    assert north.shape == east.shape == down.shape == (3, 4)
    assert synthesise(coefficients, [], [], [])[0].shape == (0,)
    assert synthesise(coefficients, 0.0, 0.0, 0.0)[0].shape == ()


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ((90.1, 0.0, 0.0), "latitude_deg must lie in -90 to 90 degrees"),
        ((0.0, np.inf, 0.0), "longitude_deg must be finite"),
        ((0.0, 0.0, -6371e3), "height_m must lie in -20000 to 1e"),
        (
            ([0.0, 1.0], [0.0, 1.0, 2.0], 0.0),
            r"longitude_deg, height_m must have shapes.*\(2,\), \(3,\)",
        ),
    ],
)
def test_places_that_are_refused(place, message):
    with pytest.raises(InputError, match=message):
        synthesise(igrf_coefficients(2025.0), *place)


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ((-91.0, 0.0, 6.4e6), "geocentric_latitude_deg must lie in -90 to 90 degrees"),
        ((0.0, 0.0, 6371.2), "radius_m must lie in"),  # km taken for m
    ],
)
def test_geocentric_places_that_are_refused(place, message):
    with pytest.raises(InputError, match=message):
        synthesise_geocentric(igrf_coefficients(2025.0), *place)


def world_magnetic_model():
    """Coefficients at 2025.0 and their yearly change, from the published WMM.COF."""
    g, h, g_change, h_change = np.zeros((4, 13, 13))
    rows = (PUBLISHED / "wmm2025.cof").read_text().splitlines()[1:]
    for words in (row.split() for row in rows if not row.startswith("9999")):
        n, m = int(words[0]), int(words[1])
        g[n, m], h[n, m], g_change[n, m], h_change[n, m] = (float(word) for word in words[2:])
    return GaussCoefficients(g, h), GaussCoefficients(g_change, h_change)


def test_world_magnetic_model_2025():
    """The test values of the WMM2025 report; tolerances are half the last printed digit."""
    model, change = world_magnetic_model()
    table = np.genfromtxt(PUBLISHED / "wmm2025_test_values.csv", delimiter=",", names=True)
    assert len(table) == 12
    for row in table:
        years = row["year"] - 2025.0
        place = (row["lat_deg"], row["lon_deg"], 1000.0 * row["height_km_wgs84"])
        now = GaussCoefficients(model.g + years * change.g, model.h + years * change.h)
        field, rate = synthesise(now, *place), synthesise(change, *place)
        elements = field_elements(*field)
        intensities = [*field, elements.horizontal_nT, elements.total_nT]
        angles = [elements.inclination_deg, elements.declination_deg]
        rates = [*rate, total_field_change(field, rate)]
        expected = [row[key] for key in ("X_nT", "Y_nT", "Z_nT", "H_nT", "F_nT")]
        np.testing.assert_allclose(intensities, expected, rtol=0, atol=0.0501)
        np.testing.assert_allclose(angles, [row["I_deg"], row["D_deg"]], rtol=0, atol=0.00501)
        expected = [row[key] for key in ("Xdot", "Ydot", "Zdot", "Fdot")]
        np.testing.assert_allclose(rates, expected, rtol=0, atol=0.0501)
