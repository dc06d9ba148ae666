"""The heading correction through the steps: planted errors come off, and nothing is made up."""

import numpy as np
import polars as pl
import pytest

from heading_survey import FACINGS, NONE, Gear, Plan, magnetic_north, outcomes, write
from lodewalk.services.add import add_files
from lodewalk.services.run import run
from lodewalk.survey.store import read_product
from small_survey import stamp

NINETY = 1.645


def told(survey):
    return read_product(survey, "heading_findings").frame["text"].to_list()


def noted(survey):
    return read_product(survey, "heading").values["rovers"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_5_nT_leave_at_most_0_3_and_the_anomaly_its_shape(tmp_path, seed):
    survey, found = outcomes(tmp_path, seed)
    one = found["R1"]
    assert np.ptp(one.true_nT) > 5.0
    assert np.sqrt(np.mean(one.left_nT**2)) <= 0.3
    assert np.std(one.left_nT) <= 0.02 * np.std(one.geology_nT)
    assert np.mean(np.abs(one.left_nT) <= NINETY * one.sd_nT) > 0.8
    assert np.median(one.sd_nT) < 0.4
    (text,) = told(survey)
    assert "8 stands in 1 turn-around test" in text
    assert "over the tolerance of 2 nT" in text


@pytest.mark.parametrize("turn", ["list", "walk", "marks"])
def test_a_turn_around_test_alone_tells_all_headings(tmp_path, turn):
    # One line each way, too far apart for neighbours, and no tie line.
    plan = Plan(lines=2, ties=0, spacing_m=120.0, turn=turn)
    survey, found = outcomes(tmp_path, 5, plan)
    (rover,) = noted(survey)
    assert rover["evidence"] == {"turn": 8, "crossing": 0, "neighbour": 0}
    eight = np.array([row["heading_deg"] for row in rover["headings"]], dtype=float)
    error = np.array([row["correction_nT"] for row in rover["headings"]]) - Gear()(eight)
    error -= error.mean()
    sd = np.array([row["sd_nT"] for row in rover["headings"]])
    assert np.sqrt(np.mean(error**2)) < 0.35
    assert np.mean(np.abs(error) < NINETY * sd) >= 0.6
    assert np.sqrt(np.mean(found["R1"].left_nT ** 2)) <= 0.35
    assert len(rover["stands"]) == 8


def test_a_test_that_does_not_say_which_way_was_faced_is_told_and_not_used(tmp_path):
    survey, found = outcomes(tmp_path, 5, Plan(lines=2, ties=0, spacing_m=120.0, turn="bare"))
    nothing, how = told(survey)
    assert "nothing tells the heading error" in nothing
    assert "1 turn-around test can't be used" in how
    assert not found["R1"].found_nT.any()
    # Half of the variance, the second harmonic, is common to both ways.
    np.testing.assert_allclose(found["R1"].sd_nT, 1 / np.sqrt(2), rtol=0.05)


def test_notes_tell_which_way_was_faced_within_a_bare_mark(tmp_path):
    survey, rovers = write(tmp_path, 5, Plan(lines=2, ties=0, spacing_m=120.0, turn="bare"))
    begin = rovers["R1"].filter(pl.col("line") == "turn-around")["time"].min()
    rows = [f"{stamp(begin + 12 * n)},R1,test: turn-around {way}" for n, way in enumerate(FACINGS)]
    rows.append(f"{stamp(begin + 95)},R1,test: turn-around end")
    (tmp_path / "notes.csv").write_text("\n".join(["time,name,text", *rows]) + "\n")
    add_files(survey, [tmp_path / "notes.csv"], role="notes")
    run(survey, to="heading")
    (rover,) = noted(survey)
    assert rover["evidence"]["turn"] == 8
    assert rover["unfaced_tests"] == 0


@pytest.mark.parametrize("seed", [11, 12])
def test_nothing_planted_nothing_taken_off_beyond_its_interval(tmp_path, seed):
    _, found = outcomes(tmp_path, seed, Plan(gear={"R1": NONE}))
    one = found["R1"]
    assert np.std(one.found_nT) < 0.3
    assert np.mean(np.abs(one.left_nT) <= NINETY * one.sd_nT) > 0.8
    assert np.std(one.left_nT) <= 0.005 * np.std(one.geology_nT)


def test_lines_walked_one_way_have_nothing_to_correct_and_no_error_from_it(tmp_path):
    survey, found = outcomes(tmp_path, 4, Plan(one_way=True, ties=0))
    one = found["R1"]
    assert np.abs(one.found_nT - one.found_nT.mean()).max() < 0.1
    assert one.sd_nT.max() < 0.1
    assert "walked one way" in told(survey)[0]


def test_tie_lines_alone_tell_the_directions_walked(tmp_path):
    survey, found = outcomes(
        tmp_path, 6, Plan(turn="", spacing_m=80.0, length_m=480.0, lines=5, ties=5)
    )
    one = found["R1"]
    (rover,) = noted(survey)
    assert rover["evidence"]["neighbour"] == rover["evidence"]["turn"] == 0
    assert rover["open_parts"] >= 1
    assert np.sqrt(np.mean(one.left_nT**2)) < 1.0 < np.std(one.true_nT)
    assert np.mean(np.abs(one.left_nT) <= NINETY * one.sd_nT) > 0.6
    across = rover["headings"][7]  # 315 degrees, 45 off all lines
    assert across["sd_nT"] > 1.0


def test_each_rover_has_its_own_error(tmp_path):
    gear = {"R1": Gear(4.0, 0.0), "R2": Gear(3.0, 1.0, (240.0, 60.0))}
    survey, found = outcomes(tmp_path, 7, Plan(gear=gear, lines=8, length_m=200.0))
    for one in found.values():
        assert np.sqrt(np.mean(one.left_nT**2)) <= 0.35
    assert [rover["instrument"] for rover in noted(survey)] == ["R1", "R2"]
    assert len(told(survey)) == 2


@pytest.mark.parametrize(
    ("crs", "corner"),
    [("EPSG:32733", (500_000.0, 9_890_000.0)), ("EPSG:32721", (420_000.0, 4_600_000.0))],
    ids=["equator", "far south"],
)
def test_facings_by_compass_are_turned_to_the_grid(tmp_path, crs, corner):
    plan = Plan(lines=2, ties=0, spacing_m=120.0, crs=crs, corner=corner, azimuth_deg=0.0)
    survey, found = outcomes(tmp_path, 8, plan)
    assert np.sqrt(np.mean(found["R1"].left_nT ** 2)) <= 0.35
    facing = [stand["heading_deg"] for stand in noted(survey)[0]["stands"]]
    assert facing[2] == pytest.approx(90.0 + magnetic_north(plan), abs=0.1)


def test_facings_by_the_grid_are_taken_as_they_are(tmp_path):
    plan = Plan(lines=2, ties=0, spacing_m=120.0, azimuth_deg=0.0)
    assert magnetic_north(plan) < -15.0
    survey, found = outcomes(tmp_path, 8, plan, 'facings_from = "grid"')
    assert noted(survey)[0]["stands"][2]["heading_deg"] == 90.0
    # They were by the compass, so now the error is turned by 19 degrees.
    assert np.std(found["R1"].left_nT) > 0.8


def test_turned_off_takes_nothing_off_and_counts_the_expected_error(tmp_path):
    off = "apply = false\nexpected_nT = 3.0"
    survey, found = outcomes(tmp_path, 1, settings=off)
    assert not found["R1"].found_nT.any()
    assert 2.0 < np.median(found["R1"].sd_nT) < 3.5
    assert "turned off" in told(survey)[0]


def test_readings_get_it_in_their_row_and_stands_off_lines_the_expected_error(tmp_path):
    survey, _ = outcomes(tmp_path, 2)
    readings = read_product(survey, "readings").frame
    own = read_product(survey, "rover_heading").frame
    for name in ("heading_nT", "sd_heading_nT"):
        assert readings[name].equals(own[name])
    test = readings.filter(pl.col("line").is_null())
    assert test.height == 96
    assert (test["heading_nT"] == 0).all()
    assert test["sd_heading_nT"].min() >= 1.0
