"""The package: all of a survey, the same bytes each time, and never half of one."""

import hashlib
import json
import os
import shutil
import subprocess
import zipfile

import pytest

from lodewalk.errors import CancelledError, InputError
from lodewalk.services.new import new_survey
from lodewalk.services.pack import pack
from lodewalk.services.report_state import report_state
from lodewalk.survey.folder import open_folder
from packed_survey import contents, make_small, parquet, short_report


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    """A survey that never ran, packed; the folder, the package and what was told."""
    root = tmp_path_factory.mktemp("packed")
    folder = make_small(root, lines=2)
    return folder, root / "out.zip", pack(folder, root / "out.zip")


@pytest.fixture
def copied(packed, tmp_path):
    """A copy to change."""
    shutil.copytree(packed[0].path, tmp_path / "copy")
    return open_folder(tmp_path / "copy")


def test_a_survey_that_never_ran_is_brought_up_and_reported_first(packed):
    folder, out, told = packed
    assert "readings" in told.steps_run
    assert told.report_written
    assert told.left_out == []
    assert told.size_bytes == out.stat().st_size
    assert told.sha256 == hashlib.sha256(out.read_bytes()).hexdigest()
    assert not report_state(folder).stale


def test_it_holds_every_file_of_the_survey_as_it_is(packed):
    folder, out, _ = packed
    files = contents(out)
    for part in ("survey.toml", "raw", "decisions", "journal", "report", "products"):
        place = folder.path / part
        paths = [place] if place.is_file() else [p for p in place.rglob("*") if p.is_file()]
        assert paths
        for path in paths:
            name = f"survey/{path.relative_to(folder.path).as_posix()}"
            assert files[name] == path.read_bytes(), name
    assert {name.split("/")[0] for name in files} == {
        "survey", "README.txt", "MANIFEST.json", "SHA256SUMS"
    }  # fmt: skip


def test_its_lists_hold_for_tools_that_know_nothing_of_lodewalk(packed, tmp_path):
    folder, out, told = packed
    with zipfile.ZipFile(out) as opened:
        assert opened.testzip() is None
        opened.extractall(tmp_path)
        assert {info.date_time for info in opened.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    done = subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=tmp_path,
                          capture_output=True, text=True, check=False)  # fmt: skip
    assert done.returncode == 0, done.stdout
    manifest = json.loads((tmp_path / "MANIFEST.json").read_text())
    assert len(manifest["files"]) == told.files == done.stdout.count(": OK") - 1
    for file in manifest["files"]:
        content = (tmp_path / file["name"]).read_bytes()
        assert (file["size"], file["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())
    assert manifest["about"]["crs"] == "EPSG:31982"
    assert manifest["about"]["versions"]["lodewalk"]
    state = json.loads(folder.state_file.read_text())["steps"]
    digests = {
        name: one["digest"] for row in state.values() for name, one in row["products"].items()
    }
    assert {row["product"]: row["digest"] for row in manifest["products"]} == digests
    assert all((tmp_path / row["file"]).is_file() for row in manifest["products"])


def test_the_page_that_explains_it_says_how_to_verify_and_what_it_is_no_clearance_for(packed):
    text = contents(packed[1])["README.txt"].decode()
    for words in (
        "sha256sum --check SHA256SUMS", "lodewalk verify", "NOT A CLEARANCE", "EPSG:31982",
        "anomaly_nT [nT]", "Lightning",
    ):  # fmt: skip
        assert words in text


def test_the_same_survey_makes_the_same_bytes_wherever_it_lies(packed, copied, tmp_path):
    again = pack(copied, tmp_path / "again.zip")
    assert (again.steps_run, again.report_written) == ([], False)
    assert (tmp_path / "again.zip").read_bytes() == packed[1].read_bytes()


def test_what_is_stale_is_never_packed(copied, tmp_path, monkeypatch):
    monkeypatch.setattr("lodewalk.services.pack.report", short_report)
    text = copied.settings_file.read_text()
    copied.settings_file.write_text(text.replace("# purpose = ", 'purpose = "dykes" # ', 1))
    copied = open_folder(copied.path)
    assert report_state(copied).stale == ["settings, decisions or products changed since"]
    assert pack(copied, tmp_path / "a.zip").report_written
    assert b"dykes" in contents(tmp_path / "a.zip")["survey/report/report.html"]
    (copied.products / "readings.parquet").unlink()
    told = pack(copied, tmp_path / "b.zip")
    assert "readings" in told.steps_run
    assert parquet(contents(tmp_path / "b.zip")["survey/products/readings.parquet"]).height > 0


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("there.zip", "There is a file of this name already"),
        ("out.tar", "end in .zip"),
        ("nowhere/out.zip", "no such folder"),
        ("copy/products/out.zip", "can't lie in a folder that is packed"),
        ("copy/report/out.zip", "can't lie in a folder that is packed"),
    ],
)
def test_a_place_that_will_not_do_is_refused_and_nothing_written(copied, tmp_path, place, words):
    (tmp_path / "there.zip").write_bytes(b"mine")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError, match=words):
        pack(copied, tmp_path / place)
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "there.zip").read_bytes() == b"mine"


def test_a_package_is_replaced_when_asked(copied, packed, tmp_path):
    (tmp_path / "there.zip").write_bytes(b"mine")
    pack(copied, tmp_path / "there.zip", force=True)
    assert (tmp_path / "there.zip").read_bytes() == packed[1].read_bytes()


def test_a_stop_leaves_no_part_of_a_package(copied, tmp_path):
    asked = iter([False] * 5)
    with pytest.raises(CancelledError):
        pack(copied, tmp_path / "out.zip", cancelled=lambda: next(asked, True))
    assert not list(tmp_path.glob("*.zip"))
    assert not list(tmp_path.rglob("*.lodewalk-part"))


def test_a_raw_file_that_changed_is_named_though_size_and_time_are_the_same(copied, tmp_path):
    path = copied.raw / "rover.csv"
    status = path.stat()
    content = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(content[:-2] + (b"1" if content[-2:-1] != b"1" else b"2") + b"\n")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    with pytest.raises(InputError, match=r"rover\.csv: The raw file is no longer"):
        pack(copied, tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()


def test_a_link_among_the_files_is_refused(copied, tmp_path):
    (tmp_path / "secret").write_text("mine")
    (copied.report / "extra.txt").symlink_to(tmp_path / "secret")
    with pytest.raises(InputError, match="A link may lead out"):
        pack(copied, tmp_path / "out.zip")


def test_a_survey_without_raw_files_is_refused(tmp_path):
    new_survey(tmp_path / "empty", name="Empty", crs="EPSG:31982")
    with pytest.raises(InputError, match="no raw file yet"):
        pack(open_folder(tmp_path / "empty"), tmp_path / "out.zip")
