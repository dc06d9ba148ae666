"""What the differences look like where no base record tells the field's change with time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaln

from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: Time over which the field forgets itself: a sixth of a day (judgement).
MEMORY_S: Final = 14_400.0

#: Scales of the field's variogram tried: the walk may fall on a quieter or a stormier day.
SCALES: Final = (0.25, 1.0, 5.0)

#: Earlier pairs that predict a pair.
NEIGHBOURS: Final = 8

#: Rounds of reweighting the neighbours by how far they lie off.
ROUNDS: Final = 2

#: Smoothest and roughest growth of the variogram with lag.
SMOOTHEST: Final = 1.9
ROUGHEST: Final = 0.5


@dataclass(frozen=True)
class Variogram:
    """Half the mean square change of the field over a lag.

    It is ``sill (1 - exp(-(lag / memory)^exponent))``.
    """

    sill_nT2: float
    exponent: float

    def __call__(self, lag_s: FloatArray) -> FloatArray:
        """Return the variogram at lags of either sign [nT^2]."""
        grown = (np.abs(lag_s) / MEMORY_S) ** self.exponent
        value: FloatArray = self.sill_nT2 * -np.expm1(-grown)
        return value


def fit_variogram(value_nT: FloatArray, *, interval_s: float) -> Variogram | None:
    """Fit the variogram to an evenly spaced record (NaN in gaps), on lags up to two hours."""
    lags = np.unique(np.geomspace(1, max(7200.0 / interval_s, 2.0), 12).astype(int))
    lags = lags[lags < value_nT.size]
    half, known = [], []
    for lag in lags:
        step = value_nT[lag:] - value_nT[:-lag]
        step = step[np.isfinite(step)]
        if step.size >= 3:
            half.append(float(np.mean(step**2)) / 2)
            known.append(lag * interval_s)
    if len(known) < 2:
        return None
    log_lag, log_half = np.log(known), np.log(np.maximum(half, 1e-6))
    exponent = float(np.clip(np.polyfit(log_lag, log_half, 1)[0], ROUGHEST, SMOOTHEST))
    # The longest lags hold the size; there the noise of the base no longer counts.
    longest = log_half[-3:] + exponent * (np.log(MEMORY_S) - log_lag[-3:])
    return Variogram(float(np.exp(longest.mean())), exponent)


def student_constant(freedom: float) -> float:
    """Return the log-density of Student's t at its centre."""
    half = gammaln((freedom + 1) / 2) - gammaln(freedom / 2)
    return float(half - 0.5 * np.log(freedom * np.pi))


def predictive_densities(
    first_s: FloatArray,
    second_s: FloatArray,
    difference_nT: FloatArray,
    *,
    noise_nT: FloatArray,
    variogram: Variogram,
    freedom: float,
    scales: Sequence[float],
) -> FloatArray:
    """Return the log-density of each difference given the earlier ones, without a base.

    The differences are those of a random field of the given variogram, with noise `noise_nT`
    (n_spreads, n). The columns of the answer go spread by spread, scale by scale.
    """
    order = np.argsort(np.maximum(first_s, second_s), kind="stable")
    field = _field_covariance(first_s[order], second_s[order], variogram)
    near = _neighbours(field)
    observed = difference_nT[order]
    columns = [
        _densities(scale * field, near, observed, noise, freedom)
        for noise in noise_nT[:, order]
        for scale in scales
    ]
    densities = np.empty((observed.size, len(columns)))
    densities[order] = np.array(columns).T
    return densities


def _field_covariance(first: FloatArray, second: FloatArray, variogram: Variogram) -> FloatArray:
    """Return the covariance of the field's differences."""

    def between(one: FloatArray, other: FloatArray) -> FloatArray:
        return variogram(one[:, None] - other[None, :])

    same = between(first, first) + between(second, second)
    return between(first, second) + between(second, first) - same


def _neighbours(covariance: FloatArray) -> IntArray:
    """Return the earlier pairs most alike each pair (n, k); -1 where there are fewer."""
    sd = np.sqrt(np.maximum(np.diag(covariance), 1e-12))
    alike = np.abs(covariance) / sd / sd[:, None]
    alike[np.triu_indices(sd.size)] = -1.0
    count = min(NEIGHBOURS, sd.size)
    near = np.argsort(-alike, axis=1, kind="stable")[:, :count]
    return np.where(np.take_along_axis(alike, near, axis=1) >= 0, near, -1)


def _densities(
    field: FloatArray, near: IntArray, observed: FloatArray, noise: FloatArray, freedom: float
) -> FloatArray:
    """Return the log-density of each difference given its neighbours."""
    weight = np.ones(observed.size)
    for _ in range(ROUNDS):
        mean, variance = _predict(field, near, observed, noise**2 / weight)
        variance = variance + noise**2
        off = (observed - mean) ** 2 / variance
        weight = (freedom + 1) / (freedom + off)
    density: FloatArray = student_constant(freedom) - 0.5 * np.log(variance)
    density -= (freedom + 1) / 2 * np.log1p(off / freedom)
    return density


def _predict(
    field: FloatArray, near: IntArray, observed: FloatArray, noise2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the field's difference, given the neighbours."""
    real = near >= 0
    at = np.where(real, near, 0)
    among = field[at[:, :, None], at[:, None, :]] * (real[:, :, None] & real[:, None, :])
    diagonal = np.arange(near.shape[1])
    among[:, diagonal, diagonal] = np.where(real, field[at, at] + noise2[at], 1.0)
    towards = np.where(real, field[np.arange(near.shape[0])[:, None], at], 0.0)
    gain = np.linalg.solve(among, towards[:, :, None])[:, :, 0]
    mean = np.sum(gain * np.where(real, observed[at], 0.0), axis=1)
    variance = np.diag(field) - np.sum(gain * towards, axis=1)
    return mean, np.maximum(variance, 0.0)
