"""Gauss coefficients of a spherical-harmonic model, and those of IGRF-14 at any epoch."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic._igrf14 import TABLE
from lodewalk.validation import FloatArray, check_within

IGRF_MODEL: Final = "IGRF-14"

#: First and last epoch of the model, as decimal years.
IGRF_FIRST_YEAR: Final = 1900.0
IGRF_LAST_YEAR: Final = 2030.0


@dataclass(frozen=True, eq=False)
class GaussCoefficients:
    """Schmidt semi-normalised Gauss coefficients of internal sources at one epoch.

    Parameters
    ----------
    g, h : array, shape (degree + 1, degree + 1)
        Coefficients of cos and sin [nT], or their change [nT/yr], with degree n along the rows
        and order m along the columns. Entries that do not exist (n = 0, m > n, h at m = 0) are 0.
        They refer to a radius of 6371.2 km.

    Raises
    ------
    InputError
        If the two are not square, finite and of one shape.

    Examples
    --------
    An axial dipole.

    >>> GaussCoefficients(g=[[0.0, 0.0], [-30000.0, 0.0]], h=[[0.0, 0.0], [0.0, 0.0]]).degree
    1
    """

    g: FloatArray
    h: FloatArray

    def __post_init__(self) -> None:
        """Keep both as contiguous, read-only float64."""
        for name in ("g", "h"):
            values = np.array(getattr(self, name), dtype=np.float64, order="C")
            values.setflags(write=False)
            object.__setattr__(self, name, values)
        if self.g.ndim != 2 or self.g.shape != self.h.shape or len(set(self.g.shape)) > 1:
            found = f"g {self.g.shape}, h {self.h.shape}"
            raise InputError("Gauss coefficients must be two square arrays alike.", value=found)
        if not (np.isfinite(self.g).all() and np.isfinite(self.h).all()):
            raise InputError("Gauss coefficients must be finite.")

    @property
    def degree(self) -> int:
        """Highest degree n."""
        return len(self.g) - 1


class _Series(NamedTuple):
    """Coefficients at epochs that increase; g and h have shape (epochs, degree + 1, degree + 1)."""

    epochs: FloatArray
    g: FloatArray
    h: FloatArray


def igrf_coefficients(decimal_year: float) -> GaussCoefficients:
    """Return the main-field coefficients of IGRF-14 at one epoch.

    Parameters
    ----------
    decimal_year : float
        Epoch, 1900.0 to 2030.0 [yr].

    Returns
    -------
    GaussCoefficients
        In nT, to degree 10 up to 1995, to degree 13 after.

    Raises
    ------
    InputError
        If the epoch is missing or outside the years of the model.

    Notes
    -----
    Linear in time between the published five-yearly sets, and from 2025 with the predicted yearly
    change, as the model is defined [1]_. The sets up to 1995 stop at degree 10.

    References
    ----------
    .. [1] Alken et al. (2021). International Geomagnetic Reference Field: the thirteenth
       generation. Earth, Planets and Space 73, 49. doi:10.1186/s40623-020-01288-x
    .. [2] IAGA working group V-MOD (2024). IGRF-14 coefficients. doi:10.5281/zenodo.14012302

    Examples
    --------
    >>> float(igrf_coefficients(2025.0).g[1, 0])
    -29350.0
    """
    series = igrf_series()
    i = _interval(series, decimal_year)
    weight = (decimal_year - series.epochs[i]) / (series.epochs[i + 1] - series.epochs[i])
    return _trimmed(
        (1.0 - weight) * series.g[i] + weight * series.g[i + 1],
        (1.0 - weight) * series.h[i] + weight * series.h[i + 1],
    )


def igrf_coefficient_change(decimal_year: float) -> GaussCoefficients:
    """Return the yearly change of the coefficients of IGRF-14 at one epoch.

    Parameters
    ----------
    decimal_year : float
        Epoch, 1900.0 to 2030.0 [yr]. On the border of two five-year spans the later one counts.

    Returns
    -------
    GaussCoefficients
        In nT/yr; constant within each span of five years.

    Raises
    ------
    InputError
        If the epoch is missing or outside the years of the model.

    Examples
    --------
    >>> round(float(igrf_coefficient_change(2026.5).g[1, 0]), 6)
    12.6
    """
    series = igrf_series()
    i = _interval(series, decimal_year)
    years = series.epochs[i + 1] - series.epochs[i]
    return _trimmed(
        (series.g[i + 1] - series.g[i]) / years, (series.h[i + 1] - series.h[i]) / years
    )


@lru_cache(maxsize=1)
def igrf_series() -> _Series:
    """Return the published sets and, at 2030, the set that the predicted change leads to."""
    rows = [line.split() for line in TABLE.splitlines() if line.startswith(("g", "h"))]
    epochs = [float(word) for word in rows[0][3:-1]]
    degree = max(int(row[1]) for row in rows[1:])
    sets = {kind: np.zeros((len(epochs) + 1, degree + 1, degree + 1)) for kind in "gh"}
    for kind, n, m, *words in rows[1:]:
        values = [float(word) for word in words]
        values[-1] = values[-2] + (IGRF_LAST_YEAR - epochs[-1]) * values[-1]
        sets[kind][:, int(n), int(m)] = values
    series = _Series(np.array([*epochs, IGRF_LAST_YEAR]), sets["g"], sets["h"])
    for array in series:
        array.setflags(write=False)
    return series


def check_epochs(decimal_year: float | FloatArray) -> None:
    """Raise when an epoch lies outside the years of IGRF-14; NaN passes."""
    low, high = IGRF_FIRST_YEAR, IGRF_LAST_YEAR
    check_within(decimal_year, name="decimal_year", low=low, high=high, unit=f"({IGRF_MODEL})")


def _interval(series: _Series, decimal_year: float) -> int:
    """Return the index of the span of years that holds `decimal_year`."""
    if np.isnan(decimal_year):
        raise InputError("decimal_year must be a number.", value=decimal_year)
    check_epochs(decimal_year)
    after = int(np.searchsorted(series.epochs, decimal_year, side="right"))
    return min(after, len(series.epochs) - 1) - 1


def _trimmed(g: FloatArray, h: FloatArray) -> GaussCoefficients:
    """Drop the degrees above the last that has a coefficient."""
    size = 1 + int(np.flatnonzero((g != 0).any(axis=1) | (h != 0).any(axis=1)).max(initial=1))
    return GaussCoefficients(g[:size, :size], h[:size, :size])
