"""Areas and exclusions as polygons in the survey's system: the seam to shapely.

Each repair is told in words; what can't be repaired is refused.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.exclusion_kinds import KINDS, is_plain_kind, known_kind
from lodewalk.adapters.polygon_repair import JOIN_M, Piece, hectares, line_of, polygon_of
from lodewalk.adapters.polygon_rings import OutsideError, Rings, projected, rings_of
from lodewalk.adapters.projection import check_projected
from lodewalk.errors import InputError
from lodewalk.records.recorded import Shapes

FloatArray = NDArray[np.float64]

#: An area smaller than this is none [m2].
LEAST_M2 = 1.0
#: Exclusions that leave less than this part of the area swallow it.
LEAST_SHARE = 0.01
#: Names that a warning lists at most.
MOST_NAMED = 8
#: Pieces of a quarter circle in a buffer: it falls short of the circle by 0.12 % at most.
QUARTER = 16


@dataclass(frozen=True)
class Region:
    """Polygons in the survey's system, and what was done to the shapes given.

    Parameters
    ----------
    outline : shapely Polygon or MultiPolygon
        To be passed on as it is; `rings` gives its corners.
    crs : str
        The survey's reference system.
    area_m2 : float
        Area on the map [m2].
    notes : tuple of str
        Repairs and joins, in words.
    """

    outline: Any
    crs: str
    area_m2: float
    notes: tuple[str, ...] = ()

    @property
    def pieces(self) -> int:
        """Number of polygons that don't touch each other."""
        return len(getattr(self.outline, "geoms", [self.outline])) if self.area_m2 else 0

    def rings(self) -> Iterator[tuple[FloatArray, ...]]:
        """Yield outline and holes of each polygon as arrays of easting and northing [m].

        Yields
        ------
        tuple of arrays, shape (n, 2)
            The outline, then each hole; the last corner is the first.
        """
        import shapely

        for polygon in shapely.get_parts(self.outline):
            whole = [polygon.exterior, *polygon.interiors] if not polygon.is_empty else []
            yield tuple(np.asarray(shapely.get_coordinates(ring)) for ring in whole)

    def bounds(self) -> tuple[float, float, float, float]:
        """Return west, south, east and north edge [m]."""
        west, south, east, north = self.outline.bounds
        return float(west), float(south), float(east), float(north)


@dataclass(frozen=True)
class Zone:
    """What is kept clear of one kind: how many shapes, how far, and where.

    `outline` is a shapely Polygon or MultiPolygon, buffers included, empty where the kind has
    none; `buffers_m` are the different distances kept [m].
    """

    kind: str
    shapes: int
    buffers_m: tuple[float, ...]
    outline: Any


