"""Bodies under an anomaly of a fifth of the field and more: told exactly, or not at all."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import SENSOR, Dyke, make_dyked_survey, traced
from lodewalk.records import GridSet
from lodewalk.records.recorded import Known
from lodewalk.steps import depth, fits, picks
from lodewalk.steps.across import NEEDS
from lodewalk.steps.bodies import FIELD_NEEDS
from lodewalk.steps.context import Context
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product
from small_survey import CRS
from strong_dyke import StrongDyke

#: The field at the place of the small survey by the independent library: about 22,950 nT,
#: inclination -38.8, declination -19.6 degrees.
LINES = 3
STRENGTH, INCLINATION, DECLINATION, STRIKE = 22_950.0, -38.8, -19.6, 110.0
TRUTH = StrongDyke(8.0, 4.0, 30.0, -28.0, STRENGTH, INCLINATION, STRIKE + 90.0 - DECLINATION)
SETTINGS = {"survey.crs": CRS}
#: Settings of the step picks.
PICKED = {
    "fits.window": 4.0,
    "position.height_m": 0.0,
    "instruments.*.sensor_height_sd_m": {"*": 0.1},
}


class Strong(Dyke):
    """A dyke whose readings are differences of magnitudes."""

    def curve(self, x):
        return TRUTH.anomaly(x)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    survey = make_dyked_survey(tmp_path_factory.mktemp("strong"), Strong(), lines=LINES)
    for step in ("readings", "culture"):
        run(survey, to=step)
    found = {name: read_product(survey, name) for name in (*NEEDS, *FIELD_NEEDS)}
    found["lineaments"], found["lineament_points"] = traced(Strong(), lines=LINES)
    found |= {"known_recorded": Known.empty(), "grids": GridSet(())}
    return found | picks.run(found, PICKED, Context())


@pytest.fixture(scope="module")
def made(inputs):
    return fits.run(inputs, SETTINGS, Context())


def test_the_anomaly_is_strong():
    share = abs(TRUTH.anomaly(np.linspace(-60.0, 60.0, 241))).max() / STRENGTH
    assert 0.2 < share < 0.4


def test_intervals_hold_the_truth_and_the_words_stand(made):
    rows = made["bodies"].frame
    assert rows.height == LINES + 1
    truth = 8.0 - SENSOR
    held = (rows["depth_low_m"] <= truth) & (rows["depth_high_m"] >= truth)
    assert held.sum() >= LINES
    assert held.filter(rows["pick"].is_null()).all()  # the joint body
    assert abs(rows["depth_m"] - truth).max() < 0.5
    assert rows["not_resolved"].str.contains("% of the field: the exact difference").all()


def test_curves_follow_the_readings_as_measured(inputs, made):
    joined = made["curves"].frame.join(
        inputs["profiles"].frame, on=["pick", "distance_m"], how="left"
    )
    rest = (joined["model_nT"] - joined["anomaly_nT"]).to_numpy()
    assert np.sqrt(np.mean(rest**2)) < 5.0


def test_depths_rest_on_the_projection_too(inputs, made):
    told = depth.run(inputs | made, {}, Context())["depths"].frame
    answers = told.filter(pl.col("method") == "answer")
    truth = 8.0 - SENSOR
    assert (abs(answers["depth_m"] - truth) < 0.5).all()
    assert answers["reason"].str.contains("% of the field").all()


def test_a_strong_anomaly_without_an_exact_fit_has_no_number(inputs, monkeypatch):
    def none(*_, **__):
        raise np.linalg.LinAlgError

    monkeypatch.setattr("lodewalk.methods.inversion.strong.fit_body", none)
    made = fits.run(inputs, SETTINGS, Context())
    assert len(made["bodies"]) == 0
    notes = made["fit_notes"].values["picks"]
    assert all("the projection doesn't hold" in note["problem"] for note in notes.values())
    told = depth.run(inputs | made, {}, Context())["depths"].frame
    assert told.filter(pl.col("method") == "answer")["depth_m"].null_count() == told.height


def test_what_no_long_body_makes_has_no_number(inputs):
    """Waves as strong as a dyke beside it: their squares mix."""
    frame = inputs["profiles"].frame
    x = frame["distance_m"].to_numpy()
    other = 2_000.0 * np.sin(x / 6.0)
    mixed = frame.with_columns(anomaly_nT=pl.col("anomaly_nT") + pl.Series(other))
    made = fits.run(inputs | {"profiles": type(inputs["profiles"])(mixed)}, SETTINGS, Context())
    notes = made["fit_notes"].values["picks"]
    assert len(made["bodies"]) == 0
    assert all("the projection doesn't hold" in note["problem"] for note in notes.values())
