"""Lag and lever arm through the steps and the command line: found, proposed, decided, applied."""

import json
import shutil
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from late_survey import (
    base_rows,
    one_way,
    planted,
    rover_rows,
    rule,
    track_text,
    write_late,
)
from lodewalk.handover.evening import evening_of
from lodewalk.methods.corrections.lag import UNKNOWN
from lodewalk.methods.corrections.lag_judgement import LagJudgement
from lodewalk.services.add import add_files
from lodewalk.services.check import check
from lodewalk.services.decide import decide, withdraw
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.services.why import why
from lodewalk.steps.findings import FindingList
from lodewalk.steps.lag_words import RoverLag, tell_lag
from lodewalk.steps.proposed import Proposal
from lodewalk.steps.sensor import Arm
from lodewalk.survey.folder import open_folder
from lodewalk.survey.state import read_state
from lodewalk.survey.store import read_product
from small_survey import CRS, SOUTH, WEST, diurnal

LAG_S = 0.5
WHO = {"reason": "zigzag", "who": "AB"}
CENTRE = ("easting_m", "northing_m")


def made(root, late):
    """Return the folder of a survey that was run to its lag and its readings."""
    base, rover = write_late(root, late)
    new_survey(root / "survey", name="Late", crs=CRS)
    folder = open_folder(root / "survey")
    add_files(folder, [base], role="base", instrument="B1")
    add_files(folder, [rover], role="rover", instrument="R1")
    bring_up(folder)
    return folder


def bring_up(folder):
    """Run to the lag's evidence and to the readings; return the steps that ran."""
    results = [run(folder, to=step) for step in ("lag", "readings")]
    return [step.step for result in results for step in result.steps if step.ran]


@pytest.fixture(scope="session")
def late_job(tmp_path_factory):
    """Return a survey with half a second planted, run once, and its truth; not to be changed."""
    late = planted(1, rule(lag_s=LAG_S))
    return made(tmp_path_factory.mktemp("late"), late).path, late


@pytest.fixture
def late(late_job, tmp_path):
    """Return a copy of that survey and its truth."""
    shutil.copytree(late_job[0], tmp_path / "survey")
    return open_folder(tmp_path / "survey"), late_job[1]


def add_rover(bench, late, *, track=False, ahead_s=0.0, name="R1", base=True):
    """Add base and rover, with its own fixes or a track."""
    if base:
        bench.add("base.csv", base_rows(late), "base", "B1")
    rows = rover_rows(late, ahead_s=ahead_s, fixes=not track)
    bench.add(f"{name}.csv", rows, "rover", name)
    if track:
        bench.add(f"{name}.gpx", track_text(late), "track", name)


def rovers(folder):
    return {row["instrument"]: row for row in read_product(folder, "lag")["rovers"]}


def told(folder, kind="lag"):
    """Return the findings of a kind, lag and clocks brought up to date."""
    run(folder, to="lag")
    rows = [
        row
        for name in ("lag_findings", "clock_findings")
        for row in read_product(folder, name).frame.to_dicts()
    ]
    return [SimpleNamespace(**row) for row in rows if row["kind"] == kind]


def places(folder, product="rover_positions"):
    positions = read_product(folder, product)
    return [positions.floats(axis) for axis in CENTRE]


def off(folder, late, product="rover_positions"):
    """Return how far positions are from where the sensor was, on the lines."""
    east, north = places(folder, product)
    return np.hypot(east - late.true_east, north - late.true_north)[late.line >= 0]


def digests(folder):
    return {
        name: stored.digest
        for step in read_state(folder).values()
        for name, stored in step.products.items()
    }


def proposed(text):
    """Return the decision that a finding proposes, as keywords."""
    words = text.split("To confirm: ")[1].rstrip(".").split()
    assert words[0] == "decide"
    given = {key.lstrip("-"): value for key, value in zip(words[2::2], words[3::2], strict=True)}
    return words[1], given