@dataclass(frozen=True)
class Zones:
    """All that the survey keeps clear of.

    `outline` is the union of the zones, a shapely Polygon or MultiPolygon in the survey's system.
    """

    outline: Any
    crs: str
    area_m2: float
    zones: tuple[Zone, ...]
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def area_polygons(shapes: Shapes, *, crs: str) -> Region:
    """Return the area to survey as polygons in the survey's system.

    Parameters
    ----------
    shapes : Shapes
        Polygons in any system; lines and points are left aside and told.
    crs : str
        The survey's projected system, such as ``EPSG:31982``.

    Returns
    -------
    Region
        The union of all polygons; holes stay.

    Raises
    ------
    InputError
        For a ring of under three places, an area of nothing, or polygons outside the area that
        the system serves.

    Notes
    -----
    Repaired, and told: an open ring is closed, repeated corners are dropped, an outline that
    crosses itself is split where it does (what is enclosed an even number of times lies
    outside), polygons that overlap or touch are joined. Straight edges of the file's system are
    followed to within centimetres. An edge that leaps by more than 180 degrees of longitude is
    taken the short way, over the antimeridian; halves cut there are joined. Areas are those on
    the map: at the rim of a UTM zone 0.2 % more than on the ground, in its middle 0.08 % less.

    Examples
    --------
    >>> import polars as pl
    >>> square = [(0.0, 0.0), (0.0, 100.0), (100.0, 100.0), (100.0, 0.0), (0.0, 0.0)]
    >>> corners = pl.DataFrame(
    ...     {"first": [500000.0 + east for east, _ in square],
    ...      "second": [7000000.0 + north for _, north in square]}
    ... ).with_columns(
    ...     line_in_file=pl.lit(1, pl.Int64), shape=pl.lit(0, pl.Int64), part=pl.lit(0, pl.Int64),
    ...     ring=pl.lit(0, pl.Int64), geometry=pl.lit("polygon"), name=pl.lit(None, pl.String),
    ...     kind=pl.lit(None, pl.String), buffer_m=pl.lit(None, pl.Float64),
    ...     crs=pl.lit("EPSG:31982"))
    >>> area_polygons(Shapes(corners), crs="EPSG:31982").area_m2
    10000.0
    """
    import shapely

    check_projected(crs)
    pieces, notes = [], list[str]()
    others = 0
    for part in rings_of(shapes):
        if part.geometry != "polygon":
            others += 1
            continue
        piece = polygon_of(projected(part, crs))
        pieces.append(piece)
        notes += piece.notes
    if others:
        notes.append(f"Lines and points can't be an area, left aside: {others}.")
    if not pieces:
        raise InputError(
            "An area needs at least one polygon.", remedy="Add one as a file of role area."
        )
    whole = shapely.union_all([piece.outline for piece in pieces], grid_size=JOIN_M)
    area = float(whole.area)
    if area < LEAST_M2:
        raise InputError(
            "The polygons of the area enclose nothing.",
            line=pieces[0].line,
            value=f"{area:.3f} m2",
            remedy="Do all corners lie on one line?",
        )
    return Region(whole, crs, area, (*notes, *_joined(pieces, whole)))


def _joined(pieces: list[Piece], whole: Any) -> list[str]:
    """Say that several polygons are one area, and by how much they overlap."""
    if len(pieces) == 1:
        return []
    count = len(getattr(whole, "geoms", [whole]))
    over = sum(float(piece.outline.area) for piece in pieces) - float(whole.area)
    said = f"{len(pieces)} polygons are joined to one area"
    said += f" of {count} pieces" if count > 1 else ""
    return [f"{said}; they overlap by {hectares(over)}." if over > LEAST_M2 else f"{said}."]


def exclusion_zones(shapes: Shapes, *, crs: str, buffers_m: Mapping[str, float]) -> Zones:
    """Return what the survey keeps clear of, with its buffers, in the survey's system.

    Parameters
    ----------
    shapes : Shapes
        Polygons, lines and points in any system.
    crs : str
        The survey's projected system, such as ``EPSG:31982``.
    buffers_m : mapping of str to float
        Distance to keep by setting: ``power_line_m``, ``fence_m``, ``road_m`` (roads and tracks),
        ``water_m``, ``building_m`` and ``other_m`` [m]. A shape's own ``buffer_m`` wins.

    Returns
    -------
    Zones
        A zone a kind, in the order of `KINDS`, and their union.

    Raises
    ------
    InputError
        As for `area_polygons`, except that what lies outside the system's area is left aside
        and told unless everything does.

    Notes
    -----
    A kind that isn't known counts as other, and is told; a line or point of it without a buffer
    excludes nothing, and is warned of by its name.
    """
    import shapely

    check_projected(crs)
    found: dict[str, list[tuple[float, Any]]] = {kind: [] for kind in KINDS}
    notes, taken, bare, far = list[str](), Counter[tuple[str, str]](), 0, []
    idle = list[str]()
    parts = list(rings_of(shapes))
    for part in parts:
        known = known_kind(part.kind)
        kind = known or "other"
        if part.kind and not is_plain_kind(part.kind):
            taken[part.kind, known or ""] += 1
        try:
            placed = projected(part, crs)
        except OutsideError as error:
            far.append(error)
            continue
        piece = polygon_of(placed) if part.geometry == "polygon" else line_of(placed)
        notes += piece.notes
        buffer = buffers_m[KINDS[kind]] if part.buffer_m is None else part.buffer_m
        clear = piece.outline.buffer(buffer, quad_segs=QUARTER) if buffer else piece.outline
        if clear.area == 0.0 and kind == "other" and part.buffer_m is None:
            idle.append(_title(part))
        else:
            bare += clear.area == 0.0
        found[kind].append((buffer, clear))
    if far and len(far) == len(parts):
        raise far[0]
    zones = tuple(_zone(kind, given) for kind, given in found.items() if given)
    whole = shapely.union_all([zone.outline for zone in zones])
    notes += [
        f"Kind {name!r} is taken as {kind}: {n}."
        if kind
        else f"Kind {name!r} isn't known: {n} taken as other."
        for (name, kind), n in taken.items()
    ]
    if bare:
        notes.append(f"Lines and points without a buffer exclude nothing: {bare}.")
    if far:
        notes.append(f"Exclusions far outside the area of {crs}, left aside: {len(far)}.")
    return Zones(whole, crs, float(whole.area), zones, tuple(notes), _idle_words(idle))


