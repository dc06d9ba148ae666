"""The main job end to end on a small survey whose truth doesn't come from lodewalk."""

import json
import re
import shutil
from datetime import datetime
from pathlib import Path

import jsonschema
import numpy as np
import polars as pl
import ppigrf
import pytest
from typer.testing import CliRunner

from lodewalk.cli.main import app
from lodewalk.survey.decisions import append_decision
from lodewalk.survey.folder import open_folder
from lodewalk.survey.state import read_state
from small_survey import CRS, diurnal, main_field, write_small_survey

MOMENT = datetime(2026, 3, 10, 14, 30)
SCHEMAS = Path(__file__).parents[1] / "doc" / "schema"
CORRECTIONS = ("diurnal", "reference", "instrument", "heading", "level", "micro_level")
#: What is made of the grid, up to the depths.
ROCKS = ("transforms", "trace", "picks", "fits", "dips", "compact", "depth")


def call(*words, schema=None):
    """Run a command with --json and return its object, checked against its schema."""
    shown = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
    assert shown.exit_code == 0, shown.output
    found = json.loads(shown.stdout)
    name = schema or words[0]
    jsonschema.validate(found, json.loads((SCHEMAS / f"{name}.schema.json").read_text()))
    return found


def ran(result):
    return {step["step"] for step in result["steps"] if step["ran"]}


def digests(path):
    state = read_state(open_folder(path))
    return {name: s.digest for made in state.values() for name, s in made.products.items()}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """A survey that was run once, and its truth."""
    root = tmp_path_factory.mktemp("job")
    truth = write_small_survey(root)
    path = root / "survey"
    call("new", path, "--name", "Small", "--crs", CRS)
    call("add", path, truth.base, "--role", "base", "--instrument", "B1")
    call("add", path, truth.rover, "--role", "rover", "--instrument", "R1")
    return path, truth, call("run", path)


@pytest.fixture
def survey(job, tmp_path):
    """A copy of the survey to change."""
    shutil.copytree(job[0], tmp_path / "survey")
    return tmp_path / "survey"


@pytest.fixture(scope="module")
def reported(job, tmp_path_factory):
    """What the report's command says of a copy of it; not to be changed."""
    return call("report", shutil.copytree(job[0], tmp_path_factory.mktemp("told") / "survey"))


def readings(path):
    return pl.read_parquet(path / "products" / "readings.parquet")


def test_every_reading_of_raw_is_there_and_kept(job):
    path, truth, result = job
    assert result["readings"] == {"total": truth.time.size, "kept": truth.time.size}
    assert all(Path(name).exists() for name in result["products"])
    assert readings(path)["line_in_file"].to_list() == list(range(2, truth.time.size + 2))


def test_the_anomaly_is_the_truth_up_to_one_constant(job):
    path, truth, _ = job
    error = readings(path)["anomaly_nT"].to_numpy() - truth.anomaly
    # The level rests on the datum; what is left is the planted noise of 0.05 nT.
    assert np.std(error) == pytest.approx(0.05, rel=0.15)
    assert np.abs(error - np.median(error)).max() < 0.25


def test_the_stated_error_covers_the_truth(job):
    path, truth, _ = job
    frame = readings(path)
    error = frame["anomaly_nT"].to_numpy() - truth.anomaly
    # No heading or position error is planted, and six lines that nothing crosses can't tell those
    # to less than the noise of 0.05 nT.
    others = frame["sd_heading_nT"].to_numpy() ** 2 + frame["sd_position_nT"].to_numpy() ** 2
    sd = np.sqrt(frame["sd_nT"].to_numpy() ** 2 - others)
    inside = np.abs(error - np.median(error)) < 1.645 * sd
    # 99 % of binomial trials of 366 readings at 90 % lie within 0.855 and 0.94; the noise itself
    # is estimated line by line from some 55 fourth differences (sd 10 %), which widens the band.
    assert 0.83 < inside.mean() < 0.97


def test_the_anomaly_is_its_columns_from_left_to_right_exactly(job):
    frame = readings(job[0])
    value = frame["raw_nT"].to_numpy()
    for name in CORRECTIONS:
        value = value - frame[f"{name}_nT"].to_numpy()
    np.testing.assert_array_equal(value, frame["anomaly_nT"].to_numpy())


