"""A survey folder as large as a week's work, its products written directly: the pages read no more.

Lines run north, 5 km each, over a grid of 1000 by 1000 nodes; the base records each second for
five days. Walks wander as a handheld's track does. Nothing was reduced: what is drawn is as large
and as rough as the real thing, but means nothing.
"""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.formats.netcdf import write_grids
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.state import Made, write_state
from lodewalk.survey.store import product_path, table_class, write_product

CRS = "EPSG:32633"
EAST, NORTH, SIDE = 400_000.0, 5_000_000.0, 5000.0
NODES, DAYS = 1000, 5
START = datetime(2026, 3, 2, tzinfo=UTC)


def big_survey(path: Path, readings: int, *, lines: int) -> None:
    """Write a survey of so many readings on so many lines."""
    new_survey(path, name=f"Big {readings}", crs=CRS)
    folder = open_survey(path)
    # As of one run; nothing here is made from another product.
    write_state(folder, {step.name: Made("", {"inputs": {}}, {}, complete=True) for step in STEPS})
    for product in ("readings", "rover_lines", "base_recorded"):
        product_path(folder, product).parent.mkdir(parents=True, exist_ok=True)
    frame = walked(readings, lines)
    passages = frame.drop_nulls("line").group_by("line", maintain_order=True).agg(
        pl.col("time_utc").min().alias("start_utc"), pl.col("time_utc").max().alias("end_utc"),
        pl.len().cast(pl.Int64).alias("readings"), pl.col("kept").sum().cast(pl.Int64),
        pl.col("time_utc").min().dt.strftime("%Y-%m-%d").alias("day"),
        pl.lit("R1").alias("instrument"),
        length_m=pl.lit(SIDE), azimuth_deg=pl.lit(0.0), noise_nT=pl.lit(0.3), tie=pl.lit(False),
    )  # fmt: skip
    for product, table in {
        "readings": frame.drop("passage", "distance_m"),
        "rover_lines": frame.select("line", "passage", "distance_m"),
        "lines": passages,
        **base(),
    }.items():
        made = table_class(product)
        columns = {column.name: column for column in made.SCHEMA}
        full = table.with_columns(
            pl.lit(None).alias(name) for name in columns if name not in table.columns
        )
        full = full.select(list(columns)).cast({name: one.dtype for name, one in columns.items()})
        full.write_parquet(product_path(folder, product), compression="lz4")
    files = [{"instrument": "B1", "name": "base.txt", "rows": 86_400 * DAYS, "sha256": "0" * 64}]
    write_product(folder, "base_files", Document({"files": files}))
    write_grids(product_path(folder, "grids"), grids())


def walked(readings: int, lines: int) -> pl.DataFrame:
    """Return the readings: lines 5 km long, to and fro, each with a track that wanders."""
    rng = np.random.default_rng(7)
    each = readings // lines
    along = np.linspace(0.0, SIDE, each)
    wander = np.cumsum(rng.normal(size=(lines, each)), axis=1) * 0.05
    wander -= np.linspace(0, 1, each) * wander[:, -1:]
    east = EAST + SIDE * (np.arange(lines)[:, None] + 0.5) / lines + wander
    north = NORTH + along + rng.normal(scale=0.2, size=(lines, each))
    north[1::2] = north[1::2, ::-1]
    field = anomaly(east - EAST, north - NORTH) + rng.normal(scale=0.3, size=east.shape)
    times = np.arange(readings // lines * lines) * (DAYS * 86_400.0 / readings)
    number = np.repeat(np.arange(lines), each)
    return pl.DataFrame(
        {
            "reading_id": [f"00000000:{row}" for row in range(times.size)],
            "file": "rover.csv",
            "line_in_file": np.arange(times.size),
            "time_utc": moments(times),
            "instrument": "R1",
            "line": [f"L{one + 1:03d}" for one in number],
            "passage": number,
            "distance_m": np.tile(along, lines),
            "easting_m": east.ravel(),
            "northing_m": north.ravel(),
            "raw_nT": 48_000.0 + field.ravel(),
            "anomaly_nT": field.ravel(),
            "sd_nT": 0.8,
            "kept": rng.random(times.size) > 0.01,
        }
    )


def moments(seconds: np.ndarray) -> pl.Series:
    """Return UTC times so many seconds after the start."""
    micros = np.round((START.timestamp() + np.asarray(seconds)) * 1e6).astype(np.int64)
    return pl.Series(micros).cast(pl.Datetime("us", "UTC"))


def anomaly(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return a field of dykes and bodies [nT]."""
    across = east * 0.8 + north * 0.6
    return (
        40 * np.sin(across / 300) + 60 / (1 + ((across - 3000) / 60) ** 2) + 5 * np.sin(east / 37)
    )


def grids() -> list[Grid]:
    """Return the anomaly and its standard error."""
    at = np.arange(NODES) * (SIDE / NODES)
    east, north = np.meshgrid(at, at)
    spacing = SIDE / NODES
    names = {"total_field_anomaly": anomaly(east, north)}
    names["total_field_anomaly_standard_error"] = 1.0 + np.abs(np.sin(east / 50)) * 2
    return [Grid(one, EAST, NORTH, spacing, CRS, "nT", name) for name, one in names.items()]


def base() -> dict[str, pl.DataFrame]:
    """Return the record of the base, each second for five days, with its checks."""
    seconds = np.arange(86_400 * DAYS)
    rng = np.random.default_rng(8)
    field = 48_000 + 25 * np.sin(seconds / 13_751) + rng.normal(scale=0.1, size=seconds.size)
    return {
        "base_recorded": pl.DataFrame(
            {
                "line_in_file": seconds + 2,
                "raw_nT": field,
                "recorded_time": moments(seconds).dt.replace_time_zone(None),
            }
        ),
        "base_times": pl.DataFrame({"time_utc": moments(seconds)}),
        "base_checks": pl.DataFrame({"kept": np.ones(seconds.size, dtype=bool)}),
    }
