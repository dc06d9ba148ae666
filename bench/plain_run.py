"""The bare main job with general-purpose libraries, to time lodewalk against.

``python bench/plain_run.py FOLDER`` reads `rover.csv` and `base.csv` and writes `readings.parquet`
and `grid.npy`: no checks, no lines, no errors, no provenance, and all of it again each time.
"""

import sys
from pathlib import Path

import numpy as np
import polars as pl
from pyproj import Transformer
from scipy.interpolate import CloughTocher2DInterpolator

from bench_reference import by_ppigrf

SPACING_M = 4.0


def main(folder: Path) -> None:
    rover = pl.read_csv(folder / "rover.csv", try_parse_dates=True)
    base = pl.read_csv(folder / "base.csv", try_parse_dates=True)
    place = rover.select("latitude", "longitude", "height_m").to_numpy().T
    east, north = Transformer.from_crs("EPSG:4326", "EPSG:31982", always_xy=True).transform(
        place[1], place[0]
    )
    seconds, base_seconds = (table["time_utc"].dt.epoch("us") / 1e6 for table in (rover, base))
    diurnal = np.interp(seconds, base_seconds, base["total_field_nT"])
    reference = np.linalg.norm(by_ppigrf(place), axis=0)
    anomaly = rover["total_field_nT"].to_numpy() - diurnal - reference
    rover.with_columns(anomaly_nT=pl.Series(anomaly)).write_parquet(folder / "readings.parquet")
    nodes = np.meshgrid(
        np.arange(east.min(), east.max(), SPACING_M), np.arange(north.min(), north.max(), SPACING_M)
    )
    np.save(folder / "grid.npy", CloughTocher2DInterpolator((east, north), anomaly)(*nodes))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
