"""Parallel lines over an area, clipped to where one may walk; the polygons are a library's."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.validation import check_positive

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: Parts of one line with less than this between them are one piece: a line that only touches a
#: corner isn't parted [m].
TOUCHING_M: Final = 1e-6
#: More lines than this across one area are no survey on foot.
MOST_LINES: Final = 100_000


@dataclass(frozen=True)
class ClippedLines:
    """Straight pieces of parallel lines, line by line from the left, each from its near end.

    Parameters
    ----------
    number : array, shape (n,)
        Line across the area, counted from 0; lines of which nothing is left aren't counted.
    piece : array, shape (n,)
        Piece along its line, counted from 0.
    first, second : array, shape (n, 2)
        Easting and northing of both ends [m]; from the first to the second is the azimuth.
    short_m : array
        Lengths of the pieces that were left out because they are too short [m].
    azimuth_deg : float
        Azimuth of all pieces, from grid north [deg].
    """

    number: Integers
    piece: Integers
    first: Floats
    second: Floats
    short_m: Floats
    azimuth_deg: float

    @property
    def length_m(self) -> Floats:
        """Length of each piece on the map [m]."""
        found: Floats = np.hypot(*(self.second - self.first).T)
        return found


def line_offsets(width_m: float, spacing_m: float, *, offset_m: float | None = None) -> Floats:
    """Return where parallel lines lie across a width, from its left edge [m].

    Parameters
    ----------
    width_m : float
        Width across the lines [m].
    spacing_m : float
        Distance between them [m].
    offset_m : float, optional
        Distance of a line from the left edge; left out, the lines lie in the middle of the
        width, as many as it takes for the outermost to be half a spacing from the edge at most.

    Raises
    ------
    InputError
        For a spacing that isn't above zero, or more lines than anybody walks.

    Examples
    --------
    >>> line_offsets(100.0, 30.0).tolist()
    [5.0, 35.0, 65.0, 95.0]
    """
    check_positive(spacing_m, name="Line spacing")
    if width_m / spacing_m > MOST_LINES:
        raise InputError(
            f"The area is {width_m:.0f} m wide, which makes more than {MOST_LINES} lines.",
            value=f"{spacing_m:g} m between lines",
            remedy="Take a wider spacing or a smaller area; is the area in metres?",
        )
    if offset_m is not None:
        begin = offset_m % spacing_m
        return np.arange(begin, width_m, spacing_m)
    count = max(1, int(np.ceil(width_m / spacing_m - 1e-9)))
    first = (width_m - (count - 1) * spacing_m) / 2
    return first + spacing_m * np.arange(count, dtype=np.float64)


def across_extent(area: Any, azimuth_deg: float) -> tuple[float, float]:
    """Return how far an area reaches across an azimuth: its least and greatest place [m].

    Examples
    --------
    >>> across_extent(shapely.box(10.0, 0.0, 30.0, 100.0), 0.0)
    (10.0, 30.0)
    """
    _, across = _axes(azimuth_deg)
    places = shapely.get_coordinates(area) @ across
    return float(places.min()), float(places.max())


def clipped_lines(
    area: Any,
    walkable: Any,
    *,
    azimuth_deg: float,
    spacing_m: float,
    shortest_m: float = 0.0,
    offset_m: float | None = None,
) -> ClippedLines:
    """Return parallel lines over an area, clipped to where one may walk.

    Parameters
    ----------
    area : shapely geometry
        Polygon(s) over which the lines are placed [m].
    walkable : shapely geometry
        The part of it that is walked, such as the area less its exclusions.
    azimuth_deg : float
        Azimuth of the lines from grid north [deg].
    spacing_m, offset_m
        See `line_offsets`.
    shortest_m : float
        Shorter pieces are left out [m].

    Returns
    -------
    ClippedLines
        Lines are counted from the left of one who looks along the azimuth.

    Raises
    ------
    InputError
        As for `line_offsets`, or when the area is empty.

    Notes
    -----
    Each line is cut where it crosses an edge of the polygons; inside lies what is behind an odd
    number of edges (scan-line rule). Every piece lies on its line exactly; its ends are on the
    outline to rounding (about 1e-9 m).
    The mean of the total length over all offsets, or over all azimuths, is area over spacing
    (Cauchy-Crofton formula).

    Examples
    --------
    >>> field = shapely.box(0.0, 0.0, 90.0, 200.0)
    >>> hole = shapely.box(20.0, 50.0, 60.0, 100.0)
    >>> found = clipped_lines(field, field.difference(hole), azimuth_deg=0.0, spacing_m=30.0)
    >>> found.number.tolist(), found.length_m.tolist()
    ([0, 1, 1, 2], [200.0, 50.0, 100.0, 200.0])
    """
    if shapely.is_empty(area):
        raise InputError("The area is empty.", remedy="Check its outline.")
    along, across = _axes(azimuth_deg)
    low, high = across_extent(area, azimuth_deg)
    places = low + line_offsets(high - low, spacing_m, offset_m=offset_m)
    number, near, far = _joined(*_inside(walkable, places, along, across))
    long_enough = far - near >= max(shortest_m, TOUCHING_M)
    short = (far - near)[~long_enough]
    number, near, far = number[long_enough], near[long_enough], far[long_enough]
    at = places[number][:, None] * across
    _, begins, lines = np.unique(number, return_index=True, return_inverse=True)
    return ClippedLines(
        lines.astype(np.int64),
        np.arange(number.size) - (begins[lines] if number.size else 0),
        at + near[:, None] * along,
        at + far[:, None] * along,
        short[short > TOUCHING_M],
        float(azimuth_deg),
    )


def _axes(azimuth_deg: float) -> tuple[Floats, Floats]:
    """Return the unit vectors along an azimuth and to the right of it; exact along the axes."""
    angle = np.radians(azimuth_deg)
    along = np.array([np.sin(angle), np.cos(angle)])
    along[np.abs(along) < 1e-15] = 0.0
    return along, np.array([along[1], -along[0]])


def _inside(
    outline: Any, places: Floats, along: Floats, across: Floats
) -> tuple[Integers, Floats, Floats]:
    """Return line, near and far end of each stretch of the lines inside an outline."""
    rings = shapely.get_rings(shapely.get_parts(outline))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    if not len(corners):
        return np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
    # From a corner of the outline, so that no digit of a product is lost.
    origin = corners[0]
    sideways, forward = (corners - origin) @ across, (corners - origin) @ along
    begins = np.flatnonzero(ring[1:] == ring[:-1])
    at = places - origin @ across
    left = np.minimum(sideways[begins], sideways[begins + 1])
    right = np.maximum(sideways[begins], sideways[begins + 1])
    # An edge owns the lines from its left end on, and not that of its right end: a corner is
    # crossed once, or not at all, or twice at one place.
    first = np.searchsorted(at, left, side="left")
    count = np.searchsorted(at, right, side="left") - first
    edge = np.repeat(begins, count)
    line = np.arange(edge.size) - np.repeat(np.cumsum(count) - count, count)
    line += np.repeat(first, count)
    share = (at[line] - sideways[edge]) / (sideways[edge + 1] - sideways[edge])
    place = forward[edge] + share * (forward[edge + 1] - forward[edge]) + origin @ along
    order = np.lexsort((place, line))
    line, place = line[order], place[order]
    return line[::2].astype(np.int64), place[::2], place[1::2]


def _joined(line: Integers, near: Floats, far: Floats) -> tuple[Integers, Floats, Floats]:
    """Return stretches of lines with those that touch as one; those without length drop out."""
    some = far > near
    line, near, far = line[some], near[some], far[some]
    new = np.ones(line.size, dtype=bool)
    new[1:] = (line[1:] != line[:-1]) | (near[1:] - far[:-1] > TOUCHING_M)
    starts = np.flatnonzero(new)
    ends = np.r_[starts[1:], line.size] - 1 if starts.size else starts
    return line[starts], near[starts], far[ends]
