"""Whatever is asked, the API answers as its description says, and never with a fault of its own.

Schemathesis draws requests from the description, those that fit it and those that don't; half of
the names in them are replaced by ones that the demo has, or by ones that come near and are wrong:
extreme times, settings below settings. They reach a shelf of a copy of the demo. What is read is
asked once more of a survey whose last run ended in the middle.
The stream of events alone is left out: it never ends. The browser tests follow it.
"""

import json
import re
import shutil
import time
from pathlib import Path
from tempfile import gettempdir

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from requests import Request
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.run import run
from small_survey import CRS, write_small_survey
from web_client import HOME, client_of

CHECKS = [
    not_a_server_error,
    response_schema_conformance,
    status_code_conformance,
    content_type_conformance,
]
#: Requests that fit and that don't, for each operation.
EXAMPLES = 12
ENDLESS = {"GET /api/events"}


def described():
    """Return the operations of the API by method and path."""
    _, client = client_of(Path(gettempdir()))
    told = client.get("/api/openapi.json").json()
    found = schemathesis.openapi.from_dict(told).get_all_operations()
    return {one.ok().label: one.ok() for one in found}


OPERATIONS = described()


@pytest.fixture(scope="module")
def shelf_of_demo(demo_survey, tmp_path_factory):
    """A shelf with a copy of the demo, open, and the client that holds its key."""
    shelf = tmp_path_factory.mktemp("any") / "shelf"
    shutil.copytree(demo_survey, shelf / "demo")
    session, client = client_of(shelf)
    session.take(shelf / "demo")
    yield session, client
    session.close()


@pytest.fixture(scope="module")
def names(shelf_of_demo):
    """Names that the demo has, by the parameters that take them."""
    _, client = shelf_of_demo
    check = client.get("/api/check").json()
    lines = sorted({line["line"] for day in check["days"] for line in day["lines"]})
    walked = client.get(f"/api/lines/{lines[0]}").content
    about = json.loads(walked[4 : 4 + int.from_bytes(walked[:4], "little")])
    finding = next(row for row in check["findings"] if row["start_utc"])
    steps = client.get("/api/run/pending", params={"kind": "clock"}).json()["steps"]
    return {
        "line": lines[:3],
        "grid": [grid["name"] for grid in client.get("/api/grids").json()["grids"]][:4],
        "reading": about["readings"][:3],
        "readings": [about["readings"][:2]],
        "day": [day["date"] for day in check["days"]],
        "instrument": sorted({row["instrument"] for row in check["clock"]}),
        "decision": [row["id"] for row in client.get("/api/decisions").json()["decisions"]],
        "folder": ["demo", "other"],
        "crs": ["EPSG:31982"],
        "start": [finding["start_utc"]],
        "end": [finding["end_utc"]],
        "to": [row["step"] for row in steps][:4],
        "changes": [{"fits.window": 5.0}, {"fits.window": None}],
        "offset_s": [1.5],
    }


#: Times at the edges of the calendar, settings below settings and without any: each as near to
#: right as can be.
NEAR = {
    "start_utc": [
        "0001-01-01T00:00:00+14:00", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-12:00",
        "2026-W10",
    ],
    "changes": [
        {"survey.name.x": 1}, {"fits.window.x.y": None}, {"instruments.R1": None},
        {"instruments.R1.x.y": 2.0}, {"fits.nosuch": None}, {"older.x.y": "z"},
    ],
}  # fmt: skip
NEAR |= dict.fromkeys(("end_utc", "start", "end", "at"), NEAR["start_utc"])


def stand_in(path, **_):
    """The demo itself is tested elsewhere."""
    return new_survey(path, name="Stand-in", crs="EPSG:31982")


@pytest.mark.parametrize("label", sorted(OPERATIONS.keys() - ENDLESS))
def test_any_request_is_answered_as_described(label, shelf_of_demo, names, monkeypatch):
    session, client = shelf_of_demo
    monkeypatch.setattr("lodewalk.services.demo_job.demo", stand_in)
    operation = OPERATIONS[label]
    fitting = operation.as_strategy(GenerationMode.POSITIVE)
    others = operation.as_strategy(GenerationMode.NEGATIVE)

    @settings(
        max_examples=EXAMPLES,
        phases=[Phase.generate],
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(
        case=st.one_of(fitting, others),
        known=st.sampled_from([None, names, names | NEAR]),
        data=st.data(),
    )
    def ask(case, known, data):
        if known:
            use_known(case, known, data)
        if known and isinstance(case.headers, dict):  # a drawn one names no survey that is open
            case.headers.pop("x-survey", None)
        session.take(session.shelf / "demo")
        answer = send(client, case)
        case.validate_response(answer, checks=CHECKS)
        settle(session)

    ask()


def use_known(case, known, data):
    """Put names that there are in the place of drawn ones."""
    for part in (case.path_parameters, case.query, case.body):
        if not isinstance(part, dict):
            continue
        for key in part:
            name = "grid" if key == "name" and "grids" in case.path else key
            if known.get(name):
                part[key] = data.draw(st.sampled_from(known[name]))


def send(client, case):
    """Send a request as it would be on the wire."""
    asked = Request(**case.as_transport_kwargs(base_url=HOME)).prepare()
    body = asked.body or b""
    return client.request(asked.method, asked.url, content=body, headers=dict(asked.headers))


def settle(session, seconds=120.0):
    """Stop what a request began, and wait for its end."""
    session.jobs.stop()
    end = time.monotonic() + seconds
    while session.jobs.busy:
        assert time.monotonic() < end, "the work doesn't stop"
        time.sleep(0.01)


@pytest.fixture(scope="module")
def half_run(tmp_path_factory):
    """A survey that was run, got a file more, and was run to its lines alone."""
    place = tmp_path_factory.mktemp("half")
    write_small_survey(place)
    new_survey(place / "survey", name="Half", crs=CRS)
    survey = open_survey(place / "survey")
    add_files(survey, [place / "base.csv"], role="base")
    add_files(survey, [place / "rover.csv"], role="rover")
    run(survey, to="readings")
    write_small_survey(place, lines=2, seed=2)
    add_files(survey, [place / "rover.csv"], role="rover")
    run(survey, to="lines")
    session, client = client_of(survey.path)
    yield client
    session.close()


def test_whatever_is_read_of_a_survey_between_two_runs_is_no_fault(half_run):
    """With names that the survey has, so that each answer comes as far as its products."""
    given = {"line": "L1", "reading": "rover.csv:3", "instrument": "R1", "name": "anomaly"}
    asked = {"easting_m": 560050, "northing_m": 7245060, "start_utc": "2026-03-10T14:00:00Z",
             "end_utc": "2026-03-10T14:01:00Z", "day": "2026-03-10", "interval": 5}  # fmt: skip
    told = {}
    for label in sorted(OPERATIONS.keys() - ENDLESS):
        method, path = label.split(" ", 1)
        if method == "GET":
            path = re.sub(r"{(\w+)}", lambda found: given.get(found[1], "2026-03-10"), path)
            told[label] = half_run.get(path, params=given | asked).status_code
    assert {status for status in told.values() if status >= 500} == set(), told
    assert told["GET /api/walks"] == told["GET /api/lines/{line}"] == 400, told
    assert list(told.values()).count(200) > len(told) / 2, told
