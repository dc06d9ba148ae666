"""Depths of layers of sources from the radially averaged power spectrum."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.depth.results import DepthRule
from lodewalk.methods.depth.rules import RULE_ERROR, log_estimate
from lodewalk.validation import FloatArray, check_same_length

#: Fewest rings of a straight piece, and how far over the noise a ring's power must lie.
LEAST_RINGS = 5
OVER_NOISE = 3.0
#: A depth is told where the noise of its slope stays under this share of it: beyond, the ends of an
#: interval on a log scale mean nothing.
MOST_NOISE = 0.5
#: Two layers are told where the deep one lies so many times as deep, and the slopes so many
#: standard deviations apart: the break is the best of many.
DEEPER, APART = 1.5, 4.0


def spectral_depth(
    wavenumber: ArrayLike,
    power: ArrayLike,
    waves: ArrayLike,
    *,
    noise_power: float = 0.0,
    known: float = 1.0,
) -> tuple[DepthRule, ...]:
    """Return the depths of one or two layers of sources from a radial power spectrum.

    Parameters
    ----------
    wavenumber, power, waves : array, shape (n,)
        Middle of each ring [rad/m], its mean power [nT2], and how many waves it holds. For a
        profile the rings are its own wavenumbers.
    noise_power : float
        Power of the noise [nT2]: rings less than three times over it are left out.
    known : float
        Share of the spectrum's area that holds data, 0 to 1: the rest adds waves but no knowledge.

    Returns
    -------
    tuple of DepthRule
        The deepest layer first, depths below the level of the data; one without depth where the
        spectrum doesn't fall, or its fall isn't known to half.

    Raises
    ------
    InputError
        For arrays of different lengths.

    Notes
    -----
    Over many narrow bodies that reach far down ``ln P = c - 2 k h`` [1]_; one or two straight
    lines by weighted least squares, two where Schwarz's criterion asks for them. Wide bodies make
    the depth too large, so the error holds 30 per cent of the depth besides that of the slope.

    References
    ----------
    .. [1] Spector, A., and Grant, F. S. (1970), Statistical models for interpreting aeromagnetic
       data, Geophysics, 35(2), 293-302, doi:10.1190/1.1440092 (from memory).

    Examples
    --------
    >>> k = np.linspace(0.01, 0.1, 19)
    >>> [rule] = spectral_depth(k, np.exp(-2 * k * 30.0), np.full(19, 50.0))
    >>> round(rule.depth.value, 6)
    30.0
    """
    check_same_length(wavenumber=wavenumber, power=power, waves=waves)
    k, p, n = (np.asarray(part, dtype=float) for part in (wavenumber, power, waves))
    good = (p > OVER_NOISE * noise_power) & (p > 0.0) & (n > 0.0)
    # beyond the first ring that drowns nothing is trusted
    drowned = np.flatnonzero(~good)
    k, p, n = (part[: drowned[0]] if drowned.size else part for part in (k, p, n))
    if k.size < LEAST_RINGS:
        reason = f"Only {k.size} rings of the spectrum rise over the noise; {LEAST_RINGS} needed."
        return (DepthRule("spectral", None, valid=False, reason=reason),)
    logs, weight = np.log(p), 0.5 * n * known
    if not 0.0 < known <= 1.0:
        raise InputError("The share of the area with data is above 0, at most 1.", value=known)
    cuts = _pieces(k, logs, weight)
    return tuple(_layer(k[part], logs[part], weight[part]) for part in cuts)


def _pieces(k: FloatArray, logs: FloatArray, weight: FloatArray) -> list[slice]:
    """Return one piece, or two where the spectrum asks for them."""
    count = k.size
    whole = [slice(0, count)]
    best = (_misfit(k, logs, weight) + 2.0 * np.log(count), whole)
    for cut in range(LEAST_RINGS, count - LEAST_RINGS + 1):
        parts = [slice(0, cut), slice(cut, count)]
        misfit = sum(_misfit(k[part], logs[part], weight[part]) for part in parts)
        lines = [_line(k[part], logs[part], weight[part]) for part in parts]
        error = APART * np.sqrt(lines[0][1] + lines[1][1])
        # of two layers the deep one holds the long waves
        if lines[0][0] + error < lines[1][0] < 0.0 and lines[0][0] < DEEPER * lines[1][0]:
            best = min(best, (misfit + 5.0 * np.log(count), parts), key=lambda item: item[0])
    return best[1]


def _line(k: FloatArray, logs: FloatArray, weight: FloatArray) -> tuple[float, float, float]:
    """Return slope, its variance for unit errors, and level of a weighted straight line."""
    middle = np.average(k, weights=weight)
    square = float(weight @ (k - middle) ** 2)
    slope = float(weight @ ((k - middle) * logs)) / square
    return slope, 1.0 / square, float(np.average(logs, weights=weight)) - slope * float(middle)


def _misfit(k: FloatArray, logs: FloatArray, weight: FloatArray) -> float:
    """Return the weighted squares about a straight line."""
    slope, _, level = _line(k, logs, weight)
    return float(weight @ (logs - level - slope * k) ** 2)


def _layer(k: FloatArray, logs: FloatArray, weight: FloatArray) -> DepthRule:
    """Return the depth of a straight piece."""
    slope, variance, _ = _line(k, logs, weight)
    value = -0.5 * slope
    if not value > 0.0:
        reason = "The spectrum doesn't fall with the wavenumber: no layer to be read."
        return DepthRule("spectral", None, valid=False, reason=reason)
    scale = max(_misfit(k, logs, weight) / max(k.size - 2, 1), 1.0)
    noise = 0.5 * float(np.sqrt(variance * scale)) / value
    waves = f"Waves from {2 * np.pi / k[-1]:.0f} to {2 * np.pi / max(k[0], 1e-12):.0f} m long"
    if not noise < MOST_NOISE:
        reason = f"{waves}: the fall of the spectrum is lost in its noise, no layer to be read."
        return DepthRule("spectral", None, valid=False, reason=reason)
    estimate = log_estimate(value, float(np.hypot(noise, RULE_ERROR)))
    return DepthRule("spectral", estimate, reason=f"{waves}; assumes many narrow bodies.")
