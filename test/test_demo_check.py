"""What `lodewalk check` finds in the demo, against the faults that were planted in it.

Every planted fault has to be found by a finding that fits it in kind, instrument and time; of the
findings that raise a doubt no more than two may be about something that wasn't planted.
"""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import xmlschema

from demo_truth import off_truth, readings_with_truth, truth, unix
from lodewalk.formats.gpx import read
from lodewalk.services.check import check
from lodewalk.services.decide import decide, decisions_in_force, withdraw
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run

pytestmark = pytest.mark.slow

#: Kinds of findings that tell a planted fault.
TELL = {
    "base gap": {"gap in the base record", "bridge over a gap"},
    "position gap": {"no position"},
    "track gap": {"no position"},
    "dropout": {"dropout"},
    "duplicate": {"duplicate"},
    "spike": {"spike"},
    "item": {"test"},
    "steel": {"fence or power line", "surface iron", "compact source"},
}
STORM_DAY = "2026-03-11"


@pytest.fixture(scope="module")
def made(other_demo, tmp_path_factory):
    """A copy of the demo, to decide upon."""
    place = tmp_path_factory.mktemp("check") / "demo"
    shutil.copytree(other_demo.folder, place)
    return replace(other_demo, folder=str(place), truth=str(place / "truth"))


@pytest.fixture(scope="module")
def result(made):
    return check(open_folder(Path(made.folder)), pages=True)


@pytest.fixture(scope="module")
def faults(made):
    return truth(made, "faults")


def seconds(text):
    return np.datetime64(text.rstrip("Z"), "us").astype(float) / 1e6 if text else np.nan


def meets(finding, start, end, *, slack=5.0):
    """Whether a finding touches a span of time."""
    return seconds(finding.start_utc) <= end + slack and seconds(finding.end_utc) >= start - slack


@pytest.mark.parametrize("kind", [kind for kind in TELL if kind != "steel"])
def test_every_planted_fault_is_told(kind, result, faults):
    planted = faults.filter(kind=kind)
    assert planted.height
    for fault in planted.iter_rows(named=True):
        ends = unix(pl.Series([fault["start_utc"], fault["end_utc"]]))
        told = [
            f for f in result.findings
            if f.kind in TELL[kind] and f.instrument == fault["instrument"] and meets(f, *ends)
        ]  # fmt: skip
        assert told, fault


def test_the_clock_that_kept_gps_time_is_measured_and_the_others_are_not_accused(made, result):
    planted = {row["instrument"]: row["offset_s"] for row in truth(made, "clocks").to_dicts()}
    for row in result.clock:
        if planted[row.instrument]:
            assert row.state == "measured"
            assert row.offset_s == pytest.approx(planted[row.instrument], abs=3 * row.sd_s)
            assert row.sd_s < 1.0
            assert "GPS time" in row.text
        else:
            assert row.state == "not identifiable" or abs(row.offset_s) < 3 * row.sd_s


def test_the_storm_is_told_by_its_minutes_and_the_quiet_day_is_kept(result):
    minutes = {day.date: day.minutes for day in result.days}
    assert minutes[STORM_DAY]["re-walk"] > 20
    quiet = minutes["2026-03-10"]
    assert set(quiet) == {"keep", "unknown"}
    answers = {day.date: day.base.intervals[0].answer for day in result.days}
    assert answers == {"2026-03-10": "enough", STORM_DAY: "not enough"}


def test_the_radio_is_told_and_the_check_stations_pass(result):
    failed = [test for test in result.tests if test.passed is False]
    assert [(test.test, test.item, test.instrument) for test in failed] == [("with", "radio", "R1")]
    (radio,) = failed
    assert radio.figure_nT == pytest.approx(2.4, abs=3 * radio.sd_nT)
    assert sum(test.test == "check-station" for test in result.tests) == 4


def test_no_more_than_two_doubts_are_about_nothing(result, faults):
    spans = [
        (*unix(pl.Series([fault["start_utc"], fault["end_utc"]])), fault["instrument"])
        for fault in faults.iter_rows(named=True)
    ]
    storm = [f for f in result.findings if (f.start_utc or "").startswith(STORM_DAY)]
    false = [
        f for f in result.findings
        if f.severity != "information"
        and not any(meets(f, a, b) and f.instrument == name for a, b, name in spans)
        and not (f in storm and f.instrument == "B1")
    ]  # fmt: skip
    assert len(false) <= 2, [f.text for f in false]


