"""What the pages bring along at their start: nothing that only a run or a picture needs."""

import subprocess
import sys
from itertools import chain

from lodewalk.web.app import FIRST, LATER

HEAVY = ("scipy", "numba", "matplotlib", "xarray", "pyproj", "shapely", "rasterio")


def test_the_routes_of_all_rooms_load_without_the_libraries_of_science_and_pictures():
    names = ", ".join(f"lodewalk.web.routes.{name}" for name in (*FIRST, *chain(*LATER)))
    code = f"import sys, {names}; print(*(set({HEAVY!r}) & sys.modules.keys()))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == []
