"""Time order, on short records whose faults were put in by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.time_order import (
    find_backward_steps,
    find_duplicates,
    find_gaps,
    nominal_interval,
)


def test_interval_is_the_median_of_forward_steps():
    assert nominal_interval([0, 10, 20, 15, 25, 35, 4000]) == 10
    assert np.isnan(nominal_interval([]))
    assert np.isnan(nominal_interval([7.0, 7.0]))


def test_a_record_in_order_has_no_step_back():
    assert find_backward_steps([0, 1, 1, 2]).at.size == 0
    assert find_backward_steps([]).at.size == 0


def test_a_clock_set_back_an_hour():
    time = np.concatenate((np.arange(0, 5000.0), np.arange(1400, 9000.0)))
    steps = find_backward_steps(time)
    assert steps.at.tolist() == [5000]
    assert steps.step_s.tolist() == [-3599]
    assert time[steps.caught_up].tolist() == [5000]


def test_a_clock_that_never_catches_up():
    steps = find_backward_steps([10.0, 11.0, 1.0, 2.0])
    assert steps.caught_up.tolist() == [4]


def test_two_steps_back_one_inside_the_other():
    steps = find_backward_steps([0, 8, 5, 6, 4, 7, 9])
    assert steps.at.tolist() == [2, 4]
    assert steps.step_s.tolist() == [-3, -2]
    assert steps.caught_up.tolist() == [6, 6]


def test_copies_are_told_from_contradictions_wherever_they_stand():
    twice = find_duplicates([3, 1, 2, 3, 3, 1], [30, 10, 20, 31, 30, 10])
    assert twice.same_reading.tolist() == [False, False, False, False, True, True]
    assert twice.same_time.tolist() == [False, False, False, True, False, False]


def test_two_missing_values_are_copies():
    twice = find_duplicates([1, 1], [np.nan, np.nan])
    assert twice.same_reading.tolist() == [False, True]
    assert find_duplicates([], []).same_time.size == 0


def test_gaps_need_both_the_factor_and_the_seconds():
    fast = np.concatenate((np.arange(0, 10, 0.1), np.arange(12, 20, 0.1), np.arange(90, 95, 0.1)))
    gaps = find_gaps(fast, factor=3, min_s=5)
    assert len(gaps) == 1
    assert gaps.end_s[0] == pytest.approx(90)
    slow = np.arange(0, 600, 60.0)
    assert len(find_gaps(slow, factor=3, min_s=5)) == 0
    assert len(find_gaps(np.delete(slow, [4, 5]), factor=2, min_s=5)) == 1


def test_settings_of_the_gap_are_checked():
    with pytest.raises(InputError, match="factor must be above zero"):
        find_gaps([0, 1], factor=0)
    with pytest.raises(InputError, match="min_s must be above zero"):
        find_gaps([0, 1], min_s=-1)
