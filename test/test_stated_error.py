"""The stated error of the anomaly covers the true one, counted over small planted surveys.

A small part of the trial that `bench/evidence.py` makes with hundreds of surveys.
"""

import numpy as np
import pytest

from planted_survey import drawn, outcome

SURVEYS = 12


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    return [outcome(tmp_path_factory.mktemp("planted"), seed) for seed in range(SURVEYS)]


def test_ninety_per_cent_intervals_hold_nine_errors_in_ten(outcomes):
    # Over hundreds of surveys the mean is 0.90 and the sd of one survey 0.03, so the sd of the
    # mean of twelve is 0.01.
    assert 0.87 < np.mean([item.coverage for item in outcomes]) < 0.93
    assert min(item.coverage for item in outcomes) > 0.75


def test_the_surveys_differ_in_what_makes_their_error(outcomes):
    """The trial says something of both parts: noise leads in some surveys, the base in others."""
    noise = [drawn(seed).noise_nT for seed in range(SURVEYS)]
    rms = [np.sqrt(np.mean(item.error**2)) for item in outcomes]
    share = np.square(noise) / np.square(rms)
    assert share.min() < 0.5 < 0.9 < share.max()


def test_quiet_surveys_show_the_planted_noise(outcomes):
    """Where the diurnal part is small, the part of the sensor is the noise that was planted."""
    for seed, item in enumerate(outcomes):
        sensor = np.sqrt(np.median(item.sd**2 - item.sd_diurnal**2))
        if np.median(item.sd_diurnal) < drawn(seed).noise_nT / 2:
            assert sensor == pytest.approx(drawn(seed).noise_nT, rel=0.1)
