"""What an area, exclusions, a terrain model or hand-meter readings come to, in words."""

from typing import TYPE_CHECKING, Any

import numpy as np

from lodewalk.errors import InputError
from lodewalk.records.recorded import HandMeter, Shapes, Terrain

if TYPE_CHECKING:
    from lodewalk.survey.settings_table import Settings

PARTS = ("target", "host", "soil")


def extent(table: Any, settings: "Settings", *, role: str, file: str) -> tuple[str, ...]:
    """Say how large a file's content is in the survey's own terms; nothing for other records.

    Raises
    ------
    InputError
        For an area that can't be made of the polygons, or an exclusion that can't be placed.
    """
    if isinstance(table, HandMeter):
        return _hand_meter(table)
    if isinstance(table, Terrain):
        return _terrain(table, settings.survey.crs)
    if not isinstance(table, Shapes):
        return ()
    try:
        return _area(table, settings) if role == "area" else _exclusions(table, settings)
    except InputError as error:
        raise type(error)(
            error.rule, file=file, line=error.line, value=error.value, remedy=error.remedy
        ) from None


def _area(table: Shapes, settings: "Settings") -> tuple[str, ...]:
    """Say the size of an area and what was repaired."""
    from lodewalk.adapters.geometry import area_polygons
    from lodewalk.adapters.polygon_repair import hectares
    from lodewalk.adapters.projection import to_geographic
    from lodewalk.adapters.whereabouts import zone_beside

    region = area_polygons(table, crs=settings.survey.crs)
    west, south, east, north = region.bounds()
    number = f"{region.pieces} polygon{_s(region.pieces)}"
    size = f"{hectares(region.area_m2)} on the map, {east - west:.0f} m by {north - south:.0f} m"
    told = [f"Area: {number}, {size} in {settings.survey.crs}.", *region.notes]
    middle = to_geographic((west + east) / 2, (south + north) / 2, crs=settings.survey.crs)
    zone = zone_beside(float(middle[1]), float(middle[0]), crs=settings.survey.crs)
    if zone:
        told.append(f"The area lies a little outside that system's own; {zone} may fit better.")
    return tuple(told)


def _exclusions(table: Shapes, settings: "Settings") -> tuple[str, ...]:
    """Say the kinds of exclusions, how many of each and how far they are kept clear of."""
    from lodewalk.adapters.exclusion_kinds import KINDS
    from lodewalk.adapters.geometry import exclusion_zones
    from lodewalk.adapters.polygon_repair import hectares

    plan = settings.plan.model_dump()
    buffers = {name: float(plan[name]) for name in KINDS.values()}
    zones = exclusion_zones(table, crs=settings.survey.crs, buffers_m=buffers)
    said = [
        f"{zone.kind}: {zone.shapes}, kept clear by "
        f"{' and '.join(f'{buffer:g}' for buffer in zone.buffers_m)} m"
        for zone in zones.zones
    ]
    total = f"Kept clear of: {'; '.join(said)}; {hectares(zones.area_m2)} in all."
    return total, *zones.notes, *(f"Warning: {text}" for text in zones.warnings)


def _terrain(table: Terrain, crs: str) -> tuple[str, ...]:
    """Say how large a terrain model is on the ground and how far its cells lie apart."""
    from lodewalk.adapters.projection import between

    frame = table.frame
    first, second = frame["first"].to_numpy(), frame["second"].to_numpy()
    rows = frame["line_in_file"].to_numpy()
    columns = int((rows == rows[0]).sum())
    down = len(rows) // columns
    middle = (down // 2) * columns + columns // 2
    beside = [middle, middle - 1 if columns > 1 else middle, middle]
    beside[2] = middle - columns if down > 1 else middle
    east, north = between(first[beside], second[beside], source=frame["crs"][0], target=crs)
    spacing = np.hypot(east[0] - east[1:], north[0] - north[1:])
    size = f"{columns * spacing[0]:.0f} m by {down * spacing[1]:.0f} m"
    return (f"Terrain: {size}, cells {spacing[0]:.1f} m by {spacing[1]:.1f} m.",)


def _hand_meter(table: HandMeter) -> tuple[str, ...]:
    """Say, for each part, how many readings there are and what they come to."""
    said = []
    for part in PARTS:
        frame = table.frame.filter(table.frame["part"] == part)
        if frame.is_empty():
            continue
        values = frame["susceptibility"].to_numpy()
        number, places = int(frame["readings"].sum()), len(frame)
        counts = f"{number} reading{_s(number)} at {places} place{_s(places)}"
        spread = f"{values.min():.3g}"
        if places > 1:
            spread += f" to {values.max():.3g} SI, median {np.median(values):.3g}"
        else:
            spread += " SI"
        said.append(f"{part}: {counts}, {spread}")
    return (f"Susceptibility of {'; '.join(said)}.",)


def _s(number: int) -> str:
    """Return the ending of a plural."""
    return "" if number == 1 else "s"
