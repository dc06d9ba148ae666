"""The surface that the sensor was carried on, at the nodes of a grid."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter

from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Fewest squares of a grid whose heights tell a surface.
LEAST_SQUARES: Final = 32
#: Width of the Gaussian under which heights are averaged, in line spacings.
SMOOTH: Final = 1 / 3


class SensorSurface(NamedTuple):
    """How the sensor's surface departs from a plane.

    Parameters
    ----------
    rise_m : array, shape (n_north, n_east)
        Height above the plane of least squares [m], NaN far from any reading.
    slope_north, slope_east : float
        Slopes of the plane.
    departure_m : float
        How far nine tenths of `rise_m` lie apart where the grid has a value [m].
    """

    rise_m: FloatArray
    slope_north: float
    slope_east: float
    departure_m: float


def sensor_surface(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    region: Region,
    spacing_m: float,
    line_spacing_m: float,
    known: NDArray[np.bool_],
) -> SensorSurface:
    """Return the sensor's surface at the nodes of a grid, smoothed.

    Parameters
    ----------
    easting_m, northing_m, height_m : array, shape (n,)
        Places and heights of the sensor [m]; one that is missing is left out.
    region : Region
        The grid.
    spacing_m, line_spacing_m : float
        Distance between nodes and between lines [m].
    known : bool array, shape of the region
        Nodes that have a value.

    Returns
    -------
    SensorSurface

    Raises
    ------
    InputError
        When fewer than 32 squares of the grid hold a height.

    Notes
    -----
    Means over squares round the nodes, then a weighted mean under a Gaussian of a third of the
    line spacing of what departs from their plane (normalised convolution, common practice): errors
    of a receiver's height from line to line don't count as relief.

    Examples
    --------
    >>> north, east = np.indices((8, 8)) * 5.0
    >>> found = sensor_surface(east.ravel(), north.ravel(), 0.1 * north.ravel(),
    ...     region=Region(0.0, 0.0, (8, 8)), spacing_m=5.0, line_spacing_m=10.0,
    ...     known=np.ones((8, 8), dtype=bool))
    >>> round(found.slope_north, 6), bool(found.departure_m < 1e-9)
    (0.1, True)
    """
    check_positive(spacing_m, name="spacing_m")
    check_positive(line_spacing_m, name="line_spacing_m")
    check_same_length(easting_m=easting_m, northing_m=northing_m, height_m=height_m)
    mean, count = _squares(easting_m, northing_m, height_m, region, spacing_m)
    held = count > 0
    if held.sum() < LEAST_SQUARES:
        raise InputError(
            "Too few readings on the grid have a height to tell the sensor's surface.",
            value=f"{held.sum()} squares, {LEAST_SQUARES} wanted",
        )
    north, east = (axis * spacing_m for axis in np.indices(region.shape))
    columns = np.column_stack([np.ones(held.sum()), north[held], east[held]])
    base, slope_north, slope_east = np.linalg.lstsq(columns, mean[held], rcond=None)[0]
    rest = np.where(held, mean - (base + slope_north * north + slope_east * east), 0.0)
    width = SMOOTH * line_spacing_m / spacing_m
    weight = gaussian_filter(held.astype(np.float64), width, mode="constant")
    rise = gaussian_filter(rest, width, mode="constant")
    rise = np.divide(rise, weight, out=np.full(region.shape, np.nan), where=weight > 1e-3)
    told = rise[known & np.isfinite(rise)]
    spread = float(np.ptp(np.quantile(told, [0.05, 0.95]))) if told.size else 0.0
    return SensorSurface(rise, float(slope_north), float(slope_east), spread)


def _squares(
    easting: ArrayLike, northing: ArrayLike, height: ArrayLike, region: Region, spacing_m: float
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the mean height of each square round a node, and how many readings it holds."""
    east, north, high = (np.asarray(part, dtype=np.float64) for part in (easting, northing, height))
    used = np.isfinite(east) & np.isfinite(north) & np.isfinite(high)
    row = np.rint((north[used] - region.south_m) / spacing_m).astype(np.int64)
    column = np.rint((east[used] - region.west_m) / spacing_m).astype(np.int64)
    inside = (row >= 0) & (row < region.shape[0]) & (column >= 0) & (column < region.shape[1])
    place = row[inside] * region.shape[1] + column[inside]
    size = region.shape[0] * region.shape[1]
    count = np.bincount(place, minlength=size)
    total = np.bincount(place, weights=high[used][inside], minlength=size)
    mean = total / np.maximum(count, 1)
    return mean.reshape(region.shape), count.reshape(region.shape)
