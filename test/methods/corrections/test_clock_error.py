"""Clock error times rate, against records displaced in time."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.clock_error import clock_left, clock_sd

BASE_TIME = np.arange(0.0, 7200.0, 5.0)


def test_size_against_a_displaced_record():
    """Waves of 150 s to 2 h read with clocks that are off by a normal error of 4 s."""
    rng = np.random.default_rng(2)
    errors, stated = [], []
    for _ in range(200):
        period, phase = np.exp(rng.uniform(np.log(150), np.log(7200))), rng.uniform(0, 6.3)
        at = rng.uniform(300, 6900, 20)
        slip = rng.normal(0, 4.0)
        wave = [20 * np.sin(2 * np.pi * t / period + phase) for t in (BASE_TIME, at, at + slip)]
        errors.append(wave[2] - wave[1])
        noisy = wave[0] + rng.normal(0, 0.05, BASE_TIME.size)
        stated.append(clock_sd(at, BASE_TIME, noisy, clock_sd_s=4.0, max_gap_s=60))
    errors, stated = np.concatenate(errors), np.concatenate(stated)
    assert np.mean(np.abs(errors) <= 1.645 * np.hypot(stated, 0.01)) == pytest.approx(0.9, abs=0.04)


def test_a_shorter_clock_error_gives_less_and_none_none():
    field = BASE_TIME / 60
    small, large = (
        clock_sd([3000.0], BASE_TIME, field, clock_sd_s=s, max_gap_s=60)[0] for s in (0.5, 2.0)
    )
    assert large == pytest.approx(4 * small)
    assert clock_sd([3000.0], BASE_TIME, field, clock_sd_s=0.0, max_gap_s=60)[0] == 0.0


def test_nothing_outside_the_record_or_in_a_gap():
    gone = (BASE_TIME > 2000) & (BASE_TIME < 3000)
    found = clock_sd(
        [-1.0, 0.0, 2500.0, 8000.0], BASE_TIME[~gone], BASE_TIME[~gone], clock_sd_s=1.0,
        max_gap_s=60,
    )  # fmt: skip
    assert np.isnan(found).tolist() == [True, False, True, True]
    assert np.isnan(clock_sd([1.0], [], [], clock_sd_s=1.0, max_gap_s=60)).all()


def test_an_error_below_zero_is_refused():
    with pytest.raises(InputError, match="clock_sd_s must not be below zero"):
        clock_sd([1.0], [0.0, 2.0], [1.0, 1.0], clock_sd_s=-1.0, max_gap_s=60)


def test_what_a_clock_may_still_be_off():
    usual = {"usual_sd_s": 1.0}
    assert clock_left(None, None, decided_s=5.0, **usual) == (0.0, 1.0)
    # Two independent measurements of sd 1 and 0.75: 1 / sqrt(1 + 16 / 9) = 0.6.
    left = clock_left(17.9, 0.75, decided_s=18.0, **usual)
    assert left.sd_s == pytest.approx(0.6)
    assert left.mean_s == pytest.approx(-0.1 * 0.64)
    assert clock_left(18.0, 0.75, decided_s=0.0, **usual).mean_s == 18.0
    with pytest.raises(InputError, match="usual_sd_s must be above zero"):
        clock_left(1.0, 1.0, decided_s=0.0, usual_sd_s=0.0)


def test_clocks_drawn_and_measured_are_left_off_as_stated():
    """Clocks off by 2 s, measured to 1.5 s, nothing decided."""
    rng = np.random.default_rng(8)
    off = rng.normal(0, 2.0, 4000)
    left = [clock_left(o + e, 1.5, decided_s=0.0, usual_sd_s=2.0)
            for o, e in zip(off, rng.normal(0, 1.5, 4000), strict=True)]  # fmt: skip
    z = (off - [item.mean_s for item in left]) / [item.sd_s for item in left]
    assert np.mean(np.abs(z) <= 1.645) == pytest.approx(0.9, abs=0.02)
