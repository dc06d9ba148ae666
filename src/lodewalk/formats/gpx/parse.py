"""One pass over the XML of a GPX file: points with their lines, in bounded memory.

The file comes from outside, so nothing in it is trusted: a document type, and with it every
entity, is refused, and nesting, tags, texts and points have limits. A general GPX library is not
used here, since it drops times that it can't read and doesn't know the line of a point.
"""

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from lodewalk.formats.gpx.fields import Times, number, position
from lodewalk.formats.xml_walk import XmlWalk

MAX_TEXT_CHARACTERS = 1 << 20
MAX_KEPT_CHARACTERS = 1 << 25
MAX_POINTS = 1_000_000

#: The three kinds of points by their place in the tree, and the role that each serves.
KINDS = {
    ("gpx", "trk", "trkseg", "trkpt"): "track",
    ("gpx", "rte", "rtept"): "plan",
    ("gpx", "wpt"): "notes",
}
GROUPS = {("gpx", "trk", "trkseg"), ("gpx", "rte")}
GROUP_NAME = ("gpx", "rte", "name")
KEPT_TEXTS = ("name", "cmt", "desc")
CHILDREN = ("ele", "time", "fix", "sat", "hdop", *KEPT_TEXTS)


class Point(NamedTuple):
    """One point as read; `group` counts segments or routes, from 0."""

    line: int
    group: int
    latitude: float
    longitude: float
    height: float | None
    microseconds: int | None
    fix: str | None
    satellites: float | None
    hdop: float | None
    name: str | None
    text: str | None


@dataclass
class Document:
    """What one pass gives: the points of the wanted kind and counts of the others."""

    version: str = ""
    points: list[Point] = field(default_factory=list)
    group_names: dict[int, str] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    times: Times = field(default_factory=Times)


def parse(path: Path, *, role: str) -> Document:
    """Read the points that serve `role`.

    Raises
    ------
    InputError
        For XML that isn't well-formed, a document type or entity, an exceeded limit, a root
        that isn't ``gpx``, or a position, height or time that can't be read; with its line.
    """
    walker = _Walker(path.name, role)
    walker.walk(path)
    return walker.document


class _Walker(XmlWalk):
    """The handlers of the XML parser and what they need to remember."""

    def __init__(self, file: str, role: str) -> None:
        super().__init__(file, what="GPX", again="copy it from the receiver again")
        self.role = role
        self.document = Document()
        self.prefix = ""
        self.group = -1
        self.kept = 0
        self.start_line = 0
        self.attributes: dict[str, str] = {}
        self.children: dict[str, str] = {}
        self.text: list[str] | None = None
        self.text_path: tuple[str, ...] = ()
        self.length = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Enter an element."""
        if not self.path:
            self.enter_root(name, attributes)
        self.enter(name.removeprefix(self.prefix))
        if self.path in KINDS:
            self.start_line = self.parser.CurrentLineNumber
            self.attributes, self.children = attributes, {}
        elif self.path in GROUPS:
            self.group += 1
        elif self.path == GROUP_NAME or (self.path[:-1] in KINDS and self.path[-1] in CHILDREN):
            self.text, self.text_path, self.length = [], self.path, 0

    def enter_root(self, name: str, attributes: dict[str, str]) -> None:
        """Check the root and note its prefix, which the elements of GPX then share."""
        prefix, _, local = name.rpartition(":")
        if local != "gpx":
            self.refuse("The root of the file must be gpx.", value=name)
        self.prefix = f"{prefix}:" if prefix else ""
        self.document.version = attributes.get("version", "")

    def characters(self, data: str) -> None:
        """Keep the text of an element that is wanted."""
        if self.text is None or self.path != self.text_path:
            return
        self.text.append(data)
        self.length += len(data)
        self.kept += len(data) * (self.path[-1] in KEPT_TEXTS)
        if self.length > MAX_TEXT_CHARACTERS or self.kept > MAX_KEPT_CHARACTERS:
            self.refuse("The texts of the file are too long for a GPX file.")

    def end(self, name: str) -> None:
        """Leave an element."""
        del name
        if self.text is not None and self.path == self.text_path:
            text, self.text = "".join(self.text).strip(), None
            if self.path == GROUP_NAME:
                self.document.group_names.setdefault(self.group, " ".join(text.split()))
            else:
                self.children.setdefault(self.path[-1], text)
        elif self.path in KINDS:
            self.add_point(KINDS[self.path])
        self.path = self.path[:-1]

    def add_point(self, kind: str) -> None:
        """Check a point and keep it if it is of the wanted kind."""
        self.document.counts[kind] += 1
        if kind != self.role:
            return
        if len(self.document.points) >= MAX_POINTS:
            self.refuse(f"A file may have {MAX_POINTS} points at most.", remedy="Split it by day.")
        line, child = self.start_line, self.children
        latitude, longitude = position(self.attributes, file=self.file, line=line)
        point = Point(
            line,
            self.group,
            latitude,
            longitude,
            number(child.get("ele"), name="height", file=self.file, line=line),
            self.document.times.read(child.get("time"), file=self.file, line=line),
            child.get("fix", "").casefold() or None,
            number(child.get("sat"), name="number of satellites", file=self.file, line=line),
            number(child.get("hdop"), name="HDOP", file=self.file, line=line),
            child.get("name") or None,
            _note(child),
        )
        self.document.points.append(point)


def _note(child: dict[str, str]) -> str | None:
    """Return comment and description of a point, once where they are the same."""
    texts = dict.fromkeys(text for key in ("cmt", "desc") if (text := child.get(key)))
    return "; ".join(texts) or None
