"""The covariance of block means is held against hand arithmetic and sums over single readings."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.line_layout import block_means, readings_on
from lodewalk.methods.planning.survey_noise import (
    RandomField,
    SurveyNoise,
    block_field,
    block_noise,
    noise_covariance,
)


def of_rocks(away, sd, depth):
    return sd**2 * (1 + (away / (2 * depth)) ** 2) ** -1.5


def test_a_pair_of_blocks_by_hand():
    readings = readings_on([(0, 0, 0, 9), (30, 9, 30, 0)], pace_m_s=1.0)
    noise = SurveyNoise(0.3, 0.4, 2.0, 50.0, 1.0, (RandomField(3.0, 10.0), RandomField(0.0, 1.0)))
    found = noise_covariance(block_means(readings, 5.0), noise)
    # Middles at 2 and 7 m north, each of five readings, 5 s apart; then another line.
    own = 0.25 / 5 + 4.0 + 9.0
    level = 100**2 * (0.25 + 4.0 + 9.0)
    assert found[0, 0] == pytest.approx(own + level)
    assert found[1, 0] == pytest.approx(4 * np.exp(-5 / 50) + of_rocks(5.0, 3.0, 10.0) + level)
    assert found[2, 1] == pytest.approx(4 * np.exp(-34 / 50) + of_rocks(30.0, 3.0, 10.0))


@pytest.mark.parametrize(("depth", "block"), [(3.0, 5.0), (3.0, 12.0), (20.0, 6.0)])
def test_the_variance_of_a_mean_is_that_of_many_readings(depth, block):
    place = block * (np.arange(400) + 0.5) / 400
    variance = of_rocks(place[:, None] - place, 2.0, depth).mean()
    assert block_field(RandomField(2.0, depth), block).sd_nT ** 2 == pytest.approx(
        variance, rel=1e-4
    )


def test_blocks_far_apart_on_a_line_keep_their_common_part():
    # Sum over the whole line: variance times correlation length stays.
    single, mean = RandomField(2.0, 3.0), block_field(RandomField(2.0, 3.0), 9.0)
    away = np.arange(-2000, 2000, 0.5)
    sums = [of_rocks(away, one.sd_nT, one.depth_m).sum() for one in (single, mean)]
    assert sums[1] == pytest.approx(sums[0], rel=0.01)


def test_quiet_ground_stays_quiet():
    noise = SurveyNoise(geology=(RandomField(0.0, 3.0),))
    assert block_noise(noise, 5.0) == noise
    assert noise.total_sd == pytest.approx(np.sqrt(0.1**2 + 0.3**2 + 0.5**2))


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: SurveyNoise(instrument_nT=0.0), "instrument_nT must be above zero"),
        (lambda: SurveyNoise(diurnal_s=0.0), "diurnal_s must be above zero"),
        (lambda: SurveyNoise(walking_nT=-0.1), "walking_nT must be 0 or more"),
        (lambda: RandomField(np.nan, 1.0), "sd_nT must be 0 or more"),
        (lambda: RandomField(1.0, 0.0), "depth_m must be above zero"),
    ],
)
def test_bad_noise_is_told(call, text):
    with pytest.raises(InputError, match=text):
        call()
