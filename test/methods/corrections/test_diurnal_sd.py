"""Coverage of the predicted error of the diurnal correction, on seeded fields."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.diurnal import interpolate_base
from lodewalk.methods.corrections.diurnal_sd import diurnal_sd

HOURS = 6


def red_noise(rng, *, exponent, seconds=HOURS * 3600 + 1, rms=5.0):
    """Return a field each second whose power falls as frequency to the minus `exponent`."""
    frequency = np.fft.rfftfreq(4 * seconds)
    size = np.zeros(frequency.size)
    size[1:] = frequency[1:] ** (-exponent / 2)
    phases = rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size)
    field = np.fft.irfft(size * phases, 4 * seconds)[:seconds]
    return rms * (field - field.mean()) / field.std()


def pulsations(rng, *, seconds=HOURS * 3600 + 1):
    """Return packets of smooth pulsations with periods of 1 to 10 minutes on a daily curve."""
    time = np.arange(float(seconds))
    field = 20 * np.sin(2 * np.pi * time / 86_400 + rng.uniform(0, 7))
    for _ in range(40):
        period = np.exp(rng.uniform(np.log(60), np.log(600)))
        centre, width = rng.uniform(0, seconds), period * rng.uniform(2, 8)
        packet = np.exp(-(((time - centre) / width) ** 2) / 2)
        wave = np.cos(2 * np.pi * time / period + rng.uniform(0, 7))
        field += rng.exponential() * period / 100 * packet * wave
    return field


def coverage(field, rng, *, interval, noise):
    """Return the share of true errors inside 1.645 predicted sd, readings on the base left out."""
    time = np.arange(float(field.size))
    base_time = time[::interval]
    base = field[::interval] + noise * rng.normal(size=base_time.size)
    reading = (np.arange(field.size) % interval != 0) & (time < base_time[-1])
    settings = {"max_gap_s": 2 * interval, "base_noise_nT": noise}
    error = np.interp(time[reading], base_time, base) - field[reading]
    sd = diurnal_sd(time[reading], base_time, base, **settings)
    return np.mean(np.abs(error) <= 1.645 * sd)


@pytest.mark.parametrize("interval", [10, 30, 60])
@pytest.mark.parametrize("exponent", [1.5, 2.0, 2.5, 3.0, "pulsations"])
def test_ninety_per_cent_intervals_hold_ninety_per_cent(interval, exponent):
    shares = []
    for seed in range(12):
        rng = np.random.default_rng([seed, interval])
        smooth = exponent == "pulsations"
        field = pulsations(rng) if smooth else red_noise(rng, exponent=exponent)
        shares.append(coverage(field, rng, interval=interval, noise=0.05))
    assert 0.85 <= np.mean(shares) <= 0.95


def test_a_straight_record_leaves_the_base_noise():
    base_time = np.arange(0.0, 3600, 60)
    time = np.array([60.0, 75.0, 90.0, 105.0])
    sd = diurnal_sd(time, base_time, 48_000 + 0.01 * base_time, max_gap_s=90, base_noise_nT=0.2)
    share = np.array([0, 0.25, 0.5, 0.75])
    # Independent noise on both ends of a line.
    assert sd == pytest.approx(0.2 * np.sqrt((1 - share) ** 2 + share**2), rel=1e-4)


def test_a_noise_free_base_is_exact_at_its_readings_only():
    rng = np.random.default_rng(1)
    field = red_noise(rng, exponent=2.0)
    base_time = np.arange(0.0, field.size, 60)
    sd = diurnal_sd(base_time, base_time, field[::60], max_gap_s=90, base_noise_nT=0)
    assert (sd == 0).all()
    middle = diurnal_sd(base_time[:-1] + 30, base_time, field[::60], max_gap_s=90, base_noise_nT=0)
    assert (middle > 0).all()


def test_error_of_a_random_walk_follows_its_bridge():
    # Between two known points of a random walk of variance rate r, the variance is r L u (1 - u).
    rng = np.random.default_rng(2)
    walk = np.cumsum(rng.normal(scale=0.1, size=40 * 3600))
    base_time = np.arange(0.0, walk.size, 30)
    share = np.array([0.1, 0.3, 0.5, 0.8])
    sd = diurnal_sd(
        72_000 + 30 * share, base_time, walk[::30], max_gap_s=60, base_noise_nT=0, window_s=36_000
    )
    assert sd == pytest.approx(0.1 * np.sqrt(30 * share * (1 - share)), rel=0.1)


def test_base_noise_is_not_taken_for_roughness():
    rng = np.random.default_rng(3)
    base_time = np.arange(0.0, 36_000)
    base = 48_000 + rng.normal(scale=0.5, size=base_time.size)
    sd = diurnal_sd(base_time[1000:-1000] + 0.5, base_time, base, max_gap_s=5, base_noise_nT=0.5)
    assert np.median(sd) == pytest.approx(0.5 * np.sqrt(0.5), rel=0.1)


def test_error_follows_the_disturbance():
    time = np.arange(0.0, 36_001, 60)
    rng = np.random.default_rng(4)
    base = np.cumsum(rng.normal(size=time.size) * np.where(time < 18_000, 0.1, 3))
    sd = diurnal_sd(time[:-1] + 30, time, base, max_gap_s=90, base_noise_nT=0.0)
    assert np.median(sd[:240]) * 10 < np.median(sd[-240:])


def test_a_lost_base_reading_widens_the_error_there():
    rng = np.random.default_rng(5)
    base_time = np.arange(0.0, 36_000, 60)
    base = np.cumsum(rng.normal(size=base_time.size))
    holed = np.delete(np.arange(base_time.size), 300)
    whole = diurnal_sd([18_030.0], base_time, base, max_gap_s=150, base_noise_nT=0)
    lost = diurnal_sd([18_000.0], base_time[holed], base[holed], max_gap_s=150, base_noise_nT=0)
    # The variance of a random walk's bridge grows with its length.
    assert lost[0] / whole[0] == pytest.approx(np.sqrt(2), rel=0.15)


def test_missing_wherever_there_is_no_correction():
    base_time = np.array([0.0, 10, 20, 30, 100, 110, 120, 130])
    time = np.array([-1.0, 5, 30, 50, 100, 125, 131, np.nan])
    base = np.arange(8.0)
    correction = interpolate_base(time, base_time, base, max_gap_s=15)
    sd = diurnal_sd(time, base_time, base, max_gap_s=15, base_noise_nT=0.1)
    assert np.isnan(correction).tolist() == [1, 0, 0, 1, 0, 0, 1, 1]
    assert np.isnan(sd).tolist() == [1, 0, 0, 1, 0, 0, 1, 1]
    assert correction[[2, 4]].tolist() == [3, 4]
    assert sd[[2, 4]] == pytest.approx(0.1)


def test_a_record_too_short_to_tell():
    sd = diurnal_sd([0.0, 5.0], [0.0, 10.0], [1.0, 2.0], max_gap_s=15, base_noise_nT=0.1)
    assert sd[0] == 0.1
    assert np.isnan(sd[1])
    assert diurnal_sd([0.0, 1.0], [0.0], [1.0], max_gap_s=15, base_noise_nT=0.1)[0] == 0.1


def test_input_is_checked():
    with pytest.raises(InputError, match="base_noise_nT"):
        diurnal_sd([0], [0, 1], [0, 1], max_gap_s=9, base_noise_nT=-1)
    with pytest.raises(InputError, match="window_s"):
        diurnal_sd([0], [0, 1], [0, 1], max_gap_s=9, base_noise_nT=0, window_s=0)
    with pytest.raises(InputError, match="must increase"):
        diurnal_sd([0], [1, 1], [0, 1], max_gap_s=9, base_noise_nT=0)
