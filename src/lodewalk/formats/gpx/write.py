"""The writer of GPX 1.1; the XML itself is a library's."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import polars as pl
import polars.selectors

from lodewalk.errors import InputError
from lodewalk.records.recorded import Route, Track, Waypoints
from lodewalk.validation import check_within

if TYPE_CHECKING:
    from gpxpy.gpx import GPX

#: Our words for the kind of fix, and those of GPX, which has none for a phase fix.
FIXES = {"none": "none", "2d": "2d", "3d": "3d", "dgps": "dgps", "rtk": "dgps", "float": "dgps"}


def write(
    path: Path,
    *,
    tracks: Track | None = None,
    routes: Route | None = None,
    waypoints: Waypoints | None = None,
    creator: str = "lodewalk",
) -> None:
    """Write points to a GPX 1.1 file.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    tracks : Track, optional
        Becomes one track with its segments; times are taken as UTC.
    routes : Route, optional
        Each planned line becomes one route with its name, its text and the names of its vertices.
    waypoints : Waypoints, optional
        Points without a position are left out, since GPX can't hold them.
    creator : str, optional
        What made the file.

    Raises
    ------
    InputError
        For a position out of range or a text with control characters.

    Notes
    -----
    A longitude of 180 is written as -180, since the schema ends below 180. Positions keep every
    digit down to 1e-10 degrees. RTK and float fixes become ``dgps``, the nearest that GPX has.
    The file holds no time of its making, so the same points give the same bytes.
    """
    import gpxpy.gpx

    document = gpxpy.gpx.GPX()
    document.creator = _attribute(creator or "lodewalk")
    for row in _rows(waypoints):
        document.waypoints.append(gpxpy.gpx.GPXWaypoint(**_place(row), **_note(row)))
    _add_routes(document, routes)
    _add_track(document, tracks)
    path.write_text(document.to_xml(version="1.1") + "\n", encoding="utf-8", newline="\n")


def _rows(table: Track | Route | Waypoints | None) -> Iterator[dict[str, Any]]:
    """Yield the rows that have a position, as dictionaries."""
    if table is None:
        return
    for name, limit in (("latitude_deg", 90.0), ("longitude_deg", 180.0)):
        check_within(table.floats(name), name=name, low=-limit, high=limit, unit="degrees")
    frame = table.frame.with_columns(pl.selectors.float().fill_nan(None))
    yield from frame.drop_nulls(["latitude_deg", "longitude_deg"]).iter_rows(named=True)


def _add_routes(document: "GPX", routes: Route | None) -> None:
    """Add one route for each run of rows of one line."""
    import gpxpy.gpx

    name = None
    for row in _rows(routes):
        if name is None or row["line"] != name:
            name = row["line"]
            text = _text(row.get("text"))
            document.routes.append(gpxpy.gpx.GPXRoute(name=_text(name), description=text))
        point = gpxpy.gpx.GPXRoutePoint(**_place(row), name=_text(row.get("name")))
        document.routes[-1].points.append(point)


def _add_track(document: "GPX", track: Track | None) -> None:
    """Add one track with a segment for each run of rows of one segment."""
    import gpxpy.gpx

    if track is None:
        return
    segments = gpxpy.gpx.GPXTrack()
    document.tracks.append(segments)
    number = None
    for row in _rows(track):
        if row["segment"] != number:
            number = row["segment"]
            segments.segments.append(gpxpy.gpx.GPXTrackSegment())
        point = gpxpy.gpx.GPXTrackPoint(**_place(row), elevation=row["height_m"], time=_time(row))
        point.type_of_gpx_fix = FIXES.get(row.get("fix") or "")
        point.horizontal_dilution = row.get("hdop")
        satellites = row.get("satellites")
        point.satellites = None if satellites is None else int(satellites)
        segments.segments[-1].points.append(point)


def _place(row: dict[str, Any]) -> dict[str, Any]:
    """Return the position of a row within the range of the schema."""
    longitude = row["longitude_deg"]
    return {
        "latitude": row["latitude_deg"],
        "longitude": -180.0 if longitude == 180.0 else longitude,
    }


def _note(row: dict[str, Any]) -> dict[str, Any]:
    """Return height, time, name and text of a waypoint."""
    return {
        "elevation": row["height_m"],
        "time": _time(row),
        "name": _text(row["name"]),
        "description": _text(row["text"]),
    }


def _time(row: dict[str, Any]) -> datetime | None:
    """Return the time of a row in UTC."""
    time: datetime | None = row["recorded_time"]
    return None if time is None else time.replace(tzinfo=UTC)


def _text(text: str | None) -> str | None:
    """Return a text that XML can hold, or raise."""
    if text is not None and any(_unfit(letter) for letter in text):
        raise InputError("A text may not hold control characters.", value=text)
    return text


def _attribute(text: str) -> str:
    """Return a text escaped for an attribute, which the library writes as it is."""
    return escape(_text(text) or "", {'"': "&quot;"})


def _unfit(letter: str) -> bool:
    """Tell whether XML 1.0 can't hold a character (section 2.2, production 2)."""
    code = ord(letter)
    control = code < 0x20 and letter not in "\t\n"
    return control or 0xD800 <= code <= 0xDFFF or code in (0xFFFE, 0xFFFF)
