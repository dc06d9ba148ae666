"""Bodies fitted to a planted dyke: their truth, what a person reads of them, and poor profiles."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import SENSOR, Dyke, make_dyked_survey, traced
from lodewalk.methods.inversion.results import Estimate
from lodewalk.records.recorded import Known
from lodewalk.steps import fits, picks
from lodewalk.steps.across import NEEDS
from lodewalk.steps.bodies import below_ground
from lodewalk.steps.context import Context
from lodewalk.steps.executors import Threads
from lodewalk.steps.known_facts import Fact, Near
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product
from small_survey import CRS

DYKE = Dyke(depth=8.0, half_width=10.0)
SETTINGS = {"survey.crs": CRS}
#: Settings of the step picks.
PICKED = {
    "fits.window": 4.0,
    "position.height_m": 0.0,
    "instruments.*.sensor_height_sd_m": {"*": 0.1},
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    """Products of a survey over a dyke, its lineament as it would be traced, and the picks."""
    survey = make_dyked_survey(tmp_path_factory.mktemp("dyked"), DYKE)
    for step in ("readings", "culture"):
        run(survey, to=step)
    found = {name: read_product(survey, name)
             for name in (*NEEDS, "rover_positions", "rover_times", "datum")}  # fmt: skip
    found["lineaments"], found["lineament_points"] = traced(DYKE)
    found["known_recorded"] = Known.empty()
    return found | picks.run(found, PICKED, Context())


@pytest.fixture(scope="module")
def made(inputs):
    return fits.run(inputs, SETTINGS, Context())


def test_each_body_is_where_and_as_deep_as_it_was_planted(made):
    rows = made["bodies"].frame.filter(pl.col("pick").is_not_null())
    assert rows.height == 6
    assert (rows["kind"] == "dyke").all()
    truth = DYKE.depth - SENSOR
    error = (rows["depth_m"] - truth).to_numpy()
    assert abs(error).max() < 1.0
    # The stated error is neither far too small nor far too large.
    assert np.sqrt(np.mean((error / rows["depth_sd_m"].to_numpy()) ** 2)) < 2.0
    assert rows["depth_sd_m"].max() < 0.6
    away = DYKE.across(rows["easting_m"].to_numpy(), rows["northing_m"].to_numpy())
    assert abs(away).max() < 1.0
    width = rows["width_m"].to_numpy()
    np.testing.assert_allclose(width, 2 * DYKE.half_width, rtol=0.15)
    np.testing.assert_allclose(rows["top_height_m"].to_numpy(), 800.0 - DYKE.depth, atol=1.0)
    np.testing.assert_allclose(rows["index_angle_deg"].to_numpy(), DYKE.index_deg, atol=5.0)
    np.testing.assert_allclose(rows["strike_deg"].to_numpy(), DYKE.strike, atol=0.5)


def test_the_lineament_has_one_body_of_all_its_profiles(made):
    row = made["bodies"].frame.filter(pl.col("pick").is_null()).row(0, named=True)
    assert (row["body"], row["lineament"], row["profiles"]) == ("R1", "R1", 6)
    truth = DYKE.depth - SENSOR
    assert row["depth_low_m"] < truth < row["depth_high_m"]
    singles = made["bodies"].frame.filter(pl.col("pick").is_not_null())
    assert row["depth_sd_m"] < singles["depth_sd_m"].median()
    assert "R1" in made["fit_notes"].values["lineaments"]


def test_the_curves_follow_the_readings(inputs, made):
    joined = made["curves"].frame.join(
        inputs["profiles"].frame, on=["pick", "distance_m"], how="left"
    )
    assert joined.height == inputs["profiles"].frame.height
    rest = (joined["model_nT"] - joined["anomaly_nT"]).to_numpy()
    assert np.sqrt(np.mean(rest**2)) < 0.6
    assert (joined["low_nT"] <= joined["high_nT"]).all()


def test_two_threads_give_the_same(inputs, made):
    again = fits.run(inputs, SETTINGS, Context(executor=Threads(2)))
    assert {n: r.digest() for n, r in again.items()} == {n: r.digest() for n, r in made.items()}


def test_a_poor_profile_has_a_reason_and_no_body(inputs):
    flat = inputs["profiles"].frame.with_columns(
        anomaly_nT=pl.when(pl.col("pick") == "R1-L3")
        .then(5.0 + 0.3 * (pl.int_range(pl.len()) % 3 - 1))
        .otherwise("anomaly_nT")
    )
    made = fits.run(inputs | {"profiles": type(inputs["profiles"])(flat)}, SETTINGS, Context())
    assert "R1-L3" not in made["bodies"].frame["body"].to_list()
    assert made["fit_notes"].values["picks"]["R1-L3"]["problem"]


def test_no_picks_give_no_bodies(inputs):
    nothing = {name: type(inputs[name]).empty() for name in ("picks", "profiles")}
    made = fits.run(inputs | nothing, SETTINGS, Context())
    assert len(made["bodies"]) == len(made["curves"]) == 0


def test_the_sensor_comes_off_with_its_error():
    found = below_ground(Estimate(10.0, 0.3, 9.5, 10.5), 2.0)
    assert found.value == 8.0
    assert found.sd == pytest.approx(np.hypot(0.3, 0.1))
    assert found.low == pytest.approx(8.0 - np.hypot(0.5, 1.645 * 0.1), abs=1e-3)


def facts(*rows):
    """Facts at a place between the third and the fourth line, on the dyke."""
    columns = ("what", "name", "easting_m", "northing_m", "value", "sd")
    frame = pl.DataFrame(rows, schema=columns, orient="row").with_columns(
        line_in_file=pl.int_range(pl.len()), towards_deg=pl.lit(None, pl.Float64),
        sd=pl.col("sd").cast(pl.Float64),
    )  # fmt: skip
    return Known(frame.select(*(c.name for c in Known.SCHEMA if c.name in frame.columns)))


@pytest.fixture(scope="module")
def noisy(inputs):
    """The same picks with noise of 10 nT, where a borehole tells what readings don't."""
    rng = np.random.default_rng(11)
    frame = inputs["profiles"].frame
    field = frame["anomaly_nT"] + pl.Series(rng.normal(0.0, 10.0, frame.height))
    frame = frame.with_columns(anomaly_nT=field, sd_nT=pl.lit(10.0))
    return inputs | {"profiles": type(inputs["profiles"])(frame)}


