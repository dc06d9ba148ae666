"""A plan that is refused, stopped or a draft changes nothing; what was added can be taken back."""

import os
import re
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from lodewalk.cli.main import app
from lodewalk.errors import InputError
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.plan import plan
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.store import read_product
from planned_area import CRS
from walked_area import geojson, legs, spaced, walk

SQUARE = [(0, 0), (200, 0), (200, 200), (0, 200)]
BESIDE = [(300, 0), (500, 0), (500, 100), (300, 100)]


@pytest.fixture
def empty(tmp_path):
    settings = {"plan": {"line_spacing_m": 50.0, "line_azimuth_deg": 0.0, "repeat_length_m": 60.0}}
    new_survey(tmp_path / "survey", name="Hill", crs=CRS, settings=settings)
    return open_folder(tmp_path / "survey")


@pytest.fixture
def survey(empty, tmp_path):
    plan(empty, area=[geojson(tmp_path / "square.geojson", SQUARE)])
    return empty


def kept(survey):
    """Return the bytes of all that a plan leaves behind."""
    places = (survey.products / "plan", survey.raw)
    return {path: path.read_bytes() for place in places for path in place.rglob("*.*")}


def roles(survey):
    return {entry.name: entry.role for entry in read_ledger(survey)}


def test_a_plan_that_is_refused_changes_no_file(survey, tmp_path):
    walk(survey, tmp_path, legs(survey, "L001"))
    before = kept(survey)
    with pytest.raises(InputError, match="Rover files are in the survey"):
        plan(spaced(survey, 80.0))
    assert kept(survey) == before


def test_a_plan_stopped_while_its_files_are_written_leaves_the_former_ones(survey, monkeypatch):
    before = kept(survey)

    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("lodewalk.handover.plan_package.write_geopackage", stopped)
    with pytest.raises(KeyboardInterrupt):
        plan(spaced(survey, 80.0))
    after = kept(survey)
    changed = {path.name for path in before if after.get(path) != before[path]}
    assert changed <= {"plan.json", "lines.parquet", "points.parquet"}  # the step's own products
    assert set(after) == set(before)
    monkeypatch.undo()
    plan(open_folder(survey.path))
    assert (
        kept(survey)[survey.products / "plan" / "plan.gpx"]
        != before[survey.products / "plan" / "plan.gpx"]
    )


def test_a_draft_lies_beside_the_plan_adopted(survey):
    before = kept(survey)
    draft = CliRunner().invoke(app, ["plan", str(spaced(survey, 80.0).path), "--draft"])
    assert "Draft: written to products/plan/draft" in draft.output
    after = kept(survey)
    products = {"plan.json", "lines.parquet", "points.parquet"}
    assert all(after[path] == before[path] for path in before if path.name not in products)
    assert (survey.products / "plan" / "draft" / "plan.gpx").exists()


def test_an_area_given_to_plan_takes_the_place_of_the_one_before(survey, tmp_path):
    other = geojson(tmp_path / "beside.geojson", BESIDE)
    result = plan(survey, area=[other], draft=True)
    assert result.area_m2 == pytest.approx(20_000.0, rel=0.001)
    assert result.set_aside == ["raw/square.geojson"]
    assert roles(survey)["square.geojson"] == "set_aside"
    told = CliRunner().invoke(
        app, ["plan", str(survey.path), "--draft", "--area", str(tmp_path / "square.geojson")]
    )
    assert "raw/beside.geojson: set aside" in told.output
    assert (roles(survey)["square.geojson"], roles(survey)["beside.geojson"]) == (
        "area", "set_aside",
    )  # fmt: skip


def test_an_area_that_is_added_joins_and_says_so(survey, tmp_path):
    other = geojson(tmp_path / "beside.geojson", BESIDE)
    (told,) = add_files(survey, [other], role="area").files
    assert any("joins the area that is there" in text for text in told.understood)
    assert plan(survey, draft=True).area_m2 == pytest.approx(60_000.0, rel=0.001)


def test_a_file_set_aside_is_read_by_no_step_and_comes_back(survey, tmp_path):
    other = geojson(tmp_path / "beside.geojson", BESIDE)
    add_files(survey, [other], role="area")
    told = CliRunner().invoke(
        app, ["add", str(survey.path), str(survey.raw / "beside.geojson"), "--role", "set_aside"]
    )
    assert told.exit_code == 0, told.output
    assert "no step reads it; role area brings it back" in told.output
    run(survey, to="plan")
    assert read_product(survey, "plan")["area_m2"] == pytest.approx(40_000.0, rel=0.001)
    with pytest.raises(InputError, match="set aside already"):
        add_files(survey, [other], role="set_aside")
    add_files(survey, [other], role="area")
    assert roles(survey)["beside.geojson"] == "area"


def test_only_a_file_of_the_survey_can_be_set_aside(survey, tmp_path):
    other = geojson(tmp_path / "beside.geojson", BESIDE)
    with pytest.raises(InputError, match=r"beside\.geojson: Only a file that is in the survey"):
        add_files(survey, [other], role="set_aside")


def test_a_plan_refused_for_a_new_file_says_how_to_take_it_back(survey, tmp_path):
    lake = geojson(
        tmp_path / "lake.geojson", [(-50, -50), (250, -50), (250, 250), (-50, 250)], kind="water"
    )
    with pytest.raises(InputError, match=r"raw/lake\.geojson --role set_aside"):
        plan(survey, exclude=[lake])
    add_files(survey, [survey.raw / "lake.geojson"], role="set_aside")
    assert plan(survey).adopted == "raw/adopted-plan.gpx"


@pytest.mark.skipif(sys.platform == "win32", reason="No limit of file sizes there.")
@pytest.mark.parametrize("kilobytes", [40, 100])
def test_a_full_disk_is_one_line_and_leaves_nothing(survey, kilobytes):
    before = kept(survey)
    spaced(survey, 80.0)
    command = f"ulimit -f {kilobytes}; exec {sys.executable} -m lodewalk plan {survey.path}"
    done = subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, check=False, env=dict(os.environ)
    )
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    (line,) = done.stderr.strip().splitlines()
    assert re.match(r"lodewalk: (File too large|The GeoPackage can't be written) \(.+\)", line)
    after = kept(survey)
    products = {"plan.json", "lines.parquet", "points.parquet"}
    assert all(after[path] == before[path] for path in before if path.name not in products)
    assert set(after) == set(before)
