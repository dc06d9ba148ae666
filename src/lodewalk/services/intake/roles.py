"""The role that a file seems to have, so that a person only has to confirm it."""

import re
from collections.abc import Sequence
from pathlib import Path

from lodewalk.errors import LodewalkError
from lodewalk.formats.registry import FORMATS, HEAD_BYTES, ROLES
from lodewalk.services.intake.columns import FileColumn, file_columns, head_lines

#: Words in a file's name, and the role that they mean.
WORDS = (
    ("base", "base"), ("observator", "observatory"), ("track", "track"), ("note", "notes"),
    ("kept_clear", "exclusion"), ("exclu", "exclusion"), ("clear", "exclusion"), ("area", "area"),
    ("plan", "plan"), ("hand_meter", "hand_meter"), ("known", "known"), ("older", "older"),
    ("rover", "rover"),
)  # fmt: skip

#: A coordinate of a projected system is larger, and changes less from row to row [m].
LEAST_COORDINATE_M, MOST_BETWEEN_ROWS_M = 10_000.0, 200.0


def likely_role(path: Path) -> str:
    """Return the likeliest role of a file by its format, its name and its columns."""
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    surest = max(FORMATS, key=lambda item: item.reader().recognise(head))
    if not surest.reader().recognise(head):
        return _by_name(path.name, ROLES) or "rover"
    if surest.name == "gpx":
        return "track" if b"<trk" in head else "plan" if b"<rte" in head else "notes"
    found = _by_name(path.name, surest.roles)
    if found:
        return found
    return _by_columns(path) if surest.name == "delimited" else surest.roles[0]


def _by_name(name: str, roles: tuple[str, ...]) -> str | None:
    """Return the first role that a file's name tells, of those that its format serves."""
    small = name.casefold()
    letter = re.match(r"([rb])\d{1,2}(?![a-z0-9])", small)  # R1_day.csv, B2.txt
    if letter and "track" not in small:
        return {"r": "rover", "b": "base"}[letter[1]] if "rover" in roles else None
    return next((role for word, role in WORDS if word in small and role in roles), None)


def _by_columns(path: Path) -> str:
    """Return the role that the columns of delimited text speak for."""
    from lodewalk.formats.delimited import propose

    try:
        found = propose(path, role="rover").column_map
        columns = found.columns
        if "field" in columns:
            placed = {"latitude", "easting", "line", "station"} & set(columns)
            return (
                "rover" if placed or like_places(file_columns(head_lines(path), found)) else "base"
            )
        columns = propose(path, role="notes").column_map.columns
    except LodewalkError:
        return "rover"
    if "latitude" in columns or "easting" in columns:
        return "notes" if {"name", "text"} & set(columns) else "track"
    return "rover"


def like_places(columns: Sequence[FileColumn]) -> bool:
    """Tell whether two columns that nothing reads change as the coordinates of a walk do.

    A walker's easting and northing are large and hardly change from row to row, while what a
    base records besides its field is small (a temperature, a voltage) or stays as it is.
    """
    return sum(one.meaning is None and _like_coordinate(one.values) for one in columns) >= 2


def _like_coordinate(values: Sequence[str]) -> bool:
    """Tell whether a column's values are those of one coordinate along a walk [m]."""
    try:
        numbers = [abs(float(value.replace(",", "."))) for value in values]
    except ValueError:
        return False
    if not numbers or min(numbers) < LEAST_COORDINATE_M:
        return False
    return 0 < max(numbers) - min(numbers) < MOST_BETWEEN_ROWS_M * len(numbers)
