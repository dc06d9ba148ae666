"""The store: records to files and back, each with the digest of its content."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from lodewalk.errors import FolderError
from lodewalk.survey.files import write_text, write_with
from lodewalk.survey.folder import Folder

if TYPE_CHECKING:
    from lodewalk.records import Record, Table

PUBLIC = {
    "readings": "readings.parquet",
    "grids": "grids.nc",
    "error_grids": "steps/standard_error.nc",
    "target_grids": "targets.nc",
    "transform_grids": "transforms.nc",
    "lineaments": "lineaments.parquet",
    "lineament_points": "lineament_points.parquet",
    "faults": "faults.parquet",
    "depths": "depths.parquet",
    "bodies": "bodies.parquet",
    "dips": "dips.parquet",
    "compact_bodies": "compact_bodies.parquet",
    "check": "check.json",
    "rewalk": "rewalk.gpx",
    "summary": "summary.json",
    "feasibility": "plan/feasibility.json",
    "expected_grids": "plan/expected.nc",
    "plan": "plan/plan.json",
    "planned_lines": "plan/lines.parquet",
    "planned_points": "plan/points.parquet",
}

#: Name of the table class of each product; what is not named here is a document.
TABLES = {
    "rover_recorded": "recorded.RecordedReadings",
    "base_recorded": "recorded.RecordedReadings",
    "track_recorded": "recorded.Track",
    "plan_recorded": "recorded.Route",
    "observatory_recorded": "recorded.Observatory",
    "notes_recorded": "recorded.Waypoints",
    "older_recorded": "recorded.OlderReadings",
    "area_recorded": "recorded.Shapes",
    "exclusion_recorded": "recorded.Shapes",
    "terrain_recorded": "recorded.Terrain",
    "hand_meter_recorded": "recorded.HandMeter",
    "known_recorded": "recorded.Known",
    "planned_lines": "planning.PlannedLines",
    "planned_points": "planning.PlannedPoints",
    "rover_times": "products.Times",
    "base_times": "products.Times",
    "track_times": "products.Times",
    "observatory_times": "products.Times",
    "notes_times": "products.Times",
    "rover_clock_times": "products.Times",
    "base_clock_times": "products.Times",
    "crossings": "products.Crossings",
    "base_minutes": "products.Minutes",
    "rover_culture": "products.Culture",
    "rewalk": "recorded.Route",
    "rover_positions": "products.Positions",
    "rover_recorded_positions": "products.Positions",
    "rover_heights": "products.Heights",
    "position_findings": "products.Findings",
    "rover_checks": "products.Checks",
    "base_checks": "products.Checks",
    "first_findings": "products.Findings",
    "datum_findings": "products.Findings",
    "diurnal_findings": "products.Findings",
    "reference_findings": "products.Findings",
    "clock_findings": "products.Findings",
    "lag_findings": "products.Findings",
    "culture_findings": "products.Findings",
    "walked_findings": "products.Findings",
    "trial_findings": "products.Findings",
    "heading_findings": "products.Findings",
    "level_findings": "products.Findings",
    "micro_level_findings": "products.Findings",
    "missed_findings": "products.Findings",
    "check_findings": "products.Findings",
    "rover_lines": "products.ReadingLines",
    "lines": "products.Lines",
    "rover_diurnal": "products.Diurnal",
    "rover_reference": "products.Reference",
    "rover_heading": "products.Heading",
    "rover_level": "products.Level",
    "rover_noise": "products.Noise",
    "rover_micro_level": "products.MicroLevel",
    "rover_instrument": "products.RoverLevel",
    "rover_findings": "products.Findings",
    "rover_budget": "products.Budget",
    "readings": "products.Readings",
    "lineaments": "interpreted.Lineaments",
    "lineament_points": "interpreted.LineamentPoints",
    "faults": "interpreted.Faults",
    "picks": "interpreted.Picks",
    "profiles": "interpreted.ProfileReadings",
    "curves": "interpreted.Curves",
    "depths": "interpreted.Depths",
    "bodies": "interpreted.Bodies",
    "dips": "interpreted.Dips",
    "compact_bodies": "interpreted.CompactBodies",
    "compact_curves": "interpreted.CompactCurves",
    "joined": "products.Joined",
    "join_findings": "products.Findings",
}


@dataclass(frozen=True)
class Stored:
    """Where a product lies and how it looked when it was written."""

    file: str
    digest: str
    size: int
    mtime_ns: int


def product_path(folder: Folder, product: str) -> Path:
    """Return the file of a product."""
    if product in PUBLIC:
        return folder.products / PUBLIC[product]
    suffix = "parquet" if product in TABLES else "json"
    return folder.products / "steps" / f"{product}.{suffix}"


def write_product(folder: Folder, product: str, record: "Record") -> Stored:
    """Write a record atomically and return its entry for the state."""
    from lodewalk.records import Document, GridSet

    path = product_path(folder, product)
    if isinstance(record, Document):
        write_text(path, record.text() + "\n")
    elif isinstance(record, GridSet):
        write_with(path, _grid_writer(record))
    elif path.suffix == ".gpx":
        write_with(path, _route_writer(record))
    else:
        write_with(path, _table_writer(record))
    status = path.stat()
    name = path.relative_to(folder.products).as_posix()
    return Stored(name, record.digest(), status.st_size, status.st_mtime_ns)


def _table_writer(table: "Table") -> Callable[[Path], None]:
    """Return the writer of a table as Parquet, with the unit of each column beside it."""
    units = {column.name: column.unit for column in table.SCHEMA if table.has(column.name)}
    notes = {f"unit:{name}": unit for name, unit in units.items() if unit}

    def write(path: Path) -> None:
        from polars.exceptions import ComputeError

        try:
            table.frame.write_parquet(path, compression="lz4", metadata=notes or None)
        except ComputeError as error:
            first = str(error).splitlines()[0]
            raise OSError(f"A table can't be written ({first}); the disk may be full") from error

    return write


def _grid_writer(record: "Record") -> Callable[[Path], None]:
    """Return the writer of grids as CF NetCDF."""
    from lodewalk.formats.netcdf import write_grids
    from lodewalk.records import GridSet

    assert isinstance(record, GridSet)
    return lambda path: write_grids(path, record.grids)


def _route_writer(record: "Record") -> Callable[[Path], None]:
    """Return the writer of a route as GPX, for a handheld."""
    from lodewalk.formats.gpx import write
    from lodewalk.records.recorded import Route

    assert isinstance(record, Route)
    return lambda path: write(path, routes=record)


def read_product(folder: Folder, product: str) -> "Record":
    """Read a product back.

    Raises
    ------
    FolderError
        When the file is missing or damaged.
    """
    from lodewalk.records import Document, GridSet

    path = product_path(folder, product)
    try:
        if path.suffix == ".gpx":
            return _read_route(path)
        if product in TABLES:
            return _read_table(path, product)
        if path.suffix == ".nc":
            from lodewalk.formats.netcdf import read_grids

            return GridSet(tuple(read_grids(path)))
        import json

        return Document(json.loads(path.read_text(encoding="utf-8")))
    except Exception as error:
        raise FolderError(
            f"Product {path.name} can't be read ({type(error).__name__}). "
            "Delete it and run again; products can be made anew."
        ) from error


def _read_route(path: Path) -> "Record":
    """Read a route back; a file without any is what is written where there is none."""
    from lodewalk.formats.gpx import read
    from lodewalk.records.recorded import Route

    if b"<rtept" not in path.read_bytes():
        return Route.empty()
    return read(path, role="plan").table


def _read_table(path: Path, product: str) -> "Table":
    """Read a Parquet file as the table class of the product."""
    import polars as pl

    return table_class(product)(pl.read_parquet(path))


@cache
def table_class(product: str) -> "type[Table]":
    """Return the table class of a product."""
    from importlib import import_module

    module, _, name = TABLES[product].partition(".")
    found: type[Table] = getattr(import_module(f"lodewalk.records.{module}"), name)
    return found


def is_intact(folder: Folder, product: str, stored: Stored) -> bool:
    """Tell whether the file of a product is still what was written.

    Size and file time are the fast path; when they differ the content decides.
    """
    path = product_path(folder, product)
    if not path.exists():
        return False
    status = path.stat()
    if (status.st_size, status.st_mtime_ns) == (stored.size, stored.mtime_ns):
        return True
    stamp = (status.st_size, status.st_mtime_ns)
    return _digest(folder.path.resolve(), product, stamp) == stored.digest


def stamped(folder: Folder, product: str, stored: Stored) -> Stored:
    """Return an intact product with the size and time that its file has now."""
    status = product_path(folder, product).stat()
    return replace(stored, size=status.st_size, mtime_ns=status.st_mtime_ns)


@lru_cache(maxsize=512)
def _digest(survey: Path, product: str, stamp: tuple[int, int]) -> str | None:  # noqa: ARG001
    """Return the digest of a product's file as it stands; None where it can't be read.

    A survey that was copied has other file times, and pages that stay open ask often: what was
    read is kept until size or time (`stamp`) changes again.
    """
    try:
        return read_product(Folder(survey), product).digest()
    except FolderError:
        return None
