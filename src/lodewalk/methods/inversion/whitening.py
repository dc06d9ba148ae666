"""Whitening of readings whose errors have an independent part and parts that they share."""

from dataclasses import dataclass

import numpy as np
from numba import njit

from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: First of the two rows of each kind in the table of a whitening.
STEP, GAIN, SCALE = 0, 2, 4


@dataclass(frozen=True)
class Whitening:
    """What turns readings into independent numbers of standard deviation 1.

    Parameters
    ----------
    table : array, shape (6, n)
        Two rows each: correlation, from each reading to the next, of the shared error and of the
        error of the place (the last is not used); share of each innovation that either takes
        over; one over the standard deviation of each innovation [1/nT], and what an error of the
        place of one standard deviation makes of the reading [nT].
    """

    table: FloatArray

    @property
    def scale(self) -> FloatArray:
        """One over the standard deviation of each innovation [1/nT]."""
        return np.asarray(self.table[SCALE])

    def __call__(self, values: FloatArray) -> FloatArray:
        """Return the rows of `values`, shape (n,) or (m, n), whitened."""
        rows = np.array(values, dtype=float, ndmin=2, order="C")
        for row in range(len(rows)):
            whiten(rows, row, self.table, 0)
        return rows.reshape(np.shape(values))


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
    table = np.empty((6, gap.size))
    table[:GAIN] = np.exp(-gap / np.array([[noise.length_m], [profile.reach_m]]))
    own = (noise.scale * profile.sd_nT) ** 2
    fill_filter(table, own, noise.correlated_nT**2, profile.place_nT)
    return Whitening(table)


@njit(nogil=True, cache=True)
def fill_filter(
    table: FloatArray, own: FloatArray, shared: float, place: FloatArray
) -> None:  # pragma: no cover
    """Fill the rows of a whitening's table beyond the first two, which are the correlations."""
    # covariance of the two errors before each reading: the place's in its standard deviations
    a, b, d = shared, 0.0, 1.0
    for i in range(own.size):
        p = place[i]
        first, second = a + p * b, b + p * d
        total = first + p * second + own[i]
        one, two = first / total, second / total
        table[GAIN, i], table[GAIN + 1, i] = one, two
        table[SCALE, i], table[SCALE + 1, i] = 1.0 / np.sqrt(total), p
        a -= first * one
        b -= first * two
        d -= second * two
        u, v = table[STEP, i], table[STEP + 1, i]
        a = u * u * a + shared * (1.0 - u * u)
        b = u * v * b
        d = v * v * d + 1.0 - v * v


@njit(nogil=True, cache=True)
def whiten(values: FloatArray, row: int, table: FloatArray, first: int) -> None:  # pragma: no cover
    """Whiten a row of readings in place; the whitening's table begins at row `first`."""
    step, gain, scale = first + STEP, first + GAIN, first + SCALE
    shared = moved = 0.0
    for i in range(values.shape[1]):
        new = values[row, i] - shared - table[scale + 1, i] * moved
        shared = table[step, i] * (shared + table[gain, i] * new)
        moved = table[step + 1, i] * (moved + table[gain + 1, i] * new)
        values[row, i] = new * table[scale, i]
