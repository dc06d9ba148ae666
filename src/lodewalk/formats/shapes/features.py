"""Features of a vector file before they become records, and the rules that all of them keep."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from lodewalk.adapters.exclusion_kinds import kind_of_tags, known_kind
from lodewalk.errors import InputError

MAX_CORNERS = 1_000_000
#: No angle is as large, so numbers beyond it are taken for metres.
FULL_CIRCLE = 360.0
IN_METRES = (
    "These look like metres; export the file in WGS 84, or as GeoPackage, which tells its "
    "reference system."
)


class Corner(NamedTuple):
    """One place: line of the file, longitude [deg] or easting [m], latitude or northing."""

    line: int
    first: float
    second: float


@dataclass(frozen=True)
class Part:
    """One polygon (outline, then holes), line or point."""

    geometry: str
    rings: tuple[tuple[Corner, ...], ...]


@dataclass(frozen=True)
class Feature:
    """Parts that belong together, and what the file says of them."""

    parts: tuple[Part, ...]
    name: str | None = None
    kind: str | None = None
    buffer_m: float | None = None
    text: str | None = None


def from_properties(
    parts: tuple[Part, ...], properties: Mapping[str, Any], *, file: str, line: int
) -> Feature:
    """Return a feature with the name, kind, buffer and text that its properties give.

    Where no kind that is known is given, open tags such as ``power=line`` tell it.

    Parameters
    ----------
    parts : tuple of Part
        Its polygons, lines and points.
    properties : mapping
        Names and values; whether letters are small or large doesn't matter.
    file : str
        Named in an error.
    line : int
        Line of the file, for an error.

    Raises
    ------
    InputError
        For a buffer that is no number of metres.

    Examples
    --------
    >>> from_properties((), {"Kind": "fence", "BUFFER_M": "12.5"}, file="f", line=1).buffer_m
    12.5
    """
    lower = {key.strip().casefold(): value for key, value in properties.items()}
    return Feature(
        parts,
        name=_text(lower.get("name")),
        kind=_kind(lower),
        buffer_m=_buffer(lower.get("buffer_m"), file=file, line=line),
        text=_text(lower.get("text")) or _text(lower.get("description")),
    )


def _kind(lower: Mapping[str, Any]) -> str | None:
    """Return the kind that a file gives, else the one that its tags tell."""
    given = _text(lower.get("kind"))
    if given is not None and known_kind(given) is not None:
        return given
    words = {key: text for key, value in lower.items() if (text := _text(value)) is not None}
    return kind_of_tags(words) or given


def _text(value: object) -> str | None:
    """Return a value as text on one line, None where it is absent or empty."""
    if value is None or isinstance(value, (dict, list)):
        return None
    if isinstance(value, float) and math.isnan(value):
        return None
    return " ".join(str(value).split()) or None


def _buffer(value: object, *, file: str, line: int) -> float | None:
    """Return the buffer of a feature, or raise."""
    text = _text(value)
    if text is None:
        return None
    try:
        found = math.nan if isinstance(value, bool) else float(text)
    except ValueError:
        found = math.nan
    if not (math.isfinite(found) and found >= 0):
        raise InputError(
            "buffer_m must be a number of metres, 0 or more.", file=file, line=line, value=value
        )
    return found


def check_degrees(corner: Corner, *, file: str) -> None:
    """Raise unless a place is a longitude and a latitude, in this order.

    Raises
    ------
    InputError
        For a latitude beyond 90 or a longitude beyond 180 degrees, or 360 where a file counts
        on past the antimeridian.

    Examples
    --------
    >>> check_degrees(Corner(3, -48.25, -27.5), file="area.geojson")
    """
    line, longitude, latitude = corner
    if abs(latitude) <= 90.0 and -180.0 <= longitude <= FULL_CIRCLE:
        return
    remedy = ""
    if max(abs(latitude), abs(longitude)) > FULL_CIRCLE:
        remedy = IN_METRES
    elif abs(longitude) <= 90.0:
        remedy = "Are latitude and longitude swapped? Longitude comes first."
    rule = "Latitude must lie in -90 to 90 degrees."
    if abs(latitude) <= 90.0:
        rule = "Longitude must lie in -180 to 180 degrees."
    raise InputError(rule, file=file, line=line, value=(longitude, latitude), remedy=remedy)
