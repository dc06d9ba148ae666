"""Where an anomaly is too strong for its projection on the field to be harmonic."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import check_positive

#: Share of the field above which transforms are warned of (common practice).
STRONG: Final = 0.05


def strong_anomaly(values_nT: ArrayLike, *, strength_nT: float) -> str:
    """Return a warning where the anomaly is over a twentieth of the field, or nothing.

    Parameters
    ----------
    values_nT : array
        Total-field anomaly [nT], NaN in gaps.
    strength_nT : float
        Strength of the reference field [nT].

    Returns
    -------
    str

    Notes
    -----
    A scalar sensor reads ``|F + b| - F = b . f + |b across f|^2 / (2 F) + ...``: only the first
    part is harmonic. The second is of the order dT^2 / (2 F) (series of the square root).

    Examples
    --------
    >>> strong_anomaly([100.0, -40.0], strength_nT=50000.0)
    ''
    >>> strong_anomaly([100.0, -5000.0], strength_nT=50000.0)[-39:]
    'here up to 250 nT before any transform.'
    """
    check_positive(strength_nT, name="Strength of the field")
    size = np.abs(np.asarray(values_nT, dtype=np.float64))
    most = float(np.nanmax(size, initial=0.0))
    if not most > STRONG * strength_nT:
        return ""
    known = np.isfinite(size)
    share = float(np.mean(size[known] > STRONG * strength_nT))
    return (
        f"The anomaly exceeds 5 % of the field at {100 * share:.1f} % of the nodes: it is no "
        "longer harmonic there, off by about dT^2/2F, here up to "
        f"{most**2 / (2 * strength_nT):.0f} nT before any transform."
    )
