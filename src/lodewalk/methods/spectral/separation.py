"""Regional and residual: by a trend, by continuation, by the spectrum of two layers; strike."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from lodewalk.errors import InputError
from lodewalk.methods.spectral.operators import upward
from lodewalk.methods.spectral.power import RadialPower, radial_power
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.validation import FloatArray, check_positive, check_within

#: Rings that a fit of two layers needs, and how much deeper the deep one must be.
LEAST_RINGS: Final = 12
APART: Final = 1.5
#: Logarithms of power span about this much between the rings that are fitted: noise is left out.
RANGE: Final = 14.0
HIGHEST_TREND: Final = 3
ROUNDS: Final = 20
#: The fit goes on until it stands still, so that every processor comes to the same filter: at the
#: library's own tolerance (1e-8) they differ by 1e-7 of the residual.
FINE: Final = {"ftol": 1e-14, "xtol": 1e-14, "gtol": 1e-14}


class Parts(NamedTuple):
    """A grid parted in two; their sum is the grid."""

    regional: FloatArray
    residual: FloatArray


class TwoLayers(NamedTuple):
    """Two white layers of sources whose fields together have the spectrum of a grid.

    Parameters
    ----------
    deep_m, shallow_m : float
        Their depths below the sensor [m].
    ratio : float
        Amplitude of the shallow layer over that of the deep one, at the layers.
    """

    deep_m: float
    shallow_m: float
    ratio: float

    def regional_share(self, k: FloatArray) -> FloatArray:
        """Return what share of each wave [rad/m] belongs to the deep layer."""
        return np.asarray(1 / (1 + self.ratio * np.exp(k * (self.deep_m - self.shallow_m))))


def trend_parts(values: ArrayLike, *, degree: int = 1) -> Parts:
    """Part a grid into a polynomial and the rest.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        NaN in gaps.
    degree : int
        1 is a plane; at most 3.

    Returns
    -------
    Parts

    Notes
    -----
    Least squares with bisquare weights (Beaton and Tukey 1974, from memory), so that a strong
    body in a corner doesn't tilt the regional.

    Examples
    --------
    >>> ramp = np.add.outer(np.arange(9.0), np.arange(9.0))
    >>> bool(abs(trend_parts(ramp).residual).max() < 1e-9)
    True
    """
    check_within(degree, name="Degree of the trend", low=0, high=HIGHEST_TREND)
    grid = np.asarray(values, dtype=np.float64)
    known = np.isfinite(grid)
    axes = (np.linspace(-1, 1, n) for n in grid.shape)
    north, east = np.meshgrid(*axes, indexing="ij")
    terms = [north**i * east**j for i in range(degree + 1) for j in range(degree + 1 - i)]
    columns = np.stack([term[known] for term in terms], axis=1)
    data = grid[known]
    if data.size < 2 * len(terms):
        raise InputError("A trend needs more nodes with a value.", value=data.size)
    weight = np.ones(data.size)
    for _ in range(ROUNDS):
        found = np.linalg.lstsq(columns * weight[:, None], data * weight, rcond=None)[0]
        rest = data - columns @ found
        scale = 4.685 * 1.4826 * float(np.median(np.abs(rest))) or 1.0
        weight = np.clip(1 - (rest / scale) ** 2, 0.0, None)
    regional = np.where(known, sum(c * t for c, t in zip(found, terms, strict=True)), np.nan)
    return Parts(regional, grid - regional)


def continuation_parts(prepared: GridSpectrum, values: ArrayLike, *, height_m: float) -> Parts:
    """Part a grid into its upward continuation by a height [m] and the rest."""
    check_positive(height_m, name="height_m")
    (regional,) = prepared.apply(upward(height_m))
    return Parts(regional, np.asarray(values, dtype=np.float64) - regional)


def two_layers(power: RadialPower) -> TwoLayers:
    """Read two layers of sources from a radially averaged power spectrum.

    Parameters
    ----------
    power : RadialPower
        From `radial_power`.

    Returns
    -------
    TwoLayers

    Raises
    ------
    InputError
        When the spectrum has too few rings, or doesn't show two layers.

    Notes
    -----
    ``P(k) = (a e^(-k d) + b e^(-k s))^2 + noise``: the amplitude of two white layers in phase, as
    the matched filter takes them [1]_, fitted to the logarithms, each ring by its number of
    waves.

    References
    ----------
    .. [1] Spector, A., and Grant, F. S. (1970), Statistical models for interpreting aeromagnetic
       data, Geophysics 35, 293-302 (from memory), doi:10.1190/1.1440092.
    """
    used = np.log(power.power) > np.log(power.power.max()) - RANGE
    if used.sum() < LEAST_RINGS:
        raise InputError("The spectrum has too few rings for two layers.", value=int(used.sum()))
    k, logs = power.wavenumber[used], np.log(power.power[used])
    weight = np.sqrt(np.minimum(power.waves[used], 200.0))
    slope = max(float(-np.polyfit(k, logs, 1, w=weight)[0]) / 2, 1e-3 / k[-1])

    def misfit(p: FloatArray) -> FloatArray:
        """Return weighted misfits of the logarithms."""
        return np.asarray(weight * (_log_power(p, k)[0] - logs))

    def slopes(p: FloatArray) -> FloatArray:
        """Return how the misfits change with each parameter."""
        return np.asarray(weight[:, None] * _log_power(p, k)[1])

    top, noise = logs[0] / 2, logs.min() - 1
    deep_and_shallow = [noise, top, np.log(2 * slope), top - 2, np.log(slope / 2)]
    fits = [
        least_squares(misfit, start, slopes, loss="soft_l1", max_nfev=400, **FINE)
        for start in ([noise, top, np.log(slope)], deep_and_shallow)
    ]
    found = fits[1].x[[1, 3, 2, 4]]
    # Two more parameters have to earn their place (Schwarz 1978, from memory).
    gain = k.size * np.log(max(fits[0].cost, 1e-12) / max(fits[1].cost, 1e-12))
    layers = sorted(((np.exp(found[2]), found[0]), (np.exp(found[3]), found[1])), reverse=True)
    (deep, a), (shallow, b) = layers
    ratio = float(np.exp(np.clip(b - a, -50, 50)))
    if not (deep > APART * shallow and 1e-6 < ratio < 1.0 and gain > 2 * np.log(k.size)):
        raise InputError(
            "The spectrum doesn't show two layers of sources.",
            value=f"{deep:.3g} m and {shallow:.3g} m, ratio {ratio:.2g}",
            remedy="Part it by a trend or by continuation.",
        )
    return TwoLayers(float(deep), float(shallow), ratio)


def _log_power(p: FloatArray, k: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the logarithm of the power at each ring, and how it changes with each parameter.

    Parameters are the logarithms of the noise's power, then of amplitude and depth by layer.
    """
    fall = k[:, None] * np.exp(p[2::2])
    parts = p[1::2] - fall
    both = np.logaddexp.reduce(parts, axis=1)
    power = np.logaddexp(2 * both, p[0])
    change = np.empty((k.size, p.size))
    change[:, 0] = np.exp(p[0] - power)
    change[:, 1::2] = 2 * np.exp(2 * both - power)[:, None] * np.exp(parts - both[:, None])
    change[:, 2::2] = -fall * change[:, 1::2]
    return power, change