def test_the_diurnal_correction_is_base_less_datum(job):
    path, truth, _ = job
    datum = json.loads((path / "products" / "steps" / "datum.json").read_text())["datum_nT"]
    expected = 22_950 + diurnal(truth.time) - datum
    # A chord of 10 s departs from this parabola by 6e-6 nT; the base is written to 0.001 nT.
    np.testing.assert_allclose(readings(path)["diurnal_nT"].to_numpy(), expected, atol=0.001)


def test_the_reference_field_is_that_of_another_library(job):
    path, truth, _ = job
    expected, _, _ = main_field(truth.easting, truth.northing)
    found = readings(path)["reference_nT"].to_numpy()
    # The other library blends by calendar days; half a day of -18 nT a year is 0.02 nT.
    np.testing.assert_allclose(found, expected, atol=0.05)


def test_a_second_run_runs_nothing(job):
    assert ran(call("run", job[0])) == set()


def set_value(path, section, line):
    text = (path / "survey.toml").read_text()
    head = f"[{section}]"
    assert head in text
    (path / "survey.toml").write_text(text.replace(head, f"{head}\n{line}"))


def test_one_setting_runs_only_what_depends_on_it_and_says_why(survey):
    set_value(survey, "grid", "spacing_m = 4.0")
    result = call("run", survey)
    assert ran(result) == {"grid", "summary", *ROCKS}
    why = {step["step"]: step["why"] for step in result["steps"]}
    assert why["grid"] == ["setting grid.spacing_m changed from None to 4.0"]


def test_an_unchanged_digest_stops_the_run_there(survey):
    set_value(survey, "diurnal", "max_gap_s = 250.0")
    # The ties, the minutes and the budget read the setting too; what all make is the same as
    # before, so the check is made anew only because it says what the base was held against.
    assert ran(call("run", survey)) == {"ties", "diurnal", "minutes", "budget", "check"}


def test_why_tells_before_running(survey):
    assert not call("why", survey, "grid", schema="why-step")["stale"]
    set_value(survey, "datum", "value_nT = 22000.0")
    found = call("why", survey, "grid", schema="why-step")
    assert found["stale"]
    assert found["reasons"] == [
        "step readings has to run first",
        "step surface has to run first",
        "step standard_error has to run first",
    ]
    direct = call("why", survey, "diurnal", schema="why-step")
    assert direct["reasons"] == ["setting datum.value_nT changed from None to 22000.0"]


def test_moving_the_datum_moves_the_whole_map_by_a_constant(survey):
    before = readings(survey)["anomaly_nT"].to_numpy()
    set_value(survey, "datum", "value_nT = 22000.0")
    call("run", survey)
    shift = readings(survey)["anomaly_nT"].to_numpy() - before
    assert np.ptp(shift) < 1e-9
    assert shift[0] == pytest.approx(22_000 - 22_950, abs=20)


def test_a_reading_is_traced_to_file_and_line(job):
    path, truth, _ = job
    found = call("why", path, "rover.csv:12", schema="why-reading")
    assert found["origin"]["text"] == truth.rover.read_text().splitlines()[11]
    assert [item["file"] for item in found["base"]] == ["base.csv", "base.csv"]
    again = call("why", path, found["reading"]["reading_id"], schema="why-reading")
    assert again == found


def test_the_order_of_adding_does_not_matter(job, tmp_path):
    path, truth, _ = job
    other = tmp_path / "other"
    call("new", other, "--name", "Small", "--crs", CRS)
    call("add", other, truth.rover, "--role", "rover", "--instrument", "R1")
    call("add", other, truth.base, "--role", "base", "--instrument", "B1")
    call("run", other)
    assert digests(other) == digests(path)


def test_products_can_be_deleted_and_made_again(survey):
    before = digests(survey)
    shutil.rmtree(survey / "products")
    call("run", survey)
    assert digests(survey) == before


def test_a_damaged_product_is_made_again(survey):
    before = digests(survey)
    target = survey / "products" / "readings.parquet"
    target.write_bytes(target.read_bytes()[:-40])
    result = call("run", survey)
    assert "product readings is missing or was changed" in str(result["steps"])
    assert digests(survey) == before


def test_a_decision_drops_a_span_and_its_withdrawal_brings_it_back(survey):
    folder = open_folder(survey)
    span = {"instrument": "R1", "start": "2026-03-10T14:00:10", "end": "2026-03-10T14:00:20"}
    about = {"kind": "drop", "target": span, "value": None, "reason": "car", "who": "AB"}
    taken = append_decision(folder, **about)
    result = call("run", survey)
    assert result["readings"]["total"] - result["readings"]["kept"] == 6
    dropped = readings(survey).filter(~pl.col("kept"))
    assert set(dropped["reason"]) == {"dropped by decision"}
    append_decision(folder, **about, withdraws=taken.id)
    assert call("run", survey)["readings"]["kept"] == result["readings"]["total"]


