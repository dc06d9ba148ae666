"""Grid: the kept anomaly on an even mesh, masked beyond the reach of the readings."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.gridding.equivalent_sources import fit_layer
from lodewalk.methods.gridding.ground import Region, within_reach
from lodewalk.methods.gridding.interface import grid_readings, region_for, suggest_spacing
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.gridded import Used, used_readings
from lodewalk.steps.rows import document, table

NAME = "total_field_anomaly"
LAYER = "equivalent sources"


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the grid of the anomaly and how it was made."""
    del context
    own = settings["grid"]
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
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
        "surface": surface if own["method"] in ("minimum curvature", LAYER) else None,
        "problem": None,
    }
    try:
        grid = _gridded(used, notes, surface, crs=settings["survey.crs"])
    except InputError as error:
        return {"grids": GridSet(()), "grid_notes": Document(notes | {"problem": str(error)})}
    return {"grids": GridSet((grid,)), "grid_notes": Document(notes)}


def _gridded(used: Used, notes: Mapping[str, Any], surface: Mapping[str, Any], *, crs: str) -> Grid:
    """Return the grid of the readings."""
    if not used.passage.size:
        raise InputError("No reading has an anomaly that is kept, so there is nothing to grid.")
    places, spacing = (used.easting_m, used.northing_m), notes["spacing_m"]
    region = region_for(*places, spacing_m=spacing, reach_m=notes["reach_m"])
    if notes["method"] == LAYER:
        values = _from_layer(used, notes, surface["layer"], region)
        return Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)
    values = grid_readings(
        *places,
        used.anomaly_nT,
        sd=used.weighing_sd,
        west_m=region.west_m,
        south_m=region.south_m,
        spacing_m=spacing,
        shape=region.shape,
        reach_m=notes["reach_m"],
        method=notes["method"],
        tension=surface["tension"],
        damping_m2=surface["damping_m2"],
        tension_length_m=surface["tension_length_m"],
    )
    return Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)


def _from_layer(
    used: Used, notes: Mapping[str, Any], layer: Mapping[str, Any], region: Region
) -> NDArray[np.float64]:
    """Return the field of a layer of equivalent sources, masked beyond the reach."""
    spacing = notes["spacing_m"]
    fitted = fit_layer(
        used.easting_m,
        used.northing_m,
        used.anomaly_nT,
        sd=used.weighing_sd,
        depth_m=layer["depth_m"],
        damping=layer["damping"],
        layers=layer["layers"],
        rounds=layer["rounds"],
    )
    values = fitted.on_grid(region, spacing_m=spacing, height_m=notes["height_m"])
    column = (used.easting_m - region.west_m) / spacing
    row = (used.northing_m - region.south_m) / spacing
    near = within_reach(column, row, region.shape, reach=notes["reach_m"] / spacing)
    return np.where(near, values, np.nan)
