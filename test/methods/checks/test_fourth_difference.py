"""Fourth difference: its closed-form gains, and noise recovered from seeded noise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.checks.fourth_difference import (
    WHITE_NOISE_GAIN,
    fourth_difference,
    noise_by_group,
    noise_sd,
    running_noise,
)

coefficient = st.floats(-50, 50)


@given(coefficient, coefficient, coefficient, coefficient)
def test_zero_on_any_cubic(a, b, c, d):
    u = np.linspace(-1, 1, 21)
    fourth = fourth_difference(a + b * u + c * u**2 + d * u**3)
    assert np.abs(fourth[2:-2]).max() < 1e-12


def test_gain_on_a_spike_is_six_four_one_sixteenths():
    record = np.zeros(9)
    record[4] = 1.0
    assert fourth_difference(record)[2:7].tolist() == [1 / 16, -4 / 16, 6 / 16, -4 / 16, 1 / 16]


def test_gain_on_a_sawtooth_is_one():
    fourth = fourth_difference(np.tile([3.0, -3.0], 10))
    assert np.abs(fourth[2:-2]).tolist() == [3.0] * 16


def test_gain_on_white_noise():
    assert pytest.approx(0.522913, abs=1e-6) == WHITE_NOISE_GAIN
    noise = np.random.default_rng(3).normal(size=400_000)
    assert np.nanstd(fourth_difference(noise)) == pytest.approx(0.522913, rel=0.01)


def test_only_whole_fives_count():
    assert np.isnan(fourth_difference([1.0, 2.0, 3.0, 4.0])).all()
    assert np.isnan(fourth_difference([0, 0, np.nan, 0, 0, 0, 0])[2:5]).all()
    assert np.flatnonzero(np.isfinite(fourth_difference([0, 0, np.nan] + [0] * 6))).tolist() == [
        5,
        6,
    ]


def test_broken_at_a_lost_reading_but_not_by_jitter():
    time = np.delete(np.arange(30.0), 15)
    fourth = fourth_difference(np.zeros(29), time_s=time)
    assert np.flatnonzero(np.isnan(fourth)).tolist() == [0, 1, 13, 14, 15, 16, 27, 28]
    jitter = np.arange(30.0) + np.random.default_rng(1).uniform(-0.08, 0.08, 30)
    assert np.isfinite(fourth_difference(np.zeros(30), time_s=jitter)[2:-2]).all()


def test_broken_where_time_stands_or_runs_back():
    time = np.arange(20.0)
    time[10] = time[9]
    assert np.isnan(fourth_difference(np.zeros(20), time_s=time)[8:12]).all()
    time[10:] -= 5
    assert np.isnan(fourth_difference(np.zeros(20), time_s=time)[8:12]).all()


@pytest.mark.parametrize("seed", range(5))
def test_noise_is_recovered_in_spite_of_spikes(seed):
    rng = np.random.default_rng(seed)
    record = rng.normal(scale=0.2, size=5000) + 40 * np.sin(np.arange(5000) / 200)
    record[rng.choice(5000, 50, replace=False)] += 30
    # sd of a median-based scale on 5000 correlated values is about 2 %; spikes add under 10 %.
    assert noise_sd(fourth_difference(record)) == pytest.approx(0.2, rel=0.12)


def test_noise_of_nothing_is_missing():
    assert np.isnan(noise_sd([np.nan, np.nan]))
    assert np.isnan(running_noise([np.nan])).all()


def test_running_noise_follows_a_change_of_noise():
    rng = np.random.default_rng(8)
    record = np.concatenate((rng.normal(scale=0.1, size=2000), rng.normal(scale=1.0, size=2000)))
    noise = running_noise(fourth_difference(record), window=401)
    assert np.nanmedian(noise[:1700]) == pytest.approx(0.1, rel=0.1)
    assert np.nanmedian(noise[2300:]) == pytest.approx(1.0, rel=0.1)
    assert np.isnan(noise[[0, 1, -2, -1]]).all()


@pytest.mark.parametrize("window", [2, 1, 10])
def test_window_must_be_odd(window):
    with pytest.raises(InputError, match="odd number"):
        running_noise(np.zeros(9), window=window)


def test_noise_of_each_group():
    rng = np.random.default_rng(5)
    group = np.repeat([4, -1, 2], 4000)
    fourth = fourth_difference(rng.normal(size=12_000) * np.repeat([0.1, 9.0, 0.4], 4000))
    noise = noise_by_group(fourth, group)
    assert noise.group.tolist() == [2, 4]
    assert noise.sd_nT == pytest.approx([0.4, 0.1], rel=0.1)
    assert noise.count.tolist() == [3998, 3998]
    assert noise.peak_nT[1] == np.nanmax(np.abs(fourth[:4000]))


def test_groups_without_a_figure():
    noise = noise_by_group([np.nan, 0.2], [0, -1])
    assert noise.count.tolist() == [0]
    assert np.isnan(noise.sd_nT[0])
    assert np.isnan(noise.peak_nT[0])
    assert noise_by_group([], []).group.size == 0