def _title(part: Rings) -> str:
    """Return what a shape is called: by its name, else its kind, else its line."""
    called = part.name or part.kind
    where = f"{part.geometry} in line {part.line}"
    return f"{called} ({where})" if called else where


def _idle_words(idle: list[str]) -> tuple[str, ...]:
    """Warn of the shapes that exclude nothing."""
    if not idle:
        return ()
    more = f" and {len(idle) - MOST_NAMED} more" if len(idle) > MOST_NAMED else ""
    kinds = [kind for kind in KINDS if kind != "other"]
    return (
        f"Nothing is kept clear of {'; '.join(idle[:MOST_NAMED])}{more}: no kind that is known "
        f"and no buffer. Give kind ({', '.join(kinds)}) or buffer_m in the file and add it anew, "
        "or set plan.other_m.",
    )


def _zone(kind: str, given: list[tuple[float, Any]]) -> Zone:
    """Join the shapes of one kind; what has no area drops out."""
    import shapely

    outlines = [clear for _, clear in given if clear.area > 0.0]
    buffers = tuple(sorted({buffer for buffer, _ in given}))
    return Zone(kind, len(given), buffers, shapely.union_all(outlines))


def area_left(area: Region, zones: Zones) -> Region:
    """Return the area without what is kept clear of.

    Parameters
    ----------
    area : Region
        The area to survey.
    zones : Zones
        What is kept clear of, in the same system.

    Returns
    -------
    Region
        Notes say what the exclusions take and what is left.

    Raises
    ------
    InputError
        When less than a hundredth of the area is left.
    """
    left = area.outline.difference(zones.outline)
    size = float(left.area)
    taken = area.area_m2 - size
    if size < max(LEAST_M2, LEAST_SHARE * area.area_m2):
        largest = max(zones.zones, key=lambda zone: float(zone.outline.area))
        raise InputError(
            "The exclusions swallow the area.",
            value=f"{hectares(size)} of {hectares(area.area_m2)} left",
            remedy=f"Check the buffers of {largest.kind} ({_metres(largest.buffers_m)}), or the "
            "outlines of the exclusions.",
        )
    said = f"Exclusions take {hectares(taken)} of {hectares(area.area_m2)}"
    said += f" ({taken / area.area_m2:.0%}); {hectares(size)} are left."
    return replace(area, outline=left, area_m2=size, notes=(*area.notes, said))


def _metres(buffers: tuple[float, ...]) -> str:
    """Return distances for print."""
    return f"{' and '.join(f'{buffer:g}' for buffer in buffers)} m"
