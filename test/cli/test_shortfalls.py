"""What falls short still; each of these turns red when it is put right, and then moves on."""

import json
import os

import pytest

from cli.samples import BASE, ROVER

short = pytest.mark.xfail(strict=True)


@pytest.fixture
def add(empty, tmp_path, refused):
    def call(content, role, *options, name="bad.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return refused(empty, "add", empty, path, "--role", role, *options, but=())

    return call


def test_no_row_is_lost_where_the_layout_changes(add):
    rows = BASE.splitlines()
    head, tail = rows[:25], [f"{row},0" for row in rows[25:]]
    assert "line 26" in add("\n".join([*head, *tail]) + "\n", "base")


@pytest.mark.parametrize("content", [b"caf\x81\xff\n", b"22950.1,caf\x81\xff\n"])
def test_bytes_of_no_encoding_are_named_with_their_line(content, add):
    lines = ROVER.encode().splitlines(keepends=True)
    spoilt = b"".join([*lines[:30], content, *lines[30:]])
    assert "bad.csv, line 31: The file is not plain text" in add(spoilt, "rover")


def test_a_file_of_names_alone_has_no_rows(add):
    assert "GPX" not in add(ROVER.splitlines()[0] + "\n", "rover")


@pytest.mark.parametrize("year", ["0000", "0026"])
def test_a_year_before_the_first(year, add):
    assert "The year of a time must lie in" in add(BASE.replace("2026", year), "base")


def test_a_carriage_return_inside_a_line_of_names(add):
    add(BASE.replace("time_utc", 'ti"me\r_utc'), "base")


def test_a_name_that_is_not_utf_8(empty, tmp_path, lodewalk):
    path = tmp_path / os.fsdecode(b"m\xe4rz.csv")
    path.write_text(BASE)
    assert lodewalk("add", empty, path, "--role", "base").code in (0, 1)


@pytest.mark.parametrize(
    "steps", [[], {"time": {"key": "", "parts": {}, "products": {}, "complete": True}}]
)
def test_a_state_of_another_shape_is_made_anew(steps, small, lodewalk):
    text = json.dumps({"format": 1, "steps": steps})
    (small.path / "products" / "state.json").write_text(text)
    assert lodewalk("run", small.path).code == 0


def test_an_offset_beyond_all_time(small, refused):
    line = {
        "id": "1", "kind": "clock", "target": {"instrument": "rover"}, "value": {"offset_s": 1e30},
        "reason": "r", "who": "AB", "when_utc": "2026-03-10T20:00:00Z", "withdraws": None,
    }  # fmt: skip
    (small.path / "decisions" / "decisions.jsonl").write_text(json.dumps(line) + "\n")
    assert "line 1" in refused(small.path, "run", small.path)


def test_a_report_on_a_single_reading(small, empty, tmp_path, lodewalk):
    path = tmp_path / "one.csv"
    path.write_text("\n".join(small.truth.rover.read_text().splitlines()[:2]) + "\n")
    lodewalk("add", empty, small.truth.base, "--role", "base")
    lodewalk("add", empty, path, "--role", "rover")
    assert lodewalk("report", empty).code == 0


def test_an_unknown_zone_in_the_settings(small, refused):
    path = small.path / "survey.toml"
    path.write_text(path.read_text().replace('# time_zone = ""', 'time_zone = "Foo/Bar"'))
    assert "survey.toml, line" in refused(small.path, "run", small.path)


@pytest.mark.parametrize("key", ["name", "zone", "column_map", "instrument"])
def test_a_ledger_with_a_value_of_another_kind(key, small, refused):
    path = small.path / "raw" / "ledger.json"
    rows = json.loads(path.read_text())
    rows[0][key] = 5
    path.write_text(json.dumps(rows))
    assert "raw/ledger.json is damaged" in refused(small.path, "run", small.path)
