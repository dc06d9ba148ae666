"""Handing over from the pages: report, files, package and its verification."""

import base64
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys
import time
import zipfile

import pytest

from lodewalk.web.uploads import sweep
from packed_survey import changed, make_small, short_report
from web_client import client_of

HTML = "<style>p{}</style><p style=\"color: red\" class='x'>Hill</p>"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A small survey that was packed in its own folder; not to be changed."""
    from lodewalk.services.hand_over import pack_here

    folder = make_small(tmp_path_factory.mktemp("made"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("lodewalk.services.pack.report", short_report)
        pack_here(folder)
    return folder.path


@pytest.fixture
def served(made, tmp_path, monkeypatch):
    """A session that serves a copy of it, whose report is the short one."""
    monkeypatch.setattr("lodewalk.services.pack.report", short_report)
    shutil.copytree(made, tmp_path / "survey")
    session, client = client_of(tmp_path / "survey")
    yield session, client
    session.close()


def ended(client, seconds=90.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        job = client.get("/api/run").json()["job"]
        if job["status"] not in ("running", "stopping"):
            return job
        time.sleep(0.05)
    raise AssertionError("the work doesn't end")


def test_an_empty_survey_says_what_is_missing_and_where(empty):
    _, client = empty
    found = client.get("/api/handover").json()
    assert not found["ready"]
    rows = {row["item"]: row for row in found["items"]}
    assert (rows["Raw files"]["state"], rows["Raw files"]["room"]) == ("bad", "days")
    assert rows["Report"]["state"] == "info"
    assert client.get("/api/report").json()["there"] is False
    assert client.get("/api/package").json()["there"] is False
    assert client.get("/api/outputs").json()["files"] == []
    for path in ("report/page", "package/file"):
        answer = client.get(f"/api/{path}")
        assert answer.status_code == 400
        assert answer.json()["problem"]["remedy"]
    client.post("/api/package")
    job = ended(client)
    assert job["status"] == "failed"
    assert "no raw file yet" in job["problem"]["text"]


def test_readiness_tells_what_is_in_order_and_what_is_for_a_person(served):
    session, client = served
    rows = {row["item"]: row for row in client.get("/api/handover").json()["items"]}
    assert rows["Products"]["state"] == rows["Report"]["state"] == "good"
    assert rows["Decisions"]["text"] == "1 decision in force, each with reason and person."
    assert (rows["Purpose"]["state"], rows["Purpose"]["room"]) == ("doubt", "settings")
    signed = {"reason": "as asked", "who": "K"}
    client.patch("/api/settings", json={"changes": {"survey.purpose": "dykes"}, **signed})
    rows = {row["item"]: row for row in client.get("/api/handover").json()["items"]}
    assert (rows["Purpose"]["state"], rows["Report"]["state"]) == ("good", "info")
    assert client.get("/api/report").json()["stale"]
    assert client.get("/api/package").json()["stale"] == ["the survey changed since"]
    assert session.path is not None


def test_the_report_is_written_in_the_background_with_the_scale_asked_for(served, monkeypatch):
    from lodewalk.services.report import ReportResult

    session, client = served
    asked = []

    def stand_in(folder, *, scale, reporter, cancelled):
        asked.append((scale, cancelled()))
        short_report(folder, scale=scale)
        return ReportResult(str(folder.report / "report.html"), None, None, None, scale, None)

    monkeypatch.setattr("lodewalk.services.report.report", stand_in)
    refused = client.post("/api/report", json={"scale": 1234})
    assert refused.status_code == 400
    assert refused.json()["problem"]["field"] == "scale"
    assert client.post("/api/report", json={"scale": 2000}).status_code == 202
    assert ended(client)["result"]["scale"] == 2000
    assert asked == [(2000, False)]
    assert client.get("/api/report").json()["scale"] == 2000
    assert session.path is not None


def test_the_report_comes_with_a_policy_that_names_its_own_styles_alone(served):
    session, client = served
    (session.path / "report" / "report.html").write_text(HTML)
    answer = client.get("/api/report/page")
    assert answer.text == HTML
    policy = dict(
        part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; ")
    )
    assert policy["default-src"] == "'none'"
    assert "script-src" not in policy
    assert "unsafe-inline" not in str(policy)
    assert policy["frame-ancestors"] == "'self'"
    assert "allow-scripts" not in policy["sandbox"]
    styles = (b"p{}", b"color: red")
    sums = {base64.b64encode(hashlib.sha256(text).digest()).decode() for text in styles}
    assert set(re.findall(r"'sha256-([^']+)'", policy["style-src"])) == sums


def test_files_are_listed_with_what_they_are_and_only_those_are_given(served, tmp_path):
    session, client = served
    rows = {row["file"]: row for row in client.get("/api/outputs").json()["files"]}
    readings = rows["products/readings.parquet"]
    assert readings["crs"] == "EPSG:31982"
    assert readings["format"] == "Parquet table"
    path = session.path / "products/readings.parquet"
    assert readings["size_bytes"] == path.stat().st_size
    answer = client.get("/api/outputs/file", params={"file": "products/readings.parquet"})
    assert answer.content == path.read_bytes()
    assert 'attachment; filename="readings.parquet"' in answer.headers["content-disposition"]
    (tmp_path / "secret.txt").write_text("mine")
    (session.path / "report" / "link.txt").symlink_to(tmp_path / "secret.txt")
    for file in (
        "../secret.txt", "/etc/passwd", "survey.toml", "raw/rover.csv", "report/link.txt",
        "products/../survey.toml", "products/state.json", "", "..\\secret.txt", "report",
    ):  # fmt: skip
        refused = client.get("/api/outputs/file", params={"file": file})
        assert refused.status_code == 400, file
        assert "mine" not in refused.text


def test_the_package_is_made_kept_and_verified(served):
    session, client = served
    assert client.get("/api/package").json()["stale"] == []
    assert client.post("/api/package").status_code == 202
    assert ended(client)["status"] == "done"
    state = client.get("/api/package").json()
    content = client.get("/api/package/file").content
    assert state["there"]
    assert state["sha256"] == hashlib.sha256(content).hexdigest()
    assert state["sha256"] in state["message"]
    assert "not a clearance" in state["message"]
    with zipfile.ZipFile(io.BytesIO(content)) as opened:
        assert not [name for name in opened.namelist() if name.startswith("survey/package/")]
    assert client.post("/api/package/verify").status_code == 202
    assert ended(client)["result"]["grade"] == 1
    assert session.path is not None


def test_a_package_from_elsewhere_is_verified_and_gone_afterwards(served, tmp_path, monkeypatch):
    session, client = served
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(scratch))

    def change(files):
        files["survey/raw/rover.csv"] += b"\n"

    own = next((session.path / "package").glob("*.zip"))
    bad = changed(own, tmp_path / "bad.zip", change, lists=False)
    sent = {"file": ("../../bad.zip", bad.read_bytes())}
    assert client.post("/api/package/verify/upload", files=sent).status_code == 202
    found = ended(client)["result"]
    assert found["grade"] is None
    assert [fault["file"] for fault in found["faults"]] == ["survey/raw/rover.csv"]
    assert found["package"] == "bad.zip"
    client.post("/api/package/verify/upload", files={"file": ("a.zip", b"no zip")})
    job = ended(client)
    assert job["status"] == "failed"
    assert "can't be read" in job["problem"]["text"]
    assert not list(scratch.iterdir())
    assert client.post("/api/package/verify/upload", files={}).status_code == 422


def test_what_was_uploaded_is_gone_when_the_pages_end_in_the_middle(empty, tmp_path, monkeypatch):
    session, client = empty
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(scratch))
    monkeypatch.setattr("lodewalk.services.verify.verify", lambda *_, **__: time.sleep(3))
    monkeypatch.setattr("lodewalk.web.jobs.Job.join", lambda *_: None)
    sent = {"file": ("a.zip", b"a large one")}
    assert client.post("/api/package/verify/upload", files=sent).status_code == 202
    assert list(scratch.iterdir())
    session.close()
    assert not list(scratch.iterdir())


def test_what_an_earlier_process_left_is_swept_and_nothing_else(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    gone_too = [f"lodewalk-{kind}-{gone.pid}-x" for kind in ("upload", "verify")]
    stay = [f"lodewalk-upload-{os.getpid()}-x", "lodewalk-upload-x-y", f"other-{gone.pid}-x"]
    for name in gone_too + stay:
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.zip").write_bytes(b"a")
    sweep()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(stay)


def test_cautions_and_words_are_there(served):
    _, client = served
    heads = [row["head"] for row in client.get("/api/cautions").json()["cautions"]]
    assert heads[0] == "Not a clearance for explosives"
