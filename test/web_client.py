"""A client of the pages that holds the session's key."""

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
