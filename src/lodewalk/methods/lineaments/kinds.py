"""Thin body or edge: which of the two a traced line lies over."""

from typing import Final

import numpy as np
from scipy.ndimage import map_coordinates

from lodewalk.methods.lineaments.trace import Ridge
from lodewalk.validation import FloatArray, check_positive

#: Half the profile that is looked at [line spacings], and its steps.
HALF_PROFILE, STEPS = 3.0, 40
#: Tilt below which a line lies over an edge rather than a thin body [deg]. Half way would be 45;
#: neighbours' flanks are taken for an edge more easily than the other way round.
EDGE_DEG: Final = 30.0


def mean_profile(
    ridge: Ridge,
    values: FloatArray,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    half_length_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the mean of a grid across a line, along the whole line.

    Parameters
    ----------
    ridge : Ridge
        A line from `trace_ridges`.
    values : array, shape (n_north, n_east)
        A grid; NaN where it is masked.
    west_m, south_m, spacing_m : float
        Place of its first node and distance between nodes [m].
    half_length_m : float
        Half the profile's length [m].

    Returns
    -------
    distance_m, value : array, shape (81,)
        Distance to the right of the line [m], and the mean; NaN where the grid has no value.

    Examples
    --------
    >>> east = np.arange(20.0, 80.0, 5.0)
    >>> ridge = Ridge(east, 0 * east + 50, 0 * east, 0 * east, 5.0, 1.0)
    >>> grid = np.arange(21.0)[:, None] * 5 + np.zeros(21)
    >>> distance, value = mean_profile(ridge, grid, west_m=0.0, south_m=0.0, spacing_m=5.0,
    ...                                half_length_m=20.0)
    >>> value[[0, 40, 80]].round(6).tolist()
    [70.0, 50.0, 30.0]
    """
    check_positive(half_length_m, name="half_length_m")
    way = np.column_stack([ridge.easting_m, ridge.northing_m])
    along = np.gradient(way, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    distance = np.linspace(-half_length_m, half_length_m, 2 * STEPS + 1)
    east = (way[:, :1] + distance * along[:, 1:] - west_m) / spacing_m
    north = (way[:, 1:] - distance * along[:, :1] - south_m) / spacing_m
    read = map_coordinates(values, [north, east], order=1, mode="constant", cval=np.nan)
    known = np.isfinite(read)
    count = known.sum(axis=0)
    total = np.where(known, read, 0.0).sum(axis=0)
    return distance, np.where(count > 0, total / np.maximum(count, 1), np.nan)


def tilt_of(distance_m: FloatArray, value: FloatArray) -> float:
    """Return the tilt in the middle of a profile: 90 over a thin body, 0 over an edge.

    Parameters
    ----------
    distance_m, value : array, shape (2 n + 1,)
        A profile of the field reduced to the pole, about its middle; NaN where unknown.

    Returns
    -------
    float
        Angle whose tangent is the size of the vertical derivative over that of the horizontal one
        [deg]; NaN with a hole in the profile's inner half.

    Notes
    -----
    The tilt angle of [1]_ without its sign. The vertical derivative is the Hilbert transform of
    the one along the profile, summed from differences of the even part.

    References
    ----------
    .. [1] Miller, H. G., and Singh, V. (1994), Potential field tilt, a new concept for location
       of potential field sources, Journal of Applied Geophysics, 32(2-3), 213-217,
       doi:10.1016/0926-9851(94)90022-1.

    Examples
    --------
    >>> distance = np.linspace(-80.0, 80.0, 81)
    >>> round(tilt_of(distance, 1 / (1 + (distance / 15) ** 2)))
    90
    >>> round(tilt_of(distance, np.arctan(distance / 15)))
    0
    """
    half = distance_m.size // 2
    step = float(distance_m[1] - distance_m[0])
    right, left = value[half + 1 :], value[half - 1 :: -1]
    known = np.isfinite(right) & np.isfinite(left)
    if not (known[: half // 2].all() and np.isfinite(value[half])):
        return float("nan")
    last = int(np.argmin(known)) if not known.all() else half
    even = (right[:last] + left[:last]) / 2 - value[half]
    distance = distance_m[half + 1 : half + 1 + last]
    # -(1 / pi) of the integral of (f(t) - f(0)) / t**2 over both sides, beyond the end as flat.
    inside = float(np.sum(even / distance**2) * step) * 2
    vertical = -(inside + 2 * float(even[-1]) / float(distance[-1])) / np.pi
    horizontal = float(right[0] - left[0]) / (2 * step)
    return float(np.degrees(np.arctan2(abs(vertical), abs(horizontal))))


def kind_of(
    ridge: Ridge,
    reduced: FloatArray,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    line_spacing_m: float,
) -> str:
    """Return "ridge" for a line over a thin body, "edge" for one over the edge of a thick one.

    Parameters
    ----------
    ridge : Ridge
        A line from `trace_ridges`.
    reduced : array, shape (n_north, n_east)
        The anomaly reduced to the pole [nT].
    west_m, south_m, spacing_m : float
        Place of its first node and distance between nodes [m].
    line_spacing_m : float
        Distance between survey lines [m].

    Returns
    -------
    str
        "ridge" too where it can't be told.

    Notes
    -----
    By the tilt of the mean profile about the line between its ends, under 30 degrees for an edge:
    right for steep bodies magnetised along the field. A dip or remanence that turns the index
    angle by more makes the one look like the other.

    Examples
    --------
    >>> east = np.arange(100.0, 300.0, 10.0)
    >>> ridge = Ridge(east, 0 * east + 200, 0 * east, 0 * east, 5.0, 1.0)
    >>> north = 5.0 * np.arange(81.0)[:, None] - 200 + np.zeros(81)
    >>> kind_of(ridge, np.arctan(north / 15), west_m=0.0, south_m=0.0, spacing_m=5.0,
    ...         line_spacing_m=20.0)
    'edge'
    """
    profile = mean_profile(
        ridge, reduced, west_m=west_m, south_m=south_m, spacing_m=spacing_m,
        half_length_m=HALF_PROFILE * line_spacing_m,
    )  # fmt: skip
    return "edge" if tilt_of(*_about_slope(*profile)) < EDGE_DEG else "ridge"


def _about_slope(distance_m: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a profile less the straight line between its ends, which is its neighbours'."""
    known = np.flatnonzero(np.isfinite(value))
    if known.size < 2:
        return distance_m, value
    first, last = known[[0, -1]]
    slope = (value[last] - value[first]) / (distance_m[last] - distance_m[first])
    return distance_m, value - slope * distance_m
