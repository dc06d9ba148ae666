"""Surveys, runs, settings and decisions over the API: done, refused, and told in one shape."""

import json
import re
import threading
import time
from datetime import date
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient

from lodewalk.errors import CancelledError
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.steps.context import Context
from lodewalk.web.app import create_app
from web_client import HOME, OWN, ended


def test_a_new_survey_is_made_opened_and_listed(on_shelf, shelf):
    session, client = on_shelf
    assert client.get("/api/surveys").json()["surveys"] == []
    wanted = {"folder": "north", "name": "North hill", "crs": "EPSG:31982"}
    answer = client.post("/api/surveys", json=wanted)
    assert answer.status_code == 201
    assert answer.json()["name"] == "North hill"
    assert open_survey(shelf / "north").settings.survey.crs == "EPSG:31982"
    listed = client.get("/api/surveys").json()
    assert listed["open"] == "north"
    assert [row["name"] for row in listed["surveys"]] == ["North hill"]
    assert session.path == shelf / "north"


def test_a_survey_with_a_wrong_reference_system_leaves_nothing_behind(on_shelf, shelf):
    _, client = on_shelf
    answer = client.post(
        "/api/surveys", json={"folder": "north", "name": "North", "crs": "EPSG:4326"}
    )
    assert answer.status_code == 400
    assert answer.json()["problem"]["rule"]
    assert not list(shelf.iterdir())


def test_a_broken_survey_is_listed_with_what_is_wrong(on_shelf, shelf):
    _, client = on_shelf
    (shelf / "torn").mkdir()
    (shelf / "torn" / "survey.toml").write_text("format = 1\n[survey]\nname = \n")
    row = client.get("/api/surveys").json()["surveys"][0]
    assert "line 3" in row["problem"]


def test_without_a_survey_the_api_says_so(on_shelf):
    _, client = on_shelf
    for path in ("survey", "settings", "decisions", "run/pending"):
        answer = client.get(f"/api/{path}")
        assert answer.status_code == 409
        assert "No survey is open" in answer.json()["problem"]["text"]


def test_a_run_goes_to_its_end_and_says_why_each_step_ran(empty):
    _, client = empty
    pending = client.get("/api/run/pending").json()["steps"]
    assert pending[0]["step"].startswith("ingest")
    started = client.post("/api/run", json={"to": "ingest_rover"})
    assert started.status_code == 202
    job = ended(client)
    assert job["status"] == "done"
    assert [(row["step"], row["why"]) for row in job["steps"]] == [
        ("ingest_rover", ["it never ran"])
    ]
    assert client.get("/api/run/pending", params={"to": "ingest_rover"}).json()["steps"] == []


def test_the_demo_is_open_when_it_is_done_and_a_stop_reaches_it(on_shelf, shelf, monkeypatch):
    """The demo itself is tested elsewhere; here a small stand-in takes its place."""
    session, client = on_shelf
    asked = []

    def stand_in(path, *, seed, reporter, cancelled):
        asked.append((seed, cancelled()))
        return new_survey(path, name="Stand-in", crs="EPSG:31982")

    monkeypatch.setattr("lodewalk.services.demo_job.demo", stand_in)
    assert client.post("/api/demo", json={"folder": "look", "seed": 5}).status_code == 202
    assert ended(client)["status"] == "done"
    assert asked == [(5, False)]
    assert session.path == shelf / "look"
    assert client.get("/api/survey").json()["name"] == "Stand-in"


