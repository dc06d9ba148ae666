"""`pack` and `verify` at the command line: JSON, exit codes, one clear line."""

import json
from pathlib import Path

import jsonschema
import pytest

from packed_survey import changed, short_report

SCHEMAS = Path(__file__).parents[2] / "doc" / "schema"


@pytest.fixture
def schema():
    return lambda name: json.loads((SCHEMAS / f"{name}.schema.json").read_text())


def test_a_survey_is_packed_and_verified(lodewalk, small, tmp_path, schema, monkeypatch):
    monkeypatch.setattr("lodewalk.services.pack.report", short_report)
    out = tmp_path / "out.zip"
    made = lodewalk("pack", small.path, out, "--json")
    assert made.code == 0, made
    jsonschema.validate(json.loads(made.out), schema("pack"))
    again = lodewalk("pack", small.path, out)
    assert again.code == 1
    assert "There is a file of this name already" in again.err
    assert "say that it may be replaced. Option: --force." in again.err
    shown = lodewalk("verify", out, "--json")
    assert shown.code == 0, shown
    found = json.loads(shown.out)
    jsonschema.validate(found, schema("verify"))
    assert found["grade"] == 1
    assert "Grade 1" in found["text"]

    def change(files):
        files["survey/report/report.html"] += b" "

    bad = lodewalk("verify", changed(out, tmp_path / "bad.zip", change, lists=False))
    assert bad.code == 1
    assert bad.err.startswith("lodewalk: bad.zip: Not verified")
    assert bad.err.count("\n") == 1
    assert "survey/report/report.html" in bad.out


def test_what_is_no_package_gets_one_line(lodewalk, tmp_path):
    (tmp_path / "a.zip").write_bytes(b"no zip")
    shown = lodewalk("verify", tmp_path / "a.zip")
    assert (shown.code, shown.out) == (1, "")
    assert shown.err.count("\n") == 1
    assert "a.zip" in shown.err
    assert lodewalk("verify", tmp_path / "none.zip").code == 1
    assert lodewalk("verify").code == 2
