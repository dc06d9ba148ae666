"""Contrast of susceptibility: coverage on log-normal places, and what places count as."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.contrast import (
    estimate_of,
    log_spread,
    mean_draws,
    place_means,
    range_draws,
)
from lodewalk.methods.planning.rocks import rock_named


@pytest.mark.parametrize("spread", [0.4, 0.8, 1.2])
@pytest.mark.parametrize("places", [3, 6, 15])
def test_range_covers_the_true_contrast(spread, places):
    # 90 % asked; 300 trials have a standard error of 1.7 %
    trials, inside = 300, 0
    truth = (0.02 - 0.002) * np.exp(0.5 * spread**2)
    for seed in range(trials):
        rng = np.random.default_rng([seed, places])
        target = 0.02 * np.exp(spread * rng.standard_normal(places))
        host = 0.002 * np.exp(spread * rng.standard_normal(places))
        draws = mean_draws(target, rng=rng) - mean_draws(host, rng=rng)
        known = estimate_of(draws, places=places, source="")
        inside += known.low <= truth <= known.high
    assert inside / trials >= 0.85  # more for few places: the guess of the spread is a wide one


def test_middle_is_not_far_from_the_truth():
    middles = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        values = 0.02 * np.exp(0.8 * rng.standard_normal(10))
        middles.append(np.median(mean_draws(values, rng=rng)))
    assert np.median(middles) == pytest.approx(0.02 * np.exp(0.32), rel=0.1)


def test_one_place_has_the_usual_spread():
    draws = mean_draws([0.01], rng=np.random.default_rng(3))
    known = estimate_of(draws, places=1, source="")
    assert known.low < 0.01 < known.typical
    assert known.high > 5 * known.low


def test_repeated_readings_at_one_place_are_no_more_places():
    rng = np.random.default_rng(8)
    values = 0.01 * np.exp(0.05 * rng.standard_normal(40))
    alone = place_means(values, readings=np.ones(40), places=["pit"] * 40)
    assert alone.shape == (1,)
    known = estimate_of(mean_draws(alone, rng=rng), places=1, source="")
    assert known.high / known.low > 5.0  # forty readings of one outcrop don't bound a rock


def test_means_of_places_weigh_readings():
    means = place_means(
        [0.01, 0.04, 0.2, 0.3], readings=[2, 1, 5, 1], places=["A", "A", None, None]
    )
    np.testing.assert_allclose(means, [0.02, 0.2, 0.3])


def test_diamagnetic_places():
    rng = np.random.default_rng(1)
    draws = mean_draws([-1e-5, 2e-5, -2e-5, 1e-5], rng=rng)
    known = estimate_of(draws, places=4, source="")
    assert known.low < 0.0 < known.high
    assert abs(known.typical) < 1e-6


@pytest.mark.parametrize("name", ["basalt", "granite", "shale"])
def test_nine_tenths_of_a_table_range(name):
    rock = rock_named(name)
    known = estimate_of(range_draws(rock, rng=np.random.default_rng(4)), places=0, source="")
    assert known.typical == pytest.approx(rock.typical, rel=0.05)
    assert known.high == pytest.approx(rock.high, rel=0.1)
    low = rock.low if rock.low > 0 else rock.high / 100
    assert known.low == pytest.approx(low, rel=0.15)


def test_a_range_of_one_value_has_no_spread():
    draws = range_draws(rock_named("andesite"), rng=np.random.default_rng(4))
    np.testing.assert_allclose(draws, 0.17)
    assert log_spread(draws) == pytest.approx(0.0, abs=1e-12)


def test_a_negative_range_is_even():
    draws = range_draws(rock_named("calcite"), rng=np.random.default_rng(4))
    assert draws.min() >= -3.9e-5
    assert draws.max() <= -7.5e-6


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: mean_draws([], rng=np.random.default_rng(1)), "one place"),
        (lambda: place_means([0.1], readings=[0], places=["A"]), "one reading"),
        (lambda: place_means([0.1], readings=[1], places=[]), "same length"),
    ],
)
def test_wrong_arguments(call, text):
    with pytest.raises(InputError, match=text):
        call()
