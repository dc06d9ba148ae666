"""The noises that a profile's residuals leave likely, with their weights.

How much of the noise neighbours share, and over what length, is seldom told well by one profile;
taking the likeliest alone makes intervals too narrow. A small grid of noises is weighed instead.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.methods.inversion.whitening import whitening
from lodewalk.validation import FloatArray

#: Shared over independent noise, and the length of the shared one in spacings of the readings.
RATIOS, LENGTHS = (0.35, 0.7, 1.4, 3.0), (2.0, 5.0, 12.0)
#: Weight that independent noise alone has before the data.
ALONE = 0.25
#: Noises under this weight, and more than so many, are left out.
LIGHT, MOST = 0.04, 5
#: Rounds in which the scale settles beside the error of the place, and how small it may become.
ROUNDS, LEAST_SCALE = 3, 0.3


@dataclass(frozen=True)
class _Weighed:
    """A noise with its log likelihoods: that of the readings, and the restricted one."""

    noise: Noise
    likelihood: float
    restricted: float


def likely_noises(profile: Profile, rows: FloatArray) -> list[tuple[float, Noise]]:
    """Return noises with their weights, the heaviest first.

    Parameters
    ----------
    profile : Profile
        The readings; their `sd_nT` is taken as right but for one factor.
    rows : array, shape (m, n)
        Curves of the bodies and their changes with the bodies' shapes; level and slope are
        added.

    Returns
    -------
    list of (float, Noise)
        Weights that add up to 1: restricted likelihoods [1]_, independent noise alone having a
        quarter beforehand.

    References
    ----------
    .. [1] Patterson, H. D. and Thompson, R. (1971), Recovery of inter-block information when block
       sizes are unequal, Biometrika, 58(3), 545-554, doi:10.1093/biomet/58.3.545.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 81)
    >>> errors = np.random.default_rng(1).normal(0.0, 2.0, 81)
    >>> noises = likely_noises(Profile(x, errors), np.zeros((0, 81)))
    >>> total = sum(weight * np.hypot(one.scale, one.correlated_nT) for weight, one in noises)
    >>> bool(1.5 < total < 2.5), noises[0][1].known
    (True, 79.0)
    """
    found = list(_weighed(profile, rows))
    before = np.full(len(found), (1.0 - ALONE) / (len(found) - 1))
    before[0] = ALONE
    logs = np.array([one.restricted for one in found]) + np.log(before)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    kept = [k for k in np.argsort(-weight, kind="stable")[:MOST] if weight[k] > LIGHT]
    total = float(weight[kept].sum())
    return [(float(weight[k]) / total, found[k].noise) for k in kept]


def best_likelihood(profile: Profile, rows: FloatArray) -> float:
    """Return the log likelihood of the readings under the likeliest noise of the grid.

    Parameters
    ----------
    profile, rows
        As for `likely_noises`.

    Returns
    -------
    float
        But for a constant; to compare bodies with.
    """
    return max(one.likelihood for one in _weighed(profile, rows))


def _weighed(profile: Profile, rows: FloatArray) -> Iterator[_Weighed]:
    """Yield each noise of the grid with its likelihoods, independent noise alone first."""
    distance = profile.distance_m
    length = float(np.ptp(distance))
    spacing = length / (distance.size - 1)
    base = np.stack([np.ones(distance.size), (distance - distance.mean()) / length])
    every = np.vstack([base, rows])
    size = np.sqrt((every**2).sum(axis=1, keepdims=True)) + 1e-300
    yield _settled(profile, every / size, 0.0, spacing)
    for reach in LENGTHS:
        for ratio in RATIOS:
            yield _settled(profile, every / size, ratio, reach * spacing)


def _settled(profile: Profile, rows: FloatArray, ratio: float, reach: float) -> _Weighed:
    """Return the noise of a ratio and length with the scale that the readings want."""
    count, freedom = profile.distance_m.size, profile.distance_m.size - len(rows)
    typical = float(np.sqrt(np.mean(profile.sd_nT**2)))
    scale = 1.0
    for _ in range(ROUNDS):
        noise = Noise(scale, ratio * scale * typical, reach, float(freedom))
        white = whitening(profile, noise)
        # the triangle of rows and readings together: its last entry is what the rows leave
        both = white(np.vstack([rows, profile.anomaly_nT - profile.anomaly_nT.mean()]))
        triangle = np.abs(np.diag(np.linalg.qr(both.T, mode="r")))
        cost = float(triangle[-1] ** 2)
        log_scale = float(np.log(white.scale).sum())
        told = -0.5 * cost + log_scale
        now = noise
        if not profile.place_nT.any():
            # only the scale is open, and its best is known at once
            settled = max(np.sqrt(cost / freedom), LEAST_SCALE / scale)
            now = Noise(scale * settled, noise.correlated_nT * settled, reach, float(freedom))
            log_scale -= count * np.log(settled)
            triangle, cost = triangle / settled, cost / settled**2
            told = -0.5 * cost + log_scale
            break
        scale = max(scale * np.sqrt(cost / freedom), LEAST_SCALE)
    inner = float(np.log(np.maximum(triangle[:-1], 1e-300)).sum())
    return _Weighed(now, told, told - inner)
