"""The noise envelope of white noise, and of lines that differ."""

import numpy as np
import pytest
from scipy.stats import norm

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import noise_envelope


def test_white_noise_has_the_quantile_of_a_normal_variable():
    field = np.random.default_rng(1).normal(scale=0.4, size=20_000)
    found = noise_envelope(field, np.zeros(20_000), window=401)
    assert found.usual_nT == pytest.approx([0.4 * norm.ppf(0.975) * 70**0.5 / 16], rel=0.04)
    assert found.share_over.tolist() == [0.0]


def test_lines_are_kept_apart_whatever_the_order():
    rng = np.random.default_rng(2)
    line = np.tile([5, 3, -1], 300)
    field = np.where(line == 5, 10.0, 0.1) * rng.normal(size=900)
    found = noise_envelope(field, line, tolerance_nT=1.0)
    assert found.line.tolist() == [3, 5]
    assert found.share_over.tolist() == [0.0, 1.0]
    assert np.isnan(found.envelope_nT[line == -1]).all()


def test_a_peak_and_a_lost_reading():
    field = np.zeros(40)
    field[20] = 16.0
    peak = noise_envelope(field, np.zeros(40), window=5, quantile=1.0, tolerance_nT=5.0)
    assert peak.peak_nT.tolist() == [6.0]
    assert peak.share_over == pytest.approx([5 / 36])
    time = np.arange(40.0)
    time[30:] += 1
    parted = noise_envelope(field, np.zeros(40), time_s=time)
    assert np.isnan(parted.fourth_nT).sum() == 8
    short = noise_envelope([1.0, 2.0], [4, 4])
    assert np.isnan(short.share_over).tolist() == [True]
    assert noise_envelope([], []).line.size == 0


def test_settings_are_checked():
    with pytest.raises(InputError, match="odd"):
        noise_envelope([0.0], [0], window=4)
    with pytest.raises(InputError, match="quantile"):
        noise_envelope([0.0], [0], quantile=0)
    with pytest.raises(InputError, match="tolerance_nT"):
        noise_envelope([0.0], [0], tolerance_nT=0)
    with pytest.raises(InputError, match="same length"):
        noise_envelope([0.0], [0, 1])
