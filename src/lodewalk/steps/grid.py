"""Grid: the kept anomaly on an even mesh, masked beyond the reach of the readings."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lines import line_spacing
from lodewalk.methods.gridding.interface import grid_readings, region_for, suggest_spacing
from lodewalk.records import Document, Grid, GridSet, Record
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
    readings = table(inputs, "readings")
    own = settings["grid"]
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    easting, northing, value, sd = (
        readings.floats(n) for n in ("easting_m", "northing_m", "anomaly_nT", "sd_nT")
    )
    used = readings.booleans("kept") & np.isfinite(value)
    if (used & (passage >= 0)).any():
        used &= passage >= 0
    between = line_spacing(easting[used], northing[used], passage[used])
    between = between if np.isfinite(between) else LONE_LINE_SPACING_M
    spacing = own["spacing_m"] or suggest_spacing(between)
    reach = own["reach_m"] or between
    notes: dict[str, Any] = {
        "spacing_m": spacing,
        "reach_m": reach,
        "line_spacing_m": round(between, 3),
        "method": own["method"],
        "readings": int(used.sum()),
        "problem": None,
    }
    try:
        region = region_for(easting[used], northing[used], spacing_m=spacing, reach_m=reach)
        values = grid_readings(
            easting[used],
            northing[used],
            value[used],
            sd=_weights(sd[used]),
            west_m=region.west_m,
            south_m=region.south_m,
            spacing_m=spacing,
            shape=region.shape,
            reach_m=reach,
            method=own["method"],
        )
    except InputError as error:
        return {"grids": GridSet(()), "grid_notes": Document(notes | {"problem": str(error)})}
    crs = settings["survey.crs"]
    grid = Grid(values, region.west_m, region.south_m, spacing, crs, "nT", NAME)
    return {"grids": GridSet((grid,)), "grid_notes": Document(notes)}


def _weights(sd: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Return errors that can serve as weights; None where none is above zero."""
    above = sd[sd > 0]
    return np.maximum(sd, above.min()) if above.size else None
