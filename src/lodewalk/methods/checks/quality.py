"""Signal quality of a rover, judged against what is usual for the same instrument."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import check_positive, check_within

#: Sd of a normal variable over the median size of its departures.
MEDIAN_SIZE_TO_SD: Final = 1.482_602_218_505_602


def low_quality(
    quality: ArrayLike, *, k_sd: float = 8.0, share: float = 0.25, higher_is_better: bool = True
) -> BoolArray:
    """Find readings whose signal quality is clearly below what is usual for the instrument.

    Parameters
    ----------
    quality : array, shape (n,)
        Signal quality of the readings of one instrument, on any scale that begins at zero, such
        as 0 to 1 or 0 to 99; NaN where there is none.
    k_sd : float
        How many sd below the usual quality a reading must lie (default 8: only clear outliers).
    share : float
        By which share of the usual quality it must lie below, too, above 0 and below 1 (default
        0.25, so that the last digit of a steady quality is no outlier).
    higher_is_better : bool
        False where the number grows as the signal gets worse; then `share` is above the usual.

    Returns
    -------
    bool array, shape (n,)
        True at low quality; False where there is none.

    Raises
    ------
    InputError
        When a setting is out of range or a quality is below zero.

    Notes
    -----
    Usual is the median ``m``, and the sd is 1.4826 times the median size of the departures to
    the worse side, so a few outliers move neither. A reading is low when it departs by more than
    ``max(k_sd sd, share m)`` to the worse side. Where more than half of the readings are bad,
    bad is usual and nothing is marked: makers' scales aren't known here, so quality is only
    compared with itself. No published limit was found; the settings are our own.

    Examples
    --------
    >>> low_quality([0.97, 0.98, 0.2, 0.96, 0.97]).tolist()
    [False, False, True, False, False]
    """
    check_positive(k_sd, name="k_sd")
    if not 0 < share < 1:
        raise InputError("share must lie above 0 and below 1.", value=share)
    values = np.asarray(quality, dtype=np.float64)
    check_within(values, name="quality", low=0.0, high=np.inf)
    known = values[np.isfinite(values)]
    if not known.size:
        return np.zeros(values.shape, dtype=bool)
    usual = float(np.median(known))
    way = 1.0 if higher_is_better else -1.0
    worse = way * (usual - values)
    side = way * (usual - known)
    side = side[side >= 0]
    sd = MEDIAN_SIZE_TO_SD * float(np.median(side)) if side.size else 0.0
    return np.asarray(worse > max(k_sd * sd, share * usual))
