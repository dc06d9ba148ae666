"""A grid: one value at each node of an even mesh in projected coordinates."""

import hashlib
import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError


@dataclass(frozen=True)
class Grid:
    """Values on an even mesh; row 0 is the southern edge, column 0 the western one.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        NaN where the grid is masked.
    west_m, south_m : float
        Easting and northing of the first node [m].
    spacing_m : float
        Distance between nodes, the same both ways [m].
    crs : str
        Coordinate reference system of easting and northing, such as ``EPSG:31982``.
    unit : str
        Unit of the values.
    name : str
        Name of the quantity: letters, digits and underscores.

    Examples
    --------
    >>> grid = Grid(np.zeros((2, 3)), 500.0, 900.0, 10.0, "EPSG:31982", "nT", "anomaly")
    >>> grid.eastings.tolist()
    [500.0, 510.0, 520.0]
    """

    values: NDArray[np.float64]
    west_m: float
    south_m: float
    spacing_m: float
    crs: str
    unit: str
    name: str

    def __post_init__(self) -> None:
        if self.values.ndim != 2 or self.values.size == 0:
            raise InputError("A grid needs two dimensions.", value=self.values.shape)
        if self.values.dtype != np.float64:
            raise InputError("A grid must hold float64.", value=str(self.values.dtype))
        if not (np.isfinite(self.spacing_m) and self.spacing_m > 0):
            raise InputError("The spacing of a grid must be above zero.", value=self.spacing_m)
        for name in ("west_m", "south_m", "spacing_m"):
            object.__setattr__(self, name, float(getattr(self, name)))
        self.values.setflags(write=False)

    @property
    def title(self) -> str:
        """Name of the quantity in words, for print."""
        words = self.name.replace("_", " ")
        return words[:1].upper() + words[1:]

    @property
    def eastings(self) -> NDArray[np.float64]:
        """Easting of each column of nodes [m]."""
        return self.west_m + self.spacing_m * np.arange(self.values.shape[1], dtype=np.float64)

    @property
    def northings(self) -> NDArray[np.float64]:
        """Northing of each row of nodes [m]."""
        return self.south_m + self.spacing_m * np.arange(self.values.shape[0], dtype=np.float64)

    def digest(self) -> str:
        """Return the SHA-256 of the mesh and the canonical bytes of the values."""
        head = [self.name, self.unit, self.crs, self.west_m, self.south_m, self.spacing_m]
        total = hashlib.sha256(json.dumps([*head, *self.values.shape]).encode())
        values = np.where(np.isnan(self.values), np.nan, self.values).astype("<f8")
        total.update(values.tobytes())
        return total.hexdigest()


@dataclass(frozen=True)
class GridSet:
    """Grids of one survey, each with a name of its own; none where gridding was impossible."""

    grids: tuple[Grid, ...]

    def named(self, name: str) -> Grid | None:
        """Return the grid called `name`, or None."""
        return next((grid for grid in self.grids if grid.name == name), None)

    def digest(self) -> str:
        """Return the SHA-256 of the grids in their order."""
        return hashlib.sha256("".join(grid.digest() for grid in self.grids).encode()).hexdigest()
