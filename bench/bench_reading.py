"""Time to take in a million readings, beside the table library parsing the same file alone.

Run ``python bench/bench_reading.py``; it prints one Markdown table.
"""

import os
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import polars as pl

from common import Row, medians, show
from lodewalk.formats.delimited import ColumnMap, read_and_hash

ROWS = 1_000_000
NUMBERS = ("lat", "lon", "height", "nT", "quality")
STAMP = "%Y-%m-%dT%H:%M:%S%.f"
COLUMNS = {
    "time": "time", "latitude": "lat", "longitude": "lon", "height": "height", "field": "nT",
    "quality": "quality",
}  # fmt: skip
MAPS = {
    "commas": {},
    "line marks, decimal commas": {"delimiter": ";", "decimal": ",", "lines": {"mark": "LINE"}},
    "runs of blanks": {"delimiter": "whitespace"},
}


def survey() -> pl.DataFrame:
    """Return a million readings at five a second, walked north and south."""
    rng = np.random.default_rng(20250304)
    number = np.arange(ROWS)
    start = np.datetime64("2025-03-04T08:00:00", "us")
    return pl.DataFrame(
        {
            "time": start + number * np.timedelta64(200_000, "us"),
            "lat": np.round(-12.5 + 1e-3 * np.sin(number / 3000), 7),
            "lon": np.round(-41.3 + 1e-9 * number, 7),
            "height": np.round(540 + rng.normal(size=ROWS), 2),
            "nT": np.round(22950 + 30 * rng.normal(size=ROWS), 2),
            "quality": rng.integers(90, 100, ROWS),
        }
    )


def write_text(
    path: Path, *, delimiter: str = ",", decimal: str = ".", marks: bool = False
) -> None:
    """Write the survey as text, with a line mark every thousand rows where asked."""
    frame = survey().select(
        pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3f"),
        *[pl.col(name).cast(pl.String).str.replace(".", decimal, literal=True) for name in NUMBERS],
    )
    joined = frame.select(pl.concat_str(pl.all(), separator=delimiter)).to_series()
    rows = joined.to_list()
    if marks:
        rows = [f"LINE {n // 1000}\n{row}" if n % 1000 == 0 else row for n, row in enumerate(rows)]
    path.write_text("\n".join([delimiter.join(frame.columns), *rows, ""]))


def library_infers(path: Path) -> None:
    """Let the table library find out the types by itself, dates included."""
    pl.read_csv(path, try_parse_dates=True)


def library_is_told(path: Path) -> None:
    """Tell the table library every type and the format of the time."""
    schema = {"time": pl.String} | dict.fromkeys(NUMBERS, pl.Float64)
    told = pl.col("time").str.to_datetime(STAMP)
    pl.read_csv(path, schema=schema).lazy().with_columns(told).collect()


def taken_in(path: Path, column_map: ColumnMap) -> None:
    """Read, validate, hash the raw file, digest the table, and keep it on disk."""
    content, scan = read_and_hash(path, role="rover", column_map=column_map)
    assert len(content.table) == ROWS
    assert len(scan.sha256 + content.table.digest()) == 128
    kept = path.with_suffix(".parquet")
    with kept.open("wb") as stream:
        content.table.frame.write_parquet(stream, compression="uncompressed")
        stream.flush()
        os.fsync(stream.fileno())


def rows() -> list[Row]:
    """Return one row for each kind of file."""
    with TemporaryDirectory() as folder:
        paths = {name: Path(folder, f"{name}.csv") for name in MAPS}
        write_text(paths["commas"])
        write_text(paths["line marks, decimal commas"], delimiter=";", decimal=",", marks=True)
        write_text(paths["runs of blanks"], delimiter="   ")
        jobs: dict[str, Callable[[], None]] = {
            "infers": lambda: library_infers(paths["commas"]),
            "told": lambda: library_is_told(paths["commas"]),
        }
        for name, own in MAPS.items():
            chosen = ColumnMap.from_dict({"columns": COLUMNS, **own})
            jobs[name] = lambda path=paths[name], chosen=chosen: taken_in(path, chosen)
        found = medians(jobs)
        size = paths["commas"].stat().st_size / 1e6
    return [
        Row(
            f"a million readings read, validated, hashed, stored: {name}",
            found[name],
            f"polars alone parses the {size:.0f} MB of commas, types and time format told",
            found["told"],
            f"{found[name] / found['infers']:.2f} of polars finding out types and dates itself",
        )
        for name in MAPS
    ]


if __name__ == "__main__":
    show(rows())
