"""Who may speak to the pages, and with what headers they answer."""

import json
import shutil
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient

from lodewalk.web.guard import MOST_BYTES, MOST_UPLOAD_BYTES
from web_paths import every_route

CHANGES = ("POST", "PATCH", "DELETE", "PUT")


def bare(session, **headers):
    """Return a client without the session's cookie."""
    from lodewalk.web.app import create_app

    return TestClient(
        create_app(session), base_url=f"http://127.0.0.1:{session.keys.port}", headers=headers
    )


def test_without_the_key_nothing_is_served(empty):
    session, _ = empty
    client = bare(session)
    for path in (
        "/",
        "/days",
        "/api/survey",
        "/static/base.css",
        "/api/openapi.json",
        "/api/events",
    ):
        answer = client.get(path, follow_redirects=False)
        assert answer.status_code == 401, path
        assert "address that lodewalk printed" in answer.json()["problem"]["text"]


def test_the_token_is_swapped_for_a_cookie_that_scripts_and_other_sites_do_not_get(empty):
    session, _ = empty
    client = bare(session)
    answer = client.get(f"/enter?token={session.keys.token}", follow_redirects=False)
    assert answer.status_code == 303
    assert session.keys.token not in answer.headers["location"]
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert str(session.keys.port) in cookie.split("=")[0]
    assert client.get("/api/survey").status_code == 200


