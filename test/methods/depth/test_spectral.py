"""Spectral depths of random sources, and spectra that tell nothing."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.depth import spectral_depth


def drawn(depths, seed=0, count=40):
    """Return rings of a spectrum of layers with the scatter of as many waves."""
    rng = np.random.default_rng(seed)
    k = np.linspace(0.01, 0.3, count)
    waves = np.linspace(8, 200, count).round()
    power = sum(weight * np.exp(-2 * k * depth) for depth, weight in depths)
    return k, power * rng.gamma(waves / 2, 2 / waves), waves


def test_one_layer_within_its_error_as_often_as_stated():
    held = []
    for seed in range(60):
        [rule] = spectral_depth(*drawn([(20.0, 1.0)], seed))
        held.append(rule.depth.low < 20.0 < rule.depth.high)
        assert abs(rule.depth.value - 20.0) < 2.0
    assert np.mean(held) >= 0.9


def test_two_layers_the_deep_one_first():
    deep, shallow = spectral_depth(*drawn([(60.0, 1e4), (8.0, 1.0)]))
    assert deep.depth.value == pytest.approx(60.0, rel=0.25)
    assert shallow.depth.value == pytest.approx(8.0, rel=0.25)


def test_noise_is_left_out():
    k, power, waves = drawn([(20.0, 1.0)])
    [rule] = spectral_depth(k, power + 1e-4, waves, noise_power=1e-4)
    assert rule.depth.value == pytest.approx(20.0, rel=0.15)


def test_a_spectrum_that_rises_or_drowns_has_no_depth():
    k, power, waves = drawn([(20.0, 1.0)])
    [rising] = spectral_depth(k, power[::-1], waves)
    assert rising.depth is None
    assert "doesn't fall" in rising.reason
    [drowned] = spectral_depth(k, power, waves, noise_power=1.0)
    assert drowned.depth is None
    assert "rings of the spectrum rise over the noise" in drowned.reason


def test_a_fall_lost_in_the_noise_has_no_depth():
    # the slope is asked to fall by a tenth of its own standard deviation, whatever the draw
    k = np.linspace(0.01, 0.3, 40)
    waves = np.full(40, 4.0)
    sd = 1 / np.sqrt(0.5 * 4.0 * np.sum((k - k.mean()) ** 2))
    [lost] = spectral_depth(k, np.exp(-0.1 * sd * k), waves)
    assert lost.depth is None
    assert "lost in its noise" in lost.reason
    [told] = spectral_depth(k, np.exp(-4.0 * sd * k), waves)
    assert told.depth.value == pytest.approx(2.0 * sd)


def test_bad_shares_are_refused():
    with pytest.raises(InputError, match="share"):
        spectral_depth(*drawn([(20.0, 1.0)]), known=0.0)
