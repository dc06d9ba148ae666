"""What a plan is made over: the area, what is kept clear of, and what isn't walked through."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from lodewalk.adapters.geometry import Zones, area_left, area_polygons, exclusion_zones
from lodewalk.adapters.surroundings import united, wider, without
from lodewalk.errors import InputError
from lodewalk.records.recorded import Shapes

#: Kinds by which vehicles pass.
TRACKS = ("road", "track")
#: Kinds that nobody walks through.
OBSTACLES = ("water", "building")
#: Half the width given to lines and points, so that they have an outline [m].
HALF_WIDTH_M = 0.5
#: Part of a buffer by which the chords of its rounded corners fall short of the circle, at most.
CHORD_SHARE = 1.3e-3


@dataclass(frozen=True)
class PlanArea:
    """What a plan is made over; outlines are shapely geometries in the survey's system.

    Parameters
    ----------
    outline : geometry
        The area.
    walkable : geometry
        The area without what is kept clear of.
    kept_clear, clear_but_tracks : geometry
        Exclusions with their buffers, and those without roads and tracks.
    tracks, sources, obstacles, power : geometry
        Roads and tracks, all other exclusions, what isn't walked through, and power lines,
        without buffers.
    area_m2, left_m2 : float
        Size of the area and of what is walkable [m2].
    notes : tuple of str
        Repairs, in words.
    warnings : tuple of str
        Exclusions that exclude nothing, in words.
    """

    outline: Any
    walkable: Any
    kept_clear: Any
    clear_but_tracks: Any
    tracks: Any
    sources: Any
    obstacles: Any
    power: Any
    area_m2: float
    left_m2: float
    notes: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge of the area [m]."""
        west, south, east, north = self.outline.bounds
        return float(west), float(south), float(east), float(north)


def plan_area(area: Shapes, exclusion: Shapes, crs: str, plan: Mapping[str, Any]) -> PlanArea:
    """Return what a plan is made over.

    Raises
    ------
    InputError
        When there is no area, or the exclusions swallow it.
    """
    if not len(area):
        raise InputError(
            "There is no area to survey.",
            remedy="Give its polygon as GeoJSON, KML, GeoPackage or GPX, a file of role area.",
        )
    buffers = {name: plan[name] for name in plan if name.endswith("_m")}
    region = area_polygons(area, crs=crs)
    zones = exclusion_zones(exclusion, crs=crs, buffers_m=buffers)
    area_left(region, zones)
    # The chords of a rounded buffer lie inside its circle: none of it may be walked in.
    short = CHORD_SHARE * max((max(zone.buffers_m) for zone in zones.zones), default=0.0)
    kept_clear = wider(zones.outline, short)
    walkable = without(region.outline, kept_clear)
    bare = exclusion_zones(
        Shapes(exclusion.frame.with_columns(buffer_m=pl.lit(HALF_WIDTH_M))),
        crs=crs,
        buffers_m=buffers,
    )
    kinds = tuple(zone.kind for zone in bare.zones)
    others = tuple(kind for kind in kinds if kind not in TRACKS)
    return PlanArea(
        region.outline,
        walkable,
        kept_clear,
        _of_kinds(zones, others),
        _of_kinds(bare, TRACKS),
        _of_kinds(bare, others),
        _of_kinds(bare, OBSTACLES),
        _of_kinds(bare, ("power line",)),
        region.area_m2,
        float(walkable.area),
        (*region.notes, *zones.notes),
        zones.warnings,
    )


def _of_kinds(zones: Zones, kinds: tuple[str, ...]) -> Any:
    """Return the outline of some kinds of exclusions."""
    return united([zone.outline for zone in zones.zones if zone.kind in kinds])
