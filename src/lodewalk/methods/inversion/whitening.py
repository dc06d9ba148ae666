"""Whitening of readings whose errors have an independent part and parts that they share."""

from dataclasses import dataclass

import numpy as np
from numba import njit

from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray


@dataclass(frozen=True)
class Whitening:
    """What turns readings into independent numbers of standard deviation 1.

    Parameters
    ----------
    step : array, shape (2, n)
        Correlation, from each reading to the next, of the shared error and of the error of the
        place; the last is not used.
    gain : array, shape (2, n)
        Share of each innovation that either takes over.
    scale : array, shape (2, n)
        One over the standard deviation of each innovation [1/nT], and what an error of the place
        of one standard deviation makes of the reading [nT].
    """

    step: FloatArray
    gain: FloatArray
    scale: FloatArray

    def __call__(self, values: FloatArray) -> FloatArray:
        """Return the rows of `values`, shape (n,) or (m, n), whitened."""
        rows = np.atleast_2d(np.asarray(values, dtype=float))
        out = np.empty_like(rows)
        for row, place in zip(rows, out, strict=True):
            whiten(row, self.step, self.gain, self.scale, place)
        return out.reshape(np.shape(values))


def whitening(profile: Profile, noise: Noise) -> Whitening:
    """Return the whitening of a profile's readings.

    Parameters
    ----------
    profile : Profile
        Readings in order; their values play no part.
    noise : Noise
        Independent and shared error.

    Returns
    -------
    Whitening
        To be called with arrays of readings along their last axis.

    Notes
    -----
    An error that falls off as ``exp(-d / L)`` is a first-order Markov process, and so is that of
    the place, which the slope of the anomaly turns into one of the reading. The innovations of the
    Kalman filter of both [1]_ are the readings multiplied by the inverse of the lower Cholesky
    factor of ``diag((scale sd)^2) + c^2 exp(-d / L) + p p' exp(-d / R)``, at a cost that grows with
    the number of readings alone.

    References
    ----------
    .. [1] Kalman, R. E. (1960), A new approach to linear filtering and prediction problems,
       Journal of Basic Engineering, 82(1), 35-45, doi:10.1115/1.3662552.

    Examples
    --------
    >>> profile = Profile(np.arange(3.0), np.zeros(3))
    >>> whitening(profile, Noise(scale=2.0))(np.ones(3)).tolist()
    [0.5, 0.5, 0.5]
    """
    gap = np.append(np.diff(profile.distance_m), 0.0)
    step = np.exp(-gap / np.array([[noise.length_m], [profile.reach_m]]))
    own = (noise.scale * profile.sd_nT) ** 2
    gain, scale = _filter(step, own, noise.correlated_nT**2, profile.place_nT)
    return Whitening(step, gain, scale)


@njit(nogil=True, cache=True)
def _filter(
    step: FloatArray, own: FloatArray, shared: float, place: FloatArray
) -> tuple[FloatArray, FloatArray]:  # pragma: no cover
    """Return gain and scale of a whitening."""
    gain, scale = np.empty(step.shape), np.empty(step.shape)
    # covariance of the two errors before each reading: the place's in its standard deviations
    a, b, d = shared, 0.0, 1.0
    for i in range(own.size):
        p = place[i]
        first, second = a + p * b, b + p * d
        total = first + p * second + own[i]
        gain[0, i], gain[1, i] = first / total, second / total
        scale[0, i], scale[1, i] = 1.0 / np.sqrt(total), p
        a -= first * gain[0, i]
        b -= first * gain[1, i]
        d -= second * gain[1, i]
        u, v = step[0, i], step[1, i]
        a = u * u * a + shared * (1.0 - u * u)
        b = u * v * b
        d = v * v * d + 1.0 - v * v
    return gain, scale


@njit(nogil=True, cache=True)
def whiten(
    values: FloatArray, step: FloatArray, gain: FloatArray, scale: FloatArray, out: FloatArray
) -> None:  # pragma: no cover
    """Write the whitened readings to `out`, which may be `values` itself."""
    shared = moved = 0.0
    for i in range(values.size):
        new = values[i] - shared - scale[1, i] * moved
        shared = step[0, i] * (shared + gain[0, i] * new)
        moved = step[1, i] * (moved + gain[1, i] * new)
        out[i] = new * scale[0, i]
