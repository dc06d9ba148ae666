"""Standard errors of what is made of the derivatives and isn't linear."""

from typing import Final, NamedTuple

import numpy as np

from lodewalk.methods.spectral.transforms import Gradients
from lodewalk.validation import FloatArray

#: A gradient less than so many times its standard error has none that is told: errors lengthen a
#: short arrow more often than they shorten it, and its direction is anyone's guess.
LEAST: Final = 2.0


class GradientErrors(NamedTuple):
    """Standard errors of horizontal and total gradient, and of the tilt angle [deg]."""

    horizontal: FloatArray
    total: FloatArray
    tilt_deg: FloatArray


def gradient_errors(slopes: Gradients, sd: Gradients) -> GradientErrors:
    """Return standard errors of the gradient's sizes and of its tilt, to the first order.

    Parameters
    ----------
    slopes : Gradients
        Derivatives towards north, east and the sources, a metre.
    sd : Gradients
        Their standard errors.

    Returns
    -------
    GradientErrors
        NaN where the gradient is less than twice its standard error, as the first order doesn't
        hold there.

    Notes
    -----
    The error of ``f(n, e, v)`` has the variance ``sum (df/di)^2 sd_i^2``. The three derivatives of
    a potential field whose sources are alike everywhere have errors that aren't correlated in one
    place: two are odd about it, and the third is their Hilbert pair.

    Examples
    --------
    >>> slopes = Gradients(np.array([3.0]), np.array([0.0]), np.array([4.0]))
    >>> found = gradient_errors(slopes, Gradients(*np.full((3, 1), 0.5)))
    >>> [round(float(part[0]), 3) for part in found]
    [0.5, 0.5, 5.73]
    """
    level = np.hypot(slopes.north, slopes.east)
    whole = np.hypot(level, slopes.vertical)
    with np.errstate(divide="ignore", invalid="ignore"):
        level_sd = np.hypot(slopes.north * sd.north, slopes.east * sd.east) / level
        whole_sd = np.hypot(level * level_sd, slopes.vertical * sd.vertical) / whole
        tilt_sd = np.hypot(level * sd.vertical, slopes.vertical * level_sd) / whole**2
        level_sd = np.where(level >= LEAST * level_sd, level_sd, np.nan)
        surest = whole >= LEAST * np.fmax(whole_sd, whole * tilt_sd)
    return GradientErrors(
        level_sd,
        np.where(surest, whole_sd, np.nan),
        np.where(surest, np.degrees(tilt_sd), np.nan),
    )
