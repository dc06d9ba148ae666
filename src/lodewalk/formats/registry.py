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
ROLES = (
    "base", "rover", "track", "observatory", "plan", "notes", "older",
    "area", "exclusion", "terrain", "hand_meter",
)  # fmt: skip


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


FORMATS = (
    Format("gpx", "GPX 1.1", "lodewalk.formats.gpx", 1, ("track", "plan", "notes")),
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
        return _only_serving(role)
    surest = max(FORMATS, key=sure.__getitem__)
    if role not in surest.roles:
        raise InputError(
            f"A file of role {role} can't be {surest.title}.",
            file=path.name,
            remedy=f"{surest.title} serves as {', '.join(surest.roles)}.",
        )
    return surest


def _only_serving(role: str) -> Format:
    """Return the format whose reader has to say what is wrong with a file like none."""
    # Delimited text has the widest rules, and it is the last.
    return next(item for item in reversed(FORMATS) if role in item.roles)


def check_text(head: bytes, *, file: str) -> None:
    """Raise when the beginning of a file shows that it is empty or binary."""
    if not head.strip():
        raise InputError("The file is empty.", file=file, remedy="Download it again.")
    utf16 = head.startswith((b"\xff\xfe", b"\xfe\xff"))
    if b"\x00" in head and not utf16:
        raise InputError(
            "The file is binary, not text.",
            file=file,
            line=head.count(b"\n", 0, head.index(b"\x00")) + 1,
            remedy="Export it as text from the instrument first.",
        )
