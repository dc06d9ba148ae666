"""Compact bodies under spots and named places: a planted dipole, and why there may be none."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import SENSOR, make_dyked_survey
from lodewalk.records.interpreted import Lineaments, Picks
from lodewalk.steps import compact
from lodewalk.steps.across import NEEDS
from lodewalk.steps.bodies import FIELD_NEEDS
from lodewalk.steps.context import Context
from lodewalk.steps.executors import Threads
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product
from planted_ball import DEPTH, MOMENT, PLACE, Ball, StrongBall
from small_survey import CRS

SETTINGS = {
    "survey.crs": CRS,
    "position.height_m": 0.0,
    "instruments.*.sensor_height_sd_m": {"*": 0.1},
}


def spot(place, *, off=5.0):
    """Return the table of one spot beside a place."""
    row = {
        "lineament": "S1", "kind": "spot", "easting_m": place[0] + off,
        "northing_m": place[1] - off, "length_m": 0.0, "evidence": 0.99, "strength": 5.0,
        "lines": 0,
    }  # fmt: skip
    schema = {column.name: column.dtype for column in Lineaments.SCHEMA}
    return Lineaments(pl.DataFrame([{name: row.get(name) for name in schema}], schema))


def inputs_of(folder, body):
    """Return the products that the step takes, with a spot beside the body."""
    survey = make_dyked_survey(folder, body)
    for step in ("readings", "culture"):
        run(survey, to=step)
    found = {name: read_product(survey, name) for name in (*NEEDS, *FIELD_NEEDS)}
    return found | {"lineaments": spot(PLACE), "picks": Picks.empty()}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    return inputs_of(tmp_path_factory.mktemp("ball"), Ball())


@pytest.fixture(scope="module")
def made(inputs):
    return compact.run(inputs, SETTINGS, Context())


def only(made):
    return made["compact_bodies"].frame.row(0, named=True)


def holds(row, truth):
    assert row["centre_depth_low_m"] < DEPTH - SENSOR < row["centre_depth_high_m"]
    assert row["moment_low_A_m2"] < np.linalg.norm(truth) < row["moment_high_A_m2"]
    assert np.hypot(row["easting_m"] - PLACE[0], row["northing_m"] - PLACE[1]) < 1.0
    told, turn = np.radians([row["inclination_deg"], row["declination_deg"]])
    way = [np.cos(told) * np.cos(turn), np.cos(told) * np.sin(turn), np.sin(told)]
    off = np.degrees(np.arccos(way @ truth / np.linalg.norm(truth)))
    # the convergence of the grid is a quarter of a degree
    assert off < row["cone_deg"] + 0.3


def test_a_spot_gets_its_body_with_the_direction_of_its_magnetisation(made):
    row = only(made)
    assert (row["body"], row["source"], row["problem"]) == ("S1", "trace", None)
    holds(row, MOMENT)
    assert row["remanent"]
    assert "it holds remanence" in row["direction"]
    assert row["centre_height_m"] == pytest.approx(800.0 - DEPTH, abs=0.6)


def test_an_unsure_height_of_the_sensor_widens_the_depth(inputs, made):
    unsure = SETTINGS | {"instruments.*.sensor_height_sd_m": {"*": 1.0}}
    wide, narrow = only(compact.run(inputs, unsure, Context())), only(made)
    assert wide["centre_depth_m"] == narrow["centre_depth_m"]
    assert wide["centre_depth_sd_m"] ** 2 - narrow["centre_depth_sd_m"] ** 2 == pytest.approx(
        1.0**2 - 0.1**2, rel=1e-6
    )


def test_without_the_height_of_the_sensor_there_is_no_depth(inputs):
    readings = inputs["readings"]
    unknown = readings.frame.with_columns(height_above_ground_m=pl.lit(None, pl.Float64))
    row = only(compact.run(inputs | {"readings": type(readings)(unknown)}, SETTINGS, Context()))
    assert row["centre_depth_m"] is None
    assert "height of the sensor" in row["problem"]


def test_the_curve_is_that_of_the_readings(made):
    frame = made["compact_curves"].frame
    assert frame.height == only(made)["readings"]
    rest = (frame["anomaly_nT"] - frame["model_nT"]).to_numpy()
    assert np.sqrt(np.mean(rest**2)) < 0.6


def test_a_strong_body_is_fitted_by_the_exact_difference(tmp_path):
    row = only(compact.run(inputs_of(tmp_path, StrongBall()), SETTINGS, Context()))
    assert row["anomaly_share"] > 0.05
    assert row["problem"] is None
    assert row["centre_depth_low_m"] < DEPTH - SENSOR < row["centre_depth_high_m"]
    assert row["moment_low_A_m2"] < 25.0 * np.linalg.norm(MOMENT) < row["moment_high_A_m2"]


def decided(inputs, place, name="P1"):
    """Return a decision to look for a compact body at the reading nearest to a place."""
    readings = inputs["readings"].frame
    away = np.hypot(readings["easting_m"] - place[0], readings["northing_m"] - place[1])
    target = {"readings": [readings["reading_id"][int(np.argmin(away))]]}
    return {"kind": "pick", "target": target, "value": {"name": name, "compact": True}}


def test_a_named_place_is_looked_at_and_refuses_with_a_reason(inputs):
    without = inputs | {"lineaments": Lineaments.empty()}
    there = decided(inputs, PLACE), decided(inputs, (PLACE[0] + 50.0, PLACE[1] + 110.0), "P2")
    gone = {**there[0], "target": {"readings": ["nothing"]}}
    made = compact.run(without, SETTINGS, Context(decisions=(*there, gone)))
    good, cut = made["compact_bodies"].frame.iter_rows(named=True)
    assert (good["body"], good["source"]) == ("P1", "decision")
    holds(good, MOMENT)
    assert cut["problem"]
    assert cut["centre_depth_m"] is None
    assert [row["reading_id"] for row in made["compact_notes"].values["idle_decisions"]] == [
        "nothing"
    ]


def test_a_refused_spot_is_told_as_refused(inputs):
    row = {"pick": "S1-L3", "source": "trace", "lineament": "S1", "easting_m": PLACE[0],
           "northing_m": PLACE[1], "azimuth_deg": 0.0, "half_window_m": 0.0, "readings": 0,
           "problem": compact.REFUSED}  # fmt: skip
    schema = {column.name: column.dtype for column in Picks.SCHEMA}
    picks = Picks(pl.DataFrame([{name: row.get(name) for name in schema}], schema))
    told = only(compact.run(inputs | {"picks": picks}, SETTINGS, Context()))
    assert told["problem"] == compact.REFUSED
    assert told["moment_A_m2"] is None


def test_noise_alone_has_no_body(inputs):
    rng = np.random.default_rng(5)
    frame = inputs["readings"].frame
    flat = frame.with_columns(anomaly_nT=pl.Series(rng.normal(0.0, 0.3, frame.height)))
    told = only(compact.run(inputs | {"readings": type(inputs["readings"])(flat)}, SETTINGS,
                            Context()))  # fmt: skip
    assert told["problem"]
    assert told["centre_depth_m"] is None


def test_two_threads_give_the_same(inputs, made):
    again = compact.run(inputs, SETTINGS, Context(executor=Threads(2)))
    assert {n: r.digest() for n, r in again.items()} == {n: r.digest() for n, r in made.items()}
