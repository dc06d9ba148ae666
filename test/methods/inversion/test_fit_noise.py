"""Noise told from the residuals of a fit."""

import numpy as np
import pytest

from lodewalk.methods.inversion import Noise, Profile, body_curve, fit_noise
from lodewalk.methods.inversion._whitening import covariance_of

DISTANCE = np.linspace(-150.0, 150.0, 151)
SHEET = {"position_m": 0.0, "depth_m": 8.0, "strength_nT_m": 2000.0, "index_angle_deg": 40.0}


def readings(noise, seed):
    curve, _ = body_curve("thin sheet", DISTANCE, SHEET)
    root = np.linalg.cholesky(covariance_of(Profile(DISTANCE, curve), noise))
    return Profile(DISTANCE, curve + root @ np.random.default_rng(seed).normal(size=151))


def test_independent_noise_is_told_as_such():
    found = [fit_noise(readings(Noise(3.0), seed), "thin sheet") for seed in range(5)]
    assert np.mean([one.scale for one in found]) == pytest.approx(3.0, rel=0.1)
    assert sum(one.correlated_nT > 0.0 for one in found) <= 2
    assert max(one.known for one in found) == 145.0


def test_shared_noise_is_found():
    truth = Noise(1.0, 3.0, 12.0)
    found = [fit_noise(readings(truth, seed), "thin sheet") for seed in range(4)]
    assert all(one.correlated_nT > 0.0 for one in found)
    assert np.median([one.correlated_nT for one in found]) == pytest.approx(3.0, rel=0.35)
    assert all(3.0 <= one.known < 145.0 for one in found)