def test_what_to_walk_again_is_a_route_of_the_lost_lines(made, result):
    route = read(Path(made.folder) / result.rewalk.gpx, role="plan").table.frame
    assert route.height == 2 * len(result.rewalk.spans)
    verdicts = {line.line: line.verdict for day in result.days for line in day.lines}
    assert all(verdicts[span.line] != "keep" for span in result.rewalk.spans)
    whole = {span.line for span in result.rewalk.spans if span.whole}
    lost = {line.line for day in result.days for line in day.lines if line.verdict == "re-walk"}
    assert whole <= lost
    assert result.rewalk.length_m == pytest.approx(
        sum(span.length_m for span in result.rewalk.spans), abs=1.0
    )


def test_the_route_is_valid_gpx(made, result):
    schema = xmlschema.XMLSchema(Path(__file__).parent / "published" / "gpx11.xsd")
    assert schema.is_valid(Path(made.folder) / result.rewalk.gpx)


def test_every_strong_steel_anomaly_is_told_as_culture(made, faults):
    """Fence posts and drum, 20 nT and more; a boulder's width can't tell it from iron."""
    events = pl.read_parquet(Path(made.folder) / "products" / "steps" / "rover_culture.parquet")
    steel = faults.filter((pl.col("kind") == "steel") & (pl.col("size_nT").abs() >= 20))
    starts, ends = unix(steel["start_utc"]) - 6, unix(steel["end_utc"]) + 6
    event_start, event_end = (events[f"{e}_utc"].dt.epoch("us").to_numpy() / 1e6
                              for e in ("start", "end"))  # fmt: skip
    told = [
        ((event_start <= end) & (event_end >= start)
         & (events["instrument"] == name).to_numpy()).any()
        for start, end, name in zip(starts, ends, steel["instrument"], strict=True)
    ]  # fmt: skip
    assert np.mean(told) >= 0.7
    fence = events.filter(pl.col("feature") >= 0)
    assert fence["feature"].n_unique() == 1
    assert set(fence["note"]) - {""} == {"fence"}
    assert fence["line"].n_unique() >= 20


def test_each_day_has_its_page(made, result):
    for day in result.days:
        page = Path(made.folder) / day.figure
        assert page.read_bytes()[1:4] == b"PNG"


def test_a_bridge_that_is_decided_gives_anomalies_with_true_errors(made, faults):
    folder = open_folder(Path(made.folder))
    taken = decide(folder, kind="bridge", instrument="B1", reason="error under 1 nT", who="AB")
    run(folder, to="readings")
    table = readings_with_truth(made)
    gap = unix(faults.filter(kind="base gap")["start_utc"])[0]
    end = unix(faults.filter(kind="base gap")["end_utc"])[0]
    time = unix(table["time_utc_true"])
    rows = (time > gap) & (time < end) & table["kept"].to_numpy()
    assert rows.sum() > 2000
    error, sd = off_truth(table)[rows], table["sd_nT"].to_numpy()[rows]
    assert np.mean(np.abs(error) < 1.645 * sd) > 0.8
    assert np.abs(error).max() < 2.0
    result = check(folder)
    assert not any("no base" in r for d in result.days for line in d.lines for r in line.reasons)
    withdraw(folder, taken.id, reason="to leave it as it was", who="AB")
    run(folder, to="readings")
    again = readings_with_truth(made).filter(pl.Series(rows))
    assert again["anomaly_nT"].null_count() == again.height


def test_without_its_decision_the_clock_is_a_doubt_and_its_evidence_is_the_same(made, result):
    folder = open_folder(Path(made.folder))
    (decided,) = decisions_in_force(folder)
    withdraw(folder, decided.id, reason="to see what it changes", who="AB")
    again = check(folder)
    before, after = (
        next(row for row in found.clock if row.instrument == "R2") for found in (result, again)
    )
    assert (before.offset_s, before.sd_s) == (after.offset_s, after.sd_s)
    assert (before.decided_s, after.decided_s) == (18.0, None)
    told = [f for f in again.findings if f.kind == "clock" and f.severity == "doubt"]
    assert len(told) == 1
    assert "--offset 17" in told[0].text or "--offset 18" in told[0].text
    assert json.loads((folder.products / "check.json").read_text())["clock"]
