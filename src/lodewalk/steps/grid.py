"""Grid: the kept anomaly on an even mesh, masked beyond the reach of the readings."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region, within_reach
from lodewalk.methods.gridding.interface import region_for, suggest_spacing
from lodewalk.methods.gridding.standard_error import resampled_error
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.gridded import CURVED, LAYER, Used, fitted_layer, on_nodes, used_readings
from lodewalk.steps.rows import document, passage_of_readings, table

NAME = "total_field_anomaly"


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the grid of the anomaly and how it was made."""
    del context
    own = settings["grid"]
    passage = passage_of_readings(inputs)
    used = used_readings(table(inputs, "readings"), passage)
    between = used.line_spacing_m
    surface = document(inputs, "surface").values
    notes: dict[str, Any] = {
        "spacing_m": own["spacing_m"] or suggest_spacing(between),
        "reach_m": own["reach_m"] or between,
        "line_spacing_m": round(between, 3),
        "method": own["method"],
        "readings": used.passage.size,
        "height_m": own["height_m"] if own["method"] == LAYER else 0.0,
        "surface": surface if own["method"] in (*CURVED, LAYER) else None,
        "problem": None,
    }
    try:
        grid = _gridded(used, notes, surface, crs=settings["survey.crs"])
    except InputError as error:
        return {"grids": GridSet(()), "grid_notes": Document(notes | {"problem": str(error)})}
    errors = cast("GridSet", inputs["error_grids"]).grids
    made = (grid, *(_error_on(grid, error) for error in errors))
    return {"grids": GridSet(made), "grid_notes": Document(notes)}


def _error_on(grid: Grid, error: Grid) -> Grid:
    """Return the standard error at the nodes of the grid."""
    place = np.meshgrid(
        (grid.northings - error.south_m) / error.spacing_m,
        (grid.eastings - error.west_m) / error.spacing_m,
        indexing="ij",
    )
    values = resampled_error(error.values, place)
    return replace(
        error,
        values=np.where(np.isnan(grid.values), np.nan, values),
        west_m=grid.west_m,
        south_m=grid.south_m,
        spacing_m=grid.spacing_m,
    )


def _gridded(used: Used, notes: Mapping[str, Any], surface: Mapping[str, Any], *, crs: str) -> Grid:
    """Return the grid of the readings."""
    if not used.passage.size:
        raise InputError("No reading has an anomaly that is kept, so there is nothing to grid.")
    places, spacing = (used.easting_m, used.northing_m), notes["spacing_m"]
    region = region_for(*places, spacing_m=spacing, reach_m=notes["reach_m"])
    if notes["method"] == LAYER:
        values = _from_layer(used, notes, surface["layer"], region)
        return Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)
    values = on_nodes(
        (*places, used.anomaly_nT),
        used.weighing_sd,
        used.passage,
        region,
        spacing_m=spacing,
        reach_m=notes["reach_m"],
        line_spacing_m=notes["line_spacing_m"],
        method=notes["method"],
        surface=surface,
    )
    return Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)


def _from_layer(
    used: Used, notes: Mapping[str, Any], layer: Mapping[str, Any], region: Region
) -> NDArray[np.float64]:
    """Return the field of a layer of equivalent sources, masked beyond the reach."""
    spacing = notes["spacing_m"]
    fitted = fitted_layer(
        used.easting_m, used.northing_m, used.anomaly_nT, sd=used.weighing_sd, layer=layer
    )
    values = fitted.on_grid(region, spacing_m=spacing, height_m=notes["height_m"])
    column = (used.easting_m - region.west_m) / spacing
    row = (used.northing_m - region.south_m) / spacing
    near = within_reach(column, row, region.shape, reach=notes["reach_m"] / spacing)
    return np.where(near, values, np.nan)
