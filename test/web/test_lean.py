"""What the pages bring along at their start: nothing that only a run or a picture needs."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

from fastapi.testclient import TestClient

from lodewalk.web.api import FIRST, LATER
from web_client import HOME, OWN, client_of

HEAVY = ("scipy", "numba", "matplotlib", "xarray", "pyproj", "shapely", "rasterio")


def test_the_routes_of_all_rooms_load_without_the_libraries_of_science_and_pictures():
    names = ", ".join(f"lodewalk.web.routes.{name}" for name in (*FIRST, *LATER))
    code = f"import sys, {names}; print(*(set({HEAVY!r}) & sys.modules.keys()))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == []


def test_no_answer_waits_until_all_that_was_loaded_was_searched_for_garbage(tmp_path):
    code = (
        "import gc, sys; from pathlib import Path; from lodewalk.web.guard import Keys; "
        "from lodewalk.web.serve import create_app; from lodewalk.web.session import Session; "
        "create_app(Session(Path(sys.argv[1]), Keys(1))).api.make(); "
        "print(len(gc.get_objects()), gc.get_freeze_count(), gc.isenabled())"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    found = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    looked_through, set_apart, at_work = int(found[0]), int(found[1]), found[2] == "True"
    assert at_work
    assert looked_through < 0.05 * set_apart


def test_requests_that_come_at_once_all_find_their_routes(tmp_path):
    session, client = client_of(tmp_path)
    asked = ["/api/systems?find=UTM", "/api/glossary", "/api/cautions", "/api/rocks/table"]
    with ThreadPoolExecutor(len(asked)) as several:
        found = list(several.map(client.get, asked * 3))
    session.close()
    assert [answer.status_code for answer in found] == [200] * len(found)


def test_routes_that_can_not_be_had_are_told_as_a_fault(tmp_path, monkeypatch):
    monkeypatch.setattr("lodewalk.web.api.LATER", ("nothing_of_this_name",))
    session, client = client_of(tmp_path)
    client = TestClient(client.app, base_url=HOME, headers=OWN, raise_server_exceptions=False)
    client.cookies.set(session.keys.cookie, session.keys.session)
    found = client.get("/api/glossary")
    session.close()
    assert found.status_code == 500
    assert "nothing_of_this_name" in found.json()["problem"]["text"]
    assert "content-security-policy" in found.headers
