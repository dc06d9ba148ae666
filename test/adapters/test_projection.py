"""The projection seam against published worked examples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.adapters import projection
from lodewalk.errors import InputError


def degrees(whole: int, minutes: float, seconds: float) -> float:
    """Return degrees of a sexagesimal angle."""
    return whole + minutes / 60 + seconds / 3600


# GDA technical manual, version 2.4 (ICSM 2014), worked example of the line from Flinders Peak to
# Buninyong: positions on GDA94, MGA zone 55, convergence with its opposite sign.
FLINDERS = degrees(144, 25, 29.52440), -degrees(37, 57, 3.72030)
BUNINYONG = degrees(143, 55, 35.38390), -degrees(37, 39, 10.15610)
MGA55, GDA94 = "EPSG:28355", "EPSG:4283"


def test_geographic_to_cartesian_of_the_epsg_guidance_note() -> None:
    # EPSG Guidance Note 7-2, geographic/geocentric conversion, WGS84.
    convert = projection._transformer("EPSG:4979", "EPSG:4978")
    found = convert.transform(degrees(2, 7, 46.38), degrees(53, 48, 33.82), 73.0)
    assert found == pytest.approx((3771793.97, 140253.34, 5124304.35), abs=0.01)


def test_transverse_mercator_of_the_epsg_guidance_note() -> None:
    # EPSG Guidance Note 7-2, Transverse Mercator, OSGB36 / British National Grid.
    found = projection.to_projected(0.5, 50.5, crs="EPSG:27700", geographic="EPSG:4277")
    assert found == pytest.approx((577274.98, 69740.49), abs=0.01)
    back = projection.to_geographic(577274.98, 69740.49, crs="EPSG:27700", geographic="EPSG:4277")
    assert back == pytest.approx((0.5, 50.5), abs=1e-7)


def test_southern_utm_zone_of_the_gda_manual() -> None:
    found = projection.to_projected(*FLINDERS, crs=MGA55, geographic=GDA94)
    assert found == pytest.approx((273741.297, 5796489.777), abs=0.001)


def test_geodesic_length_of_the_gda_manual() -> None:
    longitude, latitude = zip(FLINDERS, BUNINYONG, strict=True)
    found = projection.geodesic_lengths_m(longitude, latitude)
    assert found == pytest.approx([54972.271], abs=0.001)


def test_convergence_turns_true_azimuth_into_grid_bearing() -> None:
    # The same example: azimuth 306 52 05.37, grid bearing 305 17 01.72.
    convergence = projection.grid_convergence_deg(*FLINDERS, crs=MGA55)
    azimuth, bearing = degrees(306, 52, 5.37), degrees(305, 17, 1.72)
    assert azimuth - float(convergence) == pytest.approx(bearing, abs=2e-6)


@pytest.mark.parametrize(("east", "north", "sign"), [(1, 1, 1), (-1, 1, -1), (1, -1, -1)])
def test_sign_of_the_convergence_is_that_of_the_walked_meridian(
    east: int, north: int, sign: int
) -> None:
    longitude, latitude = 9.0 + 2.0 * east, 40.0 * north
    crs = "EPSG:32632" if north > 0 else "EPSG:32732"
    e, n = projection.to_projected([longitude] * 2, [latitude, latitude + 1e-5], crs=crs)
    true_north_on_grid = np.degrees(np.arctan2(e[1] - e[0], n[1] - n[0]))
    found = float(projection.grid_convergence_deg(longitude, latitude, crs=crs))
    assert found == pytest.approx(-true_north_on_grid, abs=1e-4)
    assert np.sign(found) == sign


@settings(deadline=None)
@given(
    longitude=st.floats(-180, 180, exclude_max=True),
    latitude=st.floats(-80, 84),
)
def test_there_and_back_again(longitude: float, latitude: float) -> None:
    crs = projection.utm_crs_for(longitude, latitude)
    projected = projection.to_projected(longitude, latitude, crs=crs)
    back = projection.to_geographic(*projected, crs=crs)
    turned = (float(back[0]) - longitude + 180) % 360 - 180
    assert (turned, float(back[1]) - latitude) == pytest.approx((0, 0), abs=1e-8)


def test_missing_stays_missing_and_shape_is_kept() -> None:
    east, north = projection.to_projected([[9.0, np.nan]], [[40.0, 40.0]], crs="EPSG:32632")
    assert east.shape == north.shape == (1, 2)
    assert np.isfinite(east[0, 0])
    assert np.isnan(east[0, 1])
    assert np.isnan(north[0, 1])


def test_never_asks_the_network() -> None:
    from pyproj.network import is_network_enabled

    projection.check_projected("EPSG:31982")
    assert not is_network_enabled()


@pytest.mark.parametrize(
    ("crs", "rule"),
    [
        ("EPSG:999999", "is unknown"),
        ("utm", "is unknown"),
        ("EPSG:4326", "must be projected, not in degrees"),
        ("EPSG:2264", "must be in metres"),
        ("EPSG:2053", "must point east and north"),
        ("EPSG:3857", "are stretched"),
    ],
)
def test_unfit_systems_are_refused(crs: str, rule: str) -> None:
    with pytest.raises(InputError, match=rule):
        projection.check_projected(crs)


def test_remedy_names_the_zone_of_the_place() -> None:
    with pytest.raises(InputError, match=r"UTM zone 22S \(EPSG:32722\)"):
        projection.check_projected("EPSG:4326", longitude=-48.5, latitude=-27.6)


def test_unknown_geographic_system_is_refused() -> None:
    with pytest.raises(InputError, match="is unknown"):
        projection.to_projected(9.0, 40.0, crs="EPSG:32632", geographic="EPSG:1")


def test_northing_first_systems_are_fine() -> None:
    projection.check_projected("EPSG:2193")


def test_swapped_coordinates_are_refused() -> None:
    with pytest.raises(InputError, match="Latitude must lie in -90 to 90"):
        projection.to_projected(-27.6, 148.5, crs="EPSG:32722")
    with pytest.raises(InputError, match="outside what the coordinate reference system can hold"):
        projection.to_geographic(1e30, 0.0, crs="EPSG:32722")


# Zones by the definition of UTM: zone 1 begins at 180 W, each is six degrees wide.
@pytest.mark.parametrize(
    ("longitude", "latitude", "code"),
    [
        (-180.0, 10.0, "EPSG:32601"),
        (180.0, 10.0, "EPSG:32601"),
        (-0.1, 51.0, "EPSG:32630"),
        (0.0, 0.0, "EPSG:32631"),
        (179.9, -10.0, "EPSG:32760"),
        (317.0, -22.0, "EPSG:32723"),
    ],
)
def test_utm_zone(longitude: float, latitude: float, code: str) -> None:
    assert projection.utm_crs_for(longitude, latitude) == code


@pytest.mark.parametrize(("latitude", "crs"), [(86.0, "EPSG:3413"), (-88.2, "EPSG:3031")])
def test_remedy_near_a_pole_is_a_system_that_serves(latitude: float, crs: str) -> None:
    """Polar stereographic grids have both axes to the north or south: they can't be served."""
    with pytest.raises(InputError, match="must point east and north") as caught:
        projection.check_projected(crs, longitude=10.0, latitude=latitude)
    code = caught.value.remedy.split("(")[1].split(")")[0]
    projection.check_projected(code)
    # A metre on the ground is one on the grid, but for the scale of 0.9996 on the central meridian.
    easting, northing = projection.to_projected([10.0, 10.0], [latitude, latitude + 0.01], crs=code)
    length = projection.geodesic_lengths_m([10.0, 10.0], [latitude, latitude + 0.01])
    assert np.hypot(*np.diff([easting, northing])[:, 0]) == pytest.approx(length[0], rel=5e-4)


def test_no_utm_at_the_poles() -> None:
    with pytest.raises(InputError, match="80° S to 84° N"):
        projection.utm_crs_for(0.0, -85.0)


def test_length_of_a_single_point_is_nothing() -> None:
    assert projection.geodesic_lengths_m([1.0], [2.0]).size == 0
