"""The room of rocks: what it says before a run, and what it refuses."""

import time
from dataclasses import fields

import numpy as np
import polars as pl
import pytest

from lodewalk.services.rocks.fit import Body
from lodewalk.services.rocks.room import _section


def test_an_empty_survey_names_the_steps_that_are_lacking(empty):
    _, client = empty
    told = client.get("/api/rocks").json()
    assert told["missing"] == ["grid", "trace", "picks", "fits", "dips", "compact", "depth"]
    assert told["picks"] == told["bodies"] == told["lineaments"] == []


def test_a_pick_that_is_not_there_is_refused(empty):
    _, client = empty
    answer = client.get("/api/rocks/sections/R9-L01")
    assert answer.status_code == 400
    assert answer.json()["problem"]["rule"] == "There is no pick of this name."


def job_ended(client):
    for _ in range(200):
        job = client.get("/api/run").json()["job"]
        if job["status"] not in ("running", "stopping"):
            return job
        time.sleep(0.05)
    raise AssertionError("the fit doesn't end")


@pytest.mark.parametrize(
    ("path", "body", "field", "rule"),
    [
        ("along", {"line": "L01", "from_m": 9, "to_m": 3}, "from_m",
         "A profile begins before it ends."),
        ("along", {"line": "L01", "from_m": 1, "to_m": 3, "kind": "cloud"}, "kind",
         "There is no such kind of body."),
        ("spot", {"easting_m": 1, "northing_m": 1, "reach_m": 0}, "reach_m",
         "The reach must be above zero."),
        ("between", {"from_easting_m": 0, "from_northing_m": 0, "to_easting_m": 9,
                     "to_northing_m": 9, "strike_deg": 400}, "strike_deg",
         "A strike is an azimuth from grid north, from 0 to less than 360 degrees."),
    ],
)  # fmt: skip
def test_a_fit_that_cannot_be_says_why_beside_a_field(empty, path, body, field, rule):
    _, client = empty
    assert client.post(f"/api/rocks/{path}", json=body).status_code == 202
    job = job_ended(client)
    assert job["status"] == "failed"
    assert (job["problem"]["field"], job["problem"]["rule"]) == (field, rule)


def test_a_body_stands_where_its_coordinates_lie_on_the_profile():
    """Towards the east, a body 4 m east of its pick stands at + 4 m, by plain geometry."""
    pick = {"pick": "A", "line": "L1", "azimuth_deg": 90.0, "easting_m": 100.0,
            "northing_m": 50.0, "sensor_height_m": 2.0}  # fmt: skip
    readings = pl.DataFrame({
        "reading_id": ["b", "a"], "distance_m": [5.0, -5.0], "rise_m": [1.0, 0.0],
        "anomaly_nT": [3.0, 1.0], "sd_nT": [1.0, 1.0], "place_nT": [None, 0.0],
    })  # fmt: skip
    found = _section(pick, readings, pl.DataFrame(), None, {}, [], "none")
    assert found.reading_id == ["a", "b"]
    # half a metre of rise half way: ground there is the zero of depth
    assert np.allclose(found.ground_m, [0.5, -0.5])
    assert np.allclose(found.sensor_m, [-1.5, -2.5])
    assert found.body is None
    assert found.problem == "none"
    # nodes of the grid have no error of their place: their section is the same
    of_grid = _section(pick, readings.drop("place_nT"), pl.DataFrame(), None, {}, [], "none")
    assert of_grid.sensor_m == found.sensor_m


def test_a_reading_stands_its_error_off_the_curve():
    """Scaled noise, error of place and shared error add as squares: 3, 4, 12 make 13 by hand."""
    pick = {"pick": "A", "line": "L1", "azimuth_deg": 90.0, "easting_m": 0.0, "northing_m": 0.0,
            "sensor_height_m": 2.0}  # fmt: skip
    readings = pl.DataFrame({
        "reading_id": ["a", "b"], "distance_m": [-1.0, 1.0], "rise_m": [0.0, 0.0],
        "anomaly_nT": [36.0, 10.0], "sd_nT": [1.5, 1.5], "place_nT": [4.0, 4.0],
    })  # fmt: skip
    curve = pl.DataFrame({
        "distance_m": [3.0, -3.0], "model_nT": [10.0, 10.0], "low_nT": [9.0, 9.0],
        "high_nT": [11.0, 11.0], "regional_nT": [None, None],
    }, schema_overrides={"regional_nT": pl.Float64})  # fmt: skip
    noise = {"scale": 2.0, "correlated_nT": 12.0}
    none = dict.fromkeys(field.name for field in fields(Body))
    body = none | {"easting_m": 0.5, "northing_m": 0.0, "position_sd_m": 1.0}
    found = _section(pick, readings, curve, body, noise, [], None)
    assert np.allclose(found.residual, [2.0, 0.0])
    assert found.regional_nT == [None, None]
    assert (found.at_m, round(found.at_90_m, 3)) == (0.5, 1.645)
