"""From features to records: areas, exclusions, planned lines and notes."""

from collections import Counter
from collections.abc import Iterable, Sequence

import polars as pl

from lodewalk.adapters.projection import WGS84, between, crs_title
from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.shapes.features import MAX_CORNERS, Feature, Part
from lodewalk.formats.words import counted, own_name
from lodewalk.records.recorded import Route, Shapes, Waypoints

ROLES = ("area", "exclusion", "plan", "notes")

#: What each role takes.
SERVING = {
    "area": ("polygon",),
    "exclusion": ("polygon", "line", "point"),
    "plan": ("line",),
    "notes": ("point",),
}
LEAST_PLACES = {"polygon": 3, "line": 2, "point": 1}
SHAPE_SCHEMA = {
    "line_in_file": pl.Int64(),
    "shape": pl.Int64(),
    "part": pl.Int64(),
    "ring": pl.Int64(),
    "geometry": pl.String(),
    "name": pl.String(),
    "kind": pl.String(),
    "buffer_m": pl.Float64(),
    "first": pl.Float64(),
    "second": pl.Float64(),
}


def content_of(
    features: Sequence[Feature],
    *,
    role: str,
    crs: str,
    file: str,
    title: str,
    notes: Iterable[str] = (),
) -> Content:
    """Return the records that serve a role.

    Parameters
    ----------
    features : sequence of Feature
        All that the file holds.
    role : {"area", "exclusion", "plan", "notes"}
        An area takes polygons, an exclusion everything, a plan lines, notes points.
    crs : str
        Reference system of the coordinates.
    file : str
        Named in an error.
    title : str
        What the format is called in print.
    notes : iterable of str
        What else was understood.

    Returns
    -------
    Content
        `Shapes` in the file's own system, or `Route` or `Waypoints` in WGS84.

    Raises
    ------
    InputError
        For another role, a file without a shape for it, a polygon with under three places, a
        line with under two, or more than a million corners.
    """
    if role not in ROLES:
        rule = f"{title} serves as {', '.join(ROLES[:-1])} or {ROLES[-1]}."
        raise InputError(rule, file=file, value=role)
    held = Counter(part.geometry for feature in features for part in feature.parts)
    wanted = SERVING[role]
    if not any(held[geometry] for geometry in wanted):
        _refuse_empty(held, role, file=file)
    taken = [(feature, _parts(feature, wanted)) for feature in features]
    taken = [(feature, parts) for feature, parts in taken if parts]
    for _, parts in taken:
        for part in parts:
            _check_places(part, file=file)
    _check_number(taken, file=file)
    told = (_summary(taken, held, wanted, title, crs), *notes)
    if role == "plan":
        return _plan(taken, crs, told)
    if role == "notes":
        return _notes(taken, crs, told)
    return Content(_shapes(taken, crs), zone="UTC", understood=told)


Taken = list[tuple[Feature, tuple[Part, ...]]]


def _parts(feature: Feature, wanted: Sequence[str]) -> tuple[Part, ...]:
    """Return the parts of a feature that serve."""
    return tuple(part for part in feature.parts if part.geometry in wanted)


def _refuse_empty(held: Counter[str], role: str, *, file: str) -> None:
    """Say that the file holds nothing for the role, and what it does hold."""
    found = ", ".join(counted(held[name], name) for name in LEAST_PLACES if held[name])
    remedy = f"It holds {found}." if found else "It holds no shapes at all."
    if role == "area" and found:
        remedy += " Draw the area as a polygon."
    wanted = " or ".join(SERVING[role])
    raise InputError(f"The file holds no {wanted}.", file=file, remedy=remedy)


def _check_places(part: Part, *, file: str) -> None:
    """Raise where a ring or line has too few different places."""
    least = LEAST_PLACES[part.geometry]
    for ring in part.rings:
        places = len({(first, second) for _, first, second in ring})
        if places < least:
            raise InputError(
                f"A {part.geometry} needs at least {least} different places.",
                file=file,
                line=ring[0].line if ring else None,
                value=f"{places}",
            )


