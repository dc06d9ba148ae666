"""The mistakes that shift coordinates, beside shifts worked out in other ways."""

import numpy as np
import pytest

from lodewalk.adapters.projection import to_projected
from lodewalk.adapters.shift_candidates import shift_candidates
from lodewalk.errors import InputError
from lodewalk.methods.checks.walked.shift import ShiftCandidate

UTM22 = "EPSG:31982"  # SIRGAS 2000
PLACE = -51.4, -27.1


def candidates(crs: str, longitude: float, latitude: float) -> dict[str, ShiftCandidate]:
    easting, northing = to_projected(longitude, latitude, crs=crs)
    found = shift_candidates(crs, easting_m=float(easting), northing_m=float(northing))
    return {item.name: item for item in found}


def named(found: dict[str, ShiftCandidate], *parts: str) -> ShiftCandidate:
    (item,) = (item for name, item in found.items() if all(part in name for part in parts))
    return item


def geographic_shift_m(
    longitude: float,
    latitude: float,
    *,
    to_wgs84_m: tuple[float, float, float],
    axis_m: float,
    flattening: float,
) -> tuple[float, float]:
    """Return east and north, in metres, of old latitude and longitude less WGS84's.

    By the geocentric coordinates of the textbooks, with three parameters.
    """
    lon, lat = np.deg2rad([longitude, latitude])
    a, e2 = 6_378_137.0, 2 / 298.257223563 - 1 / 298.257223563**2
    radius = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    place = radius * np.array(
        [np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), (1 - e2) * np.sin(lat)]
    )
    x, y, z = place - np.array(to_wgs84_m)
    old_e2 = 2 * flattening - flattening**2
    old_lat = lat
    for _ in range(20):
        old_radius = axis_m / np.sqrt(1 - old_e2 * np.sin(old_lat) ** 2)
        old_lat = np.arctan2(z + old_e2 * old_radius * np.sin(old_lat), np.hypot(x, y))
    meridian = a * (1 - e2) / (1 - e2 * np.sin(lat) ** 2) ** 1.5
    return (np.arctan2(y, x) - lon) * radius * np.cos(lat), (old_lat - lat) * meridian


def turned(east: float, north: float, longitude: float, latitude: float) -> tuple[float, float]:
    """Turn and scale a small true-north step into the grid of UTM zone 22 south."""
    step = 1e-5
    origin, one = to_projected([longitude] * 2, [latitude, latitude + step], crs=UTM22)
    grid_north = np.arctan2(origin[1] - origin[0], one[1] - one[0])
    scale = np.hypot(origin[1] - origin[0], one[1] - one[0]) / (step * 110_806)
    turn = np.array([[np.cos(grid_north), np.sin(grid_north)]])
    turn = np.concatenate([turn, [[-np.sin(grid_north), np.cos(grid_north)]]])
    return tuple(scale * turn @ [east, north])


def test_south_american_datum_of_1969() -> None:
    # SAD69 to SIRGAS 2000: -67.35, 3.88, -38.22 m (resolution 1/2005 of the Brazilian institute
    # of geography, from memory); ellipsoid 6378160, 1/298.25.
    expected = turned(
        *geographic_shift_m(
            *PLACE, to_wgs84_m=(-67.35, 3.88, -38.22), axis_m=6_378_160.0, flattening=1 / 298.25
        ),
        *PLACE,
    )
    found = named(candidates(UTM22, *PLACE), "SAD69", "latitude and longitude")
    # One name may stand for datums as much as 8 m apart.
    assert (found.easting_m, found.northing_m) == pytest.approx(expected, abs=8.0)


def test_european_datum_of_1950_as_grid_coordinates() -> None:
    # The classical difference in UTM 32 over Germany: ED50 about 80 m east and 200 m north of
    # ETRS89 (from memory, rounded).
    found = named(candidates("EPSG:25832", 9.0, 48.0), "ED50", "grid coordinates")
    assert (found.easting_m, found.northing_m) == pytest.approx((80.0, 200.0), abs=8.0)


def test_north_american_datum_of_1927() -> None:
    # Mean of the 48 states: -8, 160, 176 m on Clarke's ellipsoid of 1866 (from memory).
    expected = geographic_shift_m(
        -117.0,
        40.0,
        to_wgs84_m=(-8.0, 160.0, 176.0),
        axis_m=6_378_206.4,
        flattening=1 - 6_356_583.8 / 6_378_206.4,
    )
    found = named(candidates("EPSG:26911", -117.0, 40.0), "NAD27", "latitude and longitude")
    assert (found.easting_m, found.northing_m) == pytest.approx(expected, abs=10.0)


