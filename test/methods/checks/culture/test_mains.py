"""Beats in seeded noise: how often by chance, how weak, and at which frequency."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import find_beats


def test_false_alarms_in_white_noise_are_as_stated():
    found = 0
    for seed in range(300):
        noise = np.random.default_rng(seed).normal(size=3000)
        found += find_beats(np.arange(3000.0), noise, false_alarms=0.1).first.size > 0
    # Binomial, 300 trials of 0.1: 99.9 % of the time between 15 and 48.
    assert 15 <= found <= 48


@pytest.mark.parametrize(("mains", "rate"), [(50, 4.8), (60, 8.7), (50, 1.03)])
def test_mains_beat_at_their_alias(mains, rate):
    rng = np.random.default_rng(4)
    time = np.arange(2000) / rate
    field = rng.normal(scale=0.3, size=2000) + 0.05 * time
    field[800:1200] += 0.9 * np.sin(2 * np.pi * mains * time[800:1200])
    found = find_beats(time, field)
    alias = abs(mains - rate * round(mains / rate))
    assert found.frequency_Hz == pytest.approx([alias], abs=0.01 * rate)
    assert found.amplitude_nT == pytest.approx([0.9], rel=0.25)
    assert 700 <= found.first[0] <= 830
    assert 1170 <= found.last[0] <= 1300


def test_a_pace_in_all_windows_is_no_find():
    time = np.arange(3000.0)
    field = np.random.default_rng(5).normal(size=3000) + 2 * np.sin(2 * np.pi * 0.3 * time)
    assert find_beats(time, field).first.size == 0


def test_gaps_and_short_records():
    time = np.arange(300.0)
    time[150:] += 1000
    field = np.random.default_rng(6).normal(size=300)
    field[100:200] += 5 * np.sin(2 * np.pi * 0.3 * np.arange(100))
    found = find_beats(time, field)
    assert ((found.last < 150) | (found.first >= 150)).all()
    for count in (0, 1, 100):
        assert find_beats(np.arange(float(count)), np.zeros(count)).first.size == 0
    with pytest.raises(InputError, match="at least 64"):
        find_beats([0.0], [0.0], window=63)
    with pytest.raises(InputError, match="below 1"):
        find_beats([0.0], [0.0], false_alarms=1)
