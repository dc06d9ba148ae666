"""The reader of KML: an area, exclusions, planned lines or notes from the placemarks of a file."""

import re
from pathlib import Path

from lodewalk.adapters.projection import WGS84
from lodewalk.formats.content import Content
from lodewalk.formats.kml.parse import NAMESPACE, Document, parse
from lodewalk.formats.shapes import content_of


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is KML.

    Examples
    --------
    >>> recognise(b'<kml xmlns="http://www.opengis.net/kml/2.2">')
    1.0
    """
    text = head.replace(b"\x00", b"")  # UTF-16 of plain letters
    return float(re.search(rb"<([\w.-]+:)?kml[\s>]", text) is not None)


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a file as an area, as exclusions, as planned lines or as notes.

    Parameters
    ----------
    path : Path
        The file.
    role : {"area", "exclusion", "plan", "notes"}
        An area takes polygons, an exclusion everything, a plan lines, notes points.
    column_map : None
        Not used: the format says itself what it holds.

    Returns
    -------
    Content
        `Shapes`, `Route` or `Waypoints` on WGS84.

    Raises
    ------
    InputError
        For a damaged or dangerous file, a place out of range, or no shape for the role.

    Notes
    -----
    Name and description come from the placemark, kind and buffer from its extended data. Heights
    are left aside. What a network link points to is not fetched, and that is told.
    """
    del column_map
    document = parse(path)
    return content_of(
        document.features,
        role=role,
        crs=WGS84,
        file=path.name,
        title="KML",
        notes=_notes(document),
    )


def _notes(document: Document) -> list[str]:
    """Say what was left aside or taken by other rules."""
    notes = []
    if document.namespace != NAMESPACE:
        notes.append(f"Namespace {document.namespace or 'none'}: read by the rules of KML 2.2.")
    if document.with_height:
        notes.append(f"Heights of {document.with_height} places are left aside.")
    if document.without_place:
        notes.append(f"Placemarks without a shape, left aside: {document.without_place}.")
    if document.links:
        notes.append(f"Links to other files, not followed: {document.links}.")
    return notes
