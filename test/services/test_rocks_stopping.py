"""A fit that is asked for ends as soon as somebody asks it to stop."""

import threading
from time import monotonic

import pytest

from lodewalk.errors import CancelledError, InputError
from lodewalk.services.rocks.stopping import unless_cancelled


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
