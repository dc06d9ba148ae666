"""The reader of GeoTIFF; the file itself is opened by a library."""

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import crs_from_wkt
from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.shapes.content import short_name
from lodewalk.formats.words import counted
from lodewalk.records.recorded import Terrain
from lodewalk.records.table import float_column

if TYPE_CHECKING:
    from affine import Affine

FloatArray = NDArray[np.float64]

HEADS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
MAX_CELLS = 4_000_000
#: A rotation below this part of a cell is taken for rounding.
ROTATION = 1e-9
METRES = ("", "m", "metre", "metres", "meter", "meters")
#: Metres in a foot: the international one of 1959, and that of old United States surveys.
FEET = {
    "ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "international foot": 0.3048,
    "us survey foot": 1200 / 3937, "us-ft": 1200 / 3937, "us_survey_foot": 1200 / 3937,
    "ftus": 1200 / 3937, "foot_us": 1200 / 3937,
}  # fmt: skip
#: Heights on the Earth, from the deepest sea to above the highest mountain, with a margin [m].
LOWEST_M, HIGHEST_M = -12_000.0, 10_000.0
CUT = "It may be cut short or damaged; copy it again."


@dataclass(frozen=True)
class _Model:
    """What is read of the file: heights as stored, in rows, and where they lie."""

    values: Any
    transform: "Affine"
    crs: str
    unit: str


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is TIFF.

    Examples
    --------
    >>> recognise(b"II*" + bytes(10))
    1.0
    """
    return float(head.startswith(HEADS))


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a file as a terrain model.

    Parameters
    ----------
    path : Path
        The file.
    role : {"terrain"}
        The only role that it serves.
    column_map : None
        Not used: the format says itself what it holds.

    Returns
    -------
    Content
        `Terrain`: the middle of each cell in the file's own system, heights in metres.

    Raises
    ------
    InputError
        For a file that is cut short, has several bands, more than four million cells, no
        reference system, rotated cells, no heights, or heights that no ground has.

    Notes
    -----
    Heights in feet, where the file says so, become metres; a file that doesn't say its unit is
    taken to be in metres, and that is told. The line told of a cell is its row from the north.
    Files beside it (world files, statistics) are not looked at: they wouldn't be kept with it.
    """
    del column_map
    if role != "terrain":
        raise InputError("GeoTIFF serves as terrain.", file=path.name, value=role)
    model = _model(path)
    heights, notes = _heights(model, path.name)
    east, north, heights = _places(model.transform, heights, path.name)
    rows, columns = heights.shape
    frame = pl.DataFrame(
        {
            "line_in_file": np.repeat(np.arange(1, rows + 1), columns),
            "first": np.tile(east, rows),
            "second": np.repeat(north, columns),
            "height_m": float_column(heights.ravel()),
        }
    ).with_columns(pl.lit(model.crs).alias("crs"))
    missing = int(np.isnan(heights).sum())
    said = f"GeoTIFF: {rows} rows of {columns} cells in {short_name(model.crs)}; heights "
    said += f"{np.nanmin(heights):.1f} to {np.nanmax(heights):.1f} m"
    said += f"; {counted(missing, 'cell')} without a height." if missing else "."
    return Content(Terrain(frame), zone="UTC", understood=(said, *notes))


class _Heard(logging.Handler):
    """Keeps what the library logs, so that nothing of it is printed or lost."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.said.append(record.getMessage())


@contextmanager
def _heard() -> Iterator[_Heard]:
    """Take the library's log for a while."""
    handler, log = _Heard(), logging.getLogger("rasterio")
    passed_on = log.propagate
    log.addHandler(handler)
    log.propagate = False
    try:
        yield handler
    finally:
        log.propagate = passed_on
        log.removeHandler(handler)


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Open the file by itself, without the files beside it; turn errors into ours."""
    import rasterio
    from rasterio.errors import RasterioError, RasterioIOError

    alone = rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR", GDAL_PAM_ENABLED="NO")
    try:
        with _heard() as heard, warnings.catch_warnings(), alone:
            warnings.simplefilter("ignore")
            with rasterio.open(path, driver="GTiff") as dataset:
                yield dataset
    except (RasterioError, RasterioIOError) as error:
        raise _unreadable(path, str(error)) from None
    # Where a mere tag can't be read, such as the unit, the library only logs it.
    lost = [text for text in heard.said if "error" in text.casefold()]
    if lost:
        raise _unreadable(path, lost[0])


def _unreadable(path: Path, text: str) -> InputError:
    """Return the error for a file that the library can't read."""
    said = " ".join(text.replace(str(path), path.name).split())[:120]
    return InputError(f"The GeoTIFF can't be read ({said}).", file=path, remedy=CUT)


