"""What the pages bring along at their start: nothing that only a run or a picture needs."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

from lodewalk.web.api import FIRST, LATER
from web_client import client_of

HEAVY = ("scipy", "numba", "matplotlib", "xarray", "pyproj", "shapely", "rasterio")


def test_the_routes_of_all_rooms_load_without_the_libraries_of_science_and_pictures():
    names = ", ".join(f"lodewalk.web.routes.{name}" for name in (*FIRST, *LATER))
    code = f"import sys, {names}; print(*(set({HEAVY!r}) & sys.modules.keys()))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == []


def test_requests_that_come_at_once_all_find_their_routes(tmp_path):
    session, client = client_of(tmp_path)
    asked = ["/api/systems?find=UTM", "/api/glossary", "/api/cautions", "/api/rocks/table"]
    with ThreadPoolExecutor(len(asked)) as several:
        found = list(several.map(client.get, asked * 3))
    session.close()
    assert [answer.status_code for answer in found] == [200] * len(found)
