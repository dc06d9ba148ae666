"""Noise of profiles told together: planted noises come back, and rough ground keeps its own."""

import numpy as np
import pytest

from lodewalk.methods.inversion.choice import fit_profile, noise_rows
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import Profile
from planted_profiles import across, correlated

X = np.arange(-75.0, 76.0, 1.5)
SHAPE = np.array([5.0 / (X**2 + 25.0), X / (X**2 + 25.0), X / (X**2 + 25.0) ** 2,
                  (25.0 - X**2) / (X**2 + 25.0) ** 2])  # fmt: skip


def survey(seed, *, shared, rough=()):
    """Return twelve profiles of noise; those in `rough` have three times as much."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(12):
        errors = rng.normal(0.0, 1.0, X.size)
        if shared:
            errors = errors + correlated(rng, X, 1.5, 6.0)
        found.append(Profile(X, (3.0 if number in rough else 1.0) * errors))
    return found


def test_shared_noise_comes_back():
    noises = pooled_noises(survey(1, shared=True), [SHAPE] * 12)
    assert np.median([one.scale for one in noises]) == pytest.approx(1.0, rel=0.2)
    assert np.median([one.correlated_nT for one in noises]) == pytest.approx(1.5, rel=0.25)
    assert np.median([one.length_m for one in noises]) == pytest.approx(6.0, rel=0.4)
    assert np.ptp([one.scale for one in noises]) < 0.4


def test_independent_noise_is_told_as_such():
    noises = pooled_noises(survey(2, shared=False), [SHAPE] * 12)
    assert max(one.correlated_nT for one in noises) < 0.5
    assert np.median([one.known for one in noises]) > 40.0


def test_profiles_over_rough_ground_keep_their_noise():
    noises = pooled_noises(survey(3, shared=True, rough=(9, 10, 11)), [SHAPE] * 12)
    whole = [float(np.hypot(one.scale, one.correlated_nT)) for one in noises]
    assert np.median(whole[9:]) == pytest.approx(3.0 * 3.25**0.5, rel=0.25)
    assert np.median(whole[:9]) == pytest.approx(3.25**0.5, rel=0.25)


def test_a_profile_that_tells_nothing_gets_what_the_others_have_in_common():
    rows = [SHAPE] * 11 + [np.zeros((0, X.size))]
    noises = pooled_noises(survey(4, shared=False), rows)
    assert noises[11].scale == pytest.approx(1.0, rel=0.15)
    assert pooled_noises(survey(4, shared=False)[:1], rows[11:])[0].known == np.inf


def test_depths_lie_in_their_intervals():
    held = []
    for seed in range(2):
        rng = np.random.default_rng(400 + seed)
        some = [across(rng, width=8.0) for _ in range(10)]
        noises = pooled_noises(some, [noise_rows(one) for one in some])
        found = [fit_profile(one, noise=own) for one, own in zip(some, noises, strict=True)]
        held += [one.depth.low <= 10.0 <= one.depth.high for one in found if one.depth]
    # 90 % of 20: four or more misses would be one chance in eight, seven one in 400
    assert len(held) >= 18
    assert sum(held) >= 14