def _model(path: Path) -> _Model:
    """Check what the file is and read its heights, NaN where it marks them as missing."""
    with _opened(path) as dataset:
        _check_kind(dataset, path.name)
        values = dataset.read(1, masked=True)
        scale, offset = dataset.scales[0], dataset.offsets[0]
        filled = np.ma.filled(values.astype(np.float64), np.nan) * scale + offset
        return _Model(
            filled, dataset.transform, crs_from_wkt(dataset.crs.to_wkt()), dataset.units[0] or ""
        )


def _check_kind(dataset: Any, file: str) -> None:
    """Raise unless the file is one band of real numbers, not too large, placed and upright."""
    if dataset.count != 1:
        raise InputError(
            "A terrain model must have one band of heights.",
            file=file,
            value=f"{dataset.count} bands",
            remedy="Is it a picture? Export the heights alone.",
        )
    if dataset.width * dataset.height > MAX_CELLS:
        raise InputError(
            f"A terrain model may have {MAX_CELLS // 1_000_000} million cells at most.",
            file=file,
            value=f"{dataset.height} x {dataset.width}",
            remedy="Cut it to the area first.",
        )
    if "complex" in dataset.dtypes[0]:
        raise InputError("Heights must be real numbers.", file=file, value=dataset.dtypes[0])
    if not dataset.crs:
        raise InputError(
            "A terrain model must tell its reference system.",
            file=file,
            remedy="Set it in the program that wrote the file, and export it again.",
        )
    _check_upright(dataset.transform, file)


def _check_upright(transform: "Affine", file: str) -> None:
    """Raise unless rows run along one axis and columns along the other."""
    size = abs(transform.a) + abs(transform.e)
    turned = abs(transform.b) + abs(transform.d)
    if turned > ROTATION * size or transform.a == 0.0 or transform.e == 0.0:
        raise InputError(
            "The rows of a terrain model must run west to east, without rotation.",
            file=file,
            value=tuple(transform)[:6],
            remedy="Resample it north up first.",
        )


def _heights(model: _Model, file: str) -> tuple[FloatArray, list[str]]:
    """Return the heights in metres, and what was taken of their unit."""
    unit, heights = model.unit.strip().casefold(), np.asarray(model.values, dtype=np.float64)
    notes = []
    if unit in FEET:
        heights = heights * FEET[unit]
        notes.append(f"Heights in feet ({model.unit}) became metres.")
    elif unit not in METRES:
        raise InputError("Heights must be in metres or feet.", file=file, value=model.unit)
    elif not unit:
        notes.append("The file doesn't say the unit of its heights: taken as metres.")
    heights = np.where(np.isfinite(heights), heights, np.nan)
    if np.isnan(heights).all():
        raise InputError("Every height of the terrain model is missing.", file=file)
    for value in (np.nanmin(heights), np.nanmax(heights)):
        if not LOWEST_M <= value <= HIGHEST_M:
            raise InputError(
                f"Heights must lie in {LOWEST_M:g} to {HIGHEST_M:g} m.",
                file=file,
                value=float(value),
                remedy="Is a mark for missing heights not declared, or the unit another?",
            )
    return heights, notes


def _places(
    transform: "Affine", heights: FloatArray, file: str
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the middles of columns and rows, rows from north to south, columns west to east."""
    rows, columns = heights.shape
    east = transform.c + transform.a * (np.arange(columns, dtype=np.float64) + 0.5)
    north = transform.f + transform.e * (np.arange(rows, dtype=np.float64) + 0.5)
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise InputError("The place of the cells must be finite.", file=file)
    if transform.a < 0:
        east, heights = east[::-1], heights[:, ::-1]
    if transform.e > 0:
        north, heights = north[::-1], heights[::-1]
    return np.asarray(east), np.asarray(north), heights
