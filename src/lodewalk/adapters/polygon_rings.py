"""Rings of recorded shapes, and the way from their own system into the survey's."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import WGS84, between, is_geographic
from lodewalk.adapters.whereabouts import inside, why_outside
from lodewalk.errors import InputError
from lodewalk.records.recorded import Shapes

FloatArray = NDArray[np.float64]

#: Longest edge that is taken as straight in both systems: 0.01 degrees and 1000 m, over which a
#: parallel leaves its chord by s^2 tan(latitude) / 8R, 2 cm times the tangent.
LONGEST_DEG, LONGEST_M = 0.01, 1000.0
#: An edge of a whole country has no more pieces than this.
MOST_PIECES = 1000


class OutsideError(InputError):
    """A shape lies outside the area that the survey's system serves."""


@dataclass(frozen=True)
class Ring:
    """Corners of one ring, line or point, in order, with their lines as far as they are known."""

    first: FloatArray
    second: FloatArray
    lines: NDArray[np.int64] | None = None


@dataclass(frozen=True)
class Rings:
    """One polygon, line or point of the file, in its own system or in the survey's."""

    geometry: str
    rings: tuple[Ring, ...]
    crs: str
    line: int
    name: str | None
    kind: str | None
    buffer_m: float | None
    notes: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What it is called in a sentence."""
        place = f"{self.geometry} in line {self.line}"
        return f"{place}, {self.name}" if self.name else place


def rings_of(shapes: Shapes) -> Iterator[Rings]:
    """Yield each polygon, line and point of a table of shapes."""
    keys = ["shape", "part"]
    for _, part in shapes.frame.group_by(keys, maintain_order=True):
        rings = tuple(
            Ring(*(ring[name].to_numpy() for name in ("first", "second", "line_in_file")))
            for _, ring in part.group_by("ring", maintain_order=True)
        )
        head = part.row(0, named=True)
        yield Rings(
            head["geometry"], rings, head["crs"], head["line_in_file"], head["name"],
            head["kind"], head["buffer_m"],
        )  # fmt: skip


def projected(part: Rings, crs: str) -> Rings:
    """Return a part in the survey's system, its long edges followed.

    Raises
    ------
    OutsideError
        For a part that lies outside the area that the system serves.
    """
    _check_inside(part.rings[0], part, crs)
    notes: list[str] = []
    degrees = is_geographic(part.crs)
    rings = []
    for ring in part.rings:
        closed = _dropped(_closed(ring, part, notes), part, notes)
        if degrees:
            closed = _unwrapped(closed, part, notes)
        if part.crs != crs:
            closed = _followed(closed, LONGEST_DEG if degrees else LONGEST_M)
        rings.append(closed)
    rings = [Ring(*between(r.first, r.second, source=part.crs, target=crs)) for r in rings]
    return replace(part, rings=tuple(rings), crs=crs, notes=(*part.notes, *dict.fromkeys(notes)))


def _closed(ring: Ring, part: Rings, notes: list[str]) -> Ring:
    """Return a ring of a polygon that ends where it began; lines and points as they are."""
    if part.geometry != "polygon":
        return ring
    first, second = ring.first, ring.second
    if first[0] == first[-1] and second[0] == second[-1]:
        return ring
    notes.append(f"An open ring was closed: {part.title}.")
    return Ring(np.append(first, first[0]), np.append(second, second[0]))


def _dropped(ring: Ring, part: Rings, notes: list[str]) -> Ring:
    """Return a ring without corners that repeat the one before."""
    same = (np.diff(ring.first) == 0.0) & (np.diff(ring.second) == 0.0)
    count = int(same.sum())
    if count:
        notes.append(f"Repeated corners dropped: {count}, {part.title}.")
    kept = np.concatenate([[True], ~same])
    found = Ring(ring.first[kept], ring.second[kept])
    least = {"polygon": 4, "line": 2, "point": 1}[part.geometry]
    if len(found.first) < least:
        places = least - 1 if part.geometry == "polygon" else least
        rule = f"A {part.geometry} needs at least {places} different places."
        raise InputError(
            rule, line=part.line, value=f"{len(set(zip(*_lists(found), strict=True)))}"
        )
    return found


def _lists(ring: Ring) -> tuple[list[float], list[float]]:
    """Return the coordinates as lists."""
    return ring.first.tolist(), ring.second.tolist()


def _unwrapped(ring: Ring, part: Rings, notes: list[str]) -> Ring:
    """Return a ring whose longitudes go the short way from corner to corner."""
    if len(ring.first) < 2 or np.abs(np.diff(ring.first)).max() <= 180.0:
        return ring
    notes.append(f"Taken the short way over the antimeridian: {part.title}.")
    return Ring(np.unwrap(ring.first, period=360.0), ring.second)


def _followed(ring: Ring, longest: float) -> Ring:
    """Return a ring with points between corners that lie far apart."""
    first, second = np.diff(ring.first), np.diff(ring.second)
    reach = np.maximum(np.abs(first), np.abs(second))
    pieces = np.clip(np.ceil(reach / longest), 1, MOST_PIECES).astype(int)
    if len(pieces) == 0 or pieces.max() == 1:
        return ring
    edge = np.repeat(np.arange(len(pieces)), pieces)
    step = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[edge]
    return Ring(
        np.append(ring.first[edge] + step * first[edge], ring.first[-1]),
        np.append(ring.second[edge] + step * second[edge], ring.second[-1]),
    )


def _check_inside(ring: Ring, part: Rings, crs: str) -> None:
    """Raise for a part with a corner far outside the area of the survey's system."""
    longitude, latitude = between(ring.first, ring.second, source=part.crs, target=WGS84)
    bad = np.flatnonzero(~inside(latitude, longitude, crs=crs))
    all_out = len(bad) == len(latitude)
    if len(bad) == 0 or (part.geometry == "line" and not all_out):
        return
    place = float(latitude[bad[0]]), float(longitude[bad[0]])
    raise OutsideError(
        f"A {part.geometry} lies outside the area of {crs}.",
        line=part.line if ring.lines is None else int(ring.lines[bad[0]]),
        value=tuple(round(value, 5) for value in place),
        remedy=why_outside(*place, crs=crs),
    )
