"""A profile across a grid between two points."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive


@dataclass(frozen=True)
class GridProfile:
    """Values of a grid along a straight line, at steps of its spacing.

    Parameters
    ----------
    distance_m : array, shape (n,)
        Distance from the first point [m].
    easting_m, northing_m : array, shape (n,)
        Places [m].
    value, sd : array, shape (n,)
        Value and its standard error, in the grid's unit.
    """

    distance_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    value: FloatArray
    sd: FloatArray


def grid_profile(
    values: FloatArray,
    sd: FloatArray,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    start: tuple[float, float],
    end: tuple[float, float],
) -> GridProfile:
    """Return the values of a grid between two points.

    Parameters
    ----------
    values, sd : array, shape (n_north, n_east)
        Grid and its standard error, row 0 in the south; NaN where there is none.
    west_m, south_m, spacing_m : float
        Place of its first node and distance of nodes [m].
    start, end : tuple = (easting, northing)
        The points [m].

    Returns
    -------
    GridProfile

    Raises
    ------
    InputError
        For a point outside the grid, two points nearer to each other than four nodes, and a line
        across a hole of the grid or where its error isn't known.

    Notes
    -----
    Values are those of a cubic spline through the nodes, errors are bilinear. Holes are filled with
    their nearest node, lest the spline swings beside them, and none of it is returned.

    Examples
    --------
    >>> plane = np.add.outer(10.0 * np.arange(12), np.arange(12.0))
    >>> found = grid_profile(plane, 0 * plane + 2, west_m=0.0, south_m=0.0, spacing_m=5.0,
    ...                      start=(10.0, 25.0), end=(40.0, 25.0))
    >>> found.value.round(6).tolist()
    [52.0, 53.0, 54.0, 55.0, 56.0, 57.0, 58.0]
    """
    check_positive(spacing_m, name="spacing_m")
    first, last = np.array(start), np.array(end)
    for point in (first, last):
        column, row = (point - (west_m, south_m)) / spacing_m
        if not (0 <= column <= values.shape[1] - 1 and 0 <= row <= values.shape[0] - 1):
            east = f"{west_m:.0f} to {west_m + spacing_m * (values.shape[1] - 1):.0f} E"
            north = f"{south_m:.0f} to {south_m + spacing_m * (values.shape[0] - 1):.0f} N"
            raise InputError(
                "This point lies outside the grid.",
                value=f"{point[0]:.1f} E {point[1]:.1f} N",
                remedy=f"The grid reaches from {east}, {north}.",
            )
    length = float(np.hypot(*(last - first)))
    if length < 4.0 * spacing_m:
        raise InputError(
            f"The points are {length:.1f} m apart; a profile of this grid needs "
            f"{4.0 * spacing_m:.1f} m."
        )
    count = round(length / spacing_m) + 1
    distance = np.linspace(0.0, length, count)
    place = first + np.outer(distance / length, last - first)
    at = (place[:, ::-1] - (south_m, west_m)).T / spacing_m
    unknown = ~(np.isfinite(values) & np.isfinite(sd))
    _check_known(map_coordinates(unknown.astype(float), at, order=1, mode="nearest"), distance)
    error = map_coordinates(np.where(unknown, 0.0, sd), at, order=1, mode="nearest")
    value = map_coordinates(_filled(values), at, order=3, mode="nearest")
    return GridProfile(distance, place[:, 0], place[:, 1], value, error)


def _check_known(unknown: FloatArray, distance: FloatArray) -> None:
    """Raise where the line crosses a hole: where a node that counts isn't known."""
    hole = np.flatnonzero(unknown > 1e-9)
    if hole.size:
        raise InputError(
            "The line crosses a hole of the grid, or ground where its error is not known.",
            value=f"{distance[hole[0]]:.0f} to {distance[hole[-1]]:.0f} m from the first point",
            remedy="Draw it where the map is painted.",
        )


def _filled(values: FloatArray) -> FloatArray:
    """Return a grid whose holes hold the value of their nearest node."""
    nearest = distance_transform_edt(
        ~np.isfinite(values), return_distances=False, return_indices=True
    )
    filled: FloatArray = values[tuple(nearest)]
    return filled
