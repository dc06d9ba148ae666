"""The equivalent layer once fitted: its field at any place and height above it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.gridding._source_layer import (
    Mesh,
    fast_shape,
    gather,
    places_on,
    splines,
)
from lodewalk.methods.gridding.ground import Region
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Heights above the readings' surface that a mesh has to reach beyond the places asked for.
MARGIN: Final = 10.0
#: Fewest mesh spacings between the layer and any place where its field is wanted.
FEWEST_IN_DEPTH: Final = 1.5


@dataclass(frozen=True)
class SourceLayer:
    """An equivalent layer fitted to readings.

    Parameters
    ----------
    mesh : Mesh
        South-west node, spacing and shape of the mesh of sources.
    strength : array, shape of the mesh
        Strength of each source: the anomaly less the trend, continued down to the layer, in the
        unit of the readings.
    trend : tuple = (value, east, north)
        Plane taken off before: value at the south-west node, and slopes a metre.
    depth_m : float
        Depth of the layer below the sensor [m].
    iterations : int
        Iterations of the fit.
    left : float
        What is left of the gradient when the fit ended, as a share of the first.
    """

    mesh: Mesh
    strength: FloatArray
    trend: tuple[float, float, float]
    depth_m: float
    iterations: int
    left: float

    def at(self, easting_m: ArrayLike, northing_m: ArrayLike, height_m: float = 0.0) -> FloatArray:
        """Return the anomaly at places, all at one height above the sensor's surface.

        Parameters
        ----------
        easting_m, northing_m : array, shape (n,)
            Places [m]; NaN gives NaN.
        height_m : float
            Height above the surface that the sensor was carried on [m]; negative below it.

        Returns
        -------
        array, shape (n,)
            Anomaly, in the unit of the readings.

        Raises
        ------
        InputError
            When lengths differ, the height is less than one and a half mesh spacings above the
            layer, or the places are too far away for a mesh.
        """
        check_same_length(easting_m=easting_m, northing_m=northing_m)
        east, north = (
            np.atleast_1d(np.asarray(place, dtype=np.float64)) for place in (easting_m, northing_m)
        )
        known = np.isfinite(east) & np.isfinite(north)
        found = np.full(east.shape, np.nan)
        east, north = east[known], north[known]
        if not east.size:
            _check_above(self, height_m)
            return found
        mesh, field = self._spline(east, north, height_m)
        found[known] = gather(field, *places_on(mesh, east, north))
        found[known] += self._plane(east, north)
        return found

    def on_grid(self, region: Region, *, spacing_m: float, height_m: float = 0.0) -> FloatArray:
        """Return the anomaly at the nodes of a grid at one height.

        Parameters
        ----------
        region : Region
            South-west node and shape.
        spacing_m : float
            Distance between nodes, both ways [m].
        height_m : float
            Height above the surface that the sensor was carried on [m]; negative below it.

        Returns
        -------
        array, shape (n_north, n_east)
            Anomaly, the first row at the south; nothing is masked.

        Raises
        ------
        InputError
            As `at`, and for a spacing not above zero.
        """
        check_positive(spacing_m, name="spacing_m")
        north: FloatArray = region.south_m + spacing_m * np.arange(region.shape[0], dtype=float)
        east: FloatArray = region.west_m + spacing_m * np.arange(region.shape[1], dtype=float)
        mesh, field = self._spline(east, north, height_m)
        row = _spline_rows(field, (north - mesh.south_m) / mesh.spacing_m)
        grid: FloatArray = _spline_rows(row.T, (east - mesh.west_m) / mesh.spacing_m).T.copy()
        grid += self._plane(east, north[:, None])
        return grid

    def _plane(self, east: FloatArray, north: FloatArray) -> FloatArray:
        """Return the trend."""
        return on_trend(self.trend, self.mesh, east, north)

    def _spline(
        self, east: FloatArray, north: FloatArray, height_m: float
    ) -> tuple[Mesh, FloatArray]:
        """Return spline coefficients of the field at a height, on a mesh that holds the places.

        On the mesh of the fit at height 0, so that it is the same field; farther out and higher
        up the mesh grows by nodes without a source.
        """
        _check_above(self, height_m)
        wide = _grown(self.mesh, east, north, MARGIN * max(height_m, 0.0))
        rows = round((self.mesh.south_m - wide.south_m) / wide.spacing_m)
        columns = round((self.mesh.west_m - wide.west_m) / wide.spacing_m)
        strength = np.zeros(wide.shape)
        strength[rows : rows + self.mesh.shape[0], columns : columns + self.mesh.shape[1]] = (
            self.strength
        )
        factors = wide.kernel(self.depth_m + height_m)
        return wide, wide.back(wide.forward(strength) * factors)


def on_trend(
    trend: tuple[float, float, float], mesh: Mesh, east: FloatArray, north: FloatArray
) -> FloatArray:
    """Return the height of the plane."""
    return trend[0] + trend[1] * (east - mesh.west_m) + trend[2] * (north - mesh.south_m)


def _check_above(layer: SourceLayer, height_m: float) -> None:
    """Raise for a height too near the layer for the mesh, or below it."""
    lowest = FEWEST_IN_DEPTH * layer.mesh.spacing_m - layer.depth_m
    if not lowest <= height_m < np.inf:
        raise InputError(
            "Heights must lie at least one and a half mesh spacings above the layer.",
            value=f"{height_m:.4g} m",
            remedy=f"The lowest for this layer is {lowest:.4g} m.",
        )


def _grown(mesh: Mesh, east: FloatArray, north: FloatArray, margin_m: float) -> Mesh:
    """Return the mesh, or one of the same nodes and more that holds the places and a margin."""
    a = mesh.spacing_m
    more = []
    for place, low, count in (
        (north, mesh.south_m, mesh.shape[0]),
        (east, mesh.west_m, mesh.shape[1]),
    ):
        ends = (place.min() - low) / a, (place.max() - low) / a
        before = max(0, 2 + int(np.ceil(-ends[0])))
        after = max(0, int(np.floor(ends[1])) + 3 - count)
        more.append((before, count + before + after + int(np.ceil(margin_m / a))))
    shape = more[0][1], more[1][1]
    if shape == mesh.shape:
        return mesh
    fast = fast_shape(shape, remedy="Ask for places and heights nearer to the readings.")
    return Mesh(mesh.west_m - more[1][0] * a, mesh.south_m - more[0][0] * a, a, fast)


def _spline_rows(coefficient: FloatArray, row: FloatArray) -> FloatArray:
    """Return the spline along the columns at each row, in spacings from the first."""
    whole = np.floor(row)
    first = whole.astype(np.int64) - 1
    parts = np.array([splines(part) for part in row - whole])
    found = np.zeros((row.size, coefficient.shape[1]))
    for k in range(4):
        found += parts[:, k, None] * coefficient[first + k]
    return found
