"""Verifying: what someone changed is found and named; what could do harm is refused."""

import hashlib
import json
import shutil
import stat
import zipfile
from zipfile import ZipInfo

import polars as pl
import pytest

from lodewalk.errors import CancelledError, InputError
from lodewalk.handover.unpack import check_entries
from lodewalk.services.pack import pack
from lodewalk.services.verify import verify
from packed_survey import (
    changed,
    contents,
    make_small,
    parquet,
    parquet_bytes,
    short_report,
    write_zip,
)

READINGS = "survey/products/readings.parquet"
DECISIONS = "survey/decisions/decisions.jsonl"


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    root = tmp_path_factory.mktemp("verified")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("lodewalk.services.pack.report", short_report)
        pack(make_small(root), root / "out.zip")
    return root / "out.zip"


def test_a_package_that_nobody_changed_is_of_the_first_grade(package):
    found = verify(package)
    assert found.grade == 1, found.text
    assert found.rebuilt
    assert found.equal == found.products > 50
    assert (found.faults, found.differences, found.versions) == ([], [], [])
    assert "Grade 1" in found.text


def one_raw_byte(files):
    content = bytearray(files["survey/raw/rover.csv"])
    content[-4] = ord("1") if content[-4] != ord("1") else ord("2")
    files["survey/raw/rover.csv"] = bytes(content)


def test_one_raw_byte_is_found_and_named(package, tmp_path):
    found = verify(changed(package, tmp_path / "a.zip", one_raw_byte, lists=False))
    assert found.grade is None
    assert [fault.file for fault in found.faults] == ["survey/raw/rover.csv"]
    assert not found.rebuilt
    assert "survey/raw/rover.csv" in found.text


def test_a_raw_byte_is_found_by_the_ledger_where_the_lists_were_put_right(package, tmp_path):
    found = verify(changed(package, tmp_path / "a.zip", one_raw_byte))
    assert found.grade is None
    assert [(f.file, f.fault) for f in found.faults] == [
        ("survey/raw/rover.csv", "isn't the raw file that the ledger lists")
    ]


def test_a_raw_value_is_found_by_rebuilding_where_every_list_was_put_right(package, tmp_path):
    def change(files):
        old = hashlib.sha256(files["survey/raw/rover.csv"]).hexdigest()
        one_raw_byte(files)
        new = hashlib.sha256(files["survey/raw/rover.csv"]).hexdigest()
        ledger = files["survey/raw/ledger.json"].replace(old.encode(), new.encode())
        files["survey/raw/ledger.json"] = ledger

    found = verify(changed(package, tmp_path / "a.zip", change))
    assert found.faults == []
    assert found.grade is None
    raw = next(row for row in found.differences
               if (row.product, row.column) == ("rover_recorded", "raw_nT"))  # fmt: skip
    rows = contents(package)["survey/raw/rover.csv"].decode().splitlines()
    assert raw.row == len(rows) - 1
    assert float(raw.packaged) == float(rows[-1].split(",")[-1])


def moved(row, column, by):
    def change(files):
        frame = parquet(files[READINGS])
        values = frame[column].to_list()
        values[row] += by
        files[READINGS] = parquet_bytes(
            frame.with_columns(pl.Series(column, values, dtype=pl.Float64))
        )

    return change


def test_a_value_of_a_product_is_found_with_its_row_and_size(package, tmp_path):
    found = verify(changed(package, tmp_path / "a.zip", moved(17, "anomaly_nT", 1e-3)))
    assert found.grade is None
    assert found.rebuilt
    assert found.faults == []
    [row] = found.differences
    name = parquet(contents(package)[READINGS])["reading_id"][17]
    assert (row.product, row.file, row.column, row.row, row.place, row.unit, row.count) == (
        "readings", READINGS, "anomaly_nT", 18, name, "nT", 1
    )  # fmt: skip
    assert row.difference == pytest.approx(1e-3, rel=1e-6)
    assert not row.within


def test_numbers_inside_the_tolerance_are_of_the_second_grade(package, tmp_path):
    found = verify(changed(package, tmp_path / "a.zip", moved(17, "anomaly_nT", 5e-7)))
    assert found.grade == 2
    [row] = found.differences
    assert row.within
    assert found.equal == found.products - 1
    assert "Grade 2" in found.text


def other_decision(files):
    assert b"14:02:10" in files[DECISIONS]
    files[DECISIONS] = files[DECISIONS].replace(b"14:02:10", b"14:02:20")


