"""`lodewalk feasibility` with a folder and without, its errors and its JSON."""

import json
import re

import jsonschema
import pytest
from pydantic import TypeAdapter

from lodewalk.services.feasibility import FeasibilityResult
from lodewalk.services.new import new_survey
from small_survey import CRS

CHEAP = ("--kind", "sphere", "--radius", "4", "--depth", "12", "--spacing", "20")
PLACE = ("--lat", "-24.98", "--lon", "-50.01")


def test_a_place_and_defaults_are_enough(lodewalk):
    done = lodewalk("feasibility", *PLACE, *CHEAP)
    assert done.code == 0, done.err
    first, *rest = done.out.splitlines()
    assert first.split(":")[0] in {"Go", "Doubtful", "No-go"}
    assert "probability of" in first
    assert any("diabase: Hunt" in line for line in rest)
    assert any(line.startswith("Expected: ") for line in rest)


def test_json_keeps_to_its_schema(lodewalk, tmp_path):
    figure = tmp_path / "expected.png"
    done = lodewalk(
        "feasibility", *PLACE, *CHEAP, "--susceptibility", "0.05", "--figure", str(figure), "--json"
    )
    found = json.loads(done.out)
    jsonschema.validate(found, TypeAdapter(FeasibilityResult).json_schema(mode="serialization"))
    assert found["verdict"] in {"go", "doubtful", "no-go"}
    assert found["susceptibility"]["target"]["source"] == "as set"
    assert figure.read_bytes().startswith(b"\x89PNG")


def test_a_folder_has_settings_of_its_own(lodewalk, tmp_path):
    body = {"kind": "sphere", "depth_m": 12.0, "radius_m": 4.0, "rock": "gabbro"}
    plan = {"latitude_deg": -24.98, "longitude_deg": -50.01, "line_spacing_m": 20.0}
    new_survey(tmp_path / "s", name="S", crs=CRS, settings={"body": body, "plan": plan})
    done = lodewalk("feasibility", str(tmp_path / "s"))
    assert done.code == 0, done.err
    assert "Figure: products/plan/expected.png" in done.out
    assert (tmp_path / "s" / "products" / "plan" / "expected.png").exists()
    refused = lodewalk("feasibility", str(tmp_path / "s"), "--depth", "5")
    assert refused.code == 2
    assert "set it in survey.toml" in refused.err


@pytest.mark.parametrize(
    ("words", "code", "text"),
    [
        ((), 2, "--lat and --lon"),
        (("--lat", "5"), 2, "--lat and --lon"),
        (("--lat", "95", "--lon", "5"), 1, "Latitude must lie in -90 to 90"),
        (("--lat", "5", "--lon", "nan"), 1, "Longitude must be a number"),
        ((*PLACE, *CHEAP, "--figure", "no/such/x.png"), 1, "no such folder"),
        (("--lat", "-85", "--lon", "5"), 1, "from 80° S to 84° N"),
        ((*PLACE, "--rock", "bassalt"), 1, "Near to it: .*basalt"),
        ((*PLACE, "--kind", "lens"), 1, "body.kind"),
        ((*PLACE, "--depth", "-3"), 1, "body.depth_m"),
        ((*PLACE, "--spacing", "0"), 1, "plan.line_spacing_m"),
        ((*PLACE, "--kind", "sphere", "--depth", "3", "--radius", "30"), 1, "above the body"),
        ((*PLACE, *CHEAP, "--figure", "x.pdf"), 1, "PNG"),
    ],
)
def test_one_clear_line_for_what_cannot_be(lodewalk, words, code, text):
    done = lodewalk("feasibility", *words)
    assert done.code == code
    assert "Traceback" not in done.err

    assert re.search(text, " ".join(done.err.split())), done.err
