"""The writer of KML 2.2."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.validation import check_within

NAMESPACE = "http://www.opengis.net/kml/2.2"


@dataclass(frozen=True)
class Style:
    """How places look: a colour such as ``#0b4f8a``, a width, and how opaque the inside is."""

    name: str
    colour: str
    width: float = 2.0
    inside: float = 0.0


@dataclass(frozen=True)
class Place:
    """One place: name, text, form, longitude and latitude of its corners [deg], further data.

    The first ring of a polygon is its outline, the others are holes; lines and points have one.
    """

    name: str
    text: str
    geometry: str
    rings: tuple[NDArray[np.float64], ...]
    style: str = ""
    data: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Folder:
    """Places under one name."""

    name: str
    places: tuple[Place, ...]


def write(
    path: Path,
    folders: Sequence[Folder],
    *,
    name: str,
    text: str = "",
    styles: Sequence[Style] = (),
) -> None:
    """Write places to a KML 2.2 file.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    folders : sequence of Folder
        The places; an empty folder is left out.
    name, text : str
        Name of the document, and what it is.
    styles : sequence of Style
        The styles that places name.

    Raises
    ------
    InputError
        For a position out of range, a text with control characters or an unknown style.

    Notes
    -----
    Coordinates are longitude, latitude on WGS84 with 1e-9 degrees, clamped to the ground. A ring
    that isn't closed is closed. The file holds no time of its making.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> base = Place("BASE", "Base", "point", (np.array([[-50.4, -24.9]]),))
    >>> with TemporaryDirectory() as folder:
    ...     write(Path(folder) / "plan.kml", [Folder("Points", (base,))], name="Hill")
    ...     (Path(folder) / "plan.kml").read_text(encoding="utf-8").count("Placemark")
    2
    """
    ET.register_namespace("", NAMESPACE)
    root = ET.Element(f"{{{NAMESPACE}}}kml")
    document = _add(root, "Document")
    _add(document, "name", name)
    if text:
        _add(document, "description", text)
    for style in styles:
        _add_style(document, style)
    known = {style.name for style in styles}
    for folder in folders:
        if folder.places:
            holder = _add(document, "Folder")
            _add(holder, "name", folder.name)
            for place in folder.places:
                _add_place(holder, place, known)
    ET.indent(root, space=" ")
    content = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    path.write_bytes(content + b"\n")


def _add(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    """Add an element of KML with its text."""
    child = ET.SubElement(parent, f"{{{NAMESPACE}}}{tag}")
    if text is not None:
        if any(ord(letter) < 0x20 and letter not in "\t\n" for letter in text):
            raise InputError("A text may not hold control characters.", value=text)
        child.text = text
    return child


def _add_style(document: ET.Element, style: Style) -> None:
    """Add a style; KML writes colours as opacity, blue, green, red."""
    red, green, blue = style.colour[1:3], style.colour[3:5], style.colour[5:7]
    holder = _add(document, "Style")
    holder.set("id", style.name)
    line = _add(holder, "LineStyle")
    _add(line, "color", f"ff{blue}{green}{red}")
    _add(line, "width", f"{style.width:g}")
    area = _add(holder, "PolyStyle")
    _add(area, "color", f"{round(255 * style.inside):02x}{blue}{green}{red}")


def _add_place(holder: ET.Element, place: Place, known: set[str]) -> None:
    """Add one place."""
    mark = _add(holder, "Placemark")
    _add(mark, "name", place.name)
    _add(mark, "description", place.text)
    if place.style:
        if place.style not in known:
            raise InputError("A place names a style that isn't there.", value=place.style)
        _add(mark, "styleUrl", f"#{place.style}")
    if place.data:
        extended = _add(mark, "ExtendedData")
        for key, value in place.data.items():
            data = _add(extended, "Data")
            data.set("name", key)
            _add(data, "value", value)
    if place.geometry == "point":
        _add(_add(mark, "Point"), "coordinates", _coordinates(place.rings[0]))
    elif place.geometry == "line":
        line = _add(mark, "LineString")
        _add(line, "tessellate", "1")
        _add(line, "coordinates", _coordinates(place.rings[0]))
    else:
        area = _add(mark, "Polygon")
        for index, ring in enumerate(place.rings):
            border = _add(area, "innerBoundaryIs" if index else "outerBoundaryIs")
            _add(_add(border, "LinearRing"), "coordinates", _coordinates(_closed(ring)))


def _closed(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a ring whose last corner is its first."""
    return ring if np.array_equal(ring[0], ring[-1]) else np.vstack((ring, ring[:1]))


def _coordinates(corners: NDArray[np.float64]) -> str:
    """Return corners as longitude, latitude."""
    check_within(corners[:, 0], name="Longitude", low=-180, high=180, unit="degrees")
    check_within(corners[:, 1], name="Latitude", low=-90, high=90, unit="degrees")
    return " ".join(f"{east:.9f},{north:.9f}" for east, north in corners)