def decide_lag(folder, lag_s, **more):
    return decide(folder, kind="lag", instrument="R1", lag_s=lag_s, **WHO, **more)


def test_half_a_second_is_found_and_proposed(late):
    folder, _ = late
    row = rovers(folder)["R1"]
    assert abs(row["lag_s"] - LAG_S) <= max(0.1, 1.645 * row["sd_s"])
    low, high = row["interval_90_s"]
    assert low < LAG_S < high
    assert row["sd_s"] < 0.25
    assert (row["state"], row["positions_by"]) == ("combination only", "its own fixes")
    (finding,) = [f for f in check(folder).findings if f.kind == "lag"]
    assert (finding.severity, finding.instrument) == ("doubt", "R1")
    kind, given = proposed(finding.text)
    assert kind == "lag"
    assert float(given["lag"]) == pytest.approx(row["lag_s"], abs=0.006)
    assert row["proposal"] in finding.text
    lag, sd = float(given["lag"]), float(given["sd"])
    assert finding.proposal == Proposal("lag", "R1", lag_s=lag, sd_s=sd)


def test_nothing_moves_before_a_person_decides(late):
    folder, _ = late
    for one, other in zip(places(folder), places(folder, "rover_recorded_positions"), strict=True):
        np.testing.assert_array_equal(one, other)
    stored = digests(folder)
    assert stored["rover_positions"] == stored["rover_recorded_positions"]


def grid_of(folder):
    """Return the grid of the anomaly at places half a spacing apart inside the lines [nT]."""
    run(folder, to="grid")
    grid = read_product(folder, "grids").grids[0]
    read = RegularGridInterpolator((grid.northings, grid.eastings), grid.values)
    north, east = np.meshgrid(np.arange(10.0, 290.0, 5.0), np.arange(2.0, 218.0, 5.0))
    return read((north + SOUTH, east + WEST))


def test_the_decision_moves_positions_and_leaves_the_evidence(late):
    folder, walked = late
    before, evidence = off(folder, walked), rovers(folder)["R1"]
    kind, given = proposed(told(folder)[0].text)
    decide(folder, kind=kind, instrument=given["instrument"], lag_s=float(given["lag"]),
           sd_s=float(given["sd"]), **WHO)  # fmt: skip
    run(folder, to="lag")
    # 0.5 s at 1.2 m/s; what stays is the planted 0.1 m of the receiver and the estimate's error.
    assert np.median(before) == pytest.approx(0.6, abs=0.1)
    assert np.median(off(folder, walked)[1:]) < 0.25
    after = rovers(folder)["R1"]
    changed = {"decided_s", "left_s", "displaced_m", "change_nT", "proposal"}
    assert {k: v for k, v in after.items() if k not in changed} == {
        k: v for k, v in evidence.items() if k not in changed
    }
    assert after["decided_s"] == [float(given["lag"])]
    assert abs(after["left_s"]) < 0.006
    (finding,) = told(folder)
    assert finding.severity == "information"
    assert "Decided" in finding.text
    assert after["proposal"] is None


def test_the_zigzag_of_the_grid_is_gone(late, tmp_path_factory):
    folder, walked = late
    exact = replace(walked, east=walked.true_east, north=walked.true_north)
    true = grid_of(made(tmp_path_factory.mktemp("exact"), exact))
    zigzag = np.nanstd(grid_of(folder) - true)
    _, given = proposed(told(folder)[0].text)
    decide_lag(folder, float(given["lag"]))
    # What stays is that of positions to 0.1 m and of the lag's own error.
    assert zigzag > 0.7
    assert np.nanstd(grid_of(folder) - true) < 0.4 * zigzag


