"""A session on a shelf of surveys, and a client that holds its key."""

import shutil

import pytest
from fastapi.testclient import TestClient

from lodewalk.services.new import new_survey
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


@pytest.fixture
def shelf(tmp_path):
    place = tmp_path / "shelf"
    place.mkdir()
    return place


@pytest.fixture
def on_shelf(shelf):
    """A session that serves a shelf without surveys."""
    session, client = client_of(shelf)
    yield session, client
    session.close()


@pytest.fixture
def empty(tmp_path):
    """A session that serves one survey without any files."""
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    session, client = client_of(tmp_path / "hill")
    yield session, client
    session.close()
    shutil.rmtree(tmp_path / "hill", ignore_errors=True)
