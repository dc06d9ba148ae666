"""The anomaly of a reading, and its error."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray


def total_field_anomaly(
    raw: ArrayLike,
    *,
    diurnal: ArrayLike,
    reference: ArrayLike,
    instrument: ArrayLike,
    heading: ArrayLike,
    level: ArrayLike,
    micro_level: ArrayLike,
) -> FloatArray:
    """Take all corrections off the raw readings.

    Parameters
    ----------
    raw : array_like, shape (n,)
        Total field as recorded [nT].
    diurnal, reference, instrument, heading, level, micro_level : array_like
        Corrections, each of shape (n,) or one for all [nT]; 0 for one that isn't applied, NaN
        where it couldn't be had.

    Returns
    -------
    array, shape (n,)
        Anomaly [nT]; NaN where the reading or a correction is.

    Notes
    -----
    ``raw - diurnal - reference - instrument - heading - level - micro_level``, from left to
    right in double precision, so that the same columns always give the same bits.

    Examples
    --------
    >>> total_field_anomaly([48_012.5], diurnal=2.0, reference=48_000.0, instrument=0.0,
    ...                     heading=0.5, level=0.0, micro_level=0.0).tolist()
    [10.0]
    """
    left = np.asarray(raw, dtype=np.float64)
    for correction in (diurnal, reference, instrument, heading, level, micro_level):
        left = left - np.asarray(correction, dtype=np.float64)
    return left


def combine_sd(*sd_nT: ArrayLike) -> FloatArray:
    """Combine the sd of independent errors.

    Parameters
    ----------
    *sd_nT : array
        Sd of each error, of one shape or one for all [nT]; NaN where unknown.

    Returns
    -------
    float array
        Root of the sum of the squares, added from left to right [nT]; NaN where one is.

    Raises
    ------
    InputError
        When there is none, or one is below zero.

    Examples
    --------
    >>> combine_sd([3.0, 0.0], 4.0).tolist()
    [5.0, 4.0]
    """
    if not sd_nT:
        raise InputError("At least one sd is needed.")
    total: FloatArray = np.zeros(())
    for part in sd_nT:
        sd = np.asarray(part, dtype=np.float64)
        if np.any(sd < 0):
            raise InputError("An sd must not be below zero.", value=float(np.nanmin(sd)))
        total = total + sd * sd
    return np.asarray(np.sqrt(total))
