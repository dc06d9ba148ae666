"""The ground that a plan is made for: heights, slopes and what they make of lines."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import between
from lodewalk.errors import InputError
from lodewalk.methods.planning.terrain_mesh import (
    GroundPieces,
    TerrainMesh,
    mesh_of_nodes,
    over_ground,
    slope_deg,
    stations,
)
from lodewalk.records import Table

Floats = NDArray[np.float64]
#: Heights along lines are taken no closer than this [m]: a finer model tells boulders.
LEAST_STEP_M = 5.0


@dataclass(frozen=True)
class Ground:
    """The ground, known or not.

    Parameters
    ----------
    mesh : TerrainMesh or None
        Terrain in its own system; None where none was given.
    source, crs : str
        Systems of the terrain and of the survey.
    step_m : float
        Distance at which heights are taken along lines, and slopes over [m].
    """

    mesh: TerrainMesh | None
    source: str
    crs: str
    step_m: float = LEAST_STEP_M

    def heights(self, places: Floats) -> Floats:
        """Return the height at places of the survey's system; NaN where it isn't known [m]."""
        if self.mesh is None or not len(places):
            return np.full(len(places), np.nan)
        return self.mesh.at(*between(*places.T, source=self.crs, target=self.source))

    def slopes(self, places: Floats) -> Floats:
        """Return the slope at places; NaN where it isn't known [deg]."""
        if self.mesh is None:
            return np.full(len(places), np.nan)
        moves = self.step_m * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        return slope_deg(*(self.heights(places + move) for move in moves), step_m=self.step_m)

    def pieces(self, first: Floats, second: Floats) -> GroundPieces:
        """Return what the ground makes of pieces of lines."""
        if self.mesh is None:
            length = np.hypot(*(second - first).T)
            return GroundPieces(length, np.ones(len(first)), np.full(len(first), np.nan))
        along = stations(first, second, step_m=self.step_m)
        return over_ground(
            self.heights(np.column_stack([along.easting_m, along.northing_m])), along
        )


def ground_of(terrain: Table, crs: str) -> Ground:
    """Return the ground of a survey from the terrain that was added, if any.

    Raises
    ------
    InputError
        For more than one terrain model.
    """
    if not len(terrain):
        return Ground(None, crs, crs)
    systems = terrain.frame["crs"].unique().to_list()
    first, second = terrain.floats("first"), terrain.floats("second")
    if len(systems) > 1 or np.count_nonzero(np.diff(second) > 0):
        raise InputError(
            "There may be one terrain model.",
            remedy="Join the models into one GeoTIFF, or take one of them away.",
        )
    mesh = mesh_of_nodes(first, second, terrain.floats("height_m"))
    rows, columns = mesh.height_m.shape
    middle = mesh.first[[columns // 2, columns // 2 - 1]], mesh.second[[rows // 2, rows // 2 - 1]]
    east, north = between(*middle, source=systems[0], target=crs)
    cell = float(np.hypot(*np.diff([east, north]).ravel())) / np.sqrt(2)
    return Ground(mesh, systems[0], crs, max(LEAST_STEP_M, cell))