def _check_number(taken: Taken, *, file: str) -> None:
    """Raise when there are too many corners."""
    corners = sum(len(ring) for _, parts in taken for part in parts for ring in part.rings)
    if corners > MAX_CORNERS:
        raise InputError(
            f"A file may have {MAX_CORNERS:,} corners at most.",
            file=file,
            value=corners,
            remedy="Cut it to the surroundings of the area first.",
        )


def _summary(taken: Taken, held: Counter[str], wanted: Sequence[str], title: str, crs: str) -> str:
    """Say what was read, in which system, and what was left."""
    rings = [(part, ring) for _, parts in taken for part in parts for ring in part.rings]
    holes = len(rings) - sum(len(parts) for _, parts in taken)
    parts = [counted(held[name], name) for name in wanted if held[name]]
    said = f"{title}: {', '.join(parts)}"
    said += f" with {counted(holes, 'hole')}" if holes else ""
    said += f"; {counted(sum(len(ring) for _, ring in rings), 'corner')} in {short_name(crs)}"
    left = [counted(held[name], name) for name in LEAST_PLACES if name not in wanted if held[name]]
    return f"{said}; left aside: {', '.join(left)}." if left else f"{said}."


def short_name(crs: str) -> str:
    """Return a reference system in few words.

    Examples
    --------
    >>> short_name("EPSG:4326")
    'WGS 84 (EPSG:4326)'
    """
    return crs_title(crs) if len(crs) < 20 else crs_title(crs).split(" (")[0]


def _shapes(taken: Taken, crs: str) -> Shapes:
    """Return the corners as one table."""
    rows = [
        (line, shape, number, ring, part.geometry, feature.name, feature.kind, feature.buffer_m,
         first, second)
        for shape, (feature, parts) in enumerate(taken)
        for number, part in enumerate(parts)
        for ring, corners in enumerate(part.rings)
        for line, first, second in corners
    ]  # fmt: skip
    frame = pl.DataFrame(rows, schema=SHAPE_SCHEMA, orient="row")
    return Shapes(frame.with_columns(pl.lit(crs).alias("crs")))


def _plan(taken: Taken, crs: str, told: tuple[str, ...]) -> Content:
    """Return each line as a planned line with a name of its own."""
    rows, names, notes = [], set[str](), []
    for feature, parts in taken:
        for part in parts:
            given = feature.name or f"line {len(names) + 1}"
            name = own_name(given, names)
            if name != given:
                notes.append(f"A further line called {given} is now {name}.")
            names.add(name)
            rows += [(line, name, first, second) for line, first, second in part.rings[0]]
    schema = {"line_in_file": pl.Int64(), "line": pl.String(), "first": pl.Float64(),
              "second": pl.Float64()}  # fmt: skip
    frame = _in_degrees(pl.DataFrame(rows, schema=schema, orient="row"), crs)
    return Content(Route(frame), zone="UTC", understood=(*told, *notes))


def _notes(taken: Taken, crs: str, told: tuple[str, ...]) -> Content:
    """Return the points with what is written beside them."""
    rows = [
        (*part.rings[0][0], feature.name, feature.text)
        for feature, parts in taken
        for part in parts
    ]
    schema = {"line_in_file": pl.Int64(), "first": pl.Float64(), "second": pl.Float64(),
              "name": pl.String(), "text": pl.String()}  # fmt: skip
    frame = _in_degrees(pl.DataFrame(rows, schema=schema, orient="row"), crs).with_columns(
        pl.lit(None, dtype=pl.Datetime("us")).alias("recorded_time"),
        pl.lit(None, dtype=pl.Float64).alias("height_m"),
    )
    return Content(Waypoints(frame), zone="UTC", understood=told)


def _in_degrees(frame: pl.DataFrame, crs: str) -> pl.DataFrame:
    """Return places as longitude and latitude on WGS84."""
    longitude, latitude = between(
        frame["first"].to_numpy(), frame["second"].to_numpy(), source=crs, target=WGS84
    )
    return frame.drop("first", "second").with_columns(
        pl.Series("latitude_deg", latitude), pl.Series("longitude_deg", longitude)
    )
