"""A laid-out plan as the tables of planned lines and points."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.methods.planning.waypoints import stations_along
from lodewalk.records.planning import PlannedLines, PlannedPoints, walked
from lodewalk.records.table import float_column
from lodewalk.steps.plan_ground import Ground
from lodewalk.steps.plan_lines import Layout, Repeat

Floats = NDArray[np.float64]
REPEAT_NAME = "R01"
#: What a person reads beside each point.
TEXTS = {
    "base": "Base: five readings 1 m around it, at sensor height, within 2 nT of each other",
    "other base": "Another site of the base, if the first fails its test",
    "check station": "Check station: read it in the morning, at noon and in the evening",
    "turns": "Turn-around test: read it facing each of eight ways",
}
NAMES = {"base": "BASE", "other base": "BASE", "check station": "CHECK", "turns": "TURNS"}


def planned_lines(layout: Layout, ground: Ground, rovers: int) -> PlannedLines:
    """Return the pieces in order of walking; each tour begins and ends with the repeat line.

    Parameters
    ----------
    layout : Layout
        The plan.
    ground : Ground
        The ground, for the length of the repeat line.
    rovers : int
        Rovers that walk at the same time.
    """
    frames = []
    for number, tour in enumerate(layout.tours):
        own = [_tour_frame(layout, tour.order.piece, tour.order.turned)]
        if layout.repeat is not None:
            own = [_repeat_frame(layout.repeat, ground), *own, _repeat_frame(layout.repeat, ground)]
        day, rover = divmod(number, rovers)
        for frame in own:
            frame["day"] = np.full(len(frame["line"]), day + 1)
            frame["rover"] = np.full(len(frame["line"]), rover + 1)
        frames += own
    names = [column.name for column in PlannedLines.SCHEMA]
    columns = {name: [value for frame in frames for value in frame[name]] for name in names}
    schema = {column.name: column.dtype for column in PlannedLines.SCHEMA}
    return PlannedLines(pl.DataFrame(columns, schema=schema))


def _tour_frame(
    layout: Layout, piece: NDArray[np.int64], turned: NDArray[np.bool_]
) -> dict[str, Any]:
    """Return the columns of the pieces of one tour."""
    first, second = layout.pieces.first[piece], layout.pieces.second[piece]
    return {
        "line": [layout.names[row] for row in piece],
        "kind": [layout.kinds[row] for row in piece],
        "number": layout.pieces.number[piece] + 1,
        "piece": layout.parts[piece] + 1,
        "reversed": turned,
        "ground_length_m": layout.ground.length_m[piece],
        **_ends(first, second),
    }


def _repeat_frame(repeat: Repeat, ground: Ground) -> dict[str, Any]:
    """Return the columns of the repeat line."""
    first, second = repeat.first[np.newaxis], repeat.second[np.newaxis]
    return {
        "line": [REPEAT_NAME],
        "kind": ["repeat"],
        "number": np.array([1]),
        "piece": np.array([1]),
        "reversed": np.array([False]),
        "ground_length_m": ground.pieces(first, second).length_m,
        **_ends(first, second),
    }


def _ends(first: Floats, second: Floats) -> dict[str, Floats]:
    """Return ends, length and azimuth of pieces."""
    east, north = (second - first).T
    return {
        "easting_1_m": first[:, 0],
        "northing_1_m": first[:, 1],
        "easting_2_m": second[:, 0],
        "northing_2_m": second[:, 1],
        "length_m": np.hypot(east, north),
        "azimuth_deg": np.degrees(np.arctan2(east, north)) % 360,
    }


@dataclass(frozen=True)
class _Point:
    """A point to walk to or to stand at."""

    name: str
    kind: str
    day: int
    rover: int
    line: str | None
    place: tuple[float, float]
    text: str


def planned_points(
    layout: Layout, lines: PlannedLines, ground: Ground, settings: Mapping[str, Any], crs: str
) -> PlannedPoints:
    """Return where to stand, then the points along each piece in the order of walking."""
    points = [*_stands(layout), *_along(lines, settings["handheld"]["waypoint_each_m"])]
    places = np.array([point.place for point in points])
    longitude, latitude = to_geographic(places[:, 0], places[:, 1], crs=crs)
    return PlannedPoints(
        pl.DataFrame(
            {
                "name": [point.name for point in points],
                "kind": [point.kind for point in points],
                "day": [point.day for point in points],
                "rover": [point.rover for point in points],
                "line": pl.Series([point.line for point in points], dtype=pl.String),
                "easting_m": places[:, 0],
                "northing_m": places[:, 1],
                "height_m": float_column(ground.heights(places)).cast(pl.Float64),
                "latitude_deg": latitude,
                "longitude_deg": longitude,
                "text": [point.text for point in points],
            }
        )
    )


def _stands(layout: Layout) -> Iterator[_Point]:
    """Yield base, alternatives, check station and turns."""
    stand = layout.stand
    for number, place in enumerate(stand.places):
        kind = "other base" if number else "base"
        name = f"BASE{number + 1}" if number else "BASE"
        broken = "".join(f"; {text}" for text in stand.sites[number].broken)
        yield _stand(name, kind, place, broken)
    yield _stand(NAMES["check station"], "check station", stand.check)
    if stand.turns is not None:
        yield _stand(NAMES["turns"], "turns", stand.turns)


def _stand(name: str, kind: str, place: Floats, more: str = "") -> _Point:
    """Return one place to stand at."""
    where = (float(place[0]), float(place[1]))
    return _Point(name, kind, 0, 0, None, where, f"{TEXTS[kind]}{more}")


def _along(lines: PlannedLines, each_m: float) -> Iterator[_Point]:
    """Yield start, points on the way and end of each piece; the repeat line's are of each day."""
    seen = set()
    for row in lines.frame.iter_rows(named=True):
        if row["line"] in seen:
            continue
        seen.add(row["line"])
        daily = row["kind"] == "repeat"
        start_east, start_north, end_east, end_north = walked(row)
        stations = [0.0, *stations_along(row["length_m"], each_m=each_m), row["length_m"]]
        for number, station in enumerate(stations):
            share = station / row["length_m"]
            kind = "start" if number == 0 else "end" if share == 1 else "on line"
            words = {"start": "Start of", "end": "End of"}.get(kind, f"{station:.0f} m along")
            yield _Point(
                f"{row['line']}-{round(station):03d}",
                kind,
                0 if daily else row["day"],
                0 if daily else row["rover"],
                row["line"],
                (
                    start_east + share * (end_east - start_east),
                    start_north + share * (end_north - start_north),
                ),
                f"{words} line {row['line']}",
            )
