"""The reader of GPX: a track, planned lines or notes from the points of a file."""

import re
from itertools import groupby
from pathlib import Path

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.gpx.parse import Document, Point, parse
from lodewalk.formats.gpx.shapes import read_shapes
from lodewalk.formats.words import counted, own_name
from lodewalk.records.recorded import Route, Track, Waypoints

NOUNS = {"track": "track point", "plan": "route point", "notes": "waypoint"}

#: The words of GPX for the kind of fix, and ours.
FIXES = {"none": "none", "2d": "2d", "3d": "3d", "dgps": "dgps", "pps": "3d"}

POINT_SCHEMA = {
    "line_in_file": pl.Int64(),
    "group": pl.Int64(),
    "latitude_deg": pl.Float64(),
    "longitude_deg": pl.Float64(),
    "height_m": pl.Float64(),
    "recorded_time": pl.Int64(),
    "fix": pl.String(),
    "satellites": pl.Float64(),
    "hdop": pl.Float64(),
    "name": pl.String(),
    "text": pl.String(),
}


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is GPX.

    Examples
    --------
    >>> recognise(b'<?xml version="1.0"?><gpx version="1.1" creator="lodewalk">')
    1.0
    """
    text = head.replace(b"\x00", b"")  # UTF-16 of plain letters
    return float(re.search(rb"<([\w.-]+:)?gpx[\s>]", text) is not None)


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a file as a track, as planned lines, as notes, as an area or as exclusions.

    Parameters
    ----------
    path : Path
        The file.
    role : {"track", "plan", "notes", "area", "exclusion"}
        A track takes the track points, a plan the routes, notes take the waypoints; for areas
        and exclusions see `read_shapes`.
    column_map : None
        Not used: the format says itself what it holds.

    Returns
    -------
    Content
        `Track`, `Route`, `Waypoints` or `Shapes`; times in UTC.

    Raises
    ------
    InputError
        For a damaged or dangerous file, a position out of range, or no point for the role.

    Notes
    -----
    A time that no GPS receiver can have measured (before 6 January 1980, or a date that doesn't
    exist) is missing, and said so; the position beside it is kept. GPX doesn't say what its
    heights are above; most receivers write the height above sea level.
    """
    del column_map
    if role in ("area", "exclusion"):
        return read_shapes(path, role=role)
    if role not in NOUNS:
        rule = "GPX serves as track, plan, notes, area or exclusion."
        raise InputError(rule, file=path.name, value=role)
    document = parse(path, role=role)
    if not document.points:
        _refuse_empty(document, role, file=path.name)
    frame = pl.DataFrame(document.points, schema=POINT_SCHEMA, orient="row").with_columns(
        pl.col("recorded_time").cast(pl.Datetime("us"))
    )
    notes = [_summary(document, frame, role)]
    if role == "plan":
        table, more = _route(frame, document)
        return Content(table, zone="UTC", understood=(*notes, *more))
    notes += document.times.notes()
    if role == "notes":
        return Content(_waypoints(frame), zone="UTC", understood=tuple(notes))
    return Content(_track(frame), zone="UTC", understood=tuple(notes))


def _refuse_empty(document: Document, role: str, *, file: str) -> None:
    """Say that the file holds nothing for the role, and what it does hold."""
    held = [f"{counted(n, NOUNS[kind])} (role {kind})" for kind, n in document.counts.items()]
    raise InputError(
        f"The file holds no {NOUNS[role]}s.",
        file=file,
        remedy=f"It holds {', '.join(held)}." if held else "It holds no points at all.",
    )


def _summary(document: Document, frame: pl.DataFrame, role: str) -> str:
    """Say what was read and over which time, and what was left."""
    parts = [f"GPX {document.version or 'without a version'}: {counted(len(frame), NOUNS[role])}"]
    if role == "track":
        parts[0] += f" in {counted(frame['group'].n_unique(), 'segment')}"
    if role == "plan":
        parts[0] += f" in {counted(frame['group'].n_unique(), 'route')}"
    times = frame["recorded_time"].drop_nulls().sort()
    if role != "plan":
        parts.append("no times")
    if role != "plan" and len(times):
        parts[-1] = f"from {times[0].isoformat()}Z to {times[-1].isoformat()}Z"
        if len(times) < len(frame):
            parts.append(f"{len(frame) - len(times)} without a time")
    others = [counted(n, NOUNS[kind]) for kind, n in document.counts.items() if kind != role]
    if others:
        parts.append(f"left aside: {', '.join(others)}")
    if document.version != "1.1":
        parts.append("read by the rules of GPX 1.1")
    return "; ".join(parts) + "."


def _track(frame: pl.DataFrame) -> Track:
    """Return the track points; the columns of the fix only where one has a value."""
    frame = frame.with_columns(
        pl.col("group").rle_id().cast(pl.Int64).alias("segment"),
        pl.col("fix").replace_strict(FIXES, default=None, return_dtype=pl.String()),
    )
    empty = [name for name in ("fix", "satellites", "hdop") if frame[name].is_null().all()]
    return Track(frame.drop("group", "name", "text", *empty))


def _waypoints(frame: pl.DataFrame) -> Waypoints:
    """Return the named points."""
    return Waypoints(frame.drop("group", "fix", "satellites", "hdop"))


def _route(frame: pl.DataFrame, document: Document) -> tuple[Route, list[str]]:
    """Return the vertices of each route as one line with a name of its own."""
    names: dict[int, str] = {}
    notes = []
    for index, (group, _) in enumerate(groupby(document.points, key=_group), start=1):
        given = document.group_names.get(group) or f"route {index}"
        name = own_name(given, names.values())
        if name != given:
            notes.append(f"A further route called {given} is now {name}.")
        names[group] = name
    lines = frame["group"].replace_strict(names, return_dtype=pl.String())
    columns = ("line_in_file", "line", "latitude_deg", "longitude_deg")
    return Route(frame.with_columns(lines.alias("line")).select(columns)), notes


def _group(point: Point) -> int:
    """Return the group of a point."""
    return point.group
