"""The rose of strikes: lengths by direction, and the mean direction with its error."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_same_length

#: Width of a petal [deg].
PETAL_DEG: Final = 10.0
#: Least confidence that the strikes are not spread evenly, for a mean to be told.
_CONFIDENCE: Final = 0.95


@dataclass(frozen=True)
class Rose:
    """Lengths by strike.

    Parameters
    ----------
    edges_deg : array, shape (19,)
        Edges of the petals, 0 to 180 [deg].
    length_m : array, shape (18,)
        Length in each [m].
    mean_deg, sd_deg : float
        Mean strike in 0 to 180 and its standard deviation [deg]; NaN where the strikes may as
        well be spread evenly.
    resultant : float
        Length of the mean of the doubled directions: 1 where all are the same, 0 where they
        balance.
    number : int
        Number of lines.
    """

    edges_deg: FloatArray
    length_m: FloatArray
    mean_deg: float
    sd_deg: float
    resultant: float
    number: int


def rose_of(strike_deg: ArrayLike, length_m: ArrayLike) -> Rose:
    """Return the rose of lines, weighed by length.

    Parameters
    ----------
    strike_deg : array, shape (n,)
        Strikes [deg]; their ends don't differ.
    length_m : array, shape (n,)
        Lengths [m], not below zero.

    Returns
    -------
    Rose

    Raises
    ------
    InputError
        When the numbers differ or a length is below zero.

    Notes
    -----
    Axes by doubling the angle [1]_. With weights w the mean's standard error is half of
    ``sqrt((1 - rho) / (2 R**2 n))``, ``rho`` the mean cosine of twice the doubled departures, R
    the resultant and ``n = sum(w)**2 / sum(w**2)``; a large-sample figure, no better than a hint
    for fewer than ten lines. Rayleigh's test, ``exp(-n R**2)``, tells whether there is a mean.

    References
    ----------
    .. [1] Fisher, N. I. (1993), Statistical Analysis of Circular Data, Cambridge University
       Press, sections 2.3, 3.2 and 4.4 (from memory), doi:10.1017/CBO9780511564345.

    Examples
    --------
    >>> rose = rose_of([178.0, 2.0, 4.0, 176.0], [100.0, 100.0, 100.0, 100.0])
    >>> round(rose.mean_deg) % 180, rose.length_m[[0, 17]].tolist()
    (0, [200.0, 200.0])
    """
    check_same_length(strike_deg=strike_deg, length_m=length_m)
    strike = np.atleast_1d(np.asarray(strike_deg, dtype=float)) % 180.0
    length = np.atleast_1d(np.asarray(length_m, dtype=float))
    if (length < 0).any():
        raise InputError("A length may not be below zero.", value=float(length.min()))
    edges = np.arange(0.0, 180.0 + PETAL_DEG / 2, PETAL_DEG)
    petals = np.histogram(strike, edges, weights=length)[0]
    mean, sd, resultant = _mean(strike, length)
    return Rose(edges, petals, mean, sd, resultant, strike.size)


def _mean(strike: FloatArray, length: FloatArray) -> tuple[float, float, float]:
    """Return mean, its standard deviation and the resultant."""
    total = length.sum()
    if not total > 0:
        return float("nan"), float("nan"), 0.0
    weight = length / total
    doubled = 2 * np.radians(strike)
    middle = np.sum(weight * np.exp(1j * doubled))
    resultant = float(np.abs(middle))
    number = 1.0 / float(np.sum(weight**2))
    if number < 2 or np.exp(-number * resultant**2) > 1 - _CONFIDENCE:
        return float("nan"), float("nan"), resultant
    departure = doubled - np.angle(middle)
    spread = 1.0 - float(np.sum(weight * np.cos(2 * departure)))
    sd = np.degrees(np.sqrt(max(spread, 0.0) / (2 * resultant**2 * number))) / 2
    return float(np.degrees(np.angle(middle)) / 2 % 180.0), float(sd), resultant
