"""A plan for viewers and for tables: layers of KML and GeoPackage, CSV of lines and waypoints."""

from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.figures.plan_map import DAY_COLOURS
from lodewalk.formats.geopackage.write import Layer, Shape
from lodewalk.formats.geopackage.write import write as write_layers
from lodewalk.formats.kml.write import Folder, Place, Style
from lodewalk.formats.kml.write import write as write_places
from lodewalk.handover.field_sheet import bearings_deg, end_names
from lodewalk.records.planning import Outline, PlannedSurvey, walked, walking_azimuth_deg

#: Decimals of metres, of degrees of a place, and of degrees of a bearing, as they are printed.
_METRES, _PLACE, _BEARING = 3, 9, 2
_BROWN: Final = "#7a4d00"


def line_table(survey: PlannedSurvey) -> pl.DataFrame:
    """Return the pieces in order of walking, their ends as they are walked, units in the names."""
    names, rows = end_names(survey), []
    order: dict[tuple[int, int], int] = {}
    for row in survey.lines.frame.iter_rows(named=True):
        party = row["day"], row["rover"]
        order[party] = order.get(party, 0) + 1
        grid, true, magnetic = bearings_deg(survey, walking_azimuth_deg(row))
        start_east, start_north, end_east, end_north = walked(row)
        rows.append(
            {
                "line": row["line"],
                "kind": row["kind"],
                "number": row["number"],
                "piece": row["piece"],
                "day": row["day"],
                "date": survey.date(row["day"]) or None,
                "rover": row["rover"],
                "order": order[party],
                "start_waypoint": names.get((row["line"], "start")),
                "end_waypoint": names.get((row["line"], "end")),
                "start_easting_m": start_east,
                "start_northing_m": start_north,
                "end_easting_m": end_east,
                "end_northing_m": end_north,
                "length_m": row["length_m"],
                "ground_length_m": row["ground_length_m"],
                "bearing_grid_deg": grid,
                "bearing_true_deg": true,
                "bearing_magnetic_deg": magnetic,
            }
        )
    whole = ("number", "piece", "day", "rover", "order")
    schema = dict.fromkeys(whole, pl.Int64) | {
        name: pl.Float64 for name in (rows[0] if rows else {}) if name.endswith(("_m", "_deg"))
    }
    return _rounded(pl.DataFrame(rows, schema_overrides=schema))


def point_table(survey: PlannedSurvey) -> pl.DataFrame:
    """Return the waypoints in order, units in the names."""
    dates = {day: survey.date(day) or None for day in survey.days}
    frame = survey.points.frame.with_columns(
        date=pl.col("day").replace_strict(dates, default=None, return_dtype=pl.String)
    )
    order = ("name", "kind", "day", "date", "rover", "line", "easting_m", "northing_m", "height_m",
             "latitude_deg", "longitude_deg", "text")  # fmt: skip
    return _rounded(frame.select(order).with_columns(pl.col("height_m").fill_nan(None)))


def _rounded(frame: pl.DataFrame) -> pl.DataFrame:
    """Round metres, places and bearings; a bearing of 360 is 0."""
    metres = [name for name in frame.columns if name.endswith("_m")]
    bearings = [name for name in frame.columns if name.startswith("bearing_")]
    places = [name for name in ("latitude_deg", "longitude_deg") if name in frame.columns]
    return frame.with_columns(
        *(pl.col(name).round(_METRES) for name in metres),
        *(pl.col(name).round(_PLACE) for name in places),
        *(pl.col(name).round(_BEARING) % 360 for name in bearings),
    )


def write_csv(path: Path, frame: pl.DataFrame) -> None:
    """Write a table as CSV in UTF-8; an empty field is missing."""
    path.write_bytes(frame.write_csv(line_terminator="\n").encode("utf-8"))


def write_geopackage(path: Path, survey: PlannedSurvey) -> None:
    """Write lines, points, area and exclusions as layers of a GeoPackage, in the survey's CRS."""
    lines, points = line_table(survey), point_table(survey)
    ends = lines.select(
        "start_easting_m", "start_northing_m", "end_easting_m", "end_northing_m"
    ).to_numpy()
    places = survey.points.frame.select("easting_m", "northing_m").to_numpy()
    areas = [item for item in survey.outlines if item.role == "area"]
    others = [item for item in survey.outlines if item.role != "area"]
    write_layers(
        path,
        [
            Layer("lines", "line",
                  tuple(Shape("line", (end.reshape(2, 2),)) for end in ends), _columns(lines)),
            Layer("points", "point",
                  tuple(Shape("point", (place[None, :],)) for place in places), _columns(points)),
            Layer("area", "polygon", _shapes(areas), _outline_columns(areas)),
            Layer("exclusions", "any", _shapes(others), _outline_columns(others)),
        ],
        crs=survey.crs,
    )  # fmt: skip


