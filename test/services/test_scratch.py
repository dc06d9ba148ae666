"""Temporary folders are gone after Ctrl-C, twice too, and after a kill once the next one looks."""

import subprocess
import sys
import tempfile

import pytest

from lodewalk.errors import InputError
from lodewalk.services.verify import verify

#: Ctrl-C while the folder is held, and again while it is being removed.
TWICE = """
import shutil
from lodewalk.services.scratch import scratch
usual, times = shutil.rmtree, []
def removed(*what, **how):
    times.append(what)
    if len(times) == 1:
        raise KeyboardInterrupt
    usual(*what, **how)
shutil.rmtree = removed
with scratch("verify") as place:
    (place / "packed").mkdir()
    raise KeyboardInterrupt
"""
#: A thread is left behind that goes on writing, as when the pages end while it verifies.
LEFT = """
import threading, time
from lodewalk.services.scratch import scratch
begun = threading.Event()
def work():
    with scratch("verify") as place:
        for number in range(100_000):
            (place / f"{number}.txt").write_text("x")
            begun.set()
threading.Thread(target=work, daemon=True).start()
begun.wait()
"""


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """A place of its own for temporary folders."""
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    monkeypatch.setenv("TMPDIR", str(place))
    return place


@pytest.mark.parametrize("text", [TWICE, LEFT], ids=["twice", "left behind"])
def test_a_folder_is_gone_however_its_process_ends(temporary, text):
    subprocess.run([sys.executable, "-c", text], check=False, capture_output=True, timeout=60)
    assert not list(temporary.iterdir())


def test_what_a_killed_process_left_is_removed_by_the_next_verify(temporary, tmp_path):
    text = "import os; from lodewalk.services.scratch import made; made('verify'); os._exit(9)"
    subprocess.run([sys.executable, "-c", text], check=False, timeout=60)
    assert len(list(temporary.iterdir())) == 1
    (tmp_path / "no.zip").write_text("no package")
    with pytest.raises(InputError):
        verify(tmp_path / "no.zip")
    assert not list(temporary.iterdir())