def depths(made):
    rows = made["bodies"].frame.filter(pl.col("pick").is_not_null())
    return {row["pick"]: row for row in rows.iter_rows(named=True)}


def test_a_borehole_narrows_the_depth_of_the_picks_beside_it_only(noisy):
    east, north = DYKE.crossing(2.5)
    truth = DYKE.depth - SENSOR
    hole = facts(("depth", "BH1", east, north, truth, 0.1))
    held = fits.run(noisy | {"known_recorded": hole}, SETTINGS, Context())
    alone = fits.run(noisy, SETTINGS, Context())
    with_hole, without = depths(held), depths(alone)
    (note,) = held["fit_notes"].values["facts"]
    assert note["used_at"] == ["R1-L3", "R1-L4"]
    assert note["text"] == "BH1: the top at 6 m below ground; holds in the fit at R1-L3, R1-L4."
    for pick, row in with_hole.items():
        if pick in note["used_at"]:
            width = row["depth_high_m"] - row["depth_low_m"]
            assert width < 0.8 * (without[pick]["depth_high_m"] - without[pick]["depth_low_m"])
            assert row["depth_low_m"] < truth < row["depth_high_m"]
        else:
            assert row == without[pick]
    joint, before = (
        made["bodies"].frame.filter(pl.col("pick").is_null()).row(0, named=True)
        for made in (held, alone)
    )
    assert joint["depth_sd_m"] < before["depth_sd_m"]
    assert joint["depth_low_m"] < truth < joint["depth_high_m"]


def test_a_fact_counts_once_among_the_profiles_of_a_lineament(inputs):
    own = fits.usable_picks(inputs)[:3]
    fact = Fact(0, "BH1", "depth", 6.0, 0.1, *DYKE.crossing(2.5))
    held, plain = fits.ProfileFit(problem=""), fits.ProfileFit(problem="")
    some = [
        (pick, fits.Fitted(fits.Noise(), held, (Near(fact, along, 2.0),), plain=plain))
        for pick, along in zip(own, (8.0, 3.0, 9.0), strict=True)
    ]
    taken = [told is held for _, _, told in fits.once(some)]
    assert taken == [False, True, False]


def test_a_fact_that_contradicts_the_readings_is_told_and_bends_nothing(inputs, made):
    east, north = DYKE.crossing(2.5)
    wrong = facts(("not_reached", "BH2", east, north, 30.0, None))
    told = fits.run(inputs | {"known_recorded": wrong}, SETTINGS, Context())
    assert depths(told) == depths(made)
    (note,) = told["fit_notes"].values["facts"]
    assert note["used_at"] == []
    assert set(note["contradicted_at"]) == {"R1-L3", "R1-L4"}
    assert "contradicts the readings at R1-L3" in note["text"]


def test_a_fact_beside_the_body_says_nothing_of_it(inputs, made):
    east, north = DYKE.crossing(2.5)
    aside = facts(("depth", "BH3", east, north + 60.0, 3.0, None))
    told = fits.run(inputs | {"known_recorded": aside}, SETTINGS, Context())
    assert depths(told) == depths(made)
    assert "near no pick" in told["fit_notes"].values["facts"][0]["text"]


def test_profiles_stand_in_order_along_the_lineament_whatever_their_own_strikes(inputs):
    """Northings of millions of metres times strikes that differ by a degree scramble them."""
    turned = inputs["picks"].frame.with_columns(
        azimuth_deg=pl.col("azimuth_deg") + pl.int_range(pl.len()) % 3 - 1.0
    )
    own = fits.usable_picks(inputs | {"picks": type(inputs["picks"])(turned)})
    nothing = fits.Fitted(fits.Noise(), fits.ProfileFit())
    mixed = [(own[row], nothing) for row in (3, 0, 5, 1, 4, 2)]
    ordered = fits.in_order(mixed)
    lines = [pick.row["line"] for pick, _ in ordered]
    assert lines in ([f"L{n}" for n in range(1, 7)], [f"L{n}" for n in range(6, 0, -1)])
