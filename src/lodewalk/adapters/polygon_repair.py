"""Polygons made valid: an outline that crosses itself is split where it does, and that is told."""

import re
from dataclasses import dataclass
from typing import Any

from lodewalk.adapters.polygon_rings import Ring, Rings
from lodewalk.errors import InputError

#: Corners nearer than this are one place [m]; halves cut at the antimeridian meet within it.
JOIN_M = 1e-4
PLACE = re.compile(r"\[(-?[\d.]+(?:e[+-]?\d+)?) (-?[\d.]+(?:e[+-]?\d+)?)\]")


@dataclass(frozen=True)
class Piece:
    """One shapely geometry with the line that it comes from and what was done to it."""

    outline: Any
    line: int
    notes: tuple[str, ...]


def hectares(area_m2: float) -> str:
    """Return an area for print.

    Examples
    --------
    >>> hectares(123456.0), hectares(43.0)
    ('12.35 ha', '43 m2')
    """
    return f"{area_m2:.0f} m2" if abs(area_m2) < 1000.0 else f"{area_m2 / 1e4:.2f} ha"


def line_of(part: Rings) -> Piece:
    """Return a projected line or point as a shapely geometry."""
    import shapely

    places = _places(part.rings[0])
    shape = shapely.Point(places[0]) if part.geometry == "point" else shapely.LineString(places)
    return Piece(shape, part.line, part.notes)


def polygon_of(part: Rings) -> Piece:
    """Return a projected polygon as a valid shapely geometry.

    Raises
    ------
    InputError
        For an outline that encloses nothing.
    """
    import shapely

    outline, *holes = (_places(ring) for ring in part.rings)
    drawn = shapely.Polygon(outline, holes)
    if shapely.is_valid(drawn):
        return Piece(drawn, part.line, part.notes)
    found = _polygons(shapely.make_valid(drawn, method="linework"))
    if found.area == 0.0:
        raise InputError(
            "A polygon encloses nothing.", line=part.line, value=part.title,
            remedy="Do all its corners lie on one line?",
        )  # fmt: skip
    return Piece(found, part.line, (*part.notes, _told(part, drawn, found)))


def _places(ring: Ring) -> list[tuple[float, float]]:
    """Return the corners of a ring."""
    return list(zip(ring.first.tolist(), ring.second.tolist(), strict=True))


def _polygons(shape: Any) -> Any:
    """Return the polygons of a collection as one geometry."""
    import shapely

    parts = [one for one in _flat(shape) if one.geom_type == "Polygon" and one.area > 0.0]
    return shapely.union_all(parts)


def _flat(shape: Any) -> list[Any]:
    """Return the single geometries of a collection at any depth."""
    if not hasattr(shape, "geoms"):
        return [shape]
    return [single for one in shape.geoms for single in _flat(one)]


def _told(part: Rings, drawn: Any, found: Any) -> str:
    """Say what was wrong, where, and how the area changed."""
    import shapely

    reason = shapely.is_valid_reason(drawn)
    place = PLACE.search(reason)
    where = ""
    if place:
        where = f" at easting {float(place[1]):.1f}, northing {float(place[2]):.1f}"
    count = len(getattr(found, "geoms", [found]))
    before, after = hectares(float(drawn.area)), hectares(float(found.area))
    what = "crosses or touches itself" if "elf-inter" in reason else reason.split("[")[0].lower()
    result = f"split there into {count} polygons" if count > 1 else "mended"
    if "hole" in what:
        what = "has a hole that isn't inside it"
    return (
        f"The outline {what}{where} ({part.title}): {result}; {after} now, {before} as drawn, "
        "where crossing parts count against each other."
    )
