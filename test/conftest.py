"""What all tests share: property tests try the same examples each time, so that none is flaky.

``HYPOTHESIS_PROFILE=search`` lets them search for new ones.
"""

import os
import pickle
import shutil
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


def made_once(tmp_path_factory, name, seed):
    """Return a demo after the whole job and what it says of itself, made once for all workers."""
    from lodewalk.services.demo_job import demo

    root = tmp_path_factory.getbasetemp()
    shared = root.parent if root.name.startswith("popen-") else root
    made, said = shared / name, shared / f"{name}.pickle"
    with FileLock(shared / f"{name}.lock"):
        if not said.exists():
            shutil.rmtree(made, ignore_errors=True)
            said.write_bytes(pickle.dumps(demo(made, seed=seed)))
    return made, pickle.loads(said.read_bytes())


@pytest.fixture(scope="session")
def demo_survey(tmp_path_factory):
    """The demo after the whole job; not to be changed."""
    return made_once(tmp_path_factory, "demo-for-all", 7)[0]


@pytest.fixture(scope="session")
def other_demo(tmp_path_factory):
    """What a demo of another seed says of itself, which no default of lodewalk has seen.

    Its folder is not to be changed.
    """
    return made_once(tmp_path_factory, "demo-of-trials", 3)[1]


@pytest.fixture
def demo_copy(demo_survey, tmp_path):
    """A copy of the demo to change."""
    return Path(shutil.copytree(demo_survey, tmp_path / "demo"))
