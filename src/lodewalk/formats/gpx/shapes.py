"""GPX as an area or as exclusions: tracks and routes as outlines or lines, waypoints as corners."""

from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path

from lodewalk.adapters.exclusion_kinds import kind_in_name
from lodewalk.adapters.projection import WGS84, geodesic_lengths_m
from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.gpx.parse import Document, Point, parse
from lodewalk.formats.shapes import Corner, Feature, Part, content_of
from lodewalk.formats.words import counted

#: An outline counts as closed when its ends are as near as this, or as this part of its length:
#: a person who walks round a field seldom stops at the very place of the start.
CLOSED_M, CLOSED_SHARE = 30.0, 0.1
WORDS = {"track": "track segment", "plan": "route"}


def read_shapes(path: Path, *, role: str) -> Content:
    """Read a file as an area or as exclusions.

    Parameters
    ----------
    path : Path
        The file.
    role : {"area", "exclusion"}
        For an area, tracks and routes are outlines, which must be closed, and waypoints by
        themselves are the corners of one polygon in their order. For an exclusion, tracks and
        routes are lines and waypoints are points.

    Returns
    -------
    Content
        `Shapes` on WGS84.

    Raises
    ------
    InputError
        For a damaged file, an outline that isn't closed, or a file without any point.
    """
    documents = {kind: parse(path, role=kind) for kind in ("track", "plan", "notes")}
    version = documents["track"].version or "without a version"
    lines = [run for kind in WORDS for run in _runs(documents[kind], kind)]
    points = documents["notes"].points
    if not lines and not points:
        raise InputError("The file holds no points at all.", file=path.name)
    if role == "area":
        features, notes = _area(lines, points, path.name)
    else:
        features, notes = _exclusions(lines, points)
    title = f"GPX {version}"
    return content_of(features, role=role, crs=WGS84, file=path.name, title=title, notes=notes)


Run = tuple[str, str | None, list[Point]]


def _runs(document: Document, kind: str) -> Iterator[Run]:
    """Yield kind, name and points of each track segment or route."""
    for group, points in groupby(document.points, key=lambda point: point.group):
        yield kind, document.group_names.get(group), list(points)


def _corners(points: Iterable[Point]) -> tuple[Corner, ...]:
    """Return points as corners."""
    return tuple(Corner(p.line, p.longitude, p.latitude) for p in points)


def _area(lines: list[Run], points: list[Point], file: str) -> tuple[list[Feature], list[str]]:
    """Return the outlines, and how they were taken."""
    if not lines:
        ring = _closed(_corners(points))
        told = f"{counted(len(points), 'waypoint')} taken as the corners of one polygon, in order."
        return [Feature((Part("polygon", (ring,)),))], [told]
    features, notes = [], []
    for kind, name, run in lines:
        gap = _gap(run, WORDS[kind], file)
        ring = _closed(_corners(run))
        features.append(Feature((Part("polygon", (ring,)),), name=name))
        told = f"The {WORDS[kind]} of line {run[0].line} is taken as an outline"
        notes.append(f"{told}, closed over {gap:.0f} m." if gap > 0.5 else f"{told}.")
    if points:
        notes.append(f"{counted(len(points), 'waypoint')} left aside.")
    return features, notes


def _gap(run: list[Point], word: str, file: str) -> float:
    """Return the distance between the ends of an outline [m], or raise where it isn't closed."""
    longitude = [point.longitude for point in (*run, run[0])]
    latitude = [point.latitude for point in (*run, run[0])]
    lengths = geodesic_lengths_m(longitude, latitude)
    gap, length = float(lengths[-1]), float(lengths[:-1].sum())
    if gap > max(CLOSED_M, CLOSED_SHARE * length):
        raise InputError(
            f"The outline of an area must be closed: the ends of this {word} lie {gap:.0f} m apart "
            f"on a length of {length:.0f} m.",
            file=file,
            line=run[0].line,
            remedy="Close it, or give the corners as waypoints alone.",
        )
    return gap


def _closed(ring: tuple[Corner, ...]) -> tuple[Corner, ...]:
    """Return a ring that ends where it began."""
    return ring if ring[0][1:] == ring[-1][1:] else (*ring, ring[0])


def _exclusions(lines: list[Run], points: list[Point]) -> tuple[list[Feature], list[str]]:
    """Return lines and points to keep clear of, and how they were taken."""
    single = sum(len({(p.longitude, p.latitude) for p in run}) < 2 for _, _, run in lines)
    features = [
        Feature((Part("line", (_corners(run),)),), name=name, kind=kind_in_name(name))
        for _, name, run in lines
        if len({(p.longitude, p.latitude) for p in run}) > 1
    ]
    features += [
        Feature((Part("point", (_corners([p]),)),), name=p.name, kind=kind_in_name(p.name))
        for p in points
    ]
    notes = []
    if lines:
        notes.append("Tracks and routes are taken as lines: what a closed one encloses stays in.")
    if single:
        notes.append(f"Tracks and routes of one place, left aside: {single}.")
    if points:
        notes.append(f"{counted(len(points), 'waypoint')} taken as points to keep clear of.")
    if any(feature.kind for feature in features):
        notes.append("Kinds are taken from names that begin with one, such as fence 2.")
    return features, notes
