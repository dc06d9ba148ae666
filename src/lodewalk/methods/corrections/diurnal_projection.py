"""The daily variation seen along another direction, where a strong anomaly bends the field."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import FloatArray, check_positive, check_within


def projection_sd(
    anomaly_nT: ArrayLike,
    change_nT: ArrayLike,
    *,
    total_field_nT: float,
    inclination_deg: float,
) -> FloatArray:
    """Return the error of the diurnal correction where the rocks bend the field.

    Parameters
    ----------
    anomaly_nT : array, shape (n,)
        Total-field anomaly at the reading [nT].
    change_nT : array, shape (n,)
        Daily variation at its time, from the datum [nT].
    total_field_nT, inclination_deg : float
        Reference field [nT, degrees].

    Returns
    -------
    float array, shape (n,)
        Sd [nT]; NaN where either is.

    Raises
    ------
    InputError
        When the total field isn't above zero or the inclination beyond 90 degrees.

    Notes
    -----
    A total-field sensor sees the part of a change d along the field it stands in. Over rocks that
    add A to the ambient field B, ``|B + A + d| - |B + A|`` differs from ``|B + d| - |B|`` by
    ``d . A / B`` of the parts square to B, to first order in A / B and d / B. Neither is measured.
    For rocks magnetised at random in all places, the down component of A has the power of both
    horizontal ones together (Laplace's equation: ``|k|^2 = k_e^2 + k_n^2``), so the part square to
    B has ``2 / (sin^2 I + cos^2 I / 2) - 1`` times the power of the anomaly itself: once at the
    poles, three times at the equator. The two components of d square to B are taken to be as large
    as the one that the base saw each, and their direction unrelated to A's:
    ``sd = |anomaly| |change| sqrt(2 / (sin^2 I + cos^2 I / 2) - 1) / B``.

    It is an order of size: right on the average of places, not at each. It stays under 0.1 nT for
    an anomaly of 200 nT and a change of 20 nT.

    Examples
    --------
    >>> projection_sd([2000.0], [30.0], total_field_nT=50_000.0, inclination_deg=90.0).tolist()
    [1.2]
    """
    check_positive(total_field_nT, name="total_field_nT")
    check_within(inclination_deg, name="inclination_deg", low=-90, high=90, unit="degrees")
    angle = np.radians(inclination_deg)
    square = 2 / (np.sin(angle) ** 2 + np.cos(angle) ** 2 / 2) - 1
    size = np.abs(np.asarray(anomaly_nT, np.float64) * np.asarray(change_nT, np.float64))
    return np.asarray(size * np.sqrt(square) / total_field_nT)
