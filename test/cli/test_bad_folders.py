"""A survey folder that is damaged, locked or set wrongly: one line, and no further harm."""

import json
import os
import re

import pytest
from filelock import FileLock

from lodewalk.survey.folder import open_folder
from lodewalk.survey.state import read_state

DECISION = {
    "id": "1",
    "kind": "drop",
    "target": {"instrument": "rover"},
    "value": None,
    "reason": "stood beside the car",
    "who": "AB",
    "when_utc": "2026-03-10T20:00:00Z",
    "withdraws": None,
}


def change(path, before, after):
    text = path.read_bytes()
    assert before in text
    path.write_bytes(text.replace(before, after, 1))


def digests(path):
    steps = read_state(open_folder(path))
    return {name: s.digest for made in steps.values() for name, s in made.products.items()}


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (b"format = 1", b"format = 2", "survey.toml, line 4: Setting format"),
        (b'"EPSG:31982"', b'"31982"', "Setting survey.crs"),
        (b'"EPSG:31982"', b'"EPSG:4326"', "must be projected, not in degrees. Found 'EPSG:4326'"),
        (b'"EPSG:31982"', b'"EPSG:2264"', "must be in metres. Found 'EPSG:2264'"),
        (b'"EPSG:31982"', b'"EPSG:99999"', "is unknown. Found 'EPSG:99999'"),
        (
            b'name = "Small"',
            b"name = Small",
            "survey.toml, line 8: The settings are not valid TOML",
        ),
        (b'name = "Small"', b'name = "Caf\xe9"', "line 8: The settings must be UTF-8"),
        (b"# max_gap_s = 300.0", b"max_gap_s = -1", "Setting diurnal.max_gap_s"),
        (b"# max_gap_s = 300.0", b"max_gap_s = nan", "Setting diurnal.max_gap_s"),
        (b'# interpolation = "linear"', b'interpolation = "x"', "'linear', 'akima' or 'monotone'"),
        (b"\n[datum]", b'\n[datum]\nepoch = "2026-02-31"', "Setting datum.epoch"),
        (b"\n[datum]", b'\n[datum]\nepoch = "2050-01-01"', "IGRF-14"),
        (b"[diurnal]", b"[diurnall]", "Setting diurnall: There is no such setting"),
        (b"[diurnal]", b"[diurnal]\nmax_gap = 3", "Setting diurnal.max_gap: There is no such"),
    ],
)
def test_wrong_settings(before, after, words, small, refused):
    change(small.path / "survey.toml", before, after)
    assert words in refused(small.path, "run", small.path)


def test_settings_from_a_windows_editor(small, lodewalk):
    path = small.path / "survey.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert lodewalk("run", small.path).code == 0


@pytest.mark.parametrize(
    ("crs", "words"),
    [
        ("EPSG:4326", "projected, not in degrees"),
        ("EPSG:2264", "in metres"),
        ("EPSG:3857", "stretched"),
        ("EPSG:2053", "point east and north"),
        ("EPSG:999999", "unknown"),
        ("31982", "survey.crs"),
    ],
)
def test_a_wrong_reference_system_makes_no_folder(crs, words, tmp_path, refused):
    shown = refused(tmp_path, "new", tmp_path / "survey", "--name", "A", "--crs", crs)
    assert words in shown
    assert crs in shown
    assert not (tmp_path / "survey").exists()


def test_a_folder_that_is_taken(small, tmp_path, refused):
    words = ("--name", "A", "--crs", "EPSG:31982")
    assert "not empty" in refused(small.path, "new", small.path, *words, but=())
    assert "not empty" in refused(small.path, "demo", small.path, but=())
    (tmp_path / "file").write_text("x")
    assert "not empty" in refused(tmp_path, "new", tmp_path / "file", *words, but=())


@pytest.mark.parametrize("command", ["run", "check", "report", "why"])
def test_no_survey_folder(command, tmp_path, refused):
    more = ("time",) if command == "why" else ()
    assert "is no survey folder" in refused(tmp_path, command, tmp_path, *more, but=())


@pytest.mark.parametrize("command", ["run", "check", "report"])
@pytest.mark.parametrize(
    "content", [b"", b"[{", b"\xff\xfe\x00", b"null", b'["a"]', b'[{"name": "a"}]']
)
def test_a_damaged_ledger(command, content, small, refused):
    (small.path / "raw" / "ledger.json").write_bytes(content)
    assert "raw/ledger.json is damaged" in refused(small.path, command, small.path, but=())


@pytest.mark.parametrize("command", ["run", "check", "report"])
def test_a_raw_file_that_was_changed_or_is_gone(command, small, refused):
    rover = small.path / "raw" / "rover.csv"
    rover.chmod(0o644)
    rover.write_bytes(rover.read_bytes() + b"\n")
    words = refused(small.path, command, small.path, but=())
    assert "rover.csv: The raw file is no longer the one that was added." in words
    rover.unlink()
    assert "rover.csv: The raw file is gone." in refused(small.path, command, small.path, but=())


