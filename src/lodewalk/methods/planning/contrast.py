"""Susceptibility of a target less that of its host, from tables and from hand-meter readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.planning.rocks import Rock
from lodewalk.validation import FloatArray, check_same_length

#: Places spread by about this in the logarithm where few tell: a factor of 2.2 (common practice).
USUAL_LOG_SD: Final = 0.8
#: That guess weighs as much as so many places more.
USUAL_WEIGHT: Final = 2.0
#: And by no more than this: a factor of 7 (common practice).
MOST_LOG_SD: Final = 2.0
#: Probability that the value lies within the range told.
RANGE: Final = 0.9
#: Draws from which the quantiles are taken.
DRAWS: Final = 20_000


@dataclass(frozen=True)
class Estimate:
    """A susceptibility with its range: nine cases of ten lie within it [SI].

    Parameters
    ----------
    low, typical, high : float
        5 % point, median and 95 % point [SI].
    places : int
        Independent places that it rests on; 0 for one from a table or a setting.
    source : str
        Where it comes from, in words.
    """

    low: float
    typical: float
    high: float
    places: int
    source: str


def place_means(
    susceptibility: ArrayLike, *, readings: ArrayLike, places: Sequence[str | None]
) -> FloatArray:
    """Return one susceptibility a place, weighted by the number of readings.

    Parameters
    ----------
    susceptibility : array, shape (n,)
        Means of readings [SI].
    readings : array, shape (n,)
        How many readings each is the mean of.
    places : sequence of str or None, length n
        Name of each place; a row without one is a place of its own.

    Returns
    -------
    array, shape (n_places,)
        Mean at each place [SI], in order of first appearance.

    Raises
    ------
    InputError
        When the lengths differ or a number of readings isn't above zero.

    Examples
    --------
    >>> place_means([0.01, 0.04, 0.2], readings=[2, 1, 5], places=["A", "A", None]).tolist()
    [0.02, 0.2]
    """
    check_same_length(
        susceptibility=susceptibility, readings=readings, places=np.arange(len(places))
    )
    values, weights = np.asarray(susceptibility, dtype=float), np.asarray(readings, dtype=float)
    if not (weights > 0).all():
        raise InputError("A mean needs one reading or more.", value=float(weights.min()))
    names = [(place, -1) if place is not None else ("", row) for row, place in enumerate(places)]
    sums = {name: [0.0, 0.0] for name in names}
    for name, value, weight in zip(names, values, weights, strict=True):
        sums[name][0] += weight * value
        sums[name][1] += weight
    return np.array([total / weight for total, weight in sums.values()])


def mean_draws(values: ArrayLike, *, rng: np.random.Generator) -> FloatArray:
    """Return draws of what the arithmetic mean of a rock's susceptibility may be.

    Parameters
    ----------
    values : array, shape (n_places,)
        Susceptibility at independent places [SI], one or more.
    rng : Generator
        Random numbers.

    Returns
    -------
    array, shape (20000,)
        Draws [SI]; their quantiles bound the mean.

    Raises
    ------
    InputError
        For no place.

    Notes
    -----
    A body's anomaly goes with the arithmetic mean, while places spread log-normally. With mean
    ``y`` and sum of squares ``S`` of the n logarithms the draws are ``exp(y - Z s / sqrt(n) +
    s**2 / 2)``, ``s**2 = (S + w s0**2) / chi2(n - 1 + w)``: the generalised pivot of [1]_, with
    a guess of the spread ``s0`` that weighs as ``w = 2`` places (common practice), since without
    it two or three places bound nothing; ``s`` is 2 at most. Where a value isn't above zero the
    arithmetic mean is drawn from Student's distribution.

    References
    ----------
    .. [1] Krishnamoorthy, K., and Mathew, T. (2003), Inferences on the means of lognormal
       distributions using generalized p-values and generalized confidence intervals, Journal
       of Statistical Planning and Inference, 115, 103-121 (from memory).

    Examples
    --------
    >>> draws = mean_draws([0.01, 0.02, 0.04], rng=np.random.default_rng(1))
    >>> bool(0.01 < np.median(draws) < 0.05)
    True
    """
    known = np.asarray(values, dtype=float)
    count = known.size
    if not count:
        raise InputError("A mean needs one place or more.")
    normal = rng.standard_normal(DRAWS)
    chi_square = rng.chisquare(count - 1 + USUAL_WEIGHT, DRAWS)
    if not (known > 0.0).all():
        size = max(abs(float(known.mean())), 1e-6)
        squares = ((known - known.mean()) ** 2).sum() + USUAL_WEIGHT * (USUAL_LOG_SD * size) ** 2
        return np.asarray(known.mean() + normal * np.sqrt(squares / chi_square / count))
    logs = np.log(known)
    squares = ((logs - logs.mean()) ** 2).sum() + USUAL_WEIGHT * USUAL_LOG_SD**2
    variance = np.minimum(squares / chi_square, MOST_LOG_SD**2)
    return np.asarray(np.exp(logs.mean() + normal * np.sqrt(variance / count) + 0.5 * variance))


def range_draws(rock: Rock, *, rng: np.random.Generator) -> FloatArray:
    """Return draws of a rock's susceptibility from the range of the table.

    Parameters
    ----------
    rock : Rock
        Row of the table.
    rng : Generator
        Random numbers.

    Returns
    -------
    array, shape (20000,)
        Draws [SI].

    Notes
    -----
    Log-normal about `Rock.typical`, nine tenths of it within the range (common practice); even
    over the range where that isn't above zero. A range of one value has no spread.

    Examples
    --------
    >>> from lodewalk.methods.planning.rocks import rock_named
    >>> draws = range_draws(rock_named("gabbro"), rng=np.random.default_rng(1))
    >>> np.quantile(draws, [0.05, 0.95]).round(2).tolist()
    [0.0, 0.09]
    """
    if rock.high <= 0.0:
        return np.asarray(rng.uniform(rock.low, rock.high, DRAWS))
    spread = 0.5 * np.log(rock.high / rock.least) / 1.6448536269514722
    return np.asarray(rock.typical * np.exp(spread * rng.standard_normal(DRAWS)))


def estimate_of(draws: FloatArray, *, places: int, source: str) -> Estimate:
    """Return median and 90 % range of draws.

    Examples
    --------
    >>> estimate_of(np.linspace(0.0, 1.0, 1001), places=3, source="outcrop").places
    3
    """
    low, typical, high = np.quantile(draws, [0.5 - RANGE / 2, 0.5, 0.5 + RANGE / 2])
    return Estimate(float(low), float(typical), float(high), places, source)


def log_spread(draws: FloatArray) -> float:
    """Return the spread of a contrast as sd of its logarithm, from its inner nine tenths.

    Parameters
    ----------
    draws : array, shape (n,)
        Draws of target less host [SI].

    Returns
    -------
    float
        Sd of the logarithm of its size.

    Examples
    --------
    >>> round(log_spread(np.exp(0.5 * np.random.default_rng(1).standard_normal(20000))), 1)
    0.5
    """
    sizes = np.log(np.maximum(np.abs(draws), 1e-9))
    low, high = np.quantile(sizes, [0.5 - RANGE / 2, 0.5 + RANGE / 2])
    return float((high - low) / (2.0 * 1.6448536269514722))
