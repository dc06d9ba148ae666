"""What a lag amounts to, by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lag import Lag
from lodewalk.methods.corrections.lag_judgement import judge_lag, steep_slope


def judged(shift_s=0.5, sd_s=0.1, **more):
    found = Lag(shift_s, sd_s, 0.0, 1.0, 0.0, 1.0, shift_s, sd_s, 1.25, "combination only", 9, 0)
    usual = {"ahead_m": 0.0, "applied_s": 0.0, "position_sd_m": 0.6, "slope_nT_m": 2.0,
             "noise_nT": 0.5}  # fmt: skip
    return judge_lag(found, **(usual | more))


def test_a_shift_at_walking_speed_in_metres_and_nanotesla():
    found = judged()
    # 0.5 s at 1.25 m/s, on a flank of 2 nT/m.
    assert (found.displaced_m, found.change_nT) == pytest.approx((0.625, 1.25))
    assert found.interval_s == pytest.approx((0.5 - 0.1645, 0.5 + 0.1645))
    assert found.certain
    assert found.matters


@pytest.mark.parametrize(
    ("change", "certain", "matters"),
    [
        ({"sd_s": 0.31}, False, True),
        ({"position_sd_m": 1.9}, True, False),
        ({"noise_nT": 1.3}, True, False),
        ({"slope_nT_m": 0.39}, True, False),
        ({"applied_s": 0.4}, False, False),
        ({"applied_s": 1.0}, True, True),
    ],
)
def test_each_reason_to_leave_it(change, certain, matters):
    found = judged(**change)
    assert (found.certain, found.matters) == (certain, matters)


def test_an_arm_ahead_that_is_applied_asks_for_more_lag():
    # The sensor 1 m ahead passes for a lag of -0.8 s; with it applied, the rest is the lag.
    found = judged(shift_s=-0.3, ahead_m=1.0)
    assert found.lag_s == pytest.approx(0.5)
    assert judged(shift_s=-0.3, ahead_m=1.0, applied_s=0.5).displaced_m == pytest.approx(0.0)


def test_the_slope_is_that_of_the_steep_tenth():
    along = np.arange(1000.0)
    field = np.where(along >= 850, 3.0 * (along - 850), 0.0)
    passage = np.zeros(1000, dtype=int)
    assert steep_slope(along, field, along, 0 * along, passage) == pytest.approx(3.0)
    assert steep_slope(along, -field, along, 0 * along, passage) == pytest.approx(3.0)
    # Less than a tenth is steep, or nothing is on a line.
    mild = np.where(along >= 920, 3.0 * (along - 920), 0.0)
    assert steep_slope(along, mild, along, 0 * along, passage) == 0.0
    assert steep_slope(along, field, along, 0 * along, passage - 1) == 0.0
    assert steep_slope([], [], [], [], []) == 0.0


def test_a_step_from_line_to_line_is_no_slope():
    along = np.tile(np.arange(50.0), 4)
    passage = np.repeat(np.arange(4), 50)
    assert steep_slope(np.arange(200.0), 100.0 * passage, along, 20.0 * passage, passage) == 0.0


def test_bad_input_says_so():
    with pytest.raises(InputError, match="position_sd_m must be above zero"):
        judged(position_sd_m=0.0)
    with pytest.raises(InputError, match="noise_nT must be above zero"):
        judged(noise_nT=0.0)
    with pytest.raises(InputError, match="same length"):
        steep_slope([1.0], [1.0], [1.0], [1.0], [])