def _columns(frame: pl.DataFrame) -> dict[str, NDArray[Any]]:
    """Return columns as arrays; a missing text is None, a missing number NaN."""
    return {
        name: series.to_numpy()
        if series.dtype.is_numeric()
        else np.array(series.to_list(), dtype=object)
        for name, series in frame.to_dict().items()
    }


def _shapes(outlines: list[Outline]) -> tuple[Shape, ...]:
    """Return outlines as shapes."""
    return tuple(Shape(item.geometry, item.rings) for item in outlines)


def _outline_columns(outlines: list[Outline]) -> dict[str, NDArray[Any]]:
    """Return what is known of outlines as columns."""
    words = {
        name: np.array([getattr(item, name) for item in outlines], dtype=object)
        for name in ("role", "name", "kind")
    }
    buffers = [np.nan if item.buffer_m is None else item.buffer_m for item in outlines]
    return {**words, "buffer_m": np.array(buffers, dtype=float)}


def write_kml(path: Path, survey: PlannedSurvey) -> None:
    """Write the plan as KML: area, exclusions, the lines of each day, points."""
    styles = [
        Style("area", "#000000", 2.0),
        Style("exclusion", _BROWN, 1.5, 0.4),
        Style("kept-clear", _BROWN, 1.0),
        *(Style(f"day-{index + 1}", colour, 3.0) for index, colour in enumerate(DAY_COLOURS)),
    ]
    outlines = {
        role: tuple(
            _outline_place(item, survey.crs) for item in survey.outlines if item.role == role
        )
        for role in ("area", "exclusion", "kept clear")
    }
    folders = [
        Folder("Area", outlines["area"]),
        Folder("Exclusions", outlines["exclusion"]),
        Folder("Kept clear", outlines["kept clear"]),
        *(Folder(f"Day {day}", _line_places(survey, day)) for day in survey.days),
        Folder("Points", _point_places(survey)),
    ]
    write_places(path, folders, name=f"{survey.name}: plan", text=survey.crs_title, styles=styles)


def _outline_place(item: Outline, crs: str) -> Place:
    """Return an outline as a place of KML."""
    kept = "" if item.buffer_m is None else f", kept clear {item.buffer_m:g} m"
    rings = tuple(_degrees(ring, crs) for ring in item.rings)
    name = item.name or item.kind or item.role
    style = item.role.replace(" ", "-")
    told = {"kind": item.kind} if item.kind else {}
    if item.buffer_m is not None:
        told["buffer_m"] = f"{item.buffer_m:g}"
    return Place(name, f"{item.kind or item.role}{kept}", item.geometry, rings, style, told)


def _degrees(corners: NDArray[np.float64], crs: str) -> NDArray[np.float64]:
    """Return easting and northing as longitude and latitude."""
    longitude, latitude = to_geographic(corners[:, 0], corners[:, 1], crs=crs)
    return np.column_stack((longitude, latitude))


def _line_places(survey: PlannedSurvey, day: int) -> tuple[Place, ...]:
    """Return the pieces of a day as lines of KML."""
    frame = survey.lines.frame.filter(pl.col("day") == day)
    frame = frame.unique(["line", "rover"], keep="first", maintain_order=True)
    return tuple(
        Place(
            row["line"],
            f"{row['kind']}, day {day}, rover {row['rover']}, {row['length_m']:.0f} m",
            "line",
            (_degrees(np.array(walked(row)).reshape(2, 2), survey.crs),),
            f"day-{(day - 1) % len(DAY_COLOURS) + 1}",
        )
        for row in frame.iter_rows(named=True)
    )


def _point_places(survey: PlannedSurvey) -> tuple[Place, ...]:
    """Return the points of KML."""
    return tuple(
        Place(row["name"], row["text"], "point",
              (np.array([[row["longitude_deg"], row["latitude_deg"]]]),))
        for row in survey.points.frame.iter_rows(named=True)
    )  # fmt: skip
