"""One pass over the XML of a KML file: placemarks with their shapes, in bounded memory.

The file comes from outside, so nothing in it is trusted: a document type, and with it every
entity, is refused, nothing that it links to is fetched, and nesting, texts and places have limits.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path

from lodewalk.formats.shapes import MAX_CORNERS, Corner, Feature, Part, check_degrees
from lodewalk.formats.shapes import from_properties as feature_from
from lodewalk.formats.xml_walk import XmlWalk

MAX_TEXT_CHARACTERS = 1 << 26
NAMESPACE = "http://www.opengis.net/kml/2.2"

NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
PLACE = re.compile(rf"({NUMBER}),({NUMBER})(?:,({NUMBER})?)?", re.ASCII)
LINES = ("LineString", "LinearRing")
TEXTS = ("name", "description", "coordinates", "value", "SimpleData")


@dataclass
class Placemark:
    """What is gathered of one placemark."""

    line: int
    properties: dict[str, str] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)


@dataclass
class Document:
    """What one pass gives."""

    namespace: str = ""
    features: list[Feature] = field(default_factory=list)
    with_height: int = 0
    without_place: int = 0
    links: int = 0


def parse(path: Path) -> Document:
    """Read the placemarks.

    Raises
    ------
    InputError
        For XML that isn't well-formed, a document type or entity, an exceeded limit, a root
        that isn't ``kml``, or coordinates that can't be read; with the line.
    """
    walker = _Walker(path.name)
    walker.walk(path)
    return walker.document


class _Walker(XmlWalk):
    """The handlers of the XML parser and what they need to remember."""

    def __init__(self, file: str) -> None:
        super().__init__(file, what="KML", again="export it again", namespaces=True)
        self.document = Document()
        self.placemark: Placemark | None = None
        self.rings: list[tuple[Corner, ...]] = []
        self.data_name = ""
        self.text: list[str] | None = None
        self.text_line = self.text_depth = self.length = self.corners = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Enter an element."""
        namespace, _, local = name.rpartition(" ")
        if not self.path:
            self.enter_root(namespace, local)
        if namespace != self.document.namespace:
            local = f"{namespace} {local}"
        self.enter(local)
        if local == "Placemark":
            self.placemark = Placemark(self.parser.CurrentLineNumber)
        elif local == "Polygon":
            self.rings = []
        elif local == "NetworkLink":
            self.document.links += 1
        elif local in TEXTS and self.placemark is not None:
            self.text, self.length = [], 0
            self.text_line, self.text_depth = self.parser.CurrentLineNumber, len(self.path)
        if local in ("Data", "SimpleData"):
            self.data_name = attributes.get("name", "")

    def enter_root(self, namespace: str, local: str) -> None:
        """Check the root and note its namespace, which the elements of KML then share."""
        if local != "kml":
            self.refuse("The root of the file must be kml.", value=local)
        self.document.namespace = namespace

    def characters(self, data: str) -> None:
        """Keep the text of an element that is wanted."""
        if self.text is None or len(self.path) != self.text_depth:
            return
        self.text.append(data)
        self.length += len(data)
        if self.length > MAX_TEXT_CHARACTERS:
            self.refuse("The texts of the file are too long for a KML file.")

    def end(self, name: str) -> None:
        """Leave an element."""
        del name
        local, self.path = self.path[-1], self.path[:-1]
        if self.placemark is None:
            return
        if self.text is not None and len(self.path) + 1 == self.text_depth:
            text, self.text = "".join(self.text), None
            self.take_text(self.placemark, local, text)
        elif local == "Polygon":
            self.end_polygon(self.placemark)
        elif local == "Placemark":
            self.end_placemark(self.placemark)

    def take_text(self, placemark: Placemark, local: str, text: str) -> None:
        """Keep the text of an element where it belongs."""
        parent = self.path[-1]
        if local == "coordinates":
            self.take_corners(placemark, parent, self.places(text))
        elif local in ("value", "SimpleData"):
            placemark.properties.setdefault(self.data_name, text)
        elif parent == "Placemark":
            placemark.properties[local] = text

    def take_corners(self, placemark: Placemark, parent: str, corners: tuple[Corner, ...]) -> None:
        """Keep the places of a point, a line, or a ring of a polygon."""
        if "Polygon" in self.path:
            outline = "outerBoundaryIs" in self.path
            self.rings.insert(0 if outline else len(self.rings), corners)
        elif parent == "Point":
            if len(corners) != 1:
                self.refuse("A point must have one place.", line=self.text_line)
            placemark.parts.append(Part("point", (corners,)))
        elif parent in LINES:
            placemark.parts.append(Part("line", (corners,)))

    def places(self, text: str) -> tuple[Corner, ...]:
        """Return the places of an element, each with its line."""
        found = []
        for number, row in enumerate(text.split("\n"), start=self.text_line):
            for item in row.split():
                match = PLACE.fullmatch(item)
                if match is None:
                    self.refuse(
                        "Coordinates must be longitude,latitude or longitude,latitude,height, "
                        "apart by blanks.",
                        line=number,
                        value=item,
                        remedy="No blank may follow a comma, and a point is the decimal sign.",
                    )
                corner = Corner(number, float(match[1]), float(match[2]))
                check_degrees(corner, file=self.file)
                self.document.with_height += match[3] is not None and float(match[3]) != 0.0
                found.append(corner)
        self.corners += len(found)
        if self.corners > MAX_CORNERS:
            self.refuse(f"A file may have {MAX_CORNERS:,} corners at most.")
        if not found:
            self.refuse("Coordinates must not be empty.", line=self.text_line)
        return tuple(found)

    def end_polygon(self, placemark: Placemark) -> None:
        """Keep a polygon."""
        if not self.rings:
            self.refuse("A polygon must have an outer boundary.")
        placemark.parts.append(Part("polygon", tuple(self.rings)))
        self.rings = []

    def end_placemark(self, placemark: Placemark) -> None:
        """Keep a placemark, unless it has no shape."""
        if placemark.parts:
            feature = feature_from(
                tuple(placemark.parts), placemark.properties, file=self.file, line=placemark.line
            )
            self.document.features.append(feature)
        else:
            self.document.without_place += 1
        self.placemark = None
