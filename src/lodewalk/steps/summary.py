"""Summary: the survey in figures, before and after the corrections."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.records import GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, table

COLUMNS = (
    "raw_nT", "diurnal_nT", "reference_nT", "instrument_nT", "heading_nT", "level_nT",
    "micro_level_nT", "anomaly_nT", "sd_nT", "sd_sensor_nT", "sd_diurnal_nT", "sd_clock_nT",
    "sd_position_nT", "sd_heading_nT", "sd_level_nT",
)  # fmt: skip


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return counts, spreads of corrections and errors, line kilometres and grids."""
    del settings, context
    from lodewalk.records import Document

    readings = table(inputs, "readings").frame
    lines = table(inputs, "lines").frame
    kept = readings.filter("kept")
    values: dict[str, Any] = {
        "readings": {
            "total": readings.height,
            "kept": kept.height,
            "dropped_by_reason": _reasons(readings),
        },
        "columns": {name: _spread(kept[name]) for name in COLUMNS},
        "lines": {
            "count": lines.height,
            "ties": int(lines["tie"].sum()),
            "length_km": round(float(lines["length_m"].sum()) / 1000, 6),
        },
        "datum": document(inputs, "datum").values,
        "budget": document(inputs, "budget")["parts"],
        "grid": document(inputs, "grid_notes").values,
        "standard_error": document(inputs, "error_notes").values,
    }
    grids = inputs["grids"]
    if isinstance(grids, GridSet):
        values["grids"] = [_grid(grid.name, grid.unit, grid.values) for grid in grids.grids]
    return {"summary": Document(values)}


def _reasons(readings: pl.DataFrame) -> dict[str, int]:
    """Return how many readings were dropped for each reason."""
    dropped = readings.filter(~pl.col("kept"))
    counts = dropped.group_by("reason").len().sort("reason", nulls_last=True)
    return {row[0] or "not told": row[1] for row in counts.iter_rows()}


def _spread(values: pl.Series) -> dict[str, float | None]:
    """Return smallest, median, largest, mean and standard deviation of what is there."""
    array = values.drop_nulls().to_numpy()
    if not array.size:
        return dict.fromkeys(("min", "median", "max", "mean", "sd"))
    return {
        "min": float(array.min()),
        "median": float(np.median(array)),
        "max": float(array.max()),
        "mean": float(array.mean()),
        "sd": float(array.std()),
    }


def _grid(name: str, unit: str, values: Any) -> dict[str, Any]:
    """Return size and spread of a grid."""
    there = values[np.isfinite(values)]
    return {
        "name": name,
        "unit": unit,
        "rows": int(values.shape[0]),
        "columns": int(values.shape[1]),
        "nodes": int(there.size),
        "min": float(there.min()) if there.size else None,
        "median": float(np.median(there)) if there.size else None,
        "max": float(there.max()) if there.size else None,
    }
