"""Every open format, declared once; a reader is imported when it is needed."""

from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, cast

from lodewalk.errors import InputError
from lodewalk.formats.scan import check_name

if TYPE_CHECKING:
    from lodewalk.formats.content import Content
    from lodewalk.formats.delimited.column_map import ColumnMap

HEAD_BYTES = 65_536
#: SQLite, which a GeoPackage is, and TIFF in its four ways of writing.
BINARY_HEADS = (b"SQLite format 3\x00", b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
ZIP_HEAD = b"PK\x03\x04"
ROLES = (
    "base", "rover", "track", "observatory", "plan", "notes", "older",
    "area", "exclusion", "terrain", "hand_meter", "known",
)  # fmt: skip
#: Role of a file that is in the survey and that no step reads, such as a plan or an area that
#: another took the place of.
SET_ASIDE = "set_aside"


class Reader(Protocol):
    """What the module of a format offers."""

    def recognise(self, head: bytes) -> float:
        """Return how sure it is, 0 to 1, that a file beginning with `head` has this format."""

    def read(self, path: Path, *, role: str, column_map: "ColumnMap | None") -> "Content":
        """Read the whole file as the role wants it, or raise `InputError`."""


@dataclass(frozen=True)
class Format:
    """One open format: its name, what it is called in print, its reader and roles."""

    name: str
    title: str
    module: str
    version: int
    roles: tuple[str, ...]

    def reader(self) -> Reader:
        """Import and return the reader."""
        return cast("Reader", import_module(self.module))


SHAPES = ("area", "exclusion", "plan", "notes")
FORMATS = (
    Format("geojson", "GeoJSON", "lodewalk.formats.geojson", 1, SHAPES),
    Format("kml", "KML 2.2", "lodewalk.formats.kml", 1, SHAPES),
    Format("geopackage", "GeoPackage", "lodewalk.formats.geopackage", 1, SHAPES),
    Format("geotiff", "GeoTIFF", "lodewalk.formats.geotiff", 1, ("terrain",)),
    Format("hand_meter", "hand-meter readings", "lodewalk.formats.hand_meter", 1, ("hand_meter",)),
    Format("known", "facts known from elsewhere", "lodewalk.formats.known", 1, ("known",)),
    Format(
        "gpx", "GPX 1.1", "lodewalk.formats.gpx", 1,
        ("track", "plan", "notes", "area", "exclusion"),
    ),
    Format("nmea", "NMEA 0183 log", "lodewalk.formats.nmea", 1, ("track",)),
    Format("iaga2002", "IAGA-2002", "lodewalk.formats.iaga2002", 1, ("base", "observatory")),
    Format(
        "delimited", "delimited text", "lodewalk.formats.delimited", 1,
        ("base", "rover", "track", "notes", "older"),
    ),
)  # fmt: skip


def format_named(name: str) -> Format:
    """Return the format called `name`."""
    for item in FORMATS:
        if item.name == name:
            return item
    known = ", ".join(item.name for item in FORMATS)
    raise InputError(f"The format must be one of {known}.", value=name)


def recognise(path: Path, *, role: str) -> Format:
    """Return the likeliest format of a file for its role.

    Raises
    ------
    InputError
        For an empty or binary file, one whose format does not serve the role, or a name that
        is not UTF-8.
    """
    check_name(path)
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    check_text(head, file=path.name)
    sure = {item: item.reader().recognise(head) for item in FORMATS}
    if not any(sure.values()):
        if role in ("area", "exclusion", "terrain"):
            known = ", ".join(item.title for item in FORMATS if role in item.roles)
            rule = f"A file of role {role} must be one of: {known}."
            raise InputError(rule, file=path.name, remedy="Export it anew, or check the file.")
        return _only_serving(role)
    surest = max(FORMATS, key=sure.__getitem__)
    if surest.name in ("delimited", "hand_meter", "known") and role in ("hand_meter", "known"):
        return format_named(role)  # its reader says what the header lacks
    if role not in surest.roles:
        title = surest.title
        raise InputError(
            f"A file of role {role} can't be {title}.",
            file=path.name,
            remedy=f"{title[:1].upper()}{title[1:]} serves as {', '.join(surest.roles)}.",
        )
    return surest


def _only_serving(role: str) -> Format:
    """Return the format whose reader has to say what is wrong with a file like none."""
    # Delimited text has the widest rules, and it is the last.
    return next(item for item in reversed(FORMATS) if role in item.roles)


def check_text(head: bytes, *, file: str) -> None:
    """Raise when the beginning of a file shows that it is empty, or binary of no known format."""
    if not head.strip():
        raise InputError("The file is empty.", file=file, remedy="Download it again.")
    if head.startswith(BINARY_HEADS):
        return
    if head.startswith(ZIP_HEAD):
        raise InputError(
            "The file is an archive.", file=file, remedy="Unpack it and add what it holds."
        )
    utf16 = head.startswith((b"\xff\xfe", b"\xfe\xff"))
    if b"\x00" in head and not utf16:
        raise InputError(
            "The file is binary, not text.",
            file=file,
            line=head.count(b"\n", 0, head.index(b"\x00")) + 1,
            remedy="Export it as text from the instrument first.",
        )
