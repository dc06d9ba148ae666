"""The reader of GeoJSON: shapes of any of its objects, with the line of each place."""

import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from lodewalk.adapters.projection import WGS84
from lodewalk.formats.content import Content
from lodewalk.formats.geojson.located import Array, Object, Text, load
from lodewalk.formats.shapes import Corner, Feature, Part, check_degrees, content_of
from lodewalk.formats.shapes import from_properties as feature_from

#: Our word for each geometry, and how deep its places lie in the array of coordinates.
GEOMETRIES = {
    "Point": ("point", 0),
    "MultiPoint": ("point", 1),
    "LineString": ("line", 1),
    "MultiLineString": ("line", 2),
    "Polygon": ("polygon", 2),
    "MultiPolygon": ("polygon", 3),
}
PART_DEPTH = {"point": 0, "line": 1, "polygon": 2}
TYPES = (*GEOMETRIES, "GeometryCollection", "Feature", "FeatureCollection")

#: Names of the system that RFC 7946 prescribes, as files of the older GeoJSON of 2008 write them.
PLAIN_CRS = re.compile(r"(urn:ogc:def:crs:)?(OGC:(1\.3)?:?CRS84|EPSG:[\d.]*:?4326)", re.IGNORECASE)
MAX_DEPTH = 16


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is GeoJSON.

    Examples
    --------
    >>> recognise(b'{"type": "FeatureCollection", "features": []}')
    1.0
    """
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not text.startswith(b"{"):
        return 0.0
    kinds = "|".join(TYPES).encode()
    return 1.0 if re.search(rb'"type"\s*:\s*"(' + kinds + rb')"', text) else 0.6


@dataclass
class _Walk:
    """What is gathered on the way through the objects."""

    text: Text
    features: list[Feature] = field(default_factory=list)
    without_place: int = 0
    with_height: int = 0


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
        For text that isn't JSON or GeoJSON, a place out of range, another reference system, or
        no shape for the role; with the line.

    Notes
    -----
    Heights, the third number of a position, are left aside and told, as are features without
    geometry. The member ``crs`` of the GeoJSON of 2008 is accepted where it names the one
    system that the standard of 2016 has, and refused elsewhere.
    """
    del column_map
    root, text = load(path)
    if not isinstance(root, Object) or root.get("type") not in TYPES:
        kind = root.get("type") if isinstance(root, Object) else type(root).__name__
        text.refuse(
            f"The type of a GeoJSON file must be one of {', '.join(TYPES)}.",
            at=getattr(root, "at", 0),
            value=kind,
        )
    walk = _Walk(text)
    notes = _crs_notes(root, text)
    _enter(root, walk)
    if walk.with_height:
        notes.append(f"Heights of {walk.with_height} places are left aside.")
    if walk.without_place:
        notes.append(f"Features without geometry, left aside: {walk.without_place}.")
    return content_of(
        walk.features, role=role, crs=WGS84, file=path.name, title="GeoJSON", notes=notes
    )


def _crs_notes(root: Object, text: Text) -> list[str]:
    """Say that an old member names the right system, or raise for another."""
    if "crs" not in root:
        return []
    given = root["crs"]
    properties = given.get("properties") if isinstance(given, Object) else None
    name = properties.get("name") if isinstance(properties, Object) else None
    if not isinstance(name, str) or not PLAIN_CRS.fullmatch(name):
        text.refuse(
            "GeoJSON is longitude and latitude on WGS 84 (RFC 7946); the member crs of 2008 names "
            "another system.",
            at=given.at if isinstance(given, Object) else root.at,
            value=name if name is not None else given,
            remedy="Export it in WGS 84, or as GeoPackage, which tells its reference system.",
        )
    return [f"The file names its system {name} in the way of 2008: taken as WGS 84."]


def _enter(item: Object, walk: _Walk) -> None:
    """Gather the features of a collection, a feature or a geometry by itself."""
    if item["type"] == "FeatureCollection":
        features = item.get("features")
        if not isinstance(features, Array):
            walk.text.refuse("A FeatureCollection must have an array of features.", at=item.at)
        for feature in features:
            if not isinstance(feature, Object) or feature.get("type") != "Feature":
                at = getattr(feature, "at", features.at)
                walk.text.refuse("The features of a collection must be of type Feature.", at=at)
            _add(feature, walk)
    elif item["type"] == "Feature":
        _add(item, walk)
    else:
        walk.features.append(Feature(_parts(item, walk)))


def _add(feature: Object, walk: _Walk) -> None:
    """Add one feature, unless it has no geometry."""
    geometry, properties = feature.get("geometry"), feature.get("properties")
    if geometry is None:
        walk.without_place += 1
        return
    parts = _parts(geometry, walk, at=feature.at)
    if not isinstance(properties, Object):
        properties = Object()
    line = walk.text.line(feature.at)
    walk.features.append(feature_from(parts, properties, file=walk.text.file, line=line))


def _parts(item: Any, walk: _Walk, *, at: int = 0, depth: int = 0) -> tuple[Part, ...]:
    """Return the parts of a geometry."""
    kind = item.get("type") if isinstance(item, Object) else None
    at = getattr(item, "at", at)
    if kind == "GeometryCollection" and depth < MAX_DEPTH:
        inner = item.get("geometries")
        if not isinstance(inner, Array):
            walk.text.refuse("A GeometryCollection must have an array of geometries.", at=at)
        return tuple(p for one in inner for p in _parts(one, walk, at=at, depth=depth + 1))
    if kind not in GEOMETRIES:
        known = ", ".join(GEOMETRIES)
        walk.text.refuse(f"A geometry must be one of {known}.", at=at, value=kind)
    geometry, nesting = GEOMETRIES[kind]
    coordinates = item.get("coordinates")
    singles = [coordinates]
    if nesting > PART_DEPTH[geometry]:
        singles = list(_array(coordinates, walk, at))
    return tuple(_part(geometry, one, walk, at) for one in singles)


def _part(geometry: str, coordinates: Any, walk: _Walk, at: int) -> Part:
    """Return one polygon, line or point."""
    if geometry == "point":
        return Part(geometry, ((_corner(coordinates, walk, at),),))
    rings = _array(coordinates, walk, at) if geometry == "polygon" else [coordinates]
    if not rings:
        walk.text.refuse("A polygon needs at least 3 different places.", at=at, value="0")
    return Part(
        geometry,
        tuple(
            tuple(_corner(place, walk, at) for place in _array(ring, walk, at)) for ring in rings
        ),
    )


def _array(value: Any, walk: _Walk, at: int) -> Array:
    """Return a value that must be an array."""
    if not isinstance(value, Array):
        walk.text.refuse("Coordinates must be arrays of arrays of numbers.", at=at, value=value)
    return value


def _corner(value: Any, walk: _Walk, at: int) -> Corner:
    """Return one position."""
    at = getattr(value, "at", at)
    numbers = isinstance(value, Array) and len(value) >= 2
    if not numbers or not all(_is_number(part) for part in value[:2]):
        walk.text.refuse("A position must be longitude and latitude as numbers.", at=at,
                         value=value)  # fmt: skip
    walk.with_height += len(value) > 2
    corner = Corner(walk.text.line(at), float(value[0]), float(value[1]))
    check_degrees(corner, file=walk.text.file)
    return corner


def _is_number(value: object) -> bool:
    """Tell whether a value is a finite number of JSON."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False
