"""The plan as a handheld takes it: waypoints with short names, files of a size that it loads."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from lodewalk.adapters.projection import to_geographic
from lodewalk.handover.device_names import device_names
from lodewalk.records.planning import PlannedPoints, PlannedSurvey, walked
from lodewalk.records.recorded import Route, Waypoints

#: Kinds of points that lie on a line.
ON_LINES = ("start", "on line", "end")
#: Points of every day are repeated in each part of a day while they fill less than this share.
_MOST_COMMON = 0.25


@dataclass(frozen=True)
class DeviceFile:
    """What goes into one file: end of its name, day, rover, part of how many, points, routes."""

    stem: str
    day: int
    rover: int
    part: int
    parts: int
    points: pl.DataFrame
    lines: pl.DataFrame


def named_for_device(
    points: PlannedPoints, *, name_length: int
) -> tuple[PlannedPoints, dict[str, str]]:
    """Return every point with a name for the handheld, and the names that were changed.

    Parameters
    ----------
    points : PlannedPoints
        The points of a plan, in order.
    name_length : int
        Letters that a name may have.

    Returns
    -------
    PlannedPoints
        The same points with names of capitals, figures and hyphens, no two alike.
    dict
        Name on the device by full name, where they differ in more than capitals.
    """
    wanted = points.frame["name"].to_list()
    names = device_names(wanted, length=name_length)
    told = {old: new for old, new in zip(wanted, names, strict=True) if old.upper() != new}
    return PlannedPoints(points.frame.with_columns(name=pl.Series(names, dtype=pl.String))), told


def stem_of(survey: PlannedSurvey, day: int, rover: int) -> str:
    """Return how the files of a party begin: its day, and its rover where there are several."""
    several = len({rover for _, rover in survey.parties}) > 1
    return f"day-{day}" + (f"-rover-{rover}" if several else "")


def device_files(survey: PlannedSurvey, *, most: int) -> list[DeviceFile]:
    """Split a plan by day and rover, and each day into parts that a handheld loads.

    Parameters
    ----------
    survey : PlannedSurvey
        The plan; its points have their names for the handheld.
    most : int
        Waypoints that the device takes at a time.

    Returns
    -------
    list of DeviceFile
        Points of each day stand in every part while there are few of them; a line's points stay
        together unless it has more than a whole file takes.
    """
    files = []
    for day, rover in survey.parties:
        stem = stem_of(survey, day, rover)
        # The repeat line is walked twice, but is one route.
        lines = survey.lines_of(day, rover).unique("line", keep="first", maintain_order=True)
        points = survey.points_of(day, rover)
        groups = _parts(points, most)
        for number, group in enumerate(groups, 1):
            name = stem if len(groups) == 1 else f"{stem}-part-{number}"
            names = group["line"].drop_nulls().unique()
            own = lines.filter(pl.col("line").is_in(names.implode()))
            files.append(DeviceFile(name, day, rover, number, len(groups), group, own))
    return files


def _parts(points: pl.DataFrame, most: int) -> list[pl.DataFrame]:
    """Return the points in parts of at most so many."""
    if points.height <= most:
        return [points]
    on_lines = pl.col("line").is_not_null() & pl.col("kind").is_in(list(ON_LINES))
    common, own = points.filter(~on_lines), points.filter(on_lines)
    repeated = common.height <= _MOST_COMMON * most
    room = most - common.height if repeated else most
    blocks = [
        block[start : start + room]
        for block in own.partition_by("line", maintain_order=True)
        for start in range(0, block.height, room)
    ]
    parts: list[list[pl.DataFrame]] = []
    for block in blocks:
        if not parts or sum(item.height for item in parts[-1]) + block.height > room:
            parts.append([])
        parts[-1].append(block)
    if repeated:
        return [pl.concat([common, *part]) for part in parts]
    first = [common[start : start + most] for start in range(0, common.height, most)]
    return [*first, *(pl.concat(part) for part in parts)]


def waypoints_of(points: pl.DataFrame) -> Waypoints:
    """Return planned points as waypoints, their text with them."""
    return Waypoints(
        points.select(
            pl.int_range(1, pl.len() + 1).alias("line_in_file"),
            pl.lit(None, dtype=pl.Datetime("us")).alias("recorded_time"),
            *("latitude_deg", "longitude_deg", "height_m", "name", "text"),
        )
    )


def routes_of(survey: PlannedSurvey, lines: pl.DataFrame) -> Route:
    """Return each piece as a route from its start to its end, as it is walked."""
    names = {
        (row["line"], row["kind"]): row["name"]
        for row in survey.points.frame.iter_rows(named=True)
        if row["kind"] in ON_LINES
    }
    rows = [
        {"line": row["line"], "place": place, "name": names.get((row["line"], kind)),
         "text": f"{row['kind']}, {row['length_m']:.0f} m, day {row['day']}"}
        for row in lines.iter_rows(named=True)
        for kind, place in (("start", walked(row)[:2]), ("end", walked(row)[2:]))
    ]  # fmt: skip
    return _route(rows, survey.crs)


def walk_of(survey: PlannedSurvey, lines: pl.DataFrame, *, stem: str, most: int) -> Route:
    """Return the whole walk of a day through starts and ends, in routes of at most so many points.

    Where there are several their names end in a letter or number, and each begins where the one
    before ended.
    """
    rows = routes_of(survey, lines).frame
    if not rows.height:
        return Route.empty()
    step = most - 1
    starts = range(0, max(rows.height - 1, 1), step)
    parts = [rows[start : start + most] for start in starts]
    named = [
        part.with_columns(
            line=pl.lit(stem if len(parts) == 1 else f"{stem}-{number}"),
            text=pl.lit(f"The day's walk, part {number} of {len(parts)}"),
        )
        for number, part in enumerate(parts, 1)
    ]
    frame = pl.concat(named)
    return Route(frame.with_columns(line_in_file=pl.int_range(1, frame.height + 1, dtype=pl.Int64)))


def _route(rows: list[dict[str, Any]], crs: str) -> Route:
    """Return rows with a place on the grid as vertices of routes."""
    if not rows:
        return Route.empty()
    places = np.array([row["place"] for row in rows])
    longitude, latitude = to_geographic(places[:, 0], places[:, 1], crs=crs)
    return Route(
        pl.DataFrame(
            {
                "line_in_file": np.arange(1, len(rows) + 1),
                "line": [row["line"] for row in rows],
                "latitude_deg": latitude,
                "longitude_deg": longitude,
                "name": pl.Series([row["name"] for row in rows], dtype=pl.String),
                "text": [row["text"] for row in rows],
            }
        )
    )
