"""From a polygon to a plan, walked in the demo's ground: the dyke is found as promised.

Twenty surveys of a strong and a faint dyke are bench/evidence_planned_demo.py.
"""

import json

import polars as pl
import pytest

from lodewalk.formats.gpx import read as read_gpx
from lodewalk.services.check import check
from lodewalk.survey.folder import open_folder
from planned_demo import SIZE_M, STRONG, walked_and_searched


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("planned")
    return folder / "survey", walked_and_searched(folder, STRONG, SIZE_M, 7)


def test_a_dyke_like_the_demos_is_found_as_promised(walked):
    _, one = walked
    assert one.promised > 0.99
    assert one.found
    assert one.kept > 0.98


def test_lines_and_coverage_are_those_of_the_plan(walked):
    folder, _ = walked
    routes = read_gpx(folder / "raw" / "adopted-plan.gpx", role="plan").table
    wanted = set(routes.strings("line")) - {"R01"}
    readings = pl.read_parquet(folder / "products" / "readings.parquet")
    assert set(readings["line"].drop_nulls()) == wanted | {"R01"}  # walked at both ends of the day
    checked = check(open_folder(folder))
    covered = {row.line: row for row in checked.coverage}
    assert set(covered) == wanted
    assert checked.rewalk.length_m == 0
    assert all(row.covered_share > 0.95 for row in covered.values())


def test_the_plan_tells_its_promise_and_its_files(walked):
    folder, one = walked
    plan = json.loads((folder / "products" / "plan" / "plan.json").read_text(encoding="utf-8"))
    assert plan["detection"]["probability"] == one.promised
    assert (folder / "products" / "plan" / "plan.gpx").exists()
