"""Lineaments, picks and bodies as layers of the map."""

from dataclasses import dataclass

from lodewalk.services.curves.columns import frame_of
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path


@dataclass(frozen=True)
class LineamentLayer:
    """A lineament, point after point."""

    lineament: str
    kind: str
    strike_deg: float | None
    strike_sd_deg: float | None
    length_m: float | None
    eastings_m: list[float]
    northings_m: list[float]


@dataclass(frozen=True)
class PickLayer:
    """A pick: where a lineament crosses a line."""

    pick: str
    line: str | None
    lineament: str | None
    easting_m: float
    northing_m: float
    problem: str | None


@dataclass(frozen=True)
class BodyLayer:
    """A fitted body; `depth_m` is that of its top, of a compact body that of its centre."""

    body: str
    kind: str
    easting_m: float
    northing_m: float
    strike_deg: float | None
    depth_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None


@dataclass(frozen=True)
class LayersResult:
    """What has been interpreted; empty lists where it hasn't been made."""

    lineaments: list[LineamentLayer]
    picks: list[PickLayer]
    bodies: list[BodyLayer]


def layers(folder: Folder) -> LayersResult:
    """Return the layers that have been made; empty ones before the first run."""
    return LayersResult(_lineaments(folder), _picks(folder), _bodies(folder) + _compact(folder))


def _there(folder: Folder, *products: str) -> bool:
    return all(product_path(folder, product).exists() for product in products)


def _lineaments(folder: Folder) -> list[LineamentLayer]:
    """Return traced lineaments with their points in order."""
    if not _there(folder, "lineaments", "lineament_points"):
        return []
    points = frame_of(folder, "lineament_points").sort("lineament", "number")
    places = points.group_by("lineament").agg("easting_m", "northing_m")
    found = {name: (east, north) for name, east, north in places.iter_rows()}
    return [
        LineamentLayer(
            row["lineament"],
            row["kind"],
            row["strike_deg"],
            row["strike_sd_deg"],
            row["length_m"],
            *found.get(row["lineament"], ([], [])),
        )
        for row in frame_of(folder, "lineaments").iter_rows(named=True)
    ]


def _picks(folder: Folder) -> list[PickLayer]:
    """Return picks that have a place."""
    if not _there(folder, "picks"):
        return []
    names = ("pick", "line", "lineament", "easting_m", "northing_m", "problem")
    rows = frame_of(folder, "picks").drop_nulls(["easting_m", "northing_m"]).select(names)
    return [PickLayer(*row) for row in rows.iter_rows()]


def _bodies(folder: Folder) -> list[BodyLayer]:
    """Return long bodies fitted to profiles."""
    if not _there(folder, "bodies"):
        return []
    names = ("body", "kind", "easting_m", "northing_m", "strike_deg")
    depths = ("depth_m", "depth_low_m", "depth_high_m")
    rows = frame_of(folder, "bodies").drop_nulls(["easting_m", "northing_m"])
    return [BodyLayer(*row) for row in rows.select(*names, *depths).iter_rows()]


def _compact(folder: Folder) -> list[BodyLayer]:
    """Return compact bodies, which have no strike."""
    if not _there(folder, "compact_bodies"):
        return []
    rows = frame_of(folder, "compact_bodies").drop_nulls(["easting_m", "northing_m"])
    return [
        BodyLayer(
            row["body"],
            "compact",
            row["easting_m"],
            row["northing_m"],
            None,
            row["centre_depth_m"],
            row["centre_depth_low_m"],
            row["centre_depth_high_m"],
        )
        for row in rows.iter_rows(named=True)
    ]