def test_a_clock_decision_moves_times(survey):
    before = readings(survey)["time_utc"]
    append_decision(
        open_folder(survey),
        kind="clock",
        target={"instrument": "R1"},
        value={"offset_s": 18.0},
        reason="showed GPS time",
        who="AB",
    )
    call("run", survey)
    moved = (before - readings(survey)["time_utc"]).dt.total_milliseconds()
    assert moved.unique().to_list() == [18_000]


def test_check_keeps_the_day(job):
    found = call("check", job[0])
    assert [(day["date"], day["verdict"]) for day in found["days"]] == [("2026-03-10", "keep")]
    assert len(found["days"][0]["lines"]) == 6
    assert {row["instrument"]: row["state"] for row in found["clock"]} == {
        "B1": "not identifiable",
        "R1": "not identifiable",
    }
    assert found["rewalk"]["length_m"] == 0


def test_report_is_one_file_without_outside_resources(reported):
    text = Path(reported["report"]).read_text()
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert "https://" not in text
    assert "not a clearance" in text
    for name in ("map", "sheets", "profiles"):
        assert Path(reported[name]).stat().st_size > 10_000


def test_the_report_tells_the_field_of_the_site(reported):
    """Declination, inclination and strength there by the other library."""
    text = Path(reported["report"]).read_text()
    east, north, up = (part.item() for part in ppigrf.igrf(-50.404, -24.91, 0.8, MOMENT))
    horizontal = np.hypot(east, north)
    expected = {
        "Declination": np.degrees(np.arctan2(east, north)),
        "Inclination": np.degrees(np.arctan2(-up, horizontal)),
        "Total field": np.hypot(horizontal, up),
    }
    for label, value in expected.items():
        shown = re.search(rf">{label}</th><td>([^<° ]+)", text)[1].replace("−", "-")
        assert float(shown) == pytest.approx(value, abs=0.05 if label[0] in "DI" else 2.0)
    assert "magnetic north: not known" not in text


def test_a_base_gap_gives_no_number(tmp_path):
    truth = write_small_survey(tmp_path)
    lines = truth.base.read_text().splitlines()
    truth.base.write_text("\n".join([*lines[:100], *lines[145:]]) + "\n")  # 450 s lost
    path = tmp_path / "survey"
    call("new", path, "--name", "Small", "--crs", CRS)
    call("add", path, truth.base, "--role", "base")
    call("add", path, truth.rover, "--role", "rover")
    result = call("run", path)
    lacking = readings(path).filter(pl.col("anomaly_nT").is_null())
    assert result["readings"]["total"] - result["readings"]["kept"] == lacking.height > 200
    assert set(lacking["reason"]) == {"inside a gap of the base record"}
    assert lacking["sd_nT"].null_count() == lacking.height
    day = call("check", path)["days"][0]
    verdicts = {line["line"]: line["verdict"] for line in day["lines"]}
    # The base lost 90 to 540 s; a line takes 122 s. So smooth a field can be bridged, if a person
    # decides so: no line is lost, none is kept as it stands.
    assert all("a bridge would serve" in line["reasons"][0] for line in day["lines"][:5])
    assert verdicts == {
        "L1": "doubt", "L2": "doubt", "L3": "doubt", "L4": "doubt", "L5": "doubt",
        "L6": "keep",
    }  # fmt: skip
    assert day["verdict"] == "doubt"


def test_without_a_base_there_is_no_anomaly_and_the_run_says_so(tmp_path):
    truth = write_small_survey(tmp_path)
    path = tmp_path / "survey"
    call("new", path, "--name", "Small", "--crs", CRS)
    call("add", path, truth.rover, "--role", "rover")
    assert call("run", path)["readings"]["kept"] == 0
    assert set(readings(path)["reason"]) == {"no base record"}
    summary = json.loads((path / "products" / "summary.json").read_text())
    assert summary["grid"]["problem"]
    assert Path(call("report", path)["report"]).exists()


def test_an_empty_survey_runs(tmp_path):
    path = tmp_path / "survey"
    call("new", path, "--name", "Empty", "--crs", CRS)
    assert call("run", path)["readings"] == {"total": 0, "kept": 0}
    assert call("check", path)["days"] == []
    assert Path(call("report", path)["report"]).exists()
