"""Ctrl-C in a run, and two runs at once, in processes of their own."""

import os
import signal
import subprocess
import sys
import time

import pytest

from lodewalk.survey.folder import open_folder
from lodewalk.survey.state import read_state

PATIENCE_S = 60


def start(path):
    return subprocess.Popen(
        [sys.executable, "-m", "lodewalk", "run", str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def wait_for(found, process):
    """Wait until a file is there, while the process lives."""
    end = time.monotonic() + PATIENCE_S
    while not found.exists():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.002)


def digests(path):
    steps = read_state(open_folder(path))
    return {name: s.digest for made in steps.values() for name, s in made.products.items()}


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
def test_an_interrupted_run_says_so_and_the_next_one_finishes(small, lodewalk):
    whole = digests(small.path)
    for path in (small.path / "products").rglob("*.*"):
        path.unlink()
    process = start(small.path)
    wait_for(small.path / "products" / "state.json", process)
    other = lodewalk("run", small.path)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert err == "lodewalk: stopped; finished products are kept.\n"
    assert other.code == 1
    assert f"in use by process {process.pid} on " in other.err
    assert lodewalk("run", small.path).code == 0
    assert digests(small.path) == whole
    assert not list(small.path.rglob("*part"))
