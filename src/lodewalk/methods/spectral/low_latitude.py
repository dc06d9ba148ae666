"""The guard of reductions to the pole: refused where the predicted error exceeds the signal."""

from typing import Final, NamedTuple

import numpy as np

from lodewalk.methods.spectral.error import ErrorParts
from lodewalk.methods.spectral.operators import Operator
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.validation import FloatArray

#: Directions flatter than this [sine] leave waves that aren't in the data at all.
LEVEL: Final = 1e-3
#: What serves instead at low latitudes.
ALTERNATIVE: Final = (
    "Use the reduction to the equator or the total gradient instead; a damped reduction keeps "
    "back the waves along the magnetic equator and shows streaks less than it should."
)

#: Fields steeper than this [sine of 25 degrees] don't make a reduction fail: the data do.
STEEP: Final = 0.42
NO_SIGNAL: Final = (
    "The grid has too little above its error, or beyond its edge lies too much; look at the "
    "profiles of the lines."
)


class Judgement(NamedTuple):
    """Whether a transform can be told.

    Parameters
    ----------
    told : bool
        Whether the typical error is below the signal.
    error, signal : float
        Median of the predicted standard deviation over the nodes, and the standard deviation that
        the transform should have.
    share : float
        Share of the nodes whose predicted error is below the signal.
    reason, alternative : str
        Why it is refused and what to use instead; empty where it is told.
    """

    told: bool
    error: float
    signal: float
    share: float
    reason: str = ""
    alternative: str = ""


def judge_reduction(prepared: GridSpectrum, operator: Operator, errors: ErrorParts) -> Judgement:
    """Tell whether a reduction to the pole, or what rests on it, can be told.

    Parameters
    ----------
    prepared : GridSpectrum
        The anomaly, from `prepare`.
    operator : Operator
        Reduction to the pole or to the equator, or pseudo-gravity.
    errors : ErrorParts
        Its predicted error, from `transform_errors`.

    Returns
    -------
    Judgement

    Notes
    -----
    The signal is that of ground whose sources are alike in all directions: its spectrum at the
    pole is the mean power of each ring of waves over the mean square of the directional factor
    along it, so no wave has to be divided by nearly nothing. A direction within 0.06 degrees of the
    level leaves waves along the magnetic equator that the data don't hold, whatever their error:
    the plain operator is refused there.
    """
    signal = expected_sd(prepared, operator)
    sd = errors.sd[np.isfinite(errors.sd)]
    error = float(np.median(sd))
    share = float(np.mean(sd < signal))
    removed = operator.given if operator.wanted == () and not operator.damping else ()
    flat = [one for one in removed if abs(one.vector()[2]) < LEVEL]
    if flat:
        reason = (
            f"A direction of inclination {flat[0].inclination_deg:.2f} degrees gives no waves "
            "along the magnetic equator, so they can't be brought back."
        )
        return Judgement(False, error, signal, share, reason, ALTERNATIVE)
    if error >= signal:
        reason = (
            f"Its predicted error, {error:.3g}, exceeds its signal, {signal:.3g} (medians over the "
            "grid): noise and what lies beyond the edge would be most of the map."
        )
        level = any(abs(one.vector()[2]) < STEEP for one in removed)
        instead = ALTERNATIVE if level else NO_SIGNAL
        return Judgement(False, error, signal, share, reason, instead)
    return Judgement(True, error, signal, share)


def expected_sd(prepared: GridSpectrum, operator: Operator) -> float:
    """Return the standard deviation that a transform of the anomaly should have."""
    power = radial_power(prepared, operator.given)
    rest = Operator(
        operator.north, operator.east, operator.down, operator.height_m, (), operator.wanted
    )
    k_north, k_east = prepared.wavenumbers()
    amplitude = power.amplitude(np.hypot(k_north[:, None], k_east)).astype(np.complex128)
    values: FloatArray = np.abs(rest.times(amplitude, k_north, k_east)) ** 2
    once = np.where((k_east == 0) | (np.arange(k_east.size) * 2 == prepared.torus[1]), 1.0, 2.0)
    return float(np.sqrt((values * once).sum() / np.prod(prepared.torus)))
