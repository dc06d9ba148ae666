"""The diurnal correction: the base field at the time of each reading."""

from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import Akima1DInterpolator, PchipInterpolator

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import piece_bounds
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

Kind = Literal["linear", "akima", "monotone"]

CURVES: Final = {"akima": Akima1DInterpolator, "monotone": PchipInterpolator}


def interpolate_base(
    time_s: ArrayLike,
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    kind: Kind = "linear",
    max_gap_s: float,
) -> FloatArray:
    """Return the base field at the time of each reading.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times of the readings, in any order [s].
    base_time_s : array, shape (n_base,)
        Increasing times of the base readings [s].
    base_nT : array, shape (n_base,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    kind : {"linear", "akima", "monotone"}
        Straight lines (default), Akima's local cubics, or monotone cubics, which never overshoot.
    max_gap_s : float
        A longer interval between two base readings is a gap [s].

    Returns
    -------
    float array, shape (n,)
        Base field [nT]; NaN outside the record and inside a gap. A reading at the very time of
        a base reading has that value, also beside a gap.

    Raises
    ------
    InputError
        When the kind is unknown, the lengths differ, the base times don't increase, or
        `max_gap_s` isn't above zero.

    Notes
    -----
    Never extrapolates. The pieces between gaps are interpolated each for itself.

    References
    ----------
    Akima, H. (1970), A new method of interpolation and smooth curve fitting based on local
    procedures, Journal of the ACM 17, 589-602, doi:10.1145/321607.321609.
    Fritsch, F. N. and Butland, J. (1984), A method for constructing local monotone piecewise
    cubic interpolants, SIAM Journal on Scientific and Statistical Computing 5, 300-304,
    doi:10.1137/0905021.

    Examples
    --------
    >>> interpolate_base([15.0, 40.0], [10, 20, 60], [48_000, 48_002, 48_010], max_gap_s=20)
    array([48001.,    nan])
    """
    straight = interpolate_linear(time_s, base_time_s, base_nT, max_gap=max_gap_s)
    if kind == "linear":
        return straight
    if kind not in CURVES:
        known = "linear, " + ", ".join(CURVES)
        raise InputError(f"kind must be one of {known}.", value=kind)
    time, base_time = np.asarray(time_s, np.float64), np.asarray(base_time_s, np.float64)
    base = np.asarray(base_nT, np.float64)
    base_time, base = base_time[np.isfinite(base)], base[np.isfinite(base)]
    curved = straight  # stands at lone base readings and in pieces of two
    for start, stop in pairwise(piece_bounds(base_time, max_gap_s=max_gap_s)):
        if stop - start > 2:
            inside = (time >= base_time[start]) & (time <= base_time[stop - 1])
            curve = CURVES[kind](base_time[start:stop], base[start:stop])
            curved[inside] = curve(time[inside])
    return curved
