"""Room Site: place, field with its units, what to expect, refusals beside their fields."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from lodewalk.services.settings import change_settings


def test_the_field_is_that_of_the_published_model(empty):
    """IGRF-14's coefficients for 2020: g10 = -29403.41 nT; at the pole down is near -2 g10."""
    _, client = empty
    found = client.get(
        "/api/site", params={"latitude_deg": 90.0, "longitude_deg": 0.0, "date": "2020-01-01"}
    ).json()
    assert found["model"] == "IGRF-14"
    assert 56_000 < found["down_nT"] < 57_500
    # the shielded proton's gyromagnetic ratio, CODATA: 42.576 385 Hz a microtesla
    ratio = 1e3 * found["precession_Hz"] / found["total_field_nT"]
    assert ratio == pytest.approx(42.576_385, abs=1e-4)


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"latitude_deg": 91, "longitude_deg": 0}, "latitude_deg"),
        ({"latitude_deg": 0, "longitude_deg": 400}, "longitude_deg"),
        ({"latitude_deg": 0, "longitude_deg": 0, "height_m": 1e6}, "height_m"),
        ({"latitude_deg": 0, "longitude_deg": 0, "date": "2050-01-01"}, "date"),
        ({"latitude_deg": 0, "longitude_deg": 0, "date": "soon"}, "date"),
    ],
)
def test_a_wrong_place_is_told_beside_its_field(empty, query, field):
    _, client = empty
    answer = client.get("/api/site", params=query)
    assert answer.status_code == 400
    assert answer.json()["problem"]["field"] == field


def test_an_empty_survey_has_no_place_and_asks_for_it(empty):
    _, client = empty
    place = client.get("/api/place").json()
    assert (place["source"], place["latitude_deg"]) == ("nothing", None)
    answer = client.post("/api/expected", json={"changes": {"body.rock": "diabase"}})
    assert answer.status_code == 400
    assert "Neither an area nor a place" in answer.json()["problem"]["rule"]


def test_a_sphere_has_the_anomaly_of_a_dipole(empty):
    """A weak sphere is a dipole along the field: T = k F a^3 (3 cos^2 - 1) / (3 r^3)."""
    session, client = empty
    before = session.survey().settings_file.read_bytes()
    changes = {
        "body.kind": "sphere",
        "body.susceptibility": 0.001, "body.radius_m": 5.0, "body.depth_m": 18.0,
        "plan.sensor_height_m": 2.0, "plan.latitude_deg": -24.9, "plan.longitude_deg": -50.4,
    }  # fmt: skip
    found = client.post("/api/expected", json={"changes": changes}).json()
    dip = np.radians(found["site"]["inclination_deg"])
    north, east = np.meshgrid(np.arange(-60, 60.5, 0.5), np.arange(-60, 60.5, 0.5))
    distance = np.sqrt(north**2 + east**2 + 20.0**2)
    along = (-north * np.cos(dip) + 20.0 * np.sin(dip)) / distance  # body seen from the sensor
    dipole = 0.001 * found["site"]["total_field_nT"] * 5**3 * (3 * along**2 - 1) / 3 / distance**3
    assert found["anomaly"]["peak_to_trough_nT"] == pytest.approx(np.ptp(dipole), rel=0.01)
    assert session.survey().settings_file.read_bytes() == before


@pytest.mark.parametrize(
    ("name", "value"), [("body.depth_m", -1), ("body.rock", "cheese"), ("host.rock", "cheese")]
)
def test_a_wrong_value_is_told_beside_its_field(empty, name, value):
    _, client = empty
    changes = {"plan.latitude_deg": -24.9, "plan.longitude_deg": -50.4, "body.rock": "diabase"}
    answer = client.post("/api/expected", json={"changes": {**changes, name: value}})
    assert answer.status_code == 400
    assert answer.json()["problem"]["field"] == name


def test_how_sensors_are_carried_is_said_in_words(empty):
    """Near a pole the field stands upright: a proton sensor's coil is carried level."""
    _, client = empty
    found = client.get("/api/site", params={"latitude_deg": 80.0, "longitude_deg": -80.0}).json()
    words = found["sensor_words"]
    assert all(words.values())
    assert "level" in words["proton_best"]


@pytest.mark.parametrize(
    ("spacing", "words"),
    [
        (None, "A survey laid out for the sphere (lines "),
        (15.0, "A survey with lines 15 m apart, as set, on an assumed square of 500 m a side, "),
    ],
)
def test_the_odds_say_of_which_survey_they_are(empty, spacing, words):
    _, client = empty
    changes = {
        "body.kind": "sphere", "body.susceptibility": 0.02, "body.radius_m": 5.0,
        "body.depth_m": 18.0, "plan.latitude_deg": -24.9, "plan.longitude_deg": -50.4,
        "plan.line_spacing_m": spacing,
    }  # fmt: skip
    text = client.post("/api/expected/odds", json={"changes": changes}).json()["text"]
    assert text.startswith(words)
    assert ("chosen" in text) == (spacing is None)
    assert "assumed square" in text


def test_a_walked_survey_opens_with_its_own_day_and_height_and_is_reckoned_on_them(empty):
    session, client = empty
    products = session.path / "products"
    (products / "steps").mkdir(exist_ok=True)
    times = [datetime(2021, 7, 2, 12, tzinfo=UTC), datetime(2021, 7, 3, 12, tzinfo=UTC)]
    pl.DataFrame(
        {"time_utc": times, "easting_m": [500_000.0] * 2, "northing_m": [6_645_000.0] * 2}
    ).write_parquet(products / "readings.parquet")
    pl.DataFrame({"height_m": [310.0, 312.0, None]}).write_parquet(
        products / "steps" / "rover_heights.parquet"
    )
    place = client.get("/api/place").json()
    assert (place["source"], place["date"], place["height_m"]) == ("readings", "2021-07-02", 311.0)
    changes = {
        "body.rock": "diabase", "plan.latitude_deg": 60.0, "plan.longitude_deg": 15.0
    }  # fmt: skip
    for day, epoch in ((None, 2021.5), ("2024-07-02", 2024.5)):
        asked = changes | ({"plan.first_day": day} if day else {})
        found = client.post("/api/expected", json={"changes": asked}).json()
        assert found["site"]["epoch"] == pytest.approx(epoch, abs=0.01)
    change_settings(session.survey(), {"plan.first_day": "2020-02-03"}, reason="set", who="A")
    assert client.get("/api/place").json()["date"] == "2020-02-03"
