"""Parts done by threads: order, errors, cancelling, progress."""

from functools import partial
from threading import Event

import numpy as np
import pytest

from cluster_parts import refusing, weighed
from lodewalk.errors import CancelledError, InputError
from lodewalk.steps.context import Context
from lodewalk.steps.executors import Threads


class Heard:
    """Keeps what it heard of the progress."""

    def __init__(self):
        self.told = []

    def progress(self, step, done, total):
        self.told.append((step, done, total))


@pytest.mark.parametrize("count", [1, 2, 5])
def test_results_come_in_order_whatever_the_number_of_threads(count):
    weight, parts = np.linspace(0, 1, 1001), list(np.random.default_rng(3).normal(size=(9, 1001)))
    found = Context(executor=Threads(count)).map(partial(weighed, weight), parts)
    for part, (values, total) in zip(parts, found, strict=True):
        np.testing.assert_array_equal(values, weight * part)
        assert total == float(np.sum(weight * part))


def test_no_parts_have_no_results():
    assert Context().map(abs, []) == []


def test_the_first_error_in_the_order_of_parts_comes_out():
    with pytest.raises(InputError, match=r"Parts must be below two\. Found 2\."):
        Context(executor=Threads(4)).map(refusing, range(6))


def test_progress_is_told_part_by_part():
    heard = Heard()
    Context(step="grid", reporter=heard).map(abs, [-1, -2])
    assert heard.told == [("grid", 1, 2), ("grid", 2, 2)]


def test_a_cancelled_run_does_no_part_that_still_waits():
    stop, done = Event(), []

    def part(number):
        done.append(number)
        stop.set()
        return number

    with pytest.raises(CancelledError):
        Context(executor=Threads(1), cancelled=stop.is_set).map(part, range(1000))
    assert len(done) < 1000