def test_australian_datum_is_two_hundred_metres_off() -> None:
    # AGD coordinates lie about 200 m south-west of those of GDA94 (common knowledge, from memory).
    found = named(candidates("EPSG:28355", 144.4, -37.9), "AGD66", "grid coordinates")
    assert np.hypot(found.easting_m, found.northing_m) == pytest.approx(200, abs=20)
    assert found.easting_m < 0
    assert found.northing_m < 0


@pytest.mark.parametrize(("zone", "code"), [(21, "EPSG:31981"), (23, "EPSG:31983")])
def test_neighbouring_zone_is_that_of_the_database(zone: int, code: str) -> None:
    found = named(candidates(UTM22, *PLACE), f"UTM zone {zone} in place of 22")
    longitude, latitude = PLACE[0] + np.array([0.0, 0.01]), PLACE[1] + np.array([0.0, 0.02])
    right = np.column_stack(to_projected(longitude, latitude, crs=UTM22))
    wrong = np.column_stack(to_projected(longitude, latitude, crs=code))
    assert found.easting_m == pytest.approx(wrong[0, 0] - right[0, 0], abs=0.01)
    assert found.northing_m == pytest.approx(wrong[0, 1] - right[0, 1], abs=0.01)
    # 2.4 km away the map round the place is still good to a metre, and undone.
    np.testing.assert_allclose(found.undo(wrong), right, atol=1.0)


def test_gross_mistakes_in_round_numbers() -> None:
    found = candidates(UTM22, *PLACE)
    easting, northing = (float(axis) for axis in to_projected(*PLACE, crs=UTM22))
    expected = {
        "false northing of 10000000 m missing": (0.0, -1e7),
        "false easting of 500000 m missing": (-5e5, 0.0),
        "easting and northing swapped": (northing - easting, easting - northing),
        "feet in place of metres": (easting / 0.3048 - easting, northing / 0.3048 - northing),
        "metres taken for feet": (0.3048 * easting - easting, 0.3048 * northing - northing),
    }
    for name, shift in expected.items():
        assert (found[name].easting_m, found[name].northing_m) == pytest.approx(shift, abs=1e-3)
    place = np.array([[easting + 300.0, northing - 200.0]])
    swapped = found["easting and northing swapped"].undo(place[:, ::-1])
    np.testing.assert_allclose(swapped, place, atol=1e-6)


def test_mistakes_in_latitude_and_longitude() -> None:
    found = candidates(UTM22, *PLACE)
    easting, northing = (float(axis) for axis in to_projected(*PLACE, crs=UTM22))
    wrong = to_projected(PLACE[0], -PLACE[1], crs=UTM22)
    lost = found["sign of the latitude lost"]
    assert lost.northing_m == pytest.approx(float(wrong[1]) - northing, abs=1e-3)
    wrong = to_projected(PLACE[1], PLACE[0], crs=UTM22)
    swapped = found["latitude and longitude swapped"]
    assert swapped.easting_m == pytest.approx(float(wrong[0]) - easting, abs=1e-3)
    # A longitude above 90 degrees is no latitude.
    assert "latitude and longitude swapped" not in candidates("EPSG:26911", -117.0, 40.0)


def test_northern_survey_with_a_southern_false_northing() -> None:
    found = candidates("EPSG:25832", 9.0, 48.0)
    assert found["false northing of 10000000 m too many"].northing_m == 1e7
    assert "false northing of 10000000 m missing" not in found


def test_datums_that_agree_with_satellites_are_left_out() -> None:
    for item in candidates("EPSG:25832", 9.0, 48.0).values():
        assert np.hypot(item.easting_m, item.northing_m) >= 10.0
        assert "ETR" not in item.name
        assert "WGS" not in item.name


def test_a_place_outside_the_system_has_no_right_coordinates() -> None:
    # Northing and easting swapped, a zone off, and beyond the projection.
    for place in ((7_000_000.0, 450_000.0), (1_100_000.0, 7_000_000.0), (1e9, 1e9)):
        assert shift_candidates(UTM22, easting_m=place[0], northing_m=place[1]) == ()


def test_bad_system() -> None:
    with pytest.raises(InputError, match="must be projected"):
        shift_candidates("EPSG:4326", easting_m=0.0, northing_m=0.0)