def test_a_change_that_size_and_time_hide_is_found_by_hashing(small, refused, lodewalk):
    rover = small.path / "raw" / "rover.csv"
    status = rover.stat()
    rover.chmod(0o644)
    content = bytearray(rover.read_bytes())
    content[-3] ^= 1
    rover.write_bytes(content)
    os.utime(rover, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert lodewalk("run", small.path).code == 0
    assert "no longer the one" in refused(small.path, "run", small.path, "--rehash", but=())


@pytest.mark.parametrize(
    "change_of",
    [
        {"kind": "delete"},
        {"target": {}},
        {"target": None},
        {"target": {"instrument": "rover", "from": "2026-03-10T14:02:00"}},
        {"target": {"instrument": "rover", "start": "noon"}},
        {"target": {"instrument": "rover", "start": "2026-03-10T14:02:00Z"}},
        {"target": {"readings": [5]}},
        {"kind": "clock", "value": None},
        {"kind": "clock", "value": {"offset": 18}},
        {"kind": "clock", "value": {"offset_s": float("nan")}},
        {"reason": " "},
        {"who": ""},
        {"withdraws": "99"},
        {"more": 1},
    ],
    ids=str,
)
def test_a_line_that_is_no_decision(change_of, small, refused):
    lines = [json.dumps(DECISION), "", json.dumps(DECISION | {"id": "2"} | change_of)]
    (small.path / "decisions" / "decisions.jsonl").write_text("\n".join(lines) + "\n")
    assert "decisions.jsonl, line 3: " in refused(small.path, "run", small.path, but=())


@pytest.mark.parametrize("content", [b"hello", b"\xff\x00", b"5", b"null", b"[1]", b'{"id": "1'])
def test_decisions_that_are_no_json_objects(content, small, refused):
    (small.path / "decisions" / "decisions.jsonl").write_bytes(content + b"\n")
    assert "decisions.jsonl, line 1: " in refused(small.path, "run", small.path, but=())


@pytest.mark.parametrize("content", [b"garbage", b"", None])
@pytest.mark.parametrize(
    "product",
    [
        "state.json",
        "readings.parquet",
        "grids.nc",
        "check.json",
        "summary.json",
        "steps/rover_checks.parquet",
        "steps/datum.json",
    ],
)
def test_a_damaged_product_is_made_anew(product, content, small, lodewalk):
    before = digests(small.path)
    path = small.path / "products" / product
    assert path.is_file()
    if content is None:
        path.unlink()
    else:
        path.write_bytes(content)
    assert lodewalk("run", small.path).code == 0
    assert digests(small.path) == before


def test_a_damaged_product_is_named_by_why(small, refused):
    (small.path / "products" / "readings.parquet").write_bytes(b"garbage")
    words = refused(small.path, "why", small.path, "rover.csv:9", but=())
    assert "Product readings.parquet can't be read" in words
    assert "Delete it and run again" in words


@pytest.mark.parametrize("what", ["", ":", "nothing", "rover.csv:1", "rover.csv:²", "base.csv:9"])
def test_why_of_nothing(what, small, refused):
    assert f"Found '{what}'." in refused(small.path, "why", small.path, what, but=())


@pytest.mark.parametrize("command", ["run", "check", "report", "add"])
def test_a_folder_in_use(command, small, tmp_path, refused):
    more = (small.truth.base, "--role", "base") if command == "add" else ()
    with FileLock(small.path / ".lock"):
        owner = {"pid": 4711, "host": "field-laptop"}
        (small.path / ".lock-owner.json").write_text(json.dumps(owner))
        words = refused(small.path, command, small.path, *more, but=())
    assert "in use by process 4711 on field-laptop" in words


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
@pytest.mark.parametrize("command", ["run", "add"])
def test_a_folder_that_may_not_be_written(command, small, refused):
    more = (small.truth.base, "--role", "base") if command == "add" else ()
    small.path.chmod(0o555)
    try:
        words = refused(small.path, command, small.path, *more, but=())
    finally:
        small.path.chmod(0o755)
    assert "Permission denied" in words


@pytest.mark.parametrize("command", ["run", "report", "add"])
def test_a_full_disk(command, small, tmp_path, monkeypatch, refused):
    def full(handle):
        raise OSError(28, "No space left on device")

    change(small.path / "survey.toml", b"# max_gap_s = 300.0", b"max_gap_s = 200.0")
    (tmp_path / "new.csv").write_bytes(small.truth.base.read_bytes() + b"\n")
    more = (tmp_path / "new.csv", "--role", "base") if command == "add" else ()
    monkeypatch.setattr("os.fsync", full)
    words = refused(small.path, command, small.path, *more, but=())
    assert re.fullmatch(r"lodewalk: No space left on device \([\w.-]+\)\.\n", words)


@pytest.mark.parametrize(
    "words",
    [
        ("run",),
        ("nonsense",),
        ("add", "folder", "file"),
        ("add", "folder", "--role", "base"),
        ("site", "--lat", "north", "--lon", "0"),
        ("run", "folder", "--threads", "0"),
        ("report", "folder", "--scale", "big"),
        ("demo", "folder", "--seed", "-1"),
        ("check", "folder", "--colour"),
    ],
)
def test_wrong_usage(words, lodewalk):
    shown = lodewalk(*words)
    assert shown.code == 2
    assert shown.out == ""
    assert shown.err.startswith("Usage: ")
    assert "Error: " in shown.err
    assert "Traceback" not in shown.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--lat", "91", "--lon", "0"), "Latitude must lie in -90 to 90 degrees. Found 91.0."),
        (("--lat", "nan", "--lon", "0"), "Found nan."),
        (("--lat", "0", "--lon", "361"), "Longitude must lie in"),
        (("--lat", "0", "--lon", "0", "--height", "1e9"), "Height must lie in"),
        (("--lat", "0", "--lon", "0", "--date", "2026-13-01"), "A date is written YYYY-MM-DD."),
        (("--lat", "0", "--lon", "0", "--date", "1899-12-31"), "1900 to 2030 (IGRF-14)"),
        (("--lat", "0", "--lon", "0", "--date", "2030-01-02"), "1900 to 2030 (IGRF-14)"),
    ],
)
def test_a_wrong_site(words, told, tmp_path, refused):
    assert told in refused(tmp_path, "site", *words)