def test_a_stopped_demo_leaves_nothing_that_looks_like_a_survey(on_shelf, shelf, monkeypatch):
    """Small stand-ins take the place of what is long: stopped in the run, and in the report."""
    _, client = on_shelf
    seen = []

    def write(path, seed):
        new_survey(path, name="Stand-in", crs="EPSG:31982")
        (path / "truth").mkdir()

    def wait(folder, *, reporter, cancelled=lambda: False):
        seen.append(folder.path.name)
        end = time.monotonic() + 20
        while not cancelled() and time.monotonic() < end:
            time.sleep(0.01)
        raise CancelledError("Stopped.")

    monkeypatch.setattr("lodewalk.services.demo_job._write", write)
    for stage in ("run", "report"):
        monkeypatch.setattr("lodewalk.services.demo_job.run", lambda *_, **__: None)
        monkeypatch.setattr(f"lodewalk.services.demo_job.{stage}", wait)
        assert client.post("/api/demo", json={"folder": stage}).status_code == 202
        started = time.monotonic()
        client.delete("/api/run")
        assert ended(client)["status"] == "stopped"
        assert time.monotonic() - started < 15, "the stop doesn't reach it"
    assert seen == ["run", "report"]
    assert not list(shelf.iterdir())
    assert client.get("/api/surveys").json()["surveys"] == []


def test_a_request_meant_for_another_survey_is_refused_and_changes_nothing(on_shelf, shelf):
    session, client = on_shelf
    for folder in ("north hill ä", "south"):
        new_survey(shelf / folder, name=folder.title(), crs="EPSG:31982")
    session.open(shelf / "south")
    before = (shelf / "south" / "survey.toml").read_text()
    meant = {"x-survey": quote("north hill ä", safe="")}
    asked = [
        client.get("/api/survey", headers=meant),
        client.patch("/api/settings", json=_change("PATCH", "fits.window", 4.0), headers=meant),
        client.post("/api/run", json={}, headers=meant),
    ]
    for answer in asked:
        assert answer.status_code == 409
        assert "south is open now" in answer.json()["problem"]["text"]
    assert (shelf / "south" / "survey.toml").read_text() == before
    assert session.jobs.state() is None
    session.open(shelf / "north hill ä")
    assert client.get("/api/survey", headers=meant).json()["name"] == "North Hill Ä"
    assert client.get("/api/survey").status_code == 200
    page = client.get("/settings").text
    assert f'data-survey="{meant["x-survey"]}"' in page
    assert 'data-survey=""' in client.get("/start").text


def test_work_says_which_survey_it_is_for(on_shelf, shelf, monkeypatch):
    session, client = on_shelf
    new_survey(shelf / "south", name="South", crs="EPSG:31982")
    session.open(shelf / "south")
    assert client.post("/api/run", json={"to": "ingest_rover"}).json()["survey"] == "south"
    ended(client)
    monkeypatch.setattr(
        "lodewalk.services.demo_job.demo",
        lambda path, **_: new_survey(path, name="Stand-in", crs="EPSG:31982"),
    )
    assert client.post("/api/demo", json={"folder": "look"}).json()["survey"] == "look"
    ended(client)
    assert client.get("/api/state").json()["job"]["survey"] == "look"


def test_while_work_is_under_way_no_survey_is_made_that_could_not_be_opened(on_shelf, shelf):
    session, client = on_shelf
    go = threading.Event()
    session.jobs.start("run", lambda *_, **__: go.wait(30) and None)
    wanted = {"folder": "north", "name": "North hill", "crs": "EPSG:31982"}
    answer = client.post("/api/surveys", json=wanted)
    assert answer.status_code == 409
    assert not list(shelf.iterdir())
    go.set()
    ended(client)
    assert client.post("/api/surveys", json=wanted).status_code == 201


def test_an_unknown_step_is_refused_before_anything_runs(empty):
    _, client = empty
    answer = client.post("/api/run", json={"to": "nosuch"})
    assert answer.status_code == 400
    assert "nosuch" in answer.json()["problem"]["text"]
    assert client.get("/api/run").json()["job"] is None


