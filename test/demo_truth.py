"""The products of a demo survey joined to its truth, reading by reading."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.services.demo_job import DemoResult

STAMP = "%Y-%m-%dT%H:%M:%S%.fZ"


def truth(result: DemoResult, name: str) -> pl.DataFrame:
    """Return one table of the truth."""
    path = Path(result.truth) / f"{name}.csv"
    return pl.read_csv(path, schema_overrides={"line": pl.String, "fault": pl.String})


def unix(texts: pl.Series) -> np.ndarray:
    """Return ISO 8601 times as Unix seconds."""
    return texts.str.to_datetime(STAMP, time_unit="us").dt.epoch("us").to_numpy() / 1e6


def readings_with_truth(result: DemoResult) -> pl.DataFrame:
    """Return each rover reading, with what is true of it in columns that end with _true.

    `day` is its true UTC day; `chord_error_nT` is by how much the true change of the field is
    above a line through the two minutes at which the base reads.
    """
    found = pl.read_parquet(Path(result.folder) / "products" / "readings.parquet")
    table = found.join(
        truth(result, "readings").rename(lambda name: f"{name}_true"),
        left_on=["file", "line_in_file"],
        right_on=["file_true", "line_in_file_true"],
        how="full",
        validate="1:1",
    )
    base = truth(result, "base")
    time = unix(table["time_utc_true"])
    chord = np.interp(time, unix(base["time_utc"]), base["external_nT"].to_numpy())
    return table.with_columns(
        day=pl.col("time_utc_true").str.slice(0, 10),
        chord_error_nT=pl.col("external_nT_true") - pl.Series(chord),
    )


def off_truth(table: pl.DataFrame, true: str = "anomaly_nT_true") -> np.ndarray:
    """Return anomaly less the true one of each reading [nT], one constant taken off for all."""
    off = (table["anomaly_nT"] - table[true]).to_numpy()
    return off - np.nanmedian(off[table["kept"].to_numpy()])


def passages(table: pl.DataFrame) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """Yield day, line and readings of each passage of a line."""
    walked = table.filter(pl.col("line_true").str.contains("^[LT]"))
    for (day, line), part in walked.group_by("day", "line_true", maintain_order=True):
        yield str(day), str(line), part
