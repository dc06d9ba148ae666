"""Grids for the map: which there are, and the values of one."""

from dataclasses import asdict, dataclass

import numpy as np

from lodewalk.errors import InputError
from lodewalk.records import Grid, GridSet
from lodewalk.services.curves.columns import Columns
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product

#: Products that hold grids, in the order in which they are offered.
PRODUCTS = ("grids", "transform_grids", "error_grids", "target_grids")
#: Ends of the name of a grid that holds errors.
ERROR = "_standard_error"
#: Percentiles between which colours are stretched.
CLIPPED = (1.0, 99.0)


@dataclass(frozen=True)
class GridListed:
    """A grid: its name, title and unit, the mesh, and the ends of its colours by percentiles.

    `error_of` names the grid whose standard error it holds.
    """

    name: str
    title: str
    unit: str
    crs: str
    west_m: float
    south_m: float
    spacing_m: float
    nodes_east: int
    nodes_north: int
    low: float | None
    high: float | None
    error_of: str | None


@dataclass(frozen=True)
class GridsResult:
    """All grids that have been made."""

    grids: list[GridListed]


def grids(folder: Folder) -> GridsResult:
    """Return all grids that have been made; none before the first run."""
    found = {grid.name: grid for grid in _all(folder)}
    return GridsResult([_listed(grid, found) for grid in found.values()])


def grid_values(folder: Folder, name: str) -> Columns:
    """Return the values of a grid in 32 bits, row after row from the south-western node.

    Raises
    ------
    InputError
        For a grid that isn't there.
    """
    found = {grid.name: grid for grid in _all(folder)}
    if name not in found:
        known = ", ".join(found) or "none yet: run the survey first"
        raise InputError("There is no such grid.", value=name, remedy=f"Grids are {known}.")
    grid = found[name]
    return Columns(asdict(_listed(grid, found)), {"values": grid.values.astype(np.float32).ravel()})


def _all(folder: Folder) -> list[Grid]:
    """Return the grids of all products that have been made; the first of a name counts."""
    found: dict[str, Grid] = {}
    for product in PRODUCTS:
        if product_path(folder, product).exists():
            record = read_product(folder, product)
            assert isinstance(record, GridSet)
            for grid in record.grids:
                found.setdefault(grid.name, grid)
    return list(found.values())


def _listed(grid: Grid, every: dict[str, Grid]) -> GridListed:
    """Return a grid as a list shows it."""
    known = grid.values[np.isfinite(grid.values)]
    low, high = (
        (float(end) for end in np.percentile(known, CLIPPED)) if known.size else (None, None)
    )
    own = grid.name.removesuffix(ERROR)
    return GridListed(
        name=grid.name,
        title=grid.title,
        unit=grid.unit,
        crs=grid.crs,
        west_m=grid.west_m,
        south_m=grid.south_m,
        spacing_m=grid.spacing_m,
        nodes_east=grid.values.shape[1],
        nodes_north=grid.values.shape[0],
        low=low,
        high=high,
        error_of=own if own != grid.name and own in every else None,
    )
