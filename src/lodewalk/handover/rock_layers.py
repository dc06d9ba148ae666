"""The interpretation for viewers and handhelds: GeoPackage, GeoJSON, and GPX of targets."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.figures.section_body import interval, joint_words, level_top
from lodewalk.figures.style import number
from lodewalk.formats.geojson.write import Feature
from lodewalk.formats.geojson.write import write as write_features
from lodewalk.formats.geopackage.write import Layer, Shape
from lodewalk.formats.geopackage.write import write as write_layers
from lodewalk.formats.gpx import write as write_gpx
from lodewalk.handover.compact_rocks import compact_targets
from lodewalk.handover.device_names import device_names
from lodewalk.handover.rocks import best_bodies, best_pick, problems_of
from lodewalk.handover.rocks_content import RockRecords
from lodewalk.records.recorded import Waypoints
from lodewalk.steps.picks import REFUSED

#: Columns whose unit isn't in their name, and their names in the layers.
_NAMES = {"strength": "strength_nT_per_m", "strength_nT_m": "strength_nT_times_m"} | {
    f"strength_{part}_nT_m": f"strength_{part}_nT_times_m" for part in ("sd", "low", "high")
}
#: Decimals of what is written.
_DECIMALS = 6
#: Names of the files that an interpretation may have; others in its folder are somebody else's.
PATTERNS = ("rocks.gpkg", "*.geojson", "targets*.gpx", "check-points*.gpx")


@dataclass(frozen=True)
class RockFile:
    """One file: its name and what writes it to a path."""

    name: str
    write: Callable[[Path], object]


def rock_files(
    records: RockRecords, *, name_length: int, most_waypoints: int
) -> Iterator[RockFile]:
    """Yield the files of an interpretation; none for an interpretation without a row.

    Parameters
    ----------
    records : RockRecords
        The interpretation.
    name_length, most_waypoints : int
        Letters that a waypoint's name may have, and waypoints that the handheld takes in a file.
    """
    layers = rock_layers(records)
    if not any(layer.shapes for layer in layers):
        return
    yield RockFile("rocks.gpkg", lambda path: write_layers(path, layers, crs=records.crs))
    for layer in layers:
        features = _features(layer, records.crs)
        yield RockFile(f"{layer.name}.geojson", partial(write_features, features=features))
    for stem, points in (
        ("targets", target_points(records)),
        ("check-points", check_points(records)),
    ):
        named = _waypoints(points, records.crs, name_length)
        parts = [named[at : at + most_waypoints] for at in range(0, named.height, most_waypoints)]
        for nth, part in enumerate(parts, 1):
            name = f"{stem}.gpx" if len(parts) == 1 else f"{stem}-part-{nth}.gpx"
            yield RockFile(name, partial(write_gpx, waypoints=Waypoints(part)))


def rock_layers(records: RockRecords) -> list[Layer]:
    """Return the layers with every column of the records, units in the names.

    Parameters
    ----------
    records : RockRecords
        The interpretation, its places in its CRS.

    Returns
    -------
    list of Layer
        ``bodies``, ``depths``, ``lineaments`` (with a mark on refused ones), ``picks``, ``faults``
        (without those of a refused lineament) and ``compact_bodies``.
    """
    return [
        _points("bodies", records.told_bodies),
        _points("depths", records.depths.frame),
        Layer("lineaments", "any", _polylines(records), _columns(_with_refused(records))),
        _points("picks", records.picks.frame),
        _points("faults", records.believed_faults.frame),
        _points("compact_bodies", records.compact.frame),
    ]


def _with_refused(records: RockRecords) -> pl.DataFrame:
    """Return the lineaments with a column that marks those a person refused."""
    refused = pl.col("lineament").is_in(sorted(records.refused))
    return records.lineaments.frame.with_columns(refused=refused)


def _points(name: str, frame: pl.DataFrame) -> Layer:
    """Return a layer of points."""
    places = frame.select("easting_m", "northing_m").to_numpy()
    shapes = tuple(Shape("point", (place[None, :],)) for place in places)
    return Layer(name, "point", shapes, _columns(frame))


def _polylines(records: RockRecords) -> tuple[Shape, ...]:
    """Return the lineaments as polylines; one with a single corner as a point."""
    corners = records.points.frame.sort("lineament", "number")
    by_name = corners.partition_by("lineament", as_dict=True)
    shapes = []
    for row in records.lineaments.frame.iter_rows(named=True):
        own = by_name.get((row["lineament"],))
        places = np.array([[row["easting_m"], row["northing_m"]]])
        if own is not None:
            places = own.select("easting_m", "northing_m").to_numpy()
        shapes.append(Shape("line" if len(places) > 1 else "point", (places,)))
    return tuple(shapes)


def _columns(frame: pl.DataFrame) -> dict[str, NDArray[Any]]:
    """Return columns as arrays; a missing text is None, a missing number NaN."""
    renamed = frame.rename({old: new for old, new in _NAMES.items() if old in frame.columns})
    return {
        name: series.cast(pl.Float64).fill_null(np.nan).round(_DECIMALS).to_numpy()
        if series.dtype == pl.Float64 or (series.dtype == pl.Int64 and series.null_count())
        else np.array(series.to_list(), dtype=object)
        if series.dtype == pl.String
        else series.to_numpy()
        for name, series in renamed.to_dict().items()
    }


def _features(layer: Layer, crs: str) -> list[Feature]:
    """Return a layer as features of GeoJSON: longitude and latitude on WGS84."""
    features = []
    kinds: dict[str, Any] = {"line": "LineString", "point": "Point"}
    for row, shape in enumerate(layer.shapes):
        corners = shape.rings[0]
        longitude, latitude = to_geographic(corners[:, 0], corners[:, 1], crs=crs)
        places = list(zip(longitude.tolist(), latitude.tolist(), strict=True))
        told = {name: _plain(values[row]) for name, values in layer.columns.items()}
        features.append(Feature(kinds[shape.geometry], places, told))
    return features


def _plain(value: Any) -> Any:
    """Return a value as JSON has it; NaN becomes null."""
    plain = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(plain, float) and not np.isfinite(plain) else plain


def target_points(records: RockRecords) -> pl.DataFrame:
    """Return one place to go to for each body: name, easting, northing and text.

    A joint fit stands at the best resolved pick of its lineament, a place on a survey line.
    """
    rows = []
    by_pick = {row["pick"]: row for row in records.bodies.frame.iter_rows(named=True)}
    for body in best_bodies(records):
        if body["depth_m"] is None:
            continue
        pick = best_pick(records, body["lineament"]) if body["lineament"] else body["pick"]
        place = by_pick.get(pick, body)
        rows.append((body["body"], place["easting_m"], place["northing_m"], _target_text(body)))
    compact = compact_targets(records)
    # a body that is told as compact stands once, at its own place
    names = {name for name, *_ in compact}
    return _frame([row for row in rows if row[0].split("-")[0] not in names] + compact)


def _target_text(body: dict[str, Any]) -> str:
    """Return what a target is, for a handheld."""
    joint = f", joint fit of {body['profiles']} lines" if body["pick"] is None else ""
    reach = number(1.645 * body["position_sd_m"], 1)
    return (
        f"{body['kind']}{joint}: top {_top(body)}, 90 % "
        f"interval; place ± {reach} m across the strike. Look for steel first."
    )


def _top(body: dict[str, Any]) -> str:
    """Return the top of a body in words."""
    return joint_words(body) if level_top(body) else f"{joint_words(body)} below ground"


def check_points(records: RockRecords) -> pl.DataFrame:
    """Return the crossings of lineaments and lines to be looked at: name, place and text.

    Those that a person refused are left out.
    """
    bodies = {row["pick"]: row for row in records.bodies.frame.iter_rows(named=True)}
    problems = problems_of(records)
    rows = []
    for pick in records.picks.frame.iter_rows(named=True):
        if pick["problem"] == REFUSED:
            continue
        body = bodies.get(pick["pick"])
        where = f"{pick['lineament'] or 'anomaly'} on line {pick['line'] or '?'}"
        if body is not None and body["depth_m"] is not None:
            what = f"top {interval(body, 'depth', 'm', 1)} below ground, 90 % interval"
            place = body["easting_m"], body["northing_m"]
        else:
            what = f"no depth. {problems.get(pick['pick'], '')}".strip()
            place = pick["easting_m"], pick["northing_m"]
        text = f"{where}: {what}. Check: outcrop, soil, steel, fence, services."
        rows.append((pick["pick"], *place, text))
    return _frame(rows)


def _frame(rows: list[tuple[str, float, float, str]]) -> pl.DataFrame:
    """Return places as a frame."""
    schema = {
        "name": pl.String, "easting_m": pl.Float64, "northing_m": pl.Float64, "text": pl.String
    }  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row")


def _waypoints(points: pl.DataFrame, crs: str, length: int) -> pl.DataFrame:
    """Return places as rows of waypoints, with names that the handheld takes."""
    longitude, latitude = to_geographic(
        points["easting_m"].to_numpy(), points["northing_m"].to_numpy(), crs=crs
    )
    return points.select(
        pl.int_range(1, pl.len() + 1).alias("line_in_file"),
        pl.lit(None, dtype=pl.Datetime("us")).alias("recorded_time"),
        pl.Series("latitude_deg", latitude, dtype=pl.Float64),
        pl.Series("longitude_deg", longitude, dtype=pl.Float64),
        pl.lit(None, dtype=pl.Float64).alias("height_m"),
        pl.Series("name", device_names(points["name"].to_list(), length=length), dtype=pl.String),
        "text",
    )
