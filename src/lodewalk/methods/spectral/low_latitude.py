"""The guard of reductions to the pole: refused where the predicted error exceeds the signal."""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from lodewalk.methods.spectral.error import ErrorParts
from lodewalk.methods.spectral.operators import Direction, Operator, to_pole
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.validation import FloatArray

#: Directions flatter than this [sine] leave waves that aren't in the data at all.
LEVEL: Final = 1e-3
#: What serves instead at low latitudes.
ALTERNATIVE: Final = (
    "Use the reduction to the equator or the total gradient instead; a damped reduction holds "
    "back the waves along the magnetic equator."
)

#: Fields steeper than this [sine of 25 degrees] don't make a reduction fail: the data do.
STEEP: Final = 0.42
#: Dampings of the reduction to the pole that are tried.
DAMPINGS: Final = (0.003, 0.01, 0.03, 0.1, 0.3)
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


class DampedReduction(NamedTuple):
    """A damped reduction to the pole: operator, predicted error, whether it can be told.

    `held_back` is the share of the signal's standard deviation that the damping keeps back, and
    `words` say so.
    """

    operator: Operator
    errors: ErrorParts
    judgement: Judgement
    held_back: float
    words: str


def damped_reductions(field: Direction, rocks: Direction) -> list[Operator]:
    """Return damped reductions to the pole of field and magnetisation, the weakest first."""
    return [to_pole(field, rocks, damping=damping) for damping in DAMPINGS]


def least_error(
    prepared: GridSpectrum, operators: Sequence[Operator], errors: Sequence[ErrorParts]
) -> DampedReduction:
    """Return the damped reduction whose predicted error is the smallest.

    Parameters
    ----------
    prepared : GridSpectrum
        The anomaly, from `prepare`.
    operators : sequence of Operator
        Reductions with a damping, as from `damped_reductions`.
    errors : sequence of ErrorParts
        Their predicted errors, from `transform_errors`, which count what is held back as error.

    Returns
    -------
    DampedReduction

    Notes
    -----
    ``conj(D) / (|D|^2 + damping)`` is Wiener's filter where noise over signal is the same in all
    waves ([1]_; for reductions at low latitudes [2]_, both from memory). The damping is the one
    with the least median of the predicted standard deviation: it is chosen by the grid's own
    error, by what lies beyond its edge and by the signal lost.

    References
    ----------
    .. [1] Wiener, N. (1949), Extrapolation, Interpolation, and Smoothing of Stationary Time Series,
       MIT Press.
    .. [2] Hansen, R. O. and Pawlowski, R. S. (1989), Reduction to the pole at low latitudes by
       Wiener filtering, Geophysics 54, 1607-1613.
    """
    typical = [float(np.nanmedian(error.sd)) for error in errors]
    best = int(np.argmin(typical))
    operator = operators[best]
    judgement = judge_reduction(prepared, operator, errors[best])
    held = 1 - kept_share(operator)
    words = (
        f"Waves along the magnetic equator are held back (damping {operator.damping:g}): the map "
        f"lacks about {100 * held:.0f} % of the signal's size, most of it in bodies along the "
        "magnetic declination, which look too weak and short; the standard error holds that."
    )
    return DampedReduction(operator, errors[best], judgement, held, words)


def kept_share(operator: Operator) -> float:
    """Return the share of the signal's size that a damping leaves, ground being alike all round.

    The root mean square over directions of ``|D|^2 / (|D|^2 + damping)``.

    Examples
    --------
    >>> round(kept_share(to_pole(Direction(90.0, 0.0), damping=0.25)), 6)
    0.8
    """
    turn = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    square = np.ones(turn.size)
    for direction in operator.given:
        north, east, down = direction.vector()
        square *= down**2 + (north * np.cos(turn) + east * np.sin(turn)) ** 2
    share = square / np.maximum(square + operator.damping, 1e-300)
    return float(np.sqrt(np.mean(share**2)))
