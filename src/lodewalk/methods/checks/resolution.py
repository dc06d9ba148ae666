"""The step to which the readings of a record are rounded, and the error that rounding leaves."""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import FloatArray

#: A difference below this share of the largest value is taken for noise of binary arithmetic.
GRAIN: Final = 2e-11

#: A difference within this share of a step of a whole number of steps fits them.
FIT: Final = 0.01

#: Differences above this many of the least one are left out: its error grows with the count.
MOST_STEPS: Final = 1000


def value_resolution(value: ArrayLike) -> float:
    """Return the step to which the readings of a record are rounded.

    Parameters
    ----------
    value : array, shape (n,)
        Readings in any unit; missing ones (NaN) are left out.

    Returns
    -------
    float
        Step in the unit of `value`; 0 where none can be told, as in a constant record or one
        that isn't rounded.

    Notes
    -----
    The largest step of which all differences between the sorted values are whole multiples, by
    Euclid's algorithm with a tolerance. Differences below 2e-11 of the largest value (1 pT in
    50 000 nT) count as none. A single reading off the steps hides them; a record of fewer than
    about five different values that isn't rounded may seem to have a step. A record kept as
    32-bit floats has their spacing (1/256 nT at 50 000 nT) where that is coarser.

    Examples
    --------
    >>> round(value_resolution([48_000.05, 48_000.01, 48_000.03, 48_000.08]), 9)
    0.01
    >>> value_resolution([48_001.0, 48_001.0])
    0.0
    """
    known = np.asarray(value, dtype=np.float64)
    known = np.unique(known[np.isfinite(known)])
    grain = GRAIN * float(np.abs(known).max(initial=0.0))
    differences = np.diff(known)
    return _common_step(differences[differences > grain], grain)


def _common_step(differences: FloatArray, grain: float) -> float:
    """Return the largest step of which all differences are multiples; 0 where below the grain."""
    while differences.size:
        step = float(differences.min())
        differences = differences[differences <= MOST_STEPS * step]
        rest = np.abs(differences - step * np.round(differences / step))
        rest = rest[rest > FIT * step]
        if not rest.size:
            return step
        if rest.min() <= grain:
            break
        differences = np.append(rest, step)
    return 0.0


def quantisation_sd(value: ArrayLike) -> float:
    """Return the least sd of the error of a reading: what rounding alone leaves.

    Parameters
    ----------
    value : array, shape (n,)
        Readings in any unit; missing ones (NaN) are left out.

    Returns
    -------
    float
        Sd in the unit of `value`; 0 where `value_resolution` finds no step.

    Notes
    -----
    An error that is uniform over one step has the sd ``step / sqrt(12)``, 0.29 of a step (JCGM
    100:2008, F.2.2.1). Valid where the readings change by more than a step; noise much below
    it leaves errors that are alike from one reading to the next.

    References
    ----------
    JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in
    measurement, doi:10.59161/JCGM100-2008E.

    Examples
    --------
    >>> round(quantisation_sd([48_000.0, 48_003.0, 48_001.0]), 4)
    0.2887
    """
    return value_resolution(value) / math.sqrt(12)
