"""Grid: the kept anomaly on an even mesh, masked beyond the reach of the readings."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lines import line_spacing
from lodewalk.methods.gridding.interface import grid_readings, region_for, suggest_spacing
from lodewalk.records import Document, Grid, GridSet, Record, Table
from lodewalk.steps.context import Context
from lodewalk.steps.rows import table

NAME = "total_field_anomaly"
#: Line spacing assumed where there is a single line [m].
LONE_LINE_SPACING_M = 20.0


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the grid of the anomaly and how it was made."""
    del context
    own = settings["grid"]
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    columns = _used(table(inputs, "readings"), passage)
    between = line_spacing(columns["easting_m"], columns["northing_m"], columns["passage"])
    between = between if np.isfinite(between) else LONE_LINE_SPACING_M
    notes: dict[str, Any] = {
        "spacing_m": own["spacing_m"] or suggest_spacing(between),
        "reach_m": own["reach_m"] or between,
        "line_spacing_m": round(between, 3),
        "method": own["method"],
        "readings": len(columns["passage"]),
        "problem": None,
    }
    try:
        grid = _gridded(columns, notes, crs=settings["survey.crs"])
    except InputError as error:
        return {"grids": GridSet(()), "grid_notes": Document(notes | {"problem": str(error)})}
    return {"grids": GridSet((grid,)), "grid_notes": Document(notes)}


def _used(readings: Table, passage: NDArray[np.int64]) -> dict[str, NDArray[Any]]:
    """Return the columns of the readings to grid: the kept ones on lines, or all where none is."""
    used = readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))
    if (used & (passage >= 0)).any():
        used &= passage >= 0
    names = ("easting_m", "northing_m", "anomaly_nT", "sd_nT")
    columns: dict[str, NDArray[Any]] = {name: readings.floats(name)[used] for name in names}
    return columns | {"passage": passage[used]}


def _gridded(columns: Mapping[str, NDArray[Any]], notes: Mapping[str, Any], *, crs: str) -> Grid:
    """Return the grid of the readings."""
    if not columns["anomaly_nT"].size:
        raise InputError("No reading has an anomaly that is kept, so there is nothing to grid.")
    easting, northing, spacing = columns["easting_m"], columns["northing_m"], notes["spacing_m"]
    region = region_for(easting, northing, spacing_m=spacing, reach_m=notes["reach_m"])
    values = grid_readings(
        easting,
        northing,
        columns["anomaly_nT"],
        sd=_weights(columns["sd_nT"]),
        west_m=region.west_m,
        south_m=region.south_m,
        spacing_m=spacing,
        shape=region.shape,
        reach_m=notes["reach_m"],
        method=notes["method"],
    )
    return Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)


def _weights(sd: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Return errors that can serve as weights: an unknown one counts as the largest.

    None where no error is above zero.
    """
    above = sd[sd > 0]
    if not above.size:
        return None
    known: NDArray[np.float64] = np.where(np.isnan(sd), above.max(), np.maximum(sd, above.min()))
    return known
