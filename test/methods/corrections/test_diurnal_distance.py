"""The error from the distance to the base: closed forms, limits, what can't be told."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.diurnal_distance import distance_sd, variation_size


def sd_at(base_time, base, at, **settings):
    return distance_sd(
        at, base_time, base, **({"distance_m": 15_000.0, "max_gap_s": 90} | settings)
    )


def test_a_wave_differs_by_its_rms_times_distance_over_scale():
    time = np.arange(0.0, 7200, 10)
    wave = 48_000 + 4 * np.sin(2 * np.pi * time / 120)
    sd = sd_at(time, wave, [3600.0], scale_km=150)
    assert sd == pytest.approx(4 / np.sqrt(2) * 0.1, rel=0.01)
    assert sd_at(time, wave, [3600.0], scale_km=75) == pytest.approx(2 * sd)


def test_a_straight_record_has_no_variation():
    time = np.arange(0.0, 7200, 60) + 1_715_212_800
    assert sd_at(time, 48_000 + 0.01 * time, time) == pytest.approx(0, abs=1e-4)


def test_a_parabola_has_the_rms_of_the_second_legendre_polynomial():
    # c t^2 on [-T, T] about its mean: rms c T^2 2 / sqrt(45).
    time = np.arange(-3600.0, 3601)
    size = variation_size(time, 1e-5 * time**2, window_s=3600, base_noise_nT=0)
    assert size[3600] == pytest.approx(1e-5 * 1800**2 * 2 / np.sqrt(45), rel=1e-3)


def test_nothing_at_the_base_and_no_more_than_two_unrelated_fields():
    rng = np.random.default_rng(1)
    time = np.arange(0.0, 7200, 60)
    base = rng.normal(size=time.size)
    assert sd_at(time, base, time, distance_m=0.0).tolist() == [0.0] * time.size
    size = variation_size(time, base, base_noise_nT=0)
    far = sd_at(time, base, time, distance_m=1e9)
    assert far == pytest.approx(np.sqrt(2) * size)


def test_each_reading_has_its_own_distance():
    time = np.arange(0.0, 7200, 60)
    wave = np.sin(time)
    sd = sd_at(time, wave, [3600.0, 3600.0], distance_m=[1000.0, 3000.0])
    assert sd[1] == pytest.approx(3 * sd[0])


def test_base_noise_is_not_taken_for_variation():
    rng = np.random.default_rng(2)
    time = np.arange(0.0, 36_000, 10)
    base = rng.normal(scale=0.5, size=time.size)
    plain = sd_at(time, base, [18_000.0])
    less = sd_at(time, base, [18_000.0], base_noise_nT=0.5)
    assert less < 0.4 * plain


def test_missing_where_there_is_no_correction_or_too_little_record():
    time = np.concatenate((np.arange(0.0, 7200, 60), np.arange(14_400.0, 14_640, 60)))
    base = np.sin(time)
    base[10] = np.nan
    sd = sd_at(time, base, [-1.0, 600.0, 3600, 9000, 14_460, 15_000, np.nan], max_gap_s=150)
    assert np.isnan(sd).tolist() == [1, 0, 0, 1, 0, 1, 1]
    alone = sd_at(time[-4:], base[-4:], [14_460.0])
    assert np.isnan(alone).all()
    size = variation_size(time, base, base_noise_nT=0)
    assert np.isnan(size[-4:]).all()
    assert np.isnan(size[10])


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"distance_m": -1.0}, "distance_m must not be below zero"),
        ({"distance_m": np.inf}, "distance_m must not be below zero"),
        ({"base_noise_nT": -0.1}, "base_noise_nT must not be below zero"),
        ({"scale_km": 0.0}, "scale_km must be above zero"),
        ({"window_s": 0.0}, "window_s must be above zero"),
        ({"max_gap_s": 0.0}, "max_gap must be above zero"),
    ],
)
def test_settings_are_checked(bad, said):
    with pytest.raises(InputError, match=said):
        sd_at(np.arange(9.0), np.zeros(9), [1.0], **bad)


def test_times_and_lengths_are_checked():
    with pytest.raises(InputError, match="must increase"):
        sd_at([0.0, 0.0], [1.0, 1.0], [0.0])
    with pytest.raises(InputError, match="same length"):
        sd_at(np.arange(9.0), np.zeros(9), [1.0, 2.0], distance_m=[1.0, 2.0, 3.0])
