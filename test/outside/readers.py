"""Small readers for the fetched files, independent of the readers of lodewalk."""

import io
import lzma
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cdflib
import numpy as np
import polars as pl

Columns = dict[str, np.ndarray]


def read_cdf(path: Path) -> Columns:
    """Time as POSIX seconds, every other variable under its own name."""
    cdf = cdflib.CDF(path)
    names = cdf.cdf_info().zVariables
    columns = {name: np.asarray(cdf.varget(name)) for name in names}
    return {"time_s": np.asarray(cdflib.cdfepoch.unixtime(columns.pop(names[0])))} | columns


def cdf_attribute(path: Path, name: str) -> str:
    """First value of a global attribute."""
    return str(cdflib.CDF(path).globalattsget()[name][0])


def read_iaga_text(text: str) -> Columns:
    """Time as POSIX seconds and the four elements by letter; 88888 and 99999 become NaN."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("DATE")) + 1
    letters = [label[3] for label in lines[first - 1].rstrip("| ").split()[3:]]
    rows = [line.split() for line in lines[first:]]
    stamps = np.array([f"{row[0]}T{row[1]}" for row in rows], dtype="datetime64[ms]")
    values = np.array([row[3:] for row in rows], dtype=float)
    values[values >= 88_888.0] = np.nan
    columns = dict(zip(letters, values.T, strict=True))
    return {"time_s": stamps.astype(np.int64) / 1000.0} | columns


def read_iaga(path: Path) -> Columns:
    """An IAGA-2002 file, also as the only file of a ZIP archive."""
    if path.suffix != ".zip":
        return read_iaga_text(path.read_text(encoding="utf-8"))
    with zipfile.ZipFile(path) as archive:
        (name,) = archive.namelist()
        return read_iaga_text(archive.read(name).decode("utf-8"))


def read_kp(path: Path, *, first: datetime, days: int) -> np.ndarray:
    """Published Kp in thirds, eight a day; the file prints tenths, 83 for 8+."""
    wanted = {(first + timedelta(days=d)).strftime("%Y %m %d") for d in range(days)}
    lines = [line for line in path.read_text().splitlines() if line[:10] in wanted]
    observed = lines[:days]  # a day may stand again among the predictions further down
    tenths = [int(line[18 + 3 * i : 21 + 3 * i]) for line in observed for i in range(8)]
    return np.round(np.array(tenths) * 0.3) / 3.0


def read_rio(path: Path) -> pl.DataFrame:
    """The Rio lines as published; polars has no reader for xz, so Python unpacks it."""
    return pl.read_csv(io.BytesIO(lzma.decompress(path.read_bytes())))


def utc(year: int, month: int, day: int) -> datetime:
    return datetime(year, month, day, tzinfo=UTC)