@pytest.mark.parametrize("token", ["", "x", "é", "a" * 5000])
def test_a_wrong_token_opens_nothing(empty, token):
    session, _ = empty
    client = bare(session)
    assert client.get("/enter", params={"token": token}).status_code == 403
    assert client.get("/api/survey").status_code == 401


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost", ""])
def test_a_foreign_host_is_refused(empty, host):
    _, client = empty
    assert client.get("/api/survey", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", ""])
@pytest.mark.parametrize("method", CHANGES)
def test_a_change_from_a_foreign_page_is_refused(empty, origin, method):
    _, client = empty
    answer = client.request(method, "/api/run", headers={"origin": origin})
    assert answer.status_code == 403
    assert answer.json()["problem"]["text"]


def test_every_route_of_the_api_is_behind_the_guard(empty):
    session, client = empty
    stranger = bare(session, origin=f"http://127.0.0.1:{session.keys.port}")
    routes = every_route(client)
    assert len(routes) > 10
    for method, path in routes:
        assert stranger.request(method, path).status_code == 401, (method, path)


def test_a_body_that_is_too_large_is_refused_whether_its_length_is_told_or_not(empty):
    _, client = empty
    body = b"[" + b"1," * MOST_BYTES + b"1]"
    assert client.post("/api/picks", content=body).status_code == 413
    parts = (body[start : start + 65536] for start in range(0, len(body), 65536))
    assert client.post("/api/picks", content=parts).status_code == 413


def answers_of_every_kind(session, client):
    """Return answers by their status and what they are, errors of each kind among them."""
    stranger = bare(session)
    told = {"content-length": str(MOST_BYTES + 1)}
    page = {"accept": "text/html"}
    return {
        "200 room": client.get("/settings"),
        "200 data": client.get("/api/survey"),
        "200 script": client.get("/static/frame.js"),
        "200 picture": client.get("/favicon.ico"),
        "303 to a room": client.get("/", follow_redirects=False),
        "303 entry": stranger.get(f"/enter?token={session.keys.token}", follow_redirects=False),
        "304 script": client.get("/static/frame.js", headers={"if-none-match": etag(client)}),
        "400 data": client.get("/api/report/page"),
        "401 data": bare(session).get("/api/survey"),
        "401 page": bare(session).get("/days", headers=page),
        "403 host": client.get("/api/survey", headers={"host": "evil.example"}),
        "403 entry": bare(session).get("/enter?token=x"),
        "404 room": client.get("/nowhere"),
        "404 data": client.get("/api/nowhere"),
        "404 script": client.get("/static/nowhere.js"),
        "405 data": client.put("/api/survey"),
        "405 script": client.post("/static/frame.js"),
        "413 told": client.post("/api/run", content=iter([b"x"]), headers=told),
        "413 untold": client.post("/api/run", content=iter([b" " * (MOST_BYTES + 1)])),
        "422 form": client.post("/api/surveys", json={"nosuch": 1}),
    }


def etag(client):
    """Return the mark by which a browser asks whether its copy still holds."""
    return client.get("/static/frame.js").headers["etag"]


def test_answers_of_every_kind_forbid_foreign_code_and_guessing_of_kinds(empty):
    session, client = empty
    for kind, answer in answers_of_every_kind(session, client).items():
        assert answer.status_code == int(kind[:3]), (kind, answer.status_code)
        guarded(kind, answer.headers)


def guarded(kind, headers):
    """Each header of safety is there, and there once."""
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy, kind
    assert "object-src 'none'" in policy, kind
    assert "frame-ancestors 'self'" in policy, kind
    assert "unsafe" not in policy, kind
    for name, value in (
        ("content-security-policy", policy),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
    ):
        assert headers.get_list(name) == [value], (kind, name)


def test_a_fault_of_lodewalk_itself_is_guarded_too_and_names_no_folder(empty, monkeypatch):
    session, client = empty

    def fails(*_, **__):
        raise RuntimeError("unforeseen")

    monkeypatch.setattr("lodewalk.web.session.open_survey", fails)
    quiet = TestClient(
        client.app, base_url=str(client.base_url), cookies=client.cookies,
        raise_server_exceptions=False,
    )  # fmt: skip
    answer = quiet.get("/api/survey")
    assert answer.status_code == 500
    guarded("500", answer.headers)
    assert "unforeseen" in answer.json()["problem"]["text"]
    assert str(session.path) not in answer.text


def test_a_change_that_names_no_page_it_comes_from_is_refused(empty):
    _, client = empty
    del client.headers["origin"]
    for method in CHANGES:
        assert client.request(method, "/api/run").status_code == 403


def test_no_link_in_the_survey_leads_out_of_it(empty):
    """A folder that came from elsewhere may hold links, of files and of whole folders."""
    session, client = empty
    rows = "".join(f"2026-03-10T13:{m:02d}:00Z,22946.{m}\n" for m in range(50))
    sent = {"file": ("base.csv", f"time_utc,total_field_nT\n{rows}".encode())}
    assert client.post("/api/files", files=sent, data={"role": "base"}).status_code == 201
    outside = session.path.parent / "outside"
    outside.mkdir()
    for name in ("summary.json", "report.html", "hill.zip", "base.csv", "map.png"):
        (outside / name).write_text(f"time_utc,total_field_nT\n{rows}not yours\n")
    (session.path / "raw" / "base.csv").unlink()
    for place, name in (("raw", "base.csv"), ("report", "report.html"), ("package", "hill.zip")):
        (session.path / place).mkdir(exist_ok=True)
        (session.path / place / name).symlink_to(outside / name)
    shutil.rmtree(session.path / "products", ignore_errors=True)
    (session.path / "products").symlink_to(outside)
    (session.path / "report" / "map.png").symlink_to(outside / "map.png")
    asked = [
        client.get("/api/report/page"),
        client.get("/api/package/file"),
        client.post("/api/package/verify"),
        client.post("/api/files/preview", data={"held": "base.csv"}),
        client.post("/api/files", data={"held": "base.csv", "role": "base"}),
        *(
            client.get("/api/outputs/file", params={"file": file})
            for file in ("products/summary.json", "report/report.html", "report/map.png")
        ),
    ]
    for answer in asked:
        assert answer.status_code == 400, (answer.request.url, answer.status_code)
        assert "not yours" not in answer.text
        assert answer.json()["problem"]["text"]


@pytest.mark.parametrize(
    "name", ["..", "../x", "a/b", "/etc", "C:\\x", ".hidden", "", "  ", "x\0y"]
)
def test_a_path_out_of_the_shelf_is_refused(on_shelf, shelf, name):
    session, client = on_shelf
    before = sorted(shelf.parent.rglob("*"))
    for path, more in (
        ("surveys", {"name": "X", "crs": "EPSG:31982"}),
        ("surveys/open", {}),
        ("demo", {}),
    ):
        answer = client.post(f"/api/{path}", json={"folder": name, **more})
        assert answer.status_code == 400, (path, answer.text)
        assert "folder" in answer.json()["problem"]["rule"]
    assert sorted(shelf.parent.rglob("*")) == before
    assert session.path is None


def test_a_link_that_leads_out_of_the_shelf_is_refused(on_shelf, shelf, tmp_path):
    _, client = on_shelf
    outside = tmp_path / "outside"
    outside.mkdir()
    (shelf / "door").symlink_to(outside)
    answer = client.post("/api/surveys", json={"folder": "door", "name": "X", "crs": "EPSG:31982"})
    assert answer.status_code == 400
    assert not list(outside.iterdir())


OUTSIDE = ("../secret.txt", "../../secret.txt", "/etc/passwd", "raw/../../secret.txt", "..", "a\0b")


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_in_any_request_reaches_a_file_outside_the_survey(empty, name):
    session, client = empty
    secret = session.path.parent / "secret.txt"
    secret.write_text("not yours")
    before = sorted(session.path.rglob("*"))
    coded = quote(name, safe="").replace(".", "%2e")
    names = {"stored_as": name, "name": name, "file": name, "held": name}
    asked = [
        client.get("/api/outputs/file", params=names),
        client.get("/api/package/file", params=names),
        client.get(f"/api/plan/files/{coded}"),
        client.get(f"/api/grids/{coded}"),
        client.get(f"/api/lines/{coded}"),
        client.get(f"/api/readings/{coded}"),
        client.get(f"/static/{coded}"),
        client.get(f"/static/%2e%2e/{coded}"),
        client.get(f"/{coded}"),
        client.post("/api/files/aside", json={"stored_as": name, "reason": "x", "who": "K"}),
        client.post("/api/files/preview", data={"held": name}),
        client.post("/api/files", data={"held": name, "role": "base"}),
        client.post("/api/package/verify", json={"file": name}),
    ]
    for answer in asked:
        assert 400 <= answer.status_code < 500, (answer.request.url, answer.status_code)
        assert "not yours" not in answer.text
        assert "root:" not in answer.text
    assert secret.read_text() == "not yours"
    assert sorted(session.path.rglob("*")) == before


@pytest.mark.parametrize("name", [*OUTSIDE[:4], "survey.toml", "ledger.json", ".hidden", "CON"])
def test_the_name_of_an_upload_cannot_lead_out_of_raw(empty, name):
    session, client = empty
    settings = (session.path / "survey.toml").read_bytes()
    lines = "".join(f"2026-03-10T13:{m:02d}:00Z,22946.{m}\n" for m in range(50))
    body = f"time_utc,total_field_nT\n{lines}".encode()
    sent = {"file": (name, body, "text/csv")}
    answer = client.post("/api/files", files=sent, data={"role": "base", "instrument": "B1"})
    assert answer.status_code < 500
    assert (session.path / "survey.toml").read_bytes() == settings
    inside = [path for path in session.path.parent.rglob("*") if path.is_file()]
    fresh = [path for path in inside if path.read_bytes() == body]
    assert all(path.parent == session.path / "raw" for path in fresh)
    json.loads((session.path / "raw" / "ledger.json").read_text() or "[]")


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data", b"no boundary"),
        ("multipart/form-data; boundary=x", b""),
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data; na"),
        ("multipart/form-data; boundary=x", b"\xff\x00" * 500),
        ("text/plain", b"role=base"),
    ],
)
@pytest.mark.parametrize("path", ["/api/files", "/api/files/preview", "/api/package/verify/upload"])
def test_a_malformed_upload_is_refused_and_nothing_is_added(empty, path, kind, body):
    session, client = empty
    before = sorted(session.path.rglob("*"))
    answer = client.post(path, content=body, headers={"content-type": kind})
    assert 400 <= answer.status_code < 500
    assert answer.json()["problem"]["text"]
    assert sorted(session.path.rglob("*")) == before


def test_an_upload_of_more_than_may_be_is_refused_before_it_is_read(empty):
    _, client = empty
    for path in ("/api/files", "/api/files/preview"):
        headers = {"content-length": str(MOST_UPLOAD_BYTES + 1)}
        answer = client.post(path, content=iter([b"x"]), headers=headers)
        assert answer.status_code == 413