def test_one_run_at_a_time_and_a_stopped_one_leaves_a_sound_folder(empty, monkeypatch):
    session, client = empty
    entered = []

    def slow(self):
        entered.append(self.step)
        while not self.cancelled():
            time.sleep(0.005)
        raise_if(self)

    raise_if = Context.check_cancelled
    monkeypatch.setattr(Context, "check_cancelled", slow)
    assert client.post("/api/run").status_code == 202
    while not entered:
        time.sleep(0.005)
    second = client.post("/api/run")
    assert second.status_code == 409
    assert "under way" in second.json()["problem"]["text"]
    assert client.delete("/api/run").json()["job"]["status"] in ("stopping", "stopped")
    assert ended(client)["status"] == "stopped"
    monkeypatch.undo()
    client.post("/api/run", json={"to": "ingest_rover"})
    assert ended(client)["status"] == "done"
    assert not list(session.path.rglob("*.lodewalk-part"))


def _row_of(client, name):
    sections = client.get("/api/settings").json()["sections"]
    rows = [row for section in sections for row in section["rows"]]
    return next(row for row in rows if f"{row['section']}.{row['name']}" == name)


def test_settings_say_unit_range_and_default_and_a_change_is_looked_at_first(empty):
    session, client = empty
    window = _row_of(client, "fits.window")
    assert window["unit"] == "depths"
    assert "at least 2" in window["limits"]
    assert window["value"] == window["default"] == 4.0
    file = session.path / "survey.toml"
    before = file.read_text()
    body = {"changes": {"fits.window": 6.0}}
    assert client.post("/api/settings/preview", json=body).status_code == 200
    assert file.read_text() == before
    for unsigned in ({}, {"reason": " ", "who": "K"}, {"reason": "wide body", "who": ""}):
        assert client.patch("/api/settings", json=body | unsigned).status_code == 422
    assert file.read_text() == before
    signed = {"reason": "wide\nbody # one \x07", "who": "K. L."}
    assert client.patch("/api/settings", json=body | signed).status_code == 200
    after = file.read_text()
    assert open_survey(session.path).settings.fits.window == 6.0
    differ = [line for line in after.splitlines() if line not in before.splitlines()]
    assert len(differ) == 1
    told = re.fullmatch(
        r"window = 6\.0  # (wide body # one \(K\. L\., \d{4}-\d\d-\d\d\))", differ[0]
    )
    assert told
    assert _row_of(client, "fits.window")["note"] == told[1]
    client.patch("/api/settings", json={"changes": {"fits.window": None}, **signed})
    assert open_survey(session.path).settings.fits.window == 4.0
    assert _row_of(client, "fits.window")["note"] == ""


def test_a_day_is_set_and_taken_back_like_any_other_value(empty):
    session, client = empty
    row = _row_of(client, "plan.first_day")
    assert (row["kind"], row["value"]) == ("date", None)
    signed = {"reason": "as agreed", "who": "K. L."}
    changed = {"changes": {"plan.first_day": "2026-12-07"}, **signed}
    assert client.patch("/api/settings", json=changed).status_code == 200
    assert open_survey(session.path).settings.plan.first_day == date(2026, 12, 7)
    assert _row_of(client, "plan.first_day")["value"] == "2026-12-07"
    wrong = client.patch("/api/settings", json={"changes": {"plan.first_day": "7 Dec"}, **signed})
    assert (wrong.status_code, wrong.json()["problem"]["field"]) == (400, "value")
    client.patch("/api/settings", json={"changes": {"plan.first_day": None}, **signed})
    assert open_survey(session.path).settings.plan.first_day is None


def _change(method, name, value):
    signed = {"reason": "as measured", "who": "K"} if method == "PATCH" else {}
    return {"changes": {name: value}, **signed}


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("fits.window", 1.0, "greater than or equal to 2"),
        ("fits.window", "wide", "valid number"),
        ("fits.nosuch", 1.0, "no such setting"),
        ("nosuch.window", 1.0, "no such setting"),
        ("survey.name.x", 1, "no such setting"),
        ("survey.name.x", None, "no such setting"),
        ("fits.nosuch", None, "no such setting"),
        ("instruments.R1", None, "no such setting"),
        ("nosuch.window", None, "no such setting"),
        ("survey.crs", "EPSG:31982\n[x]", ""),
    ],
)
def test_a_wrong_setting_is_refused_and_nothing_changes(empty, name, value, words):
    session, client = empty
    file = session.path / "survey.toml"
    before = file.read_text()
    for method, path in (("POST", "/api/settings/preview"), ("PATCH", "/api/settings")):
        answer = client.request(method, path, json=_change(method, name, value))
        if words:
            assert answer.status_code == 400
            assert words in answer.json()["problem"]["rule"]
    if words:
        assert file.read_text() == before
    open_survey(session.path).settings  # noqa: B018 - reading is the check


