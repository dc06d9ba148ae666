"""The delivery package: one zip with the whole survey, and what proves that it is whole.

The same files give the same bytes: names are sorted, times fixed, and nothing in the manifest
depends on the moment, the machine or the path. ``SHA256SUMS`` has the form that the common tool
`sha256sum` checks.
"""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from lodewalk.handover.words import CAUTIONS

FORMAT = 1
MANIFEST, SUMS, README = "MANIFEST.json", "SHA256SUMS", "README.txt"
#: Folder of the survey in the package.
PLACE = "survey/"
BLOCK = 1 << 20
#: The earliest time that a zip can hold stands for none.
NO_TIME = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class PackedFile:
    """A file of the package: its name there, size in bytes and SHA-256."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class PackedProduct:
    """A product: its file in the package, the step that made it, and the digest of its content."""

    product: str
    file: str
    step: str
    step_version: int
    digest: str


@dataclass(frozen=True)
class About:
    """What the package is of: the survey, its reference system, units, and who made the numbers."""

    survey: str
    crs: str
    crs_title: str
    time_zone: str
    units: Mapping[str, str]
    versions: Mapping[str, str]


@dataclass(frozen=True)
class Manifest:
    """The list of all that the package holds but the list itself and the sums."""

    format: int
    about: About
    products: Sequence[PackedProduct]
    files: Sequence[PackedFile]


UNITS: Mapping[str, str] = {
    "easting, northing, height": "m, in the survey's CRS",
    "field, anomaly, errors": "nT",
    "depth": "m below ground, positive down",
    "azimuth, inclination, declination": "deg; azimuth clockwise from grid north",
    "time": "UTC, ISO 8601",
    "others": "the unit ends the name of a column or key, as in offset_s",
}


def write_package(
    path: Path,
    about: About,
    *,
    products: Sequence[PackedProduct],
    files: Mapping[str, Path],
    columns: Sequence[tuple[str, str, str]] = (),
    told: Callable[[int, int], None] = lambda _done, _total: None,
) -> Manifest:
    """Write the package and return its manifest.

    Parameters
    ----------
    path : Path
        The file to write; the caller lets it take its place.
    about : About
        The survey.
    products : sequence of PackedProduct
        With the names of their files in the survey folder.
    files : mapping
        Each file by its name in the survey folder.
    columns : sequence of (name, unit, text)
        Columns of the readings, for the page that explains the package.
    told : callable
        Hears how many of how many files are in.
    """
    placed = [
        PackedProduct(item.product, PLACE + item.file, item.step, item.step_version, item.digest)
        for item in sorted(products, key=lambda item: item.product)
    ]
    with ZipFile(path, "w", ZIP_DEFLATED) as package:
        packed = [_add(package, README, [readme(about, columns).encode()])]
        for done, (name, source) in enumerate(sorted(files.items()), 1):
            packed.append(_add(package, PLACE + name, _blocks(source), size=source.stat().st_size))
            told(done, len(files))
        manifest = Manifest(FORMAT, about, placed, packed)
        text = json.dumps(asdict(manifest), indent=1, sort_keys=True, allow_nan=False) + "\n"
        packed.append(_add(package, MANIFEST, [text.encode()]))
        _add(package, SUMS, [sums(packed).encode()])
    return Manifest(FORMAT, about, placed, packed[:-1])


def sums(files: Sequence[PackedFile]) -> str:
    r"""Return the lines that `sha256sum` checks.

    Examples
    --------
    >>> sums([PackedFile("b", 1, "ff"), PackedFile("a", 1, "0a")])
    '0a  a\nff  b\n'
    """
    rows = sorted(files, key=lambda item: item.name)
    return "".join(f"{item.sha256}  {item.name}\n" for item in rows)


def _add(
    package: ZipFile, name: str, blocks: Sequence[bytes] | Iterator[bytes], *, size: int = 0
) -> PackedFile:
    """Write one file into the package, block by block."""
    info = ZipInfo(name, NO_TIME)
    info.create_system = 3
    info.external_attr = 0o100644 << 16
    info.compress_type = ZIP_DEFLATED
    total, length = hashlib.sha256(), 0
    with package.open(info, "w", force_zip64=size >= 1 << 31) as target:
        for block in blocks:
            target.write(block)
            total.update(block)
            length += len(block)
    return PackedFile(name, length, total.hexdigest())


def _blocks(path: Path) -> Iterator[bytes]:
    """Yield a file's bytes."""
    with path.open("rb") as stream:
        yield from blocks_of(stream)


def blocks_of(stream: IO[bytes]) -> Iterator[bytes]:
    """Yield a stream's bytes."""
    while block := stream.read(BLOCK):
        yield block


def readme(about: About, columns: Sequence[tuple[str, str, str]] = ()) -> str:
    """Return the page that explains the package to whoever receives it, in plain words."""
    units = "\n".join(f"  {name}: {unit}" for name, unit in about.units.items())
    versions = ", ".join(f"{name} {number}" for name, number in about.versions.items())
    cautions = "\n".join(f"* {item.label}. {item.value}" for item in CAUTIONS)
    rows = "\n".join(f"  {name} [{unit or 'no unit'}]: {text}" for name, unit, text in columns)
    title = f"{about.survey}: ground magnetic survey, delivery package"
    return f"""{title}
{"=" * len(title)}

THIS SURVEY IS NOT A CLEARANCE FOR EXPLOSIVES OR FOR BURIED SERVICES. See the cautions below.

Where to begin
--------------
Open survey/report/report.html in any browser. It needs no network and no other file.

What is where
-------------
README.txt            this page
MANIFEST.json         every file with size and SHA-256, every product with the digest of its
                      content, CRS, units, versions
SHA256SUMS            the same sums in the form that sha256sum checks
survey/report/        report, map, sheets at a fixed scale, profile of each line
survey/products/      readings.parquet (every reading with its corrections and error), grids and
                      transforms (NetCDF, CF), bodies, depths and lineaments (Parquet); in rocks/
                      the same as layers (GeoPackage, GeoJSON) and targets (GPX); in steps/ what
                      lies between raw and result
survey/raw/           files as recorded, never changed; ledger.json lists them and says how each
                      is read
survey/decisions/     what a person decided, with reason, person and time, one JSON a line
survey/survey.toml    settings, the plan's among them
survey/journal/       one record of each run

Reference system and units
--------------------------
{about.crs}, {about.crs_title}. Time zone of the field days: {about.time_zone or "UTC"}.
{units}

Readings, column by column
--------------------------
{rows}

How to verify it without lodewalk
---------------------------------
Unpack the package, go into its folder and run:

  sha256sum --check SHA256SUMS

Every line must end in OK. This shows that no file changed on its way, not that the numbers follow
from the raw files.

How to verify it with lodewalk
------------------------------
  lodewalk verify PACKAGE.zip

checks every sum, rebuilds the survey from its raw files in a temporary folder, and compares:

  grade 1   every product has the same digest as here
  grade 2   the same text, flags and verdicts, and numbers within 1e-6 nT and 1e-6 m
            (1e-3 nT for grids, which are found by iteration)

Otherwise it says what differs: file, product, column, row, and by how much. Grade 1 can be
expected with these versions: {versions}.

Cautions
--------
{cautions}
"""
