"""A fit that is asked for ends as soon as somebody asks it to stop."""

import os
import signal
import subprocess
import sys
import threading
from time import monotonic

import pytest

from lodewalk.errors import CancelledError, InputError
from lodewalk.services.rocks.stopping import unless_cancelled

#: A process whose work takes much longer than anybody waits.
WORKING = """
import time
from lodewalk.services.rocks.stopping import unless_cancelled

def work():
    print("begun", flush=True)
    time.sleep(50.0)

unless_cancelled(work, lambda: False)
"""


def test_a_stop_does_not_wait_for_the_work():
    go_on = threading.Event()
    asked = monotonic()
    with pytest.raises(CancelledError, match="nothing of it is kept"):
        unless_cancelled(lambda: go_on.wait(20.0), lambda: True)
    assert monotonic() - asked < 2.0
    go_on.set()


def test_what_the_work_refuses_is_refused():
    def work():
        raise InputError("The profile is flat.")

    with pytest.raises(InputError, match="flat"):
        unless_cancelled(work, lambda: False)


def test_the_next_work_waits_for_what_was_left_behind_and_can_be_stopped_too():
    go_on, began = threading.Event(), threading.Event()
    with pytest.raises(CancelledError):
        unless_cancelled(lambda: go_on.wait(20.0), lambda: True)
    with pytest.raises(CancelledError):
        unless_cancelled(began.set, lambda: True)
    assert not began.is_set()
    threading.Timer(0.2, go_on.set).start()
    assert unless_cancelled(go_on.is_set, lambda: False)


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
def test_a_process_ends_at_once_on_ctrl_c_whatever_it_fits():
    process = subprocess.Popen(
        [sys.executable, "-c", WORKING], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "begun\n"
    asked = monotonic()
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert "KeyboardInterrupt" in err
    assert monotonic() - asked < 10.0
