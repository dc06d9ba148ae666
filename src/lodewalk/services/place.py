"""Whether recorded places lie where the survey's reference system serves."""

from typing import TYPE_CHECKING, Any

import polars as pl

from lodewalk.errors import InputError
from lodewalk.records.recorded import Shapes, Terrain

if TYPE_CHECKING:
    from lodewalk.formats.delimited import ColumnMap

#: A few stray fixes are left to the checks; more of them mean a wrong column or system.
STRAY_SHARE = 0.1


def check_place(table: Any, column_map: "ColumnMap | None", crs: str, file: str) -> None:
    """Raise when more than a few positions lie far outside the survey's reference system.

    Of shapes and terrain, which may reach far beyond the survey, all positions count: they raise
    when all lie outside. The polygons of an area are looked at corner by corner by
    `area_polygons`.

    Raises
    ------
    InputError
        With the line, and what is likely wrong: swapped, another hemisphere, another zone.
    """
    from lodewalk.adapters.projection import check_geographic, to_geographic
    from lodewalk.adapters.whereabouts import inside, why_outside

    if isinstance(table, (Shapes, Terrain)):
        _check_shapes(table, crs, file)
        return
    stated = column_map.position.crs if column_map is not None else None
    geographic = table.has("latitude_deg") and table.has("longitude_deg")
    if not geographic and not (table.has("easting_m") and table.has("northing_m")):
        return
    names = ("latitude_deg", "longitude_deg") if geographic else ("northing_m", "easting_m")
    frame = table.frame.select("line_in_file", *names).drop_nulls()
    latitude, longitude = (frame[name].to_numpy() for name in names)
    if geographic and stated:
        check_geographic(stated)
    elif not geographic:
        longitude, latitude = to_geographic(longitude, latitude, crs=stated or crs)
    outside = (~inside(latitude, longitude, crs=crs)).nonzero()[0]
    if len(outside) <= STRAY_SHARE * frame.height:
        return
    first = int(outside[0])
    swapped = geographic and bool(
        inside(longitude[first : first + 1], latitude[first : first + 1], crs=crs)[0]
    )
    there = why_outside(float(latitude[first]), float(longitude[first]), crs=crs)
    raise InputError(
        f"The position lies outside the area of {crs}.",
        file=file,
        line=frame["line_in_file"][first],
        value=(frame[names[0]][first], frame[names[1]][first]),
        remedy="Latitude and longitude are swapped; mend the column map."
        if swapped
        else f"{there} Columns and units may be wrong too.",
    )


def _check_shapes(table: Shapes | Terrain, crs: str, file: str) -> None:
    """Raise when every corner or cell lies outside."""
    from lodewalk.adapters.projection import WGS84, between
    from lodewalk.adapters.whereabouts import inside, why_outside

    where: list[tuple[float, float]] = []
    for source, part in table.frame.group_by("crs", maintain_order=True):
        places = part["first"].to_numpy(), part["second"].to_numpy()
        longitude, latitude = between(*places, source=str(source[0]), target=WGS84)
        if inside(latitude, longitude, crs=crs).any():
            return
        where.append((float(latitude[0]), float(longitude[0])))
    if not where:
        return
    rows = table.frame.select(pl.col("line_in_file").first()).item()
    what = "The terrain model" if isinstance(table, Terrain) else "Every shape"
    raise InputError(
        f"{what} lies outside the area of {crs}.",
        file=file,
        line=int(rows),
        value=(round(where[0][0], 5), round(where[0][1], 5)),
        remedy=why_outside(*where[0], crs=crs),
    )


def zone_doubt(table: Any, crs: str) -> list[str]:
    """Say that a zone beside the survey's own fits better where a file's first place lies."""
    from lodewalk.adapters.whereabouts import zone_beside

    if not (table.has("latitude_deg") and table.has("longitude_deg")):
        return []
    places = table.frame.select("latitude_deg", "longitude_deg").drop_nulls()
    if places.is_empty():
        return []
    fits = zone_beside(*(float(one) for one in places.row(0)), crs=crs)
    if fits is None:
        return []
    return [f"Its places lie outside the area of {crs}, which the survey has; {fits} fits them."]
