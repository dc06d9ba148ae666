"""How much of an anomaly's power a line spacing folds into false wavelengths."""

import math
from collections.abc import Callable
from typing import Final, Literal

from lodewalk.errors import InputError
from lodewalk.validation import check_positive

Measured = Literal["total field", "gradient"]

#: Share of aliased power that a map is usually planned for (common practice): for the
#: field a spacing of about twice the depth.
USUAL_SHARE: Final = 0.05


def aliased_power(spacing_m: float, *, depth_m: float, measured: Measured = "total field") -> float:
    """Return the share of the power of an anomaly that a spacing can't tell from longer waves.

    Parameters
    ----------
    spacing_m : float
        Distance between lines, or between readings along a line [m], above zero.
    depth_m : float
        Depth of the sources below the sensor, not below ground [m], above zero.
    measured : {"total field", "gradient"}
        What the instrument measures; a gradient holds more of the short wavelengths.

    Returns
    -------
    float
        Share, 0 to 1.

    Raises
    ------
    InputError
        For a spacing or a depth not above zero, or another word for what is measured.

    Notes
    -----
    Sources whose spectrum is white at the depth `h` leave power ``exp(-2 k h)`` at wavenumber
    ``k`` in a profile of the field, and ``k**2 exp(-2 k h)`` in its gradient. What lies beyond
    ``k = pi / dx`` is folded. With ``q = 2 pi h / dx`` its share is ``exp(-q)`` for the field and
    ``exp(-q) (1 + q + q**2 / 2)`` for the gradient [1]_. Sources that reach deeper than their
    tops, or lie in one direction, hold less; shallow soil and iron hold far more.

    References
    ----------
    .. [1] Reid, A. B. (1980). Aeromagnetic survey design. Geophysics 45, 973-976 (from memory;
       the formulas are derived here and give his table), doi:10.1190/1.1441102.

    Examples
    --------
    Lines as far apart as twice the depth.

    >>> f"{aliased_power(40.0, depth_m=20.0):.3f}"
    '0.043'
    """
    check_positive(spacing_m, name="Spacing")
    check_positive(depth_m, name="Depth below the sensor")
    return _share(measured)(2.0 * math.pi * depth_m / spacing_m)


def largest_spacing_m(share: float, *, depth_m: float, measured: Measured = "total field") -> float:
    """Return the largest spacing whose aliased power is no more than a share.

    Parameters
    ----------
    share : float
        Aliased power, as a share of all, between 0 and 1.
    depth_m, measured
        As in `aliased_power`.

    Returns
    -------
    float
        Spacing [m].

    Raises
    ------
    InputError
        For a share that doesn't lie between 0 and 1, or as in `aliased_power`.

    Notes
    -----
    The inverse of `aliased_power`, which only grows with the spacing.

    Examples
    --------
    A twentieth of the power, from sources 20 m below the sensor.

    >>> f"{largest_spacing_m(0.05, depth_m=20.0):.1f}"
    '41.9'
    >>> f"{largest_spacing_m(0.05, depth_m=20.0, measured='gradient'):.1f}"
    '20.0'
    """
    check_positive(depth_m, name="Depth below the sensor")
    if not 0.0 < share < 1.0:
        raise InputError("The share of aliased power must lie between 0 and 1.", value=share)
    law = _share(measured)
    low, high = 0.0, 1.0
    while law(high) > share:
        high *= 2.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if law(middle) > share else (low, middle)
    return 2.0 * math.pi * depth_m / high


def _share(measured: str) -> Callable[[float], float]:
    """Return the aliased share as a function of ``q = 2 pi h / dx``."""
    laws: dict[str, Callable[[float], float]] = {
        "total field": lambda q: math.exp(-q),
        "gradient": lambda q: math.exp(-q) * (1.0 + q + 0.5 * q * q),
    }
    if measured not in laws:
        raise InputError(f"Measured is one of {', '.join(laws)}.", value=measured)
    return laws[measured]
