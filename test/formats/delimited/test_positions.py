import numpy as np
import pytest

from lodewalk.errors import InputError

HEAD = {"header": False, "columns": {"time": 1, "latitude": 2, "longitude": 3, "field": 4}}
MINUTES = {**HEAD, "position": {"angles": "ddmm.mmm"}}
SIGNED = {
    **MINUTES,
    "columns": {
        "time": 1, "latitude": 2, "latitude_hemisphere": 3, "longitude": 4,
        "longitude_hemisphere": 5, "field": 6,
    },
}  # fmt: skip
STAMP = "2025-03-04T08:15:30"
PEG = "2025-03-04T08:15:30,500000,8500000,22950\n"


def row(*texts):
    return ",".join([STAMP, *texts, "22950\n"])


@pytest.mark.parametrize(
    ("settings", "texts", "latitude", "longitude"),
    [
        (HEAD, ["-12.5", "-41.25"], -12.5, -41.25),
        (HEAD, ["12.5S", "41.25 W"], -12.5, -41.25),
        (HEAD, ["N 12.5", "e41.25"], 12.5, 41.25),
        (HEAD, ["-12.5", "318.75"], -12.5, 318.75),
        # The sample position of NMEA 0183 texts: 48 deg 07.038' N, 11 deg 31.000' E.
        (MINUTES, ["4807.038", "1131.000"], 48.1173, 11.516666666666667),
        (MINUTES, ["-4807.038", "-01131.000"], -48.1173, -11.516666666666667),
        (MINUTES, ["-0030.0", "0000.6"], -0.5, 0.01),
        (MINUTES, ["4807.038S", "01131.000W"], -48.1173, -11.516666666666667),
        (SIGNED, ["4807.038", "n", "01131.000", "W"], 48.1173, -11.516666666666667),
    ],
)
def test_each_way_of_writing_an_angle(reading, settings, texts, latitude, longitude):
    frame = reading(row(*texts), settings).table.frame
    np.testing.assert_allclose(frame["latitude_deg"][0], latitude, rtol=0, atol=1e-12)
    np.testing.assert_allclose(frame["longitude_deg"][0], longitude, rtol=0, atol=1e-12)


def test_missing_angles_stay_missing(reading):
    raw = row("*", "nan") + row("12.5S", "41.25W") + row("", "")
    frame = reading(raw, HEAD).table.frame
    assert frame["latitude_deg"].to_list() == [None, -12.5, None]
    assert frame["longitude_deg"].to_list() == [None, -41.25, None]


@pytest.mark.parametrize(
    ("settings", "rows", "message"),
    [
        (HEAD, [["-95.5", "-12.5"]], r"line 1: latitude must lie in -90 to 90 degrees\. "
         r"Found -95\.5\. Are latitude and longitude swapped\?"),
        (HEAD, [["-12.5", "-41"], ["-141", "-12"]], r"line 2: .*Did the columns shift from this"),
        (HEAD, [["8500000", "500000"]], "Are these easting and northing, or ddmm.mmm"),
        (HEAD, [["-12.5", "-190"]], "line 1: longitude must lie in -180 to 360"),
        (HEAD, [["-12.5", "-41"], ["none", "-41"]], "line 2: latitude must be a number. Found 'no"),
        (HEAD, [["-12.5", "-41"], ["inf", "-41"]], "line 2: latitude must be finite"),
        (HEAD, [["12.5E", "41W"]], "line 1: latitude needs the letter N or S. Found 'E'"),
        (HEAD, [["12.5S", "41W"], ["12.5", "41W"]], "line 2: latitude needs the letter N or S"),
        (HEAD, [["-12.5S", "41W"]], "latitude has a sign and a letter"),
        (MINUTES, [["1230.5", "4170.5"]], "line 1: The minutes of longitude must be below 60"),
    ],
)  # fmt: skip
def test_a_wrong_angle_is_an_error_with_its_line(reading, settings, rows, message):
    with pytest.raises(InputError, match=message):
        reading("".join(row(*texts) for texts in rows), settings)


def test_easting_and_northing_of_readings_stay_as_recorded(reading):
    settings = {"header": False, "columns": {"time": 1, "easting": 2, "northing": 3, "field": 4}}
    frame = reading(PEG, settings).table.frame
    assert frame.select("easting_m", "northing_m").row(0) == (500000.0, 8500000.0)


def test_a_track_in_a_projection_is_turned_into_degrees(reading):
    # On the central meridian of UTM zone 24 S, -39 degrees, and the equator.
    raw = "2025-03-04T08:15:30,500000,10000000\n2025-03-04T08:15:31,*,*\n"
    settings = {
        "header": False,
        "columns": {"time": 1, "easting": 2, "northing": 3},
        "position": {"crs": "EPSG:32724"},
    }
    content = reading(raw, settings, role="track")
    np.testing.assert_allclose(
        content.table.frame.select("latitude_deg", "longitude_deg").row(0), (0, -39), atol=1e-9
    )
    assert "1 rows without a position are passed over." in content.understood


@pytest.mark.parametrize(
    ("position", "message"),
    [({}, r"Easting and northing .* need their system.*position\.crs"),
     ({"crs": "EPSG:4326"}, "must be projected"), ({"crs": "EPSG:99999"}, "unknown")],
)  # fmt: skip
def test_a_track_in_an_unknown_projection(reading, position, message):
    settings = {
        "header": False,
        "columns": {"time": 1, "easting": 2, "northing": 3},
        "position": position,
    }
    with pytest.raises(InputError, match=message):
        reading(PEG, settings, role="track")


def test_a_track_must_be_on_wgs84(reading):
    settings = {**HEAD, "position": {"crs": "EPSG:4618"}}
    settings["columns"] = {"time": 1, "latitude": 2, "longitude": 3}
    with pytest.raises(InputError, match="must be on WGS84"):
        reading(row("-12.5", "-41.2"), settings, role="track")