def matched_parts(
    prepared: GridSpectrum, values: ArrayLike, *, layers: TwoLayers | None = None
) -> Parts:
    """Part a grid into the fields of a deep and a shallow layer by the matched filter.

    Parameters
    ----------
    prepared : GridSpectrum
        The grid, from `prepare`.
    values : array
        The grid itself.
    layers : TwoLayers, optional
        From `two_layers` (default: read from the grid's own spectrum).

    Returns
    -------
    Parts
    """
    layers = layers or two_layers(radial_power(prepared))
    k_north, k_east = prepared.wavenumbers()
    share = layers.regional_share(np.hypot(k_north[:, None], k_east))
    regional = prepared.back(prepared.spectrum * share, prepared.plane)
    return Parts(regional, np.asarray(values, dtype=np.float64) - regional)


def directional_filter(
    prepared: GridSpectrum, *, strike_deg: float, power: int = 2, keep: bool = True
) -> FloatArray:
    """Return a grid of the features along a strike, or of all others.

    Parameters
    ----------
    prepared : GridSpectrum
        The grid, from `prepare`.
    strike_deg : float
        Azimuth of the strike from grid north [deg].
    power : int
        The filter is the cosine of the angle between a wave and the normal of the strike to this
        power; higher is narrower (common practice).
    keep : bool
        Whether to keep what lies along the strike (default) or take it out.

    Returns
    -------
    array, shape (n_north, n_east)
        NaN in gaps; the plane that was taken off stays in.
    """
    check_within(power, name="power", low=1, high=20)
    k_north, k_east = prepared.wavenumbers()
    turn = np.radians(strike_deg)
    across = np.abs(k_east * np.cos(turn) - k_north[:, None] * np.sin(turn))
    k = np.hypot(k_north[:, None], k_east)
    share = np.divide(across, k, out=np.ones_like(k), where=k > 0) ** power
    return prepared.back(prepared.spectrum * (share if keep else 1 - share), prepared.plane)
