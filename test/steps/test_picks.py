"""Picks of a planted dyke: where the profiles lie, which readings they hold, decisions on them."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import SENSOR, Dyke, make_dyked_survey, traced
from lodewalk.methods.inversion.picking import LineGradient
from lodewalk.records.products import Culture, Heights
from lodewalk.records.table import utc_column
from lodewalk.steps import picks
from lodewalk.steps.across import NEEDS, UNKNOWN_HEIGHT
from lodewalk.steps.context import Context
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product

SETTINGS = {
    "fits.window": 4.0,
    "position.height_m": 0.0,
    "instruments.*.sensor_height_sd_m": {"*": 0.1},
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    """Products of a survey over a dyke, and the lineament as it would be traced."""
    survey = make_dyked_survey(tmp_path_factory.mktemp("dyked"))
    run(survey, to="readings")
    run(survey, to="culture")
    found = {name: read_product(survey, name) for name in NEEDS}
    found["lineaments"], found["lineament_points"] = traced(Dyke(), off=2.0)
    return found


def picked(inputs, *decisions, **changed):
    made = picks.run(inputs | changed, SETTINGS, Context(decisions=decisions))
    return made["picks"].frame, made["profiles"].frame, made["pick_notes"].values


def reading_at(inputs, line, north):
    """Return the id of the reading of a line nearest to a northing."""
    own = inputs["readings"].frame.filter(pl.col("line") == line)
    return own.sort((pl.col("northing_m") - north).abs())["reading_id"][0]


def decision(kind, reading, **value):
    return {"kind": kind, "target": {"readings": [reading]}, "value": value}


def test_each_line_gets_a_profile_across_the_dyke(inputs):
    rows, profiles, notes = picked(inputs)
    assert rows["pick"].to_list() == [f"R1-L{n}" for n in range(1, 7)]
    assert rows["problem"].null_count() == 6
    assert notes["with_profile"] == 6
    dyke = Dyke()
    for number, row in enumerate(rows.iter_rows(named=True)):
        east, north = dyke.crossing(number)
        beside = dyke.across(row["easting_m"], row["northing_m"])
        assert beside == pytest.approx(2.0, abs=0.3)
        assert row["easting_m"] == pytest.approx(east, abs=0.1)
        assert row["northing_m"] == pytest.approx(north, abs=3.0)
        assert row["azimuth_deg"] == pytest.approx(dyke.strike + 90.0, abs=0.5)
        own = profiles.filter(pl.col("pick") == row["pick"]).join(
            inputs["readings"].frame, on="reading_id", maintain_order="left"
        )
        assert own.height == row["readings"]
        truth = dyke.across(own["easting_m"].to_numpy(), own["northing_m"].to_numpy()) - beside
        np.testing.assert_allclose(own["distance_m"].to_numpy(), truth, atol=0.5)
        assert own["distance_m"].is_sorted()
        assert (own["line"] == row["line"]).all()


def test_heights_are_those_of_the_level_ground(inputs):
    rows, profiles, _ = picked(inputs)
    np.testing.assert_allclose(profiles["rise_m"].to_numpy(), 0.0, atol=0.01)
    assert (rows["sensor_height_m"] == SENSOR).all()
    np.testing.assert_allclose(rows["ground_m"].to_numpy(), 800.0 - SENSOR, atol=0.05)


def test_no_ground_is_told_where_no_file_holds_heights(inputs):
    heights = inputs["rover_heights"].frame
    setting = Heights(heights.with_columns(height_m=pl.lit(0.0)))
    rows, profiles, _ = picked(inputs, rover_heights=setting)
    assert rows["ground_m"].null_count() == rows.height == 6
    assert rows["problem"].null_count() == 6
    assert (profiles["rise_m"] == 0.0).all()


def test_a_sensor_whose_height_is_not_known_gives_no_profile(inputs):
    readings = inputs["readings"].frame.with_columns(height_above_ground_m=pl.lit(np.nan))
    rows, _, _ = picked(inputs, readings=type(inputs["readings"])(readings))
    assert (rows["problem"] == UNKNOWN_HEIGHT).all()


def test_rows_are_the_same_again(inputs):
    first = picks.run(inputs, SETTINGS, Context())
    again = picks.run(inputs, SETTINGS, Context())
    assert {n: r.digest() for n, r in first.items()} == {n: r.digest() for n, r in again.items()}


def test_what_a_person_picked_comes_first(inputs):
    reading = reading_at(inputs, "L3", 7_245_120.0)
    rows, _, _ = picked(inputs, decision("pick", reading, name="P1", strike_deg=110.0))
    first = rows.row(0, named=True)
    assert (first["pick"], first["source"], first["line"]) == ("P1", "decision", "L3")
    assert first["lineament"] is None
    assert first["azimuth_deg"] == pytest.approx(200.0)
    assert rows.height == 7


def test_a_pick_without_a_strike_looks_along_its_line(inputs):
    reading = reading_at(inputs, "L3", 7_245_120.0)
    rows, _, _ = picked(inputs, decision("pick", reading, name="P1", strike_deg=None))
    assert np.sin(np.radians(rows["azimuth_deg"][0])) == pytest.approx(0.0, abs=0.01)


def test_a_refused_pick_stays_without_a_profile(inputs):
    reading = reading_at(inputs, "L3", 7_245_118.0)
    rows, profiles, notes = picked(inputs, decision("refuse", reading, what="pick"))
    own = rows.filter(pl.col("pick") == "R1-L3").row(0, named=True)
    assert own["problem"] == picks.REFUSED
    assert own["readings"] == 0
    assert "R1-L3" not in profiles["pick"].to_list()
    assert notes["refused"] == ["R1-L3"]
    assert rows["problem"].null_count() == 5


def test_a_refused_lineament_loses_all_its_picks(inputs):
    reading = reading_at(inputs, "L3", 7_245_118.0)
    rows, profiles, notes = picked(inputs, decision("refuse", reading, what="lineament"))
    assert (rows["problem"] == picks.REFUSED).all()
    assert profiles.height == 0
    assert notes["refused_lineaments"] == ["R1"]
    assert notes["rose"]["number"] == 0
    assert picked(inputs)[2]["rose"]["number"] == 1


def added_beside(inputs):
    """Return a pick nearer to its reading than the traced one is, and that reading."""
    reading = reading_at(inputs, "L3", 7_245_121.0)
    return decision("pick", reading, name="P1", strike_deg=110.0), reading


def test_of_two_picks_near_a_reading_the_named_one_is_refused(inputs):
    added, reading = added_beside(inputs)
    for name in ("R1-L3", "P1"):
        _, _, notes = picked(inputs, added, decision("refuse", reading, what="pick", name=name))
        assert notes["refused"] == [name]


def test_a_lineament_is_refused_and_not_the_lone_pick_beside_it(inputs):
    added, reading = added_beside(inputs)
    _, _, notes = picked(inputs, added, decision("refuse", reading, what="lineament", name="R1"))
    assert notes["refused"] == [f"R1-L{n}" for n in range(1, 7)]


def test_a_refusal_follows_a_pick_whose_lineament_has_another_name_now(inputs):
    added, reading = added_beside(inputs)
    for what, name in (("pick", "R7-L3"), ("lineament", "R7")):
        _, _, notes = picked(inputs, added, decision("refuse", reading, what=what, name=name))
        assert "R1-L3" in notes["refused"]
        assert "P1" not in notes["refused"]


def test_the_name_of_a_withdrawn_pick_refuses_no_other(inputs):
    reading = reading_at(inputs, "L3", 7_245_118.0)
    _, _, notes = picked(inputs, decision("refuse", reading, what="pick", name="P1"))
    assert notes["refused"] == []
    assert [row["kind"] for row in notes["idle_decisions"]] == ["refuse"]


def test_a_refused_pick_does_not_cut_its_neighbour(inputs, monkeypatch):
    """Profiles end half way to a neighbour 20 m off; refused, it is none and the profile whole."""
    monkeypatch.setattr(LineGradient, "parting", lambda _, at, other: 0.5 * (at + other))
    added = decision("pick", reading_at(inputs, "L3", 7_245_138.0), name="P1", strike_deg=110.0)
    refused = decision("refuse", added["target"]["readings"][0], what="pick", name="P1")
    whole, cut, again = (
        picked(inputs, *taken)[0].filter(pl.col("pick") == "R1-L3")["readings"][0]
        for taken in ((), (added,), (added, refused))
    )
    assert cut < whole
    assert again == whole


@pytest.mark.parametrize("kind", ["pick", "refuse"])
def test_a_decision_that_meets_nothing_is_told(inputs, kind):
    value = {"name": "P1", "strike_deg": None} if kind == "pick" else {"what": "pick"}
    rows, _, notes = picked(inputs, decision(kind, "00000000:9", **value))
    assert rows.height == 6
    assert notes["idle_decisions"] == [
        {"kind": kind, "name": value.get("name", ""), "reading_id": "00000000:9"}
    ]


def test_culture_is_left_out_of_a_profile(inputs):
    reading = reading_at(inputs, "L2", 7_245_120.0)
    own = inputs["readings"].frame.filter(pl.col("reading_id") == reading).row(0, named=True)
    at = own["time_utc"].timestamp()
    event = pl.DataFrame(
        {
            "cause": ["surface iron"], "instrument": [own["instrument"]], "line": ["L2"],
            "start_utc": utc_column(np.array([at - 4.0])),
            "end_utc": utc_column(np.array([at + 4.0])),
            "easting_m": [own["easting_m"]], "northing_m": [own["northing_m"]],
            "peak_nT": [50.0], "width_m": [3.0], "probability": [0.9], "feature": [-1],
            "note": [""],
        }
    )  # fmt: skip
    plain, marked = (
        picked(inputs, **more)[1].filter(pl.col("pick") == "R1-L2")
        for more in ({"rover_culture": Culture.empty()}, {"rover_culture": Culture(event)})
    )
    left = marked.join(inputs["readings"].frame, on="reading_id")["time_utc"].dt.epoch("ms") / 1e3
    assert abs(left.to_numpy() - at).min() == pytest.approx(4.5, abs=0.01)
    assert reading in plain["reading_id"].to_list()
    assert reading not in marked["reading_id"].to_list()


def test_a_line_along_the_strike_is_told_with_its_angle(inputs):
    along = Dyke(strike=15.0)
    table, points = traced(along)
    rows, _, _ = picked(inputs, lineaments=table, lineament_points=points)
    assert rows.height
    assert rows["problem"].str.contains("under 15 degrees").all()


def test_nothing_traced_gives_no_picks(inputs):
    table, points = traced(Dyke())
    rows, profiles, notes = picked(
        inputs, lineaments=type(table).empty(), lineament_points=type(points).empty()
    )
    assert (rows.height, profiles.height, notes["picks"]) == (0, 0, 0)


def test_a_spot_is_looked_at_along_the_nearest_line(inputs):
    table, points = traced(Dyke())
    row = table.frame.with_columns(
        lineament=pl.lit("S1"), kind=pl.lit("spot"), strike_deg=pl.lit(None, dtype=pl.Float64),
        easting_m=pl.lit(560_021.0), northing_m=pl.lit(7_245_130.0),
    )  # fmt: skip
    one = points.frame.head(1).with_columns(lineament=pl.lit("S1"))
    rows, _, _ = picked(inputs, lineaments=type(table)(row), lineament_points=type(points)(one))
    assert rows["pick"].to_list() == ["S1-L2"]
    assert rows["northing_m"][0] == pytest.approx(7_245_130.0, abs=1.0)
