"""What is handed over, file by file: what it is, its format, size and reference system."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.survey.contents import LAYERS, own_file
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import PUBLIC

WGS84 = "WGS 84 (EPSG:4326)"

FORMATS = {
    ".html": "HTML, one page",
    ".pdf": "PDF",
    ".png": "PNG picture",
    ".parquet": "Parquet table",
    ".nc": "NetCDF grids (CF)",
    ".json": "JSON",
    ".gpx": "GPX 1.1",
    ".kml": "KML",
    ".geojson": "GeoJSON",
    ".gpkg": "GeoPackage layers",
    ".csv": "delimited text (CSV)",
    ".txt": "text",
}
#: Formats that are in latitude and longitude whatever the survey's CRS, and those without any.
ON_THE_GLOBE, NOWHERE = (".gpx", ".kml", ".geojson"), (".json", ".html", ".pdf", ".txt")

ABOUT = {
    "report/report.html": "Report: maps, verdicts, corrections, errors, sources, cautions",
    "report/map.png": "Map of the total-field anomaly with coordinates, scale and north",
    "report/line_profiles.pdf": "Profile of each line, one page each",
    "products/readings.parquet": "Every reading with position, corrections, anomaly and error",
    "products/grids.nc": "Grid of the total-field anomaly",
    "products/steps/standard_error.nc": "Standard error of that grid",
    "products/targets.nc": "Radius of the smallest target that the survey would have shown",
    "products/transforms.nc": "Grid transforms: reduced to the pole, derivatives, tilt and others",
    "products/lineaments.parquet": "Lineaments with strike, length and evidence",
    "products/lineament_points.parquet": "Points along the lineaments",
    "products/faults.parquet": "Offsets of lineaments",
    "products/depths.parquet": "Depths by every method with their 90 % intervals",
    "products/bodies.parquet": "Bodies fitted under the picks, with their intervals",
    "products/dips.parquet": "Dips of the bodies",
    "products/compact_bodies.parquet": "Compact bodies under the spots",
    "products/check.json": "Verdicts of days and lines, clocks, tests, coverage",
    "products/rewalk.gpx": "What to walk again, as a route",
    "products/summary.json": "The survey in numbers",
    "products/plan/feasibility.json": "Will it work, with odds",
    "products/plan/expected.nc": "Anomaly expected before going",
    "products/plan/plan.json": "The plan in numbers",
    "products/plan/lines.parquet": "Planned lines",
    "products/plan/points.parquet": "Planned points",
    "products/rocks/rocks.gpkg": "Bodies, depths, lineaments, picks and faults as layers",
    "products/rocks/targets.gpx": "A waypoint for each body",
    "products/rocks/check-points.gpx": "A waypoint where each lineament crosses a line",
}
#: What the files of a folder are, where they have no words of their own.
FOLDERS = {
    "report": "Part of the report",
    "products": "Product",
    "products/steps": "Product",
    "products/rocks": "Layer of the interpretation",
    "products/plan": "File of the plan",
    "products/days": "Page of a field day",
}
#: Heading of the files of a folder, in the order shown.
GROUPS = {
    "report": "Report and maps",
    "products": "Readings, grids and tables",
    "products/steps": "Readings, grids and tables",
    "products/rocks": "Layers and targets of the interpretation",
    "products/plan": "Plan",
    "products/days": "Pages of the field days",
}


@dataclass(frozen=True)
class OutputFile:
    """A file to hand over; `crs` is null where it has no coordinates."""

    file: str
    group: str
    about: str
    format: str
    size_bytes: int
    crs: str | None


@dataclass(frozen=True)
class OutputsResult:
    """The files that there are now, by group and name."""

    files: list[OutputFile]


def outputs(folder: Folder) -> OutputsResult:
    """List the files to hand over that have been made, without making any.

    Raises
    ------
    LodewalkError
        For settings that can't be read.
    """
    crs = folder.settings.survey.crs
    groups, known = list(dict.fromkeys(GROUPS.values())), list(ABOUT)

    def place(row: OutputFile) -> tuple[int, int, str]:
        own = known.index(row.file) if row.file in known else len(known)
        return groups.index(row.group), own, row.file

    rows = [_row(folder, path, crs) for path in _files(folder)]
    return OutputsResult(sorted(rows, key=place))


def output_file(folder: Folder, file: str) -> Path:
    """Return the path of a file that is listed.

    Raises
    ------
    InputError
        For any other one, inside the folder or out of it.
    """
    known = {path.relative_to(folder.path).as_posix(): path for path in _files(folder)}
    if file not in known:
        raise InputError("There is no such file to hand over.", value=file)
    return own_file(folder, known[file])


def _files(folder: Folder) -> Iterator[Path]:
    """Yield the files; never a link, which could lead elsewhere."""
    found = [folder.products / file for file in PUBLIC.values()]
    for place in (folder.report, *(folder.products / name for name in LAYERS)):
        found += [path for path in place.glob("[!.]*") if path.suffix in FORMATS]
    hidden = folder.report / "made.json"
    for path in dict.fromkeys(found):
        if path.is_file() and not path.is_symlink() and path != hidden:
            yield path


def _row(folder: Folder, path: Path, crs: str) -> OutputFile:
    """Return a file as the list shows it."""
    name = path.relative_to(folder.path).as_posix()
    place = name.rpartition("/")[0]
    system = WGS84 if path.suffix in ON_THE_GLOBE else None if path.suffix in NOWHERE else crs
    about = ABOUT.get(name, "")
    if path.name.startswith("sheets_1_"):
        system = crs
        about = f"Map in sheets at 1:{int(path.stem.rpartition('_')[2]):,}".replace(",", " ")
    if not about:
        about = f"{FOLDERS[place]}: {path.stem.replace('_', ' ').replace('-', ' ')}"
    return OutputFile(name, GROUPS[place], about, FORMATS[path.suffix], path.stat().st_size, system)
