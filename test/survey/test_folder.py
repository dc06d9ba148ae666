"""The survey folder: making, opening, locking; ledger and decisions."""

import json
import os
import subprocess
import sys

import pytest

from lodewalk.errors import FolderError, InputError, LockedError
from lodewalk.survey.decisions import append_decision, in_force, read_decisions
from lodewalk.survey.folder import create_folder, open_folder
from lodewalk.survey.ledger import (
    RawFile,
    check_raw,
    file_digest,
    read_ledger,
    store_raw,
    unique_name,
    write_ledger,
)
from lodewalk.survey.lock import locked

SETTINGS = {"survey": {"name": "North hill", "crs": "EPSG:31982"}}


@pytest.fixture
def folder(tmp_path):
    return create_folder(tmp_path / "survey", SETTINGS)


def entry(name, sha256, **more):
    about = {
        "size": 0, "mtime_ns": 0, "role": "base", "instrument": "base", "format": "delimited",
        "zone": "UTC", "column_map": None, "original_name": name,
        "added_utc": "",
    }  # fmt: skip
    return RawFile(name=name, sha256=sha256, **(about | more))


def test_a_folder_opens_again(folder):
    assert open_folder(folder.path).settings.survey.name == "North hill"


def test_an_occupied_folder_is_refused(folder):
    with pytest.raises(FolderError, match="there already and not empty"):
        create_folder(folder.path, SETTINGS)


def test_wrong_settings_make_no_folder(tmp_path):
    with pytest.raises(InputError):
        create_folder(tmp_path / "new", {"survey": {"name": "A", "crs": "here"}})
    assert not (tmp_path / "new").exists()


def test_opening_something_else_is_refused(tmp_path):
    with pytest.raises(FolderError, match=r"no survey folder.*lodewalk new"):
        open_folder(tmp_path)


HOLD = """
import sys
from pathlib import Path
from lodewalk.survey.folder import open_folder
from lodewalk.survey.lock import locked
with locked(open_folder(Path(sys.argv[1]))):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_two_runs_are_kept_apart_and_the_owner_is_named(folder):
    command = [sys.executable, "-c", HOLD, str(folder.path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline() == b"held\n"
        message = f"in use by process {other.pid} on"
        with pytest.raises(LockedError, match=message), locked(folder):
            pass
        other.kill()
    with locked(folder):  # the system freed the lock of the killed process
        assert json.loads((folder.path / ".lock-owner.json").read_text())["pid"] == os.getpid()


def test_a_raw_file_is_copied_and_guarded(folder, tmp_path):
    source = tmp_path / "day1.csv"
    source.write_text("a,b\n1,2\n")
    stored = store_raw(folder, source, entry("day1.csv", file_digest(source)))
    write_ledger(folder, [stored])
    assert read_ledger(folder) == [stored]
    check_raw(folder, [stored])
    copy = folder.raw / "day1.csv"
    copy.chmod(0o644)
    copy.write_text("a,b\n1,3\n")
    os.utime(copy, ns=(stored.mtime_ns, stored.mtime_ns))
    check_raw(folder, [stored])  # size and time are the same: the fast path can't see it
    with pytest.raises(InputError, match=r"day1\.csv: The raw file is no longer the one"):
        check_raw(folder, [stored], rehash=True)
    copy.unlink()
    with pytest.raises(InputError, match="The raw file is gone"):
        check_raw(folder, [stored])


def test_touching_a_raw_file_changes_nothing(folder, tmp_path):
    source = tmp_path / "day1.csv"
    source.write_text("a,b\n1,2\n")
    stored = store_raw(folder, source, entry("day1.csv", file_digest(source)))
    os.utime(folder.raw / "day1.csv")
    check_raw(folder, [stored])


def test_names_are_made_unique(folder):
    entries = [entry("day1.csv", "a" * 64)]
    assert unique_name(folder, entries, "day2.csv", "b" * 64) == "day2.csv"
    assert unique_name(folder, entries, "DAY1.csv", "b" * 64) == "DAY1-bbbbbbbb.csv"
    assert unique_name(folder, [], "ledger.json", "b" * 64) == "ledger-bbbbbbbb.json"


def test_a_damaged_ledger_is_told(folder):
    folder.ledger_file.write_text("[{]")
    with pytest.raises(FolderError, match=r"ledger\.json is damaged"):
        read_ledger(folder)


def decide(folder, **more):
    about = {"kind": "drop", "target": {"readings": ["a:1"]}, "value": None, "reason": "fence"}
    return append_decision(folder, **(about | {"who": "AB"} | more))


def test_a_decision_is_withdrawn_by_a_line_of_its_own(folder):
    first, second = decide(folder), decide(folder, target={"readings": ["a:2"]})
    assert [d.id for d in in_force(read_decisions(folder), ("drop",))] == [first.id, second.id]
    decide(folder, withdraws=first.id)
    assert [d.id for d in in_force(read_decisions(folder), ("drop",))] == [second.id]
    assert len(folder.decisions_file.read_text().splitlines()) == 3


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"kind": "guess"}, "kind: Input should be 'clock', 'lag', 'drop', 'keep'"),
        ({"who": " "}, "who: String should match"),
        ({"value": {"offset_s": 1.0}}, "a drop decision has the value null"),
        ({"kind": "test", "target": {"instrument": "R1"}}, "a test decision has the value"),
        ({"kind": "tick", "value": {"item": "clock"}}, "a tick decision is about an instrument"),
        ({"kind": "test", "value": {"test": "nap"}}, r"value\.test: Input should be 'static'"),
        ({"kind": "clock"}, "a clock decision has the value"),
        ({"kind": "clock", "value": {"offset": 1.0}}, r"value\.offset"),
        ({"target": {}}, "either readings or an instrument"),
        ({"target": {"reading": ["a:1"]}}, r"target\.reading: Extra inputs"),
        ({"target": {"instrument": "R1", "start": "noon"}}, "written YYYY-MM-DD"),
        ({"target": {"instrument": "R1", "end": "2026-03-10T12:00:00Z"}}, "as recorded, without Z"),
    ],
)
def test_a_wrong_decision_is_refused_and_not_written(folder, more, message):
    with pytest.raises(InputError, match=message):
        decide(folder, **more)
    assert read_decisions(folder) == []


def test_a_damaged_decision_is_told_with_its_line(folder):
    decide(folder)
    with folder.decisions_file.open("a") as stream:
        stream.write('{"id": "x"')
    with pytest.raises(InputError, match=r"decisions\.jsonl, line 2: .*Mend the line"):
        read_decisions(folder)


def test_withdrawing_what_is_not_there_is_told(folder):
    decide(folder)
    with pytest.raises(InputError, match="line 2: A decision withdraws one"):
        decide(folder, withdraws="nothing")


def test_a_ledger_that_is_gone_is_told(folder):
    (folder.raw / "day1.csv").write_text("a,b\n")
    with pytest.raises(FolderError, match=r"raw/ledger\.json is gone"):
        read_ledger(folder)