def test_the_second_run_is_up_to_date_and_withdrawing_brings_the_old_digests_back(late):
    folder, _ = late
    old = digests(folder)
    assert {"rover_positions", "readings", "lag"} <= set(old)
    decision = decide_lag(folder, LAG_S, sd_s=0.1)
    assert bring_up(folder)[0] == "position"
    assert not bring_up(folder)
    assert digests(folder)["rover_positions"] != old["rover_positions"]
    assert digests(folder)["clock_evidence"] == old["clock_evidence"]
    withdraw(folder, decision.id, **WHO)
    bring_up(folder)
    assert digests(folder) == old


def test_a_decided_sd_is_in_the_error_of_the_position(late):
    folder, walked = late
    recorded = read_product(folder, "rover_positions").floats("sd_m")
    decide_lag(folder, LAG_S, sd_s=0.4)
    run(folder, to="position")
    sd = read_product(folder, "rover_positions").floats("sd_m")
    more = np.sqrt(sd**2 - recorded**2)[walked.line >= 0]
    speed = np.hypot(np.gradient(walked.east), np.gradient(walked.north))[walked.line >= 0]
    assert np.median(more) == pytest.approx(0.4 * np.median(speed), rel=0.05)


def test_a_decision_of_one_span_moves_that_span(late):
    folder, walked = late
    decide_lag(folder, LAG_S, end="2026-03-10T14:15:00")
    run(folder, to="lag")
    there, then = places(folder), places(folder, "rover_recorded_positions")
    moved = np.hypot(there[0] - then[0], there[1] - then[1]) > 0
    assert not moved[walked.time_s > 900].any()
    assert moved[(walked.time_s <= 900) & (walked.line >= 0)][1:].mean() > 0.99


def test_the_first_reading_keeps_its_place_with_the_error(late):
    folder, _ = late
    recorded = read_product(folder, "rover_positions").floats("sd_m")
    decide_lag(folder, LAG_S)
    run(folder, to="position")
    east = [part[0][0] for part in (places(folder), places(folder, "rover_recorded_positions"))]
    assert east[0] == east[1]
    sd = read_product(folder, "rover_positions").floats("sd_m")
    assert sd[0] > recorded[0]
    assert sd[1000] == recorded[1000]  # no sd was decided
    moved = [f for f in read_product(folder, "position_findings").frame.to_dicts()
             if f["kind"] == "positions moved"]  # fmt: skip
    assert "lag of +0.5 s" in moved[0]["text"]
    assert "1 other" in moved[0]["text"]


def test_a_measured_arm_moves_positions_without_a_decision(bench):
    walked = planted(2, rule(lag_s=0.0, ahead_m=-0.8, right_m=0.4, speed_spread=0.0))
    add_rover(bench, walked)
    bench.set("instruments.R1", ahead_m=-0.8, right_m=0.4)
    folder = open_folder(bench.path)
    run(folder, to="lag")
    before = np.median(off(folder, walked, "rover_recorded_positions"))
    assert before == pytest.approx(np.hypot(0.8, 0.4), abs=0.15)
    assert np.median(off(folder, walked)) < 0.2
    row = rovers(folder)["R1"]
    assert (row["ahead_m"], row["right_m"], row["state"]) == (-0.8, 0.4, "measured")
    assert abs(row["lag_s"]) < 0.3
    (finding,) = told(folder)
    assert finding.severity == "information"


def test_a_lag_beside_a_measured_arm_is_proposed_with_the_arm_allowed_for(bench):
    walked = planted(3, rule(lag_s=1.0, ahead_m=-0.8, speed_spread=0.0))
    add_rover(bench, walked)
    bench.set("instruments.R1", ahead_m=-0.8)
    folder = open_folder(bench.path)
    run(folder, to="lag")
    row, before = rovers(folder)["R1"], np.median(off(folder, walked, "rover_recorded_positions"))
    assert abs(row["lag_s"] - 1.0) < 3 * row["sd_s"]
    assert row["sd_s"] < 0.2
    _, given = proposed(told(folder)[0].text)
    decide_lag(folder, float(given["lag"]))
    run(folder, to="lag")
    assert np.median(off(folder, walked)) < 0.25 * before
    assert told(folder)[0].severity == "information"


