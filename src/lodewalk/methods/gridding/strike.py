"""Strike between neighbouring lines, and what they read carried along it."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.gridding._strike_kernel import alike, bracket, carry
from lodewalk.methods.gridding.line_profiles import Profiles
from lodewalk.validation import FloatArray

#: Largest shift along the lines over the distance between them: strikes from 7 degrees up.
MOST_SHIFT: Final = 8.0
#: Step of the strikes tried, in the inverse hyperbolic sine of the shift: an anomaly is as much
#: wider along the line as the strike is slanted, so these are even steps of what can be told.
SHIFT_STEP: Final = 0.08
#: Half the window across the strike [line spacings].
HALF_WINDOW: Final = 0.75
#: Half the number of independent readings in the windows of three pairs, about one a line spacing
#: across the strike.
POWER: Final = 4.0
#: Samples of all strikes that are held at once, which bounds the memory.
AT_ONCE: Final = 5_000_000


class Carried(NamedTuple):
    """What neighbouring lines say of points between them.

    Parameters
    ----------
    value : array, shape (n,)
        Value carried along the strike; NaN where no strike is known.
    coherence : array, shape (n,)
        1 where lines agree, 0 where they share nothing; NaN where no strike is known.
    strike : array, shape (n,)
        Angle of the strike from the lines [rad], towards across, -pi/2 to pi/2.
    """

    value: FloatArray
    coherence: FloatArray
    strike: FloatArray


def carry_along_strike(
    profiles: Profiles, along: FloatArray, across: FloatArray, *, line_spacing: float
) -> Carried:
    """Return what neighbouring lines say of points between them.

    Parameters
    ----------
    profiles : Profiles
        Readings of the lines, about zero.
    along, across : array, shape (n,)
        Points, in the frame of the profiles.
    line_spacing : float
        Distance between lines, in the unit of the points.

    Returns
    -------
    Carried

    Notes
    -----
    A body that is long along its strike reads the same on the next line, shifted along it by the
    distance across over the tangent of the angle between strike and lines. For each of some 70
    strikes, readings p and q where it meets the lines on either side are compared: D is the mean of
    (p - q)^2 / 2 and E that of (p^2 + q^2) / 2, over a window of one and a half line spacings
    either way across the strike (a triangle), and over the pair and the two that the same strike
    comes to beside it, so that four lines have a say. ``1 - D / E`` is the semblance of two
    profiles [1]_ on a scale from -1 to 1.

    No strike is picked. Each counts by its likelihood with the variance unknown,
    ``(E / D)^(n / 2)`` for n independent differences; the value is the mean over the strikes, its
    variance that of the differences and that between the strikes (law of total variance). Where two
    strikes cross and want different values, the coherence ``1 - variance / E`` falls by itself. It
    is also multiplied by the likelihood of the strikes along which both lines were read, lest at
    the lines' ends a wrong strike stands in for the right one.

    The strike is the mean of the same likelihoods over twice the angle. Between the lines the
    value goes linearly from one to the other.

    References
    ----------
    .. [1] Neidell, N. S., and Taner, M. T. (1971), Semblance and other coherency measures for
       multichannel data, Geophysics 36, 482-497 (from memory), doi:10.1190/1.1440186.

    Examples
    --------
    Three lines along the first axis cross a ridge that strikes at 30 degrees to them:

    >>> from lodewalk.methods.gridding.line_profiles import line_profiles
    >>> along, across = np.tile(np.arange(0.0, 200), 3), np.repeat([0.0, 10, 20], 200)
    >>> off = (along - 100) / 2 - across * np.sqrt(0.75)
    >>> ridge = 1 / (1 + (off / 4) ** 2)
    >>> profiles = line_profiles(along, across, ridge, np.repeat([0, 1, 2], 200),
    ...                          weight=np.ones(600), line_spacing=10.0, step=1.0)
    >>> found = carry_along_strike(profiles, np.array([100 + 5 * np.sqrt(3)]), np.array([5.0]),
    ...                            line_spacing=10.0)
    >>> bool(abs(found.value[0] - 1) < 0.02), bool(abs(np.degrees(found.strike[0]) - 30) < 2)
    (True, True)
    """
    place = along / profiles.step
    near = bracket(place, across, profiles.across, profiles.right)
    between = np.flatnonzero(near >= 0)
    points = place[between], across[between], near[between]
    lines = profiles.across, profiles.value, profiles.right
    sums = np.zeros((between.size, 8))
    half = int(np.ceil(np.arcsinh(MOST_SHIFT) / SHIFT_STEP))
    shift = np.sinh(np.arange(-half, half + 1) * SHIFT_STEP)
    window = np.rint(HALF_WINDOW * line_spacing * np.hypot(1.0, shift) / profiles.step)
    together = max(1, AT_ONCE // profiles.value.size)
    for first in range(0, shift.size, together):
        part = slice(first, first + together)
        slope = shift[part] / profiles.step
        matches = alike(*lines, slope, np.maximum(window[part], 1).astype(np.int64))
        carry(sums, points, lines, matches, slope, np.arctan2(1.0, shift[part]), POWER)
    return _mean(sums, between, along.size)


def _mean(sums: FloatArray, between: NDArray[np.int64], count: int) -> Carried:
    """Return the means over the strikes, from the sums over them."""
    known = sums[:, 0] > 0
    means = sums[known, 1:5] / sums[known, :1]
    spread = np.maximum(means[:, 1] - means[:, 0] ** 2, 0.0)
    value, coherence, strike = (np.full(count, np.nan) for _ in range(3))
    at = between[known]
    value[at] = means[:, 0]
    seen = sums[known, 0] / (sums[known, 0] + sums[known, 7])
    coherence[at] = seen * (1 - (means[:, 2] + spread) / means[:, 3])
    strike[at] = 0.5 * np.arctan2(sums[known, 6], sums[known, 5])
    return Carried(value, coherence, strike)
