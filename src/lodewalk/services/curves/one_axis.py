"""Distances along a line that was walked more than once, from one beginning."""

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

Array = NDArray[np.float64]


def one_axis(readings: pl.DataFrame) -> pl.Series:
    """Return distances that put a place at one distance, whichever passage it was read on.

    Each passage counts its metres from its own first reading; those of the longest one stay, the
    others are shifted, and turned where the line was walked the other way.

    Parameters
    ----------
    readings : DataFrame
        Of one line: ``passage``, ``distance_m``, ``easting_m`` and ``northing_m``.
    """
    distance, east, north = (
        readings[name].fill_null(float("nan")).to_numpy().astype(float)
        for name in ("distance_m", "easting_m", "northing_m")
    )
    passage = readings["passage"].fill_null(-1).to_numpy()
    known = np.isfinite(distance) & np.isfinite(east) & np.isfinite(north)
    parts = [rows for one in np.unique(passage) if (rows := known & (passage == one)).sum() > 1]
    if len(parts) > 1:
        longest = max(parts, key=lambda rows: float(np.ptp(distance[rows])))
        along = _along(distance, east, north, longest)
        for rows in parts:
            if rows is not longest:
                all_rows = passage == passage[rows][0]
                distance[all_rows] = _moved(distance, along, rows)[all_rows]
    return pl.Series("distance_m", distance)


def _along(distance: Array, east: Array, north: Array, rows: NDArray[Any]) -> Array:
    """Return how far places lie along the straight line through some readings."""
    slopes = [np.polyfit(distance[rows], values[rows], 1)[0] for values in (east, north)]
    length = float(np.hypot(*slopes)) or 1.0
    along = ((east - east[rows][0]) * slopes[0] + (north - north[rows][0]) * slopes[1]) / length
    return np.asarray(along + np.median(distance[rows] - along[rows]))


def _moved(distance: Array, along: Array, rows: NDArray[Any]) -> Array:
    """Return distances turned and shifted so that they agree with places on another passage."""
    apart = distance[rows] - np.mean(distance[rows])
    sign = -1.0 if float(apart @ along[rows]) < 0 else 1.0
    return np.asarray(sign * distance + np.median(along[rows] - sign * distance[rows]))