def test_without_lag_nothing_is_proposed(bench):
    add_rover(bench, planted(4, rule(lag_s=0.0)))
    folder = open_folder(bench.path)
    run(folder, to="lag")
    (finding,) = told(folder)
    assert finding.severity == "information"
    assert rovers(folder)["R1"]["proposal"] is None


@pytest.mark.parametrize("case", ["one way", "no anomaly", "one line"])
def test_where_nothing_can_be_told_that_is_information_only(bench, case):
    if case == "one way":
        walked = one_way(planted(5, rule(ties=0, lines=20)))
    elif case == "one line":
        walked = planted(5, rule(lines=1, ties=0))
    else:
        walked = planted(5, rule(rms_nT=1e-3))
    add_rover(bench, walked)
    folder = open_folder(bench.path)
    run(folder, to="lag")
    (finding,) = told(folder)
    assert finding.severity == "information"
    assert "not identifiable" in finding.text
    row = rovers(folder)["R1"]
    assert (row["state"], row["lag_s"], row["sd_s"]) == ("not identifiable", None, None)
    assert row["interval_90_s"] == [None, None]


def test_without_a_base_the_raw_field_tells_it(bench):
    add_rover(bench, planted(1, rule()), base=False)
    run(open_folder(bench.path), to="lag")
    row = rovers(open_folder(bench.path))["R1"]
    assert row["field"] == "raw"
    assert abs(row["lag_s"] - LAG_S) <= max(0.1, 2 * row["sd_s"])


def test_a_rover_placed_by_a_track_has_a_difference_of_clocks_and_one_proposal(bench):
    walked = planted(6, rule(lag_s=0.6))
    add_rover(bench, walked, track=True)
    folder = open_folder(bench.path)
    run(folder, to="lag")
    row = rovers(folder)["R1"]
    assert row["positions_by"] == "a track"
    (finding,) = told(folder)
    assert "difference of the clocks" in finding.text
    kind, given = proposed(finding.text)
    assert kind == "clock"
    data = {"kind": "clock", "instrument": "R1", "offset_s": float(given["offset"])}
    assert json.loads(finding.proposal) == data
    assert not [f for f in told(folder, "clock") if f.severity == "doubt"]
    decide(folder, kind="clock", instrument="R1", offset_s=float(given["offset"]), **WHO)
    run(folder, to="lag")
    assert told(folder)[0].severity == "information"
    assert np.nanmedian(off(folder, walked)) < 0.35
    assert not [f for f in told(folder, "clock") if f.severity == "doubt"]


def test_a_clock_that_is_off_is_proposed_once(bench):
    walked = planted(6, rule(lag_s=0.0))
    add_rover(bench, walked, track=True, ahead_s=5.0)
    folder = open_folder(bench.path)
    run(folder, to="lag")
    (clock,) = [f for f in told(folder, "clock") if f.severity == "doubt"]
    assert "decide clock" in clock.text
    (finding,) = told(folder)
    assert finding.severity == "information"
    assert "decide" not in finding.text
    assert rovers(folder)["R1"]["proposal"] is None


def test_lines_told_by_the_track_leave_the_evidence_too(bench):
    walked = planted(1, rule(lag_s=3.0))
    bench.add("base.csv", base_rows(walked), "base", "B1")
    bench.add("R1.csv", rover_rows(walked, marks=False), "rover", "R1")
    folder = open_folder(bench.path)
    run(folder, to="lag")
    before, clocks = rovers(folder)["R1"], digests(folder)["clock_evidence"]
    assert abs(before["lag_s"] - 3.0) < 3 * before["sd_s"]
    decide_lag(folder, 3.0)
    run(folder, to="lag")
    after = rovers(folder)["R1"]
    for name in ("lag_s", "sd_s", "ahead_m", "ahead_sd_m", "windows", "crossings", "speed_m_s"):
        assert after[name] == before[name], name
    assert digests(folder)["clock_evidence"] == clocks


