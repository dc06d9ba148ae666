"""One number of a body from what each of its profiles says alone."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import Estimate
from lodewalk.validation import FloatArray, check_same_length

#: Standard deviations between profiles that are tried, in parts of the spread seen, 0 besides.
TRIED = np.concatenate([[0.0], np.geomspace(0.01, 3.0, 120)])


class Mean(NamedTuple):
    """A mean over profiles, the standard deviation between them, and the log likelihood of it."""

    estimate: Estimate
    between: float
    log_likelihood: float


class Means(NamedTuple):
    """Means over profiles, one a row: value, standard deviation, half the 90 % interval, the
    standard deviation between profiles, and the log likelihood of it.
    """

    value: FloatArray
    error: FloatArray
    half: FloatArray
    between: FloatArray
    log_likelihood: FloatArray


def over_profiles(values: ArrayLike, sds: ArrayLike) -> Mean:
    """Return the mean of a number over profiles, which may differ by more than their errors.

    Parameters
    ----------
    values, sds : array, shape (n,)
        What each profile says, and its standard deviation, above 0, in one unit; two or more.

    Returns
    -------
    Mean
        With the 90 % interval of the mean.

    Raises
    ------
    InputError
        For fewer than two values, unequal lengths, or a standard deviation that isn't above 0.

    Notes
    -----
    Random effects: a profile's number has the variance of its error and one between profiles,
    the latter by restricted likelihood [1]_. The interval is Student's for the number of
    profiles, from the weighted spread seen but not below what the errors give [2]_.

    References
    ----------
    .. [1] Patterson, H. D. and Thompson, R. (1971), Recovery of inter-block information when block
       sizes are unequal, Biometrika, 58(3), 545-554, doi:10.1093/biomet/58.3.545.
    .. [2] Hartung, J. and Knapp, G. (2001), A refined method for the meta-analysis of controlled
       clinical trials with binary outcome, Statistics in Medicine, 20(24), 3875-3889,
       doi:10.1002/sim.1009.

    Examples
    --------
    Two that agree within their errors, and the interval of Student's for two:

    >>> found = over_profiles([10.0, 10.2], [0.5, 0.5])
    >>> round(found.estimate.value, 3), found.between, round(found.estimate.high, 2)
    (10.1, 0.0, 12.33)
    """
    value, sd = (np.atleast_1d(np.asarray(part, dtype=float)) for part in (values, sds))
    check_same_length(values=value, sds=sd)
    if value.size < 2 or not (np.isfinite(value).all() and (sd > 0).all()):
        raise InputError("A mean over profiles needs two or more, each with its error.")
    found = means_over(value[None], sd[None])
    middle, error, half, between, score = (float(part[0]) for part in found)
    return Mean(Estimate(middle, error, middle - half, middle + half), between, score)


def means_over(value: FloatArray, sd: FloatArray) -> Means:
    """Return the means of rows of numbers, each as from `over_profiles`.

    Parameters
    ----------
    value, sd : array, shape (m, n)
        A row for each mean, a column for each profile.

    Returns
    -------
    Means
        Arrays of shape (m,).

    Examples
    --------
    >>> means_over(np.array([[1.0, 3.0], [2.0, 2.0]]), np.ones((2, 2))).value.tolist()
    [2.0, 2.0]
    """
    tried = TRIED[None, :, None] * np.std(value, axis=1)[:, None, None]
    weight = 1.0 / (sd[:, None, :] ** 2 + tried**2)
    total = weight.sum(axis=2)
    mean = (weight * value[:, None, :]).sum(axis=2) / total
    square = (weight * (value[:, None, :] - mean[:, :, None]) ** 2).sum(axis=2)
    score = 0.5 * (np.log(weight).sum(axis=2) - np.log(total) - square)
    best = (np.arange(len(value)), np.argmax(score, axis=1))
    scale = np.maximum(square[best] / (value.shape[1] - 1), 1.0)
    error = np.sqrt(scale / total[best])
    half = float(student.ppf(0.95, value.shape[1] - 1)) * error
    return Means(mean[best], error, half, tried[:, :, 0][best], score[best])
