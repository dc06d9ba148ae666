"""A session on a shelf of surveys, and a client that holds its key."""

import shutil

import pytest

from lodewalk.services.new import new_survey
from web_client import client_of


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
