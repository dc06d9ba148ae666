"""Smooth height on slopes whose truth is known."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.height import _running_median, smooth_height


def test_a_slope_is_kept_to_its_ends():
    time = np.sort(np.random.default_rng(1).uniform(0, 600, 500))
    assert smooth_height(time, 100 + 0.3 * time) == pytest.approx(100 + 0.3 * time, abs=1e-9)


def test_noise_is_averaged_and_outliers_are_ignored():
    rng = np.random.default_rng(2)
    time = np.arange(0.0, 3600)
    truth = 200 + 15 * np.sin(2 * np.pi * time / 1200)
    height = truth + rng.normal(scale=2, size=time.size)
    height[rng.choice(time.size, 40, replace=False)] += 60
    error = smooth_height(time, height) - truth
    # The mean of 31 readings of sd 2 is known to 0.36; at the ends a line of 16 to 4 x that.
    assert error.std() < 0.5
    assert np.abs(error[30:-30]).max() < 2.5
    assert np.abs(error).max() < 5


def test_gaps_are_bridged_and_ends_held():
    time = np.arange(0.0, 400)
    height = 10 + 0.1 * time
    height[100:140] = np.nan
    height[200:290] = np.nan
    height[:5] = np.nan
    smooth = smooth_height(time, height)
    assert smooth[5:] == pytest.approx(10 + 0.1 * time[5:])
    assert smooth[:5] == pytest.approx(10.5)


def test_running_median_equals_the_plain_one():
    rng = np.random.default_rng(3)
    time = np.sort(rng.uniform(0, 100, 300))
    value = rng.normal(size=300).round(1)
    windows = [value[np.abs(time - t) <= 5] for t in time]
    middle, spread = _running_median(time, value, 5.0)
    assert middle.tolist() == [np.median(window) for window in windows]
    off = [np.sort(np.abs(window - np.median(window))) for window in windows]
    assert spread.tolist() == [distances[distances.size // 2] for distances in off]


def test_nothing_known():
    assert np.isnan(smooth_height([0.0, 1.0], [np.nan, np.nan])).all()
    assert smooth_height([], []).size == 0
    assert smooth_height([4.0], [7.0]).tolist() == [7.0]


def test_input_is_checked():
    with pytest.raises(InputError, match="time_s must increase"):
        smooth_height([1, 0], [0, 0])
    with pytest.raises(InputError, match="window_s"):
        smooth_height([0, 1], [0, 0], window_s=0)
