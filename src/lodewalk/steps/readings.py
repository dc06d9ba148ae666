"""Readings: the columns of all steps side by side, and the anomaly with its error."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.methods.corrections.anomaly import combine_sd, total_field_anomaly
from lodewalk.records import Document, Record, Table
from lodewalk.records.products import Readings
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, reading_ids, spread, table

BUDGET = ("sensor", "diurnal", "clock", "position", "heading", "level")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return every rover reading with corrections, anomaly and error, kept or not."""
    del settings, context
    recorded = table(inputs, "rover_recorded")
    frame = pl.concat(
        [
            _identity(document(inputs, "rover_files"), recorded),
            table(inputs, "rover_times").frame,
            table(inputs, "rover_lines").frame.select("line"),
            table(inputs, "rover_positions").frame.select(
                "easting_m", "northing_m", "height_above_ground_m"
            ),
            _as_recorded(recorded),
            _corrected(inputs, recorded),
            _kept(inputs),
        ],
        how="horizontal",
    )
    return {"readings": Readings(_without_anomaly(frame))}


def _identity(files: Document, recorded: Table) -> pl.DataFrame:
    """Return id, file, line in the file and instrument of each row."""
    return pl.DataFrame(
        {
            "reading_id": reading_ids(files, recorded),
            "file": spread(files, "name"),
            "line_in_file": recorded.frame["line_in_file"],
            "instrument": spread(files, "instrument"),
        }
    )


def _as_recorded(recorded: Table) -> pl.DataFrame:
    """Return the recorded columns that go on unchanged."""
    fix = pl.Series(recorded.strings("fix"), dtype=pl.String)
    return pl.DataFrame(
        {
            "fix": fix,
            "quality": float_column(recorded.floats("quality")),
            "raw_nT": recorded.frame["raw_nT"],
        }
    )


def _corrected(inputs: Mapping[str, Record], recorded: Table) -> pl.DataFrame:
    """Return corrections, anomaly and error budget."""
    corrections = {
        "diurnal": table(inputs, "rover_diurnal").floats("diurnal_nT"),
        "reference": table(inputs, "rover_reference").floats("reference_nT"),
        "instrument": table(inputs, "rover_instrument").floats("instrument_nT"),
        "heading": np.zeros(len(recorded)),
        "level": table(inputs, "rover_level").floats("level_nT"),
        "micro_level": np.zeros(len(recorded)),
    }
    budget = table(inputs, "rover_budget")
    elsewhere = {"diurnal": "rover_diurnal", "level": "rover_level"}
    parts = {name: budget.floats(f"sd_{name}_nT") for name in BUDGET if name not in elsewhere}
    parts |= {
        name: table(inputs, record).floats(f"sd_{name}_nT") for name, record in elsewhere.items()
    }
    # The level of a reading is that of its line and that of its rover.
    rover_sd = table(inputs, "rover_instrument").floats("sd_instrument_nT")
    parts["level"] = np.hypot(parts["level"], rover_sd)
    anomaly = total_field_anomaly(recorded.floats("raw_nT"), **corrections)
    sd = np.where(np.isnan(anomaly), np.nan, combine_sd(*(parts[name] for name in BUDGET)))
    columns = {f"{name}_nT": values for name, values in corrections.items()}
    columns |= {"anomaly_nT": anomaly, "sd_nT": sd}
    columns |= {f"sd_{name}_nT": parts[name] for name in BUDGET}
    return pl.DataFrame({name: float_column(values) for name, values in columns.items()})


def _kept(inputs: Mapping[str, Record]) -> pl.DataFrame:
    """Return what the checks kept; where they say nothing, why there is no diurnal."""
    checks = table(inputs, "rover_checks").frame.select("kept", "reason")
    diurnal = table(inputs, "rover_diurnal").frame["reason"]
    return checks.with_columns(reason=pl.coalesce("reason", diurnal))


def _without_anomaly(frame: pl.DataFrame) -> pl.DataFrame:
    """Mark readings as not kept where no anomaly can be given; say why, also for a lacking sd."""
    lacking = pl.col("anomaly_nT").is_null()
    why = (
        pl.when(pl.col("time_utc").is_null())
        .then(pl.lit("no time"))
        .when(pl.col("easting_m").is_null())
        .then(pl.lit("no position"))
        .when(lacking)
        .then(pl.lit("no anomaly"))
        .when(pl.col("sd_nT").is_null())
        .then(pl.lit("error unknown, too few readings"))
    )
    return frame.with_columns(kept=pl.col("kept") & ~lacking, reason=pl.coalesce("reason", why))
