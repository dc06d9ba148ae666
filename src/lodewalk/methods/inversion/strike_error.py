"""What the error of a strike does to lengths that were told along a profile across it."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.validation import check_within

#: Least angle between a line and the strike of a body whose strike isn't known (common practice:
#: beyond it the anomaly is too long to be taken for one across the line) [deg].
LEAST_CROSSING_DEG: Final = 30.0
#: Words for a body whose strike isn't known.
ACROSS: Final = (
    "Its strike is not known: this holds if it strikes across the line; if it strikes under an "
    "angle, it is less deep and less wide by the sine of that. The lower ends hold angles from 30 "
    "to 90 degrees."
)


def strike_error(
    length: Estimate,
    *,
    crossing_deg: float,
    strike_sd_deg: float | None,
) -> Estimate:
    """Return a depth, width or place below a profile with the error of the strike added.

    Parameters
    ----------
    length : Estimate
        A length across the strike, or a depth below the sensor [m]; its zero is the profile's.
    crossing_deg : float
        Angle between the line that was walked and the strike, 0 to 90 [deg].
    strike_sd_deg : float or None
        One standard deviation of the strike [deg]; None where the strike isn't known.

    Returns
    -------
    Estimate
        Its value is the same; ends that are open stay open, and an end above zero does not fall
        below it.

    Notes
    -----
    Readings at distances ``s`` along the line lie ``s sin(c)`` across the strike, ``c`` being the
    angle between the two, and every length of a body fitted to them is as large in that measure.
    So ``d(length) / dc = length cot(c)``, and cot(c) is the tangent of the angle between line and
    normal. It is added in quadrature, with its second order ``length sd**2 / sqrt(2)``, all there
    is at a right angle.

    Of an unknown strike, ``c`` is taken as anywhere from 30 degrees to 150: then a length is that
    of a body across the line times the sine of an angle that is spread evenly there.

    Examples
    --------
    >>> deep = Estimate(10.0, 0.2, 9.7, 10.3)
    >>> found = strike_error(deep, crossing_deg=45.0, strike_sd_deg=3.0)
    >>> round(found.sd, 2), round(found.low, 2), round(found.high, 2)
    (0.56, 9.09, 10.91)
    >>> round(strike_error(deep, crossing_deg=90.0, strike_sd_deg=None).low, 1)
    5.4
    """
    check_within(crossing_deg, name="crossing_deg", low=0.0, high=90.0, unit="degrees")
    of = abs(length.value)
    if strike_sd_deg is None:
        return _unknown(length, of)
    spread = np.radians(strike_sd_deg)
    slope = 1.0 / np.tan(np.radians(max(crossing_deg, LEAST_CROSSING_DEG / 2.0)))
    return _added(length, of * float(np.hypot(spread * slope, spread**2 / np.sqrt(2.0))))


def mean_azimuth(azimuth_deg: ArrayLike) -> float:
    """Return the mean of azimuths that lie within 90 degrees of each other, 0 to 360 [deg].

    Examples
    --------
    >>> round(mean_azimuth([350.0, 358.0, 6.0]), 6)
    358.0
    """
    turn = np.radians(np.asarray(azimuth_deg, dtype=float))
    return float(np.degrees(np.arctan2(np.sin(turn).mean(), np.cos(turn).mean())) % 360.0)


def _unknown(length: Estimate, of: float) -> Estimate:
    """Return a length whose lower end holds the range of strikes, and its standard deviation."""
    half = np.pi / 2.0 - np.radians(LEAST_CROSSING_DEG)
    # mean, mean square and fifth percentile of the cosine of an angle spread evenly within half
    mean = float(np.sin(half) / half)
    square = 0.5 + float(np.sin(2.0 * half)) / (4.0 * half)
    least = float(np.cos(0.95 * half))
    wide = _added(length, of * float(np.sqrt(square - 2.0 * mean + 1.0)))
    low = length.value - float(np.hypot(length.value - length.low, of * (1.0 - least)))
    return replace(wide, low=max(low, min(length.low, 0.0)), high=length.high)


def _added(length: Estimate, sd: float) -> Estimate:
    """Return a length with an independent error added to it and to both ends."""
    low, high = (float(np.hypot(end - length.value, NINETY * sd)) for end in
                 (length.low, length.high))  # fmt: skip
    return replace(
        length,
        sd=float(np.hypot(length.sd, sd)),
        low=max(length.value - low, min(length.low, 0.0)),
        high=length.value + high,
    )
