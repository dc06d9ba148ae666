"""A base that hangs, against fields that only seem to stand still."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.stuck_base import stuck_base

TIME = np.arange(0.0, 6 * 3600.0, 5.0)


def field(seed, step_nT, rough_nT):
    """Return a random walk of `rough_nT` over an hour with noise, rounded."""
    rng = np.random.default_rng(seed)
    walk = np.cumsum(rng.normal(0, rough_nT / np.sqrt(720), TIME.size))
    value = 48_000 + walk + rng.normal(0, 0.05, TIME.size)
    return np.round(value / step_nT) * step_nT


@pytest.mark.parametrize("seed", range(5))
def test_a_base_that_hangs_for_twenty_minutes_is_found(seed):
    value = field(seed, 0.01, 3.0)
    value[1000:1240] = value[1000]
    found = stuck_base(TIME, value)
    assert found.first.tolist() == [1000]
    assert 1239 <= found.last[0] <= 1240
    assert found.start_s.tolist() == [5000.0]


def test_a_base_of_one_value_throughout_is_stuck():
    found = stuck_base(TIME, np.full(TIME.size, 48_000.0))
    assert (found.first.tolist(), found.last.tolist()) == ([0], [TIME.size - 1])


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize(("step_nT", "rough_nT"), [(1.0, 0.3), (1.0, 3.0), (0.1, 1.0)])
def test_a_quiet_field_in_coarse_steps_is_not_stuck(seed, step_nT, rough_nT):
    assert not stuck_base(TIME, field(seed, step_nT, rough_nT)).first.size


def test_a_short_record_of_one_value_tells_nothing():
    assert not stuck_base(TIME[:100], np.full(100, 48_000.0)).first.size


@pytest.mark.parametrize("count", [0, 1, 2])
def test_no_record_no_run(count):
    assert not stuck_base(TIME[:count], np.full(count, 48_000.0)).first.size


def test_wrong_input_is_refused():
    with pytest.raises(InputError, match="shortest_s"):
        stuck_base(TIME, TIME, shortest_s=0.0)
    with pytest.raises(InputError, match="base_time_s"):
        stuck_base([1.0, 0.0], [1.0, 2.0])
