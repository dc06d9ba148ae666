"""Drift of a clock: against lines worked by hand, and against clocks that were planted."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.drift import Drift, mean_drift, runs_drift
from lodewalk.methods.checks.clocks.evidence import NOTHING, ClockEvidence

HOUR = 3600.0


def drift_of(hours, offsets, sds, **more):
    runs = [ClockEvidence(offset, sd) for offset, sd in zip(offsets, sds, strict=True)]
    settings = {"at_s": 4 * HOUR, "lasting_s": 8 * HOUR} | more
    return runs_drift([hour * HOUR for hour in hours], runs, **settings)


def test_two_runs_are_the_line_through_both():
    found, drift = drift_of([0, 8], [1.0, 17.0], [0.3, 0.4])
    assert drift.s_per_h == pytest.approx(2.0)
    assert drift.sd_s_per_h == pytest.approx(0.5 / 8)  # hypot(0.3, 0.4) over 8 h
    assert found.offset_s == pytest.approx(9.0)
    assert found.sd_s == pytest.approx(0.25)  # hypot(0.3, 0.4) / 2
    assert drift.amount_s == pytest.approx(16.0)
    assert drift.amount_sd_s == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("rate", "sd", "significant", "matters"),
    [
        (2.0, 0.1, True, True),
        (-2.0, 0.1, True, True),
        (2.0, 0.7, False, False),  # under three sd
        (0.1, 0.01, True, False),  # 0.8 s over the day
        (0.13, 0.01, True, True),  # 1.04 s
    ],
)
def test_a_drift_matters_at_three_sd_and_a_second_a_day(rate, sd, significant, matters):
    drift = Drift(rate, sd, 8 * HOUR)
    assert (drift.significant, drift.matters) == (significant, matters)


def test_a_step_of_an_hour_is_no_drift():
    _, drift = drift_of([0, 8], [0.0, 3600.0], [0.3, 0.3])
    assert not drift.plausible


def test_runs_that_say_nothing_are_left_out():
    runs = [ClockEvidence(1.0, 0.3), NOTHING, ClockEvidence(3.0, 0.3)]
    times = [0.0, HOUR, 2 * HOUR]
    _, drift = runs_drift(times, runs, at_s=0.0, lasting_s=HOUR)
    assert drift.s_per_h == pytest.approx(1.0)
    found, none = runs_drift([0.0, HOUR], [runs[0], NOTHING], at_s=0.0, lasting_s=HOUR)
    assert none is None
    assert found.offset_s == 1.0


def test_a_long_run_tells_its_own_drift():
    run = ClockEvidence(1.0, 0.3, 100, 24.0, 2.4)
    _, drift = runs_drift([0.0], [run], at_s=0.0, lasting_s=HOUR)
    assert (drift.s_per_h, drift.sd_s_per_h) == pytest.approx((1.0, 0.1))


def test_a_coarse_series_tells_no_finer_drift():
    """A twentieth of a minute, 3 s, on each of two runs 8 h apart; and on five spans of one."""
    _, drift = drift_of([0, 8], [0.0, 1.0], [0.01, 0.01], interval_s=60.0)
    assert drift.sd_s_per_h == pytest.approx(np.sqrt(2) * 3.0 / 8, rel=1e-4)
    run = ClockEvidence(1.0, 0.3, 100, 24.0, 1e-6)
    _, drift = runs_drift([0.0], [run], at_s=0.0, lasting_s=8 * HOUR, interval_s=60.0)
    middles = np.linspace(0.1, 0.9, 5) * 8  # of five equal spans: a little nearer than the ends
    slope_sd = 3.0 / np.sqrt(np.sum((middles - 4.0) ** 2))
    assert drift.sd_s_per_h == pytest.approx(slope_sd, rel=0.1)


def test_no_run_knows_nothing():
    found, drift = runs_drift([], [], at_s=0.0, lasting_s=HOUR)
    assert drift is None
    assert np.isnan(found.offset_s)


def test_the_span_is_above_zero():
    with pytest.raises(InputError, match="lasting_s"):
        runs_drift([0.0], [ClockEvidence(1.0, 0.3)], at_s=0.0, lasting_s=0.0)


def test_days_are_their_weighted_mean_and_wider_where_they_disagree():
    assert mean_drift([]) is None
    one, other = Drift(1.0, 0.3, HOUR), Drift(1.5, 0.4, HOUR)
    rate, sd = mean_drift([one, other])
    assert rate == pytest.approx((1.0 / 0.09 + 1.5 / 0.16) / (1 / 0.09 + 1 / 0.16))
    assert sd == pytest.approx(0.24)
    _, sd = mean_drift([Drift(0.0, 0.1, HOUR), Drift(2.0, 0.1, HOUR)])
    assert sd == pytest.approx(1.0)  # chi square 200: 0.1 / sqrt(2) x sqrt(200)


def test_no_drift_matters_by_chance_more_often_than_stated():
    """Three sd of a normal error: 0.27 %, of 4000 clocks without drift."""
    rng = np.random.default_rng(5)
    false = sum(
        drift_of([0, 3, 8], rng.normal(0, 1.0, 3), [1.0] * 3)[1].matters for _ in range(4000)
    )
    assert false <= 0.0027 * 4000 + 3 * np.sqrt(0.0027 * 4000)
