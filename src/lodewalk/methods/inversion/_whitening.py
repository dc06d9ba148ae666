"""Whitening of a profile by the covariance of its noise."""

from collections.abc import Callable

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray


def covariance_of(profile: Profile, noise: Noise) -> FloatArray:
    """Return the covariance of the noise of a profile, shape (n, n) [nT^2]."""
    apart = np.abs(profile.distance_m[:, None] - profile.distance_m)
    shared = noise.correlated_nT**2 * np.exp(-apart / noise.length_m)
    if profile.place_nT.any():
        place = np.outer(profile.place_nT, profile.place_nT)
        shared = shared + place * np.exp(-apart / profile.reach_m)
    return np.asarray(shared + np.diag((noise.scale * profile.sd_nT) ** 2))


def whitener(profile: Profile, noise: Noise) -> tuple[Callable[[FloatArray], FloatArray], float]:
    """Return what whitens rows of values at the readings, and the log determinant of the noise.

    Raises
    ------
    InputError
        For a standard deviation, scale or length that isn't above zero.
    """
    sd = noise.scale * profile.sd_nT
    if not (sd > 0.0).all() or not noise.length_m > 0.0 or not noise.correlated_nT >= 0.0:
        raise InputError(
            "Noise needs standard deviations and a length above zero.",
            value=(noise.scale, noise.correlated_nT, noise.length_m),
        )
    if noise.correlated_nT == 0.0 and not profile.place_nT.any():
        return lambda rows: rows / sd, float(2.0 * np.log(sd).sum())
    root = cholesky(covariance_of(profile, noise), lower=True, check_finite=False)
    turned = solve_triangular(root, np.eye(sd.size), lower=True, check_finite=False).T
    return lambda rows: rows @ turned, float(2.0 * np.log(np.diag(root)).sum())