def test_a_decision_needs_reason_and_person_and_can_be_taken_back(empty):
    session, client = empty
    body = {"kind": "drop", "readings": ["abc"], "reason": "fence", "who": "K"}
    assert client.post("/api/decisions", json=body | {"reason": " "}).status_code == 400
    made = client.post("/api/decisions", json=body)
    assert made.status_code == 201
    number = made.json()["id"]
    assert [row["id"] for row in client.get("/api/decisions").json()["decisions"]] == [number]
    gone = client.delete(f"/api/decisions/{number}", params={"reason": "no fence", "who": "K"})
    assert gone.json()["withdraws"] == number
    assert client.get("/api/decisions").json()["decisions"] == []
    lines = (session.path / "decisions" / "decisions.jsonl").read_text().splitlines()
    assert len(lines) == 2


def test_what_a_decision_would_run_is_told_before_it_is_taken(empty):
    _, client = empty
    client.post("/api/run", json={"to": "ingest_rover"})
    ended(client)
    found = client.get("/api/run/pending", params={"to": "time", "kind": "clock"}).json()
    why = {row["step"]: row["why"] for row in found["steps"]}
    assert any("kind clock" in text for rows in why.values() for text in rows)


def test_state_changes_when_another_process_changes_the_survey(empty):
    session, client = empty
    before = client.get("/api/state").json()["mark"]
    (session.path / "survey.toml").write_text(
        (session.path / "survey.toml").read_text() + "\n# a note\n"
    )
    assert client.get("/api/state").json()["mark"] != before


def test_a_setting_whose_text_could_not_be_read_again_is_refused(empty):
    """A name over two lines: only the first would be replaced, and the rest is no TOML."""
    session, client = empty
    file = session.path / "survey.toml"
    text = file.read_text().replace('name = "Hill"', 'name = """Hill\nNorth"""', 1)
    file.write_text(text)
    body = {"changes": {"survey.name": "South"}}
    answer = client.post("/api/settings/preview", json=body)
    assert answer.status_code == 400, answer.text
    assert "by hand" in answer.json()["problem"]["remedy"]
    assert file.read_text() == text


def test_a_fault_nobody_foresaw_is_told_in_the_one_shape_and_guarded(empty, monkeypatch):
    session, _ = empty
    client = TestClient(
        create_app(session), base_url=HOME, headers=OWN, raise_server_exceptions=False
    )
    client.cookies.set(session.keys.cookie, session.keys.session)
    monkeypatch.setattr("lodewalk.web.session.open_survey", lambda _: 1 / 0)
    answer = client.get("/api/survey")
    assert answer.status_code == 500
    assert "ZeroDivisionError" in answer.json()["problem"]["text"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_every_refusal_has_the_one_shape(empty):
    _, client = empty
    asked = [
        client.get("/api/nosuch"),
        client.put("/api/survey"),
        client.post("/api/picks", content=b"{", headers={"content-type": "application/json"}),
        client.post("/api/picks", json={"who": 3}),
        client.post("/api/run", json={"nosuch": 1}),
        client.delete("/api/decisions/x", params={"reason": "r", "who": "w"}),
    ]
    for answer in asked:
        assert answer.status_code >= 400
        assert set(answer.json()) == {"problem"}, answer.text
        assert answer.json()["problem"]["text"]
        json.dumps(answer.json())
