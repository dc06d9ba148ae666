"""Seeded noise and the made-up change of the field, against what their definitions say."""

import numpy as np
import pytest
from scipy.signal import welch

from lodewalk.services.demo.noise import red_noise, stream, wandering
from lodewalk.services.demo.scenario import DAYS
from lodewalk.services.demo.variation import variation


def test_streams_differ_by_name_and_seed():
    draws = {stream(seed, name).normal() for seed in (1, 2) for name in ("a", "b")}
    assert len(draws) == 4
    assert stream(1, "a", "b").normal() != stream(1, "ab").normal()


def test_wandering_has_its_spread_and_memory():
    noise = wandering(stream(3, "test"), 400_000, sd=2.0, time_s=50.0)
    # an autoregression of first order: 4000 independent values, correlation exp(-lag / time)
    assert noise.std() == pytest.approx(2.0, rel=0.05)
    lagged = np.corrcoef(noise[:-50], noise[50:])[0, 1]
    assert lagged == pytest.approx(np.exp(-1.0), abs=0.03)


def test_wandering_starts_at_full_spread():
    starts = [wandering(stream(k, "s"), 1, sd=1.0, time_s=90.0)[0] for k in range(400)]
    assert np.std(starts) == pytest.approx(1.0, rel=0.12)


def test_red_noise_falls_with_its_slope():
    noise = red_noise(stream(4, "test"), 200_000, sd=1.5, slope=2.3, longest_s=5400.0)
    assert noise.std() == pytest.approx(1.5)
    frequency, power = welch(noise, nperseg=8192)
    band = (frequency > 2e-3) & (frequency < 0.1)
    slope = np.polyfit(np.log(frequency[band]), np.log(power[band]), 1)[0]
    assert slope == pytest.approx(-2.3, abs=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_day_is_quiet_and_the_other_is_not(seed):
    """The Canadian tolerance of 3 nT over a 60 s chord tells the two days apart."""
    spans = []
    for day in DAYS:
        change = variation(day, seed=seed)[int(day.base_start_s) : int(day.base_end_s)]
        chord = (change[:-60] + change[60:]) / 2.0
        spans.append((np.ptp(change), np.abs(change[30:-30] - chord).max()))
    (quiet_range, quiet_chord), (storm_range, storm_chord) = spans
    assert 30.0 < quiet_range < 60.0
    assert quiet_chord < 1.0
    assert storm_range > 90.0
    assert storm_chord > 5.0