def test_one_decision_is_found_and_named(package, tmp_path):
    found = verify(changed(package, tmp_path / "a.zip", other_decision, lists=False))
    assert [fault.file for fault in found.faults] == [DECISIONS]
    assert found.grade is None
    again = verify(changed(package, tmp_path / "b.zip", other_decision))
    assert again.faults == []
    assert again.grade is None
    kept = next(row for row in again.differences
                if (row.product, row.column) == ("readings", "kept"))  # fmt: skip
    assert (kept.packaged, kept.rebuilt, kept.count) == ("True", "False", 5)


def test_files_changed_missing_damaged_or_on_no_list_are_named(package, tmp_path):
    """A byte inside the zip is turned as well, which the zip's own sum tells."""

    def change(files):
        moved(17, "anomaly_nT", 1e-3)(files)
        del files["survey/products/summary.json"]
        files["survey/report/more.html"] = b"x"

    path = changed(package, tmp_path / "a.zip", change, lists=False)
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as opened:
        info = opened.getinfo("README.txt")
    content[info.header_offset + 30 + len(info.filename) + info.compress_size // 2] ^= 0xFF
    path.write_bytes(bytes(content))
    found = verify(path)
    assert {fault.file: fault.fault.split(":")[0] for fault in found.faults} == {
        READINGS: "was changed",
        "survey/products/summary.json": "is missing",
        "survey/report/more.html": "is on no list",
        "README.txt": "is damaged",
    }
    assert found.grade is None
    assert {row.product for row in found.differences} == {"readings", "summary"}


@pytest.mark.parametrize(
    "name",
    ["../evil.txt", "/evil.txt", "survey/../../evil.txt", "a\\..\\evil.txt", "C:evil.txt", "a//b"],
)
def test_a_path_that_leads_out_is_refused(package, tmp_path, name):
    place = tmp_path / "inside"
    place.mkdir()
    files = contents(package) | {name: b"x"}
    write_zip(place / "a.zip", files)
    with pytest.raises(InputError, match="lead out of its folder"):
        verify(place / "a.zip")
    assert [path.name for path in tmp_path.rglob("*")] == ["inside", "a.zip"]


def with_entry(package, out, info, content=b"x"):
    shutil.copyfile(package, out)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr(info, content)
    return out


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_links_doubles_and_bombs_are_refused(package, tmp_path):
    link = zipfile.ZipInfo("survey/raw/link")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(InputError, match="a link"):
        verify(with_entry(package, tmp_path / "link.zip", link, b"/etc/passwd"))
    with pytest.raises(InputError, match="a file twice"):
        verify(with_entry(package, tmp_path / "twice.zip", "survey/SURVEY.toml"))
    bomb = write_zip(tmp_path / "bomb.zip", {"MANIFEST.json": b"0" * 80_000_000})
    with pytest.raises(InputError, match="no survey does"):
        verify(bomb)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("survey/raw/a", "survey/raw/a/b"), "also a folder"),
        (("survey/raw/A/b", "survey/raw/a"), "also a folder"),
        (("survey/raw/" + "ä" * 128,), "255 bytes"),
        (("/".join("abcdefghijklmnopqrstuvw"),), "too deep"),
    ],
)
def test_names_that_no_disk_can_hold_are_refused_before_anything_is_written(names, words):
    with pytest.raises(InputError, match=words):
        check_entries([ZipInfo(name) for name in names], name="a.zip")
    longest = "survey/raw/" + "ä" * 127 + "b"
    check_entries([ZipInfo(longest), ZipInfo("survey/raw2")], name="a.zip")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "can't be read"),
        (b"PK\x03\x04 not a zip at all", "can't be read"),
        (None, "can't be read"),
        ({"a.txt": b"x"}, "no MANIFEST.json"),
        ({"MANIFEST.json": b"{"}, "list of the package is damaged"),
        ({"MANIFEST.json": b"[]"}, "list of the package is damaged"),
    ],
)
def test_what_is_no_package_is_refused(package, tmp_path, content, words):
    path = tmp_path / "a.zip"
    if isinstance(content, dict):
        write_zip(path, content)
    else:
        path.write_bytes(package.read_bytes()[:-200] if content is None else content)
    with pytest.raises(InputError, match=words):
        verify(path)


def test_a_package_of_another_format_is_refused(package, tmp_path):
    def change(files):
        manifest = json.loads(files["MANIFEST.json"]) | {"format": 2}
        files["MANIFEST.json"] = json.dumps(manifest).encode()

    with pytest.raises(InputError, match="format 1"):
        verify(changed(package, tmp_path / "a.zip", change, lists=False))


def test_a_stop_is_heard_and_leaves_nothing(package, tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    asked = iter([False] * 20)
    with pytest.raises(CancelledError):
        verify(package, cancelled=lambda: next(asked, True))
    assert not list(tmp_path.iterdir())
