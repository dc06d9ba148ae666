"""Weights of noises: planted shared noise is found, and a body is not taken for it."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from lodewalk.methods.inversion.noise_choice import best_likelihood, likely_noises
from lodewalk.methods.inversion.results import Noise, Profile
from planted_profiles import correlated

X = np.linspace(0.0, 100.0, 101)
NONE = np.zeros((0, X.size))


def shared_share(noises):
    """Return the weighted share of the variance that neighbours share."""
    return sum(w * n.correlated_nT**2 / (n.correlated_nT**2 + n.scale**2) for w, n in noises)


def test_weights_add_up_and_the_heaviest_is_first():
    noises = likely_noises(Profile(X, np.random.default_rng(1).normal(size=X.size)), NONE)
    weights = [weight for weight, _ in noises]
    assert sum(weights) == pytest.approx(1.0)
    assert weights == sorted(weights, reverse=True)


def test_shared_noise_is_told_from_independent_noise():
    shares = {True: [], False: []}
    for seed in range(15):
        rng = np.random.default_rng(seed)
        plain = rng.normal(0.0, 2.0, X.size)
        both = 0.5 * plain + correlated(rng, X, 2.0, 8.0)
        for shared, values in ((True, both), (False, plain)):
            shares[shared].append(shared_share(likely_noises(Profile(X, values), NONE)))
    assert np.median(shares[True]) > 0.6
    assert np.median(shares[False]) < 0.3


def test_scale_is_that_of_the_residuals():
    rng = np.random.default_rng(5)
    sd = rng.uniform(0.5, 2.0, X.size)
    scales = [
        likely_noises(Profile(X, 3.0 * sd * rng.normal(size=X.size), sd_nT=sd), NONE)[0][1].scale
        for _ in range(10)
    ]
    assert np.mean(scales) == pytest.approx(3.0, rel=0.1)


def test_scale_stands_beside_the_error_of_the_place():
    rng = np.random.default_rng(6)
    place = 3.0 * np.sin(X / 5.0)
    scales = []
    for _ in range(10):
        values = rng.normal(0.0, 1.5, X.size) + place * correlated(rng, X, 1.0, 40.0)
        profile = Profile(X, values, place_nT=place, reach_m=40.0)
        scales.append(likely_noises(profile, NONE)[0][1].scale)
    assert np.mean(scales) == pytest.approx(1.5, rel=0.15)


def test_likelihood_is_that_of_the_normal_distribution():
    """For rows that explain nothing it is the density at the best level, slope and noise."""
    rng = np.random.default_rng(7)
    values = rng.normal(0.0, 2.0, X.size)
    profile = Profile(X, values)
    found = best_likelihood(profile, NONE) - 0.5 * X.size * np.log(2.0 * np.pi)
    line = np.polyval(np.polyfit(X, values, 1), X)
    rest = values - line
    sd = np.sqrt(rest @ rest / (X.size - 2))
    plain = multivariate_normal(line, sd**2 * np.eye(X.size)).logpdf(values)
    assert found >= plain - 1e-6
    assert found < plain + 6.0


def test_noise_is_a_known_number_of_degrees_of_freedom():
    noises = likely_noises(
        Profile(X, np.random.default_rng(1).normal(size=X.size)), np.ones((0, 101))
    )
    assert all(isinstance(noise, Noise) and noise.known == X.size - 2 for _, noise in noises)