def test_why_tells_where_a_reading_was_recorded_and_why_it_moved(late):
    folder, _ = late
    assert not any("as recorded" in line for line in why(folder, "rover.csv:500").sentences)
    decide_lag(folder, LAG_S)
    run(folder, to="readings")
    (told_so,) = [line for line in why(folder, "rover.csv:500").sentences if "as recorded" in line]
    assert "AB decided a lag of +0.5 s: zigzag" in told_so


def test_the_report_tells_it_beside_the_clocks(late):
    folder, _ = late
    (finding,) = [f for f in check(folder).findings if f.kind == "lag"]
    evening = evening_of(read_product(folder, "check"))
    assert evening.lag_text == (finding.text,)


def test_a_track_rover_moves_by_a_decided_lag_and_arm(bench):
    walked = planted(7, rule(lag_s=0.8, ahead_m=0.5, speed_spread=0.0))
    add_rover(bench, walked, track=True)
    bench.set("instruments.R1", ahead_m=0.5)
    folder = open_folder(bench.path)
    decide_lag(folder, 0.8)
    run(folder, to="position")
    assert np.median(off(folder, walked)) < 0.25
    assert np.median(off(folder, walked, "rover_recorded_positions")) > 0.4


def test_two_rovers_have_a_lag_each(bench):
    one, other = planted(8, rule(lag_s=0.0)), planted(9, rule(lag_s=1.0))
    shift = one.time_s[-1] + 600.0
    change = diurnal(other.time_s + shift) - diurnal(other.time_s)
    later = replace(other, time_s=other.time_s + shift, field_nT=other.field_nT + change)
    both = replace(one, time_s=np.append(one.time_s, later.time_s[-1]))
    bench.add("base.csv", base_rows(both), "base", "B1")
    bench.add("R1.csv", rover_rows(one), "rover", "R1")
    bench.add("R2.csv", rover_rows(later), "rover", "R2")
    folder = open_folder(bench.path)
    run(folder, to="lag")
    found = rovers(folder)
    for name, lag in (("R1", 0.0), ("R2", 1.0)):
        assert abs(found[name]["lag_s"] - lag) <= max(0.1, 2 * found[name]["sd_s"]), name
    assert [f.instrument for f in told(folder) if f.severity == "doubt"] == ["R2"]
    decide(folder, kind="lag", instrument="R2", lag_s=1.0, **WHO)
    run(folder, to="position")
    there, then = places(folder), places(folder, "rover_recorded_positions")
    moved = np.hypot(there[0] - then[0], there[1] - then[1]) > 0
    assert not moved[: one.time_s.size].any()
    assert moved[one.time_s.size + 1 :].all()


def test_a_lag_on_places_without_a_receiver_has_no_effect_and_that_is_told(late):
    folder, _ = late
    decide_lag(folder, 0.5, start="2027-01-01T00:00:00")
    run(folder, to="position")
    texts = read_product(folder, "position_findings").frame["text"].to_list()
    assert any("kind lag meets no position by a receiver" in text for text in texts)


def test_a_track_rover_whose_clock_is_not_set_says_that_a_refusal_does_not_set_it():
    judged = LagJudgement(1.5, 0.1, 1.5, 1.5, 4.0, certain=True, matters=True)
    rover = RoverLag(
        "R1", by_track=True, corrected=True, arm=Arm(None, None),
        found=replace(UNKNOWN, state="combination only", speed_m_s=1.0), judged=judged,
        decided_s=(), clock_s=(0.0,), clock_open=True, span_s=(0.0, 9.0),
    )  # fmt: skip
    found = FindingList("lag")
    for one in (rover, replace(rover, clock_open=False)):
        tell_lag(found, one)
    waits, proposes = found.rows
    assert waits["proposal"] is None
    assert "until a decision sets that clock, which a refusal doesn't do" in waits["text"]
    assert json.loads(proposes["proposal"])["offset_s"] == 1.5
