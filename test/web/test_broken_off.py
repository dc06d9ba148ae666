"""Uploads that end too soon or grow too large: nothing is added, nothing is left, others go on."""

import http.client
import socket
import time
from contextlib import closing
from urllib.parse import urlsplit

import pytest

from lodewalk.services.new import new_survey
from lodewalk.web import guard
from pages_browser import Served

BODY = (
    b'--x\r\nContent-Disposition: form-data; name="role"\r\n\r\nbase\r\n'
    b'--x\r\nContent-Disposition: form-data; name="file"; filename="base.csv"\r\n\r\n'
    b"time_utc,total_field_nT\n"
) + b"".join(
    b"2026-03-10T%02d:%02d:%02d.%dZ,22950.1\n" % (n // 36000, n // 600 % 60, n // 10 % 60, n % 10)
    for n in range(100_000)
)  # more than is kept in memory
PATHS = ("/api/files", "/api/files/preview", "/api/package/verify/upload")


@pytest.fixture
def served(tmp_path, monkeypatch):
    """A server of its own on a survey without files, whose temporary files can be seen."""
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    (tmp_path / "temporary").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "temporary"))
    served = Served(tmp_path / "hill")
    yield served
    told = served.close()
    assert "Traceback" not in told, told


def get(served, path, **headers):
    """Return status and headers of an answer."""
    with closing(http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)) as asked:
        asked.request("GET", path, headers=headers)
        answer = asked.getresponse()
        answer.read()
        return answer.status, answer.headers


def entered(served):
    """Return the session's cookie."""
    at = urlsplit(served.address)
    return get(served, f"{at.path}?{at.query}")[1]["set-cookie"].split(";")[0]


def break_off(served, cookie, path):
    """Send more than half of what was announced, then go."""
    head = [f"POST {path} HTTP/1.1", f"Host: 127.0.0.1:{served.port}", f"Origin: {served.home}",
            f"Cookie: {cookie}", "Content-Type: multipart/form-data; boundary=x",
            f"Content-Length: {2 * len(BODY)}"]  # fmt: skip
    with socket.create_connection(("127.0.0.1", served.port)) as line:
        line.sendall("\r\n".join([*head, "", ""]).encode() + BODY)


def tree(place):
    """Return every file below a folder with its content."""
    return {one: one.read_bytes() for one in place.rglob("*") if one.is_file()}


def test_an_upload_that_breaks_off_adds_nothing_and_leaves_nothing(served, tmp_path):
    cookie = entered(served)
    assert get(served, "/api/files", cookie=cookie)[0] == 200  # the routes are there
    before = tree(served.place)
    for path in PATHS:
        break_off(served, cookie, path)
    end = time.monotonic() + 1.5
    while time.monotonic() < end:  # whatever is made of the first half is made by then
        assert tree(served.place) == before
        time.sleep(0.1)
    assert not list((tmp_path / "temporary").iterdir())
    assert get(served, "/api/files", cookie=cookie)[0] == 200


@pytest.mark.parametrize("path", PATHS)
def test_an_upload_that_grows_too_large_is_refused_and_leaves_nothing(
    empty, tmp_path, monkeypatch, path
):
    session, client = empty
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    monkeypatch.setattr(guard, "MOST_UPLOAD_BYTES", len(BODY) // 2)
    before = tree(session.path)
    kind = {"content-type": "multipart/form-data; boundary=x"}
    parts = (BODY[start : start + 65536] for start in range(0, len(BODY), 65536))
    answer = client.post(path, content=parts, headers=kind)  # its length isn't told
    assert answer.status_code == 413
    assert "MB at most" in answer.json()["problem"]["text"]
    told = {**kind, "content-length": str(len(BODY))}
    assert client.post(path, content=iter([BODY]), headers=told).status_code == 413
    assert tree(session.path) == before
    assert not list(temporary.iterdir())
