"""Area, exclusions and what is kept clear around them, as outlines to draw and to hand over."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from lodewalk.adapters.exclusion_kinds import KINDS, known_kind
from lodewalk.adapters.geometry import area_polygons, exclusion_zones
from lodewalk.adapters.polygon_rings import OutsideError, Rings, projected, rings_of
from lodewalk.records.planning import Outline
from lodewalk.records.recorded import Shapes


def plan_outlines(
    area: Shapes, exclusion: Shapes, *, crs: str, buffers_m: Mapping[str, float]
) -> tuple[Outline, ...]:
    """Return the outlines of a plan in the survey's system.

    Parameters
    ----------
    area, exclusion : Shapes
        What was recorded, in any system; either may be empty.
    crs : str
        The survey's projected system.
    buffers_m : mapping of str to float
        Distance to keep by setting, such as ``fence_m`` [m].

    Returns
    -------
    tuple of Outline
        Polygons of the area, exclusions as they were recorded, and of each kind of exclusion the
        polygons that are kept clear. An exclusion far outside the system's area is left out.

    Raises
    ------
    InputError
        As for `area_polygons` and `exclusion_zones`.
    """
    found: list[Outline] = []
    if len(area):
        region = area_polygons(area, crs=crs)
        found += [Outline("area", "", "", "polygon", rings) for rings in region.rings()]
    if not len(exclusion):
        return tuple(found)
    found += _as_recorded(exclusion, crs, buffers_m)
    for zone in exclusion_zones(exclusion, crs=crs, buffers_m=buffers_m).zones:
        found += [
            Outline("kept clear", "", zone.kind, "polygon", rings)
            for rings in _polygons(zone.outline)
        ]
    return tuple(found)


def _as_recorded(shapes: Shapes, crs: str, buffers_m: Mapping[str, float]) -> Iterator[Outline]:
    """Yield each exclusion as it was recorded."""
    for part in rings_of(shapes):
        try:
            placed = projected(part, crs)
        except OutsideError:
            continue
        rings = tuple(np.column_stack((ring.first, ring.second)) for ring in placed.rings)
        buffer = _buffer_m(part, buffers_m)
        yield Outline("exclusion", part.name or "", part.kind or "", part.geometry, rings, buffer)


def _buffer_m(part: Rings, buffers_m: Mapping[str, float]) -> float:
    """Return what is kept clear around an exclusion: its own, else by its kind."""
    kind = known_kind(part.kind) or "other"
    return float(buffers_m[KINDS[kind]] if part.buffer_m is None else part.buffer_m)


def _polygons(outline: Any) -> Iterator[tuple[np.ndarray[Any, np.dtype[np.float64]], ...]]:
    """Yield the rings of each polygon."""
    import shapely

    for polygon in shapely.get_parts(outline):
        if not polygon.is_empty:
            rings = [polygon.exterior, *polygon.interiors]
            yield tuple(np.asarray(shapely.get_coordinates(ring)) for ring in rings)
