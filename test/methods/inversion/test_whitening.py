"""Whitening against a dense Cholesky factor."""

import numpy as np
import pytest
from scipy.linalg import cholesky, solve_triangular

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.methods.inversion.whitening import whitening


@pytest.mark.parametrize("length", [0.5, 20.0, 1e4])
def test_whitened_rows_are_those_of_the_dense_factor(length):
    rng = np.random.default_rng(3)
    x = np.sort(rng.uniform(0.0, 100.0, 50))
    x[20] = x[19]  # two readings at one place
    sd = rng.uniform(0.5, 2.0, 50)
    place = rng.normal(0.0, 3.0, 50)
    profile = Profile(x, np.zeros(50), sd_nT=sd, place_nT=place, reach_m=30.0)
    noise = Noise(1.3, 2.5, length)
    apart = np.abs(x[:, None] - x)
    dense = np.diag((1.3 * sd) ** 2) + 2.5**2 * np.exp(-apart / length)
    dense = dense + np.outer(place, place) * np.exp(-apart / 30.0)
    rows = rng.normal(size=(3, 50))
    expected = solve_triangular(cholesky(dense, lower=True), rows.T, lower=True).T
    np.testing.assert_allclose(whitening(profile, noise)(rows), expected, rtol=0, atol=1e-9)


def test_a_reach_is_above_zero():
    with pytest.raises(InputError, match="reach of a place"):
        Profile(np.arange(3.0), np.zeros(3), reach_m=0.0)


def test_independent_errors_are_divided_by_their_sd():
    profile = Profile(np.arange(4.0), np.zeros(4), sd_nT=np.array([1.0, 2.0, 4.0, 5.0]))
    found = whitening(profile, Noise(scale=2.0))(np.full(4, 40.0))
    np.testing.assert_allclose(found, [20.0, 10.0, 5.0, 4.0])
