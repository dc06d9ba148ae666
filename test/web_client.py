"""A client of the pages that holds the session's key."""

import time

from fastapi.testclient import TestClient

from lodewalk.web.app import create_app
from lodewalk.web.guard import Keys
from lodewalk.web.session import Session

PORT = 8123
HOME = f"http://127.0.0.1:{PORT}"
OWN = {"origin": HOME}


def client_of(place):
    """Return session and client of a place, the client with the session's cookie."""
    session = Session(place, Keys(PORT))
    client = TestClient(create_app(session), base_url=HOME, headers=OWN)
    client.cookies.set(session.keys.cookie, session.keys.session)
    return session, client


def ended(client, seconds=60.0):
    """Wait for the work under way and return its last state."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        job = client.get("/api/run").json()["job"]
        if job["status"] not in ("running", "stopping"):
            return job
        time.sleep(0.02)
    raise AssertionError("the work doesn't end")
