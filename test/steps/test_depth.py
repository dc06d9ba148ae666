"""Depths below ground at the picks over a planted dyke: the answer first, then every method."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import SENSOR, Dyke, make_dyked_survey, traced
from lodewalk.methods.depth.results import DepthRule
from lodewalk.methods.inversion.results import Estimate
from lodewalk.records import Document, Grid, GridSet
from lodewalk.records.recorded import Known
from lodewalk.steps import depth, fits, picks
from lodewalk.steps.across import NEEDS
from lodewalk.steps.context import Context
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product
from small_survey import CRS

DYKE = Dyke(depth=8.0, half_width=10.0)
SETTINGS = {"survey.crs": CRS}


def planted_grid():
    """Return a grid of poles at 20 m, as the step before would make one."""
    axis = np.arange(0.0, 320.0, 5.0)
    north, east = np.meshgrid(axis, axis, indexing="ij")
    rng = np.random.default_rng(0)
    values = np.zeros(north.shape)
    for x, y in rng.uniform(0, 320, (30, 2)):
        values += 2e5 * 20.0 / ((east - x) ** 2 + (north - y) ** 2 + 400.0) ** 1.5
    values[10:14, 10:14] = np.nan
    return Grid(values, 1000.0, 2000.0, 5.0, CRS, "nT", "total_field_anomaly")


#: Settings of the step picks.
PICKED = {
    "fits.window": 4.0,
    "position.height_m": 0.0,
    "instruments.*.sensor_height_sd_m": {"*": 0.1},
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    survey = make_dyked_survey(tmp_path_factory.mktemp("dyked"), DYKE)
    for step in ("readings", "culture"):
        run(survey, to=step)
    names = (*NEEDS, "rover_positions", "rover_times", "datum")
    found = {name: read_product(survey, name) for name in names}
    found["grids"] = GridSet((planted_grid(),))
    found["lineaments"], found["lineament_points"] = traced(DYKE)
    found["known_recorded"] = Known.empty()
    found |= picks.run(found, PICKED, Context())
    return found | fits.run(found, SETTINGS, Context())


@pytest.fixture(scope="module")
def made(inputs):
    return depth.run(inputs, {}, Context())


def test_the_answer_stands_first_and_holds_the_truth(made):
    frame = made["depths"].frame
    first = frame.group_by("pick", maintain_order=True).first()
    assert (first["method"] == "answer").all()
    answers = frame.filter((pl.col("method") == "answer") & pl.col("valid"))
    assert answers.height >= 5
    truth = DYKE.depth - SENSOR
    off = (answers["depth_m"] - truth).to_numpy() / answers["depth_sd_m"].to_numpy()
    assert np.sqrt(np.mean(off**2)) < 2.0
    np.testing.assert_allclose(answers["top_height_m"].to_numpy(), 800.0 - DYKE.depth, atol=1.5)


def test_every_method_is_told_with_what_it_assumes(made):
    frame = made["depths"].frame
    assert set(frame["method"]) == {
        "answer", "fit", "half slope", "total gradient width", "tilt depth", "local wavenumber",
        "Euler",
    }  # fmt: skip
    assert (frame["reason"].str.len_chars() > 0).all()
    assert frame.filter(~pl.col("valid") & (pl.col("method") == "tilt depth")).height > 0


def test_the_whole_grid_is_read_too(made):
    grid = made["depth_notes"].values["grid"]
    assert grid["problem"] is None
    assert grid["euler_windows"] >= grid["euler_refused"] + grid["euler_with_holes"]
    assert grid["euler_with_holes"] == 13 * 13
    [layer, *_] = grid["layers"]
    _, _, low, high = layer["depth_below_sensor_m"]
    assert low < 20.0 < high
    places = grid["euler_places"]
    assert places
    assert np.median([place["depth_below_sensor_m"] for place in places]) < 30.0


def test_a_pick_without_a_profile_has_a_row_that_says_why(inputs):
    other = dict(inputs)
    frame = inputs["picks"].frame.with_columns(
        problem=pl.when(pl.int_range(pl.len()) == 0).then(pl.lit("Too few readings."))
    )
    other["picks"] = type(inputs["picks"])(frame.select(inputs["picks"].frame.columns))
    found = depth.run(other, {}, Context())["depths"].frame
    [row] = found.filter(pl.col("reason") == "Too few readings.").iter_rows(named=True)
    assert row["depth_m"] is None
    assert not row["valid"]


def test_a_depth_above_the_ground_is_not_valid(inputs):
    [pick, *_] = fits.usable_picks(inputs)
    rule = DepthRule("half slope", Estimate(1.0, 0.1, 0.8, 1.2), 0.0)
    row = depth._row(pick, rule)
    assert not row["valid"]
    assert row["reason"] == "It comes out above the ground."
    assert row["top_height_m"] is None


def test_where_the_fit_found_no_body_no_method_tells_a_depth(inputs, made):
    notes = inputs["fit_notes"].values
    name = next(iter(notes["picks"]))
    said = "No anomaly stands above the noise."
    picks_too = {**notes["picks"], name: {**notes["picks"][name], "problem": said}}
    refused = {**notes, "picks": picks_too}
    told = depth.run(inputs | {"fit_notes": Document(refused)}, {}, Context())["depths"].frame
    own = told.filter((pl.col("pick") == name) & (pl.col("method") != "fit"))
    assert own["depth_m"].null_count() == own.height == 1
    assert own["reason"].to_list() == [said]
    others = [frame.filter(pl.col("pick") != name) for frame in (told, made["depths"].frame)]
    assert others[0].equals(others[1])
