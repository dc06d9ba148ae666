"""What all tests share: property tests try the same examples each time, so that none is flaky.

``HYPOTHESIS_PROFILE=search`` lets them search for new ones.
"""

import os
import shutil
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(scope="session")
def demo_survey(tmp_path_factory):
    """The demo after the whole job, made once for all workers; not to be changed."""
    from lodewalk.services.demo_job import demo

    root = tmp_path_factory.getbasetemp()
    shared = root.parent if root.name.startswith("popen-") else root
    made = shared / "demo-for-all"
    with FileLock(shared / "demo-for-all.lock"):
        if not made.exists():
            half = shared / "demo-half-made"
            shutil.rmtree(half, ignore_errors=True)
            demo(half, seed=7)
            half.rename(made)
    return made


@pytest.fixture
def demo_copy(demo_survey, tmp_path):
    """A copy of the demo to change."""
    return Path(shutil.copytree(demo_survey, tmp_path / "demo"))
