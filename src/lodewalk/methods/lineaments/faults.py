"""Offsets by faults: lines that are broken and go on beside themselves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from lodewalk.methods.lineaments.polyline import principal_axis
from lodewalk.methods.lineaments.strike import INDEPENDENT, place_sd
from lodewalk.methods.lineaments.trace import Ridge
from lodewalk.validation import FloatArray, check_positive

#: Widest gap and overlap along the strike, and widest offset [line spacings].
GAP, OVERLAP, WIDEST = 4.0, 2.0, 7.0
#: An offset is at most this share of the shorter piece.
SHARE: Final = 0.6
#: Strikes of pieces of one body differ by at most this [deg], their strengths by this factor.
TURN_DEG, ALIKE = 12.0, 3.0
#: Reach over which a piece is taken as straight [line spacings].
REACH: Final = 8.0
#: Least offset, in standard deviations.
LEAST_SD: Final = 2.0
#: What lies so near to the end is pulled by the other piece and tells no direction [line spacings].
PULLED: Final = 1.0


@dataclass(frozen=True)
class Offset:
    """A place where a line is broken.

    Parameters
    ----------
    first, second : int
        Numbers of the pieces; the second is the one farther along the strike (0 to 180 degrees).
    easting_m, northing_m : float
        Middle between the facing ends [m].
    offset_m, sd_m : float
        Offset of the second piece to the right of the strike, and its standard deviation [m].
    gap_m : float
        Distance along the strike between the ends, below zero where they overlap [m].
    """

    first: int
    second: int
    easting_m: float
    northing_m: float
    offset_m: float
    sd_m: float
    gap_m: float


class _End(NamedTuple):
    """The end of a piece: where, the way out, the straight line near it and its errors."""

    number: int
    place: FloatArray
    out: FloatArray
    middle: FloatArray
    scatter: float
    independent: float
    length: float
    strength: float


def find_offsets(ridges: Sequence[Ridge], *, line_spacing_m: float) -> list[Offset]:
    """Return the places where lines are broken and their pieces offset.

    Parameters
    ----------
    ridges : sequence of Ridge
        Lines traced from one grid.
    line_spacing_m : float
        Distance between survey lines [m].

    Returns
    -------
    list of Offset
        In order of the first piece.

    Notes
    -----
    Two ends belong together when they face each other with nearly the same strike and about the
    same strength, the gap along the strike is small and the offset across it is told: more than
    two standard deviations. Each end is used once, the best pairs first. The offset is that of
    the straight lines through the last eight line spacings of each piece, in the middle of the
    gap; its error follows from that of their places (`place_sd`), the last spacing being left
    out, which the other piece pulls at. A pair of dykes that end by chance beside one another
    looks the same; a fault is believed when it offsets more than one body (common practice).

    Examples
    --------
    >>> east = np.arange(0.0, 200.0, 10.0)
    >>> first = Ridge(east, 0 * east, 0 * east + 1, 0 * east + 5, 5.0, 1.0)
    >>> second = Ridge(east + 220.0, 0 * east - 50.0, 0 * east + 1, 0 * east + 5, 5.0, 1.0)
    >>> found = find_offsets([first, second], line_spacing_m=20.0)
    >>> [(o.first, o.second, round(o.offset_m), round(o.gap_m)) for o in found]
    [(0, 1, 50, 30)]
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    ends = [
        _end(ridges, k, turned, line_spacing_m) for k in range(len(ridges)) for turned in (0, 1)
    ]
    pairs = []
    for i, one in enumerate(ends):
        for j in range(i + 1, len(ends)):
            found = _pair(one, ends[j], line_spacing_m)
            if found is not None:
                pairs.append((found[0], i, j, found[1]))
    zero = (ridges[0].easting_m[0], ridges[0].northing_m[0]) if ridges else (0.0, 0.0)
    used: set[int] = set()
    kept = []
    for _, i, j, offset in sorted(pairs, key=lambda pair: pair[:3]):
        if i not in used and j not in used:
            used |= {i, j}
            east, north = offset.easting_m + zero[0], offset.northing_m + zero[1]
            kept.append(replace(offset, easting_m=float(east), northing_m=float(north)))
    return sorted(kept, key=lambda offset: (offset.first, offset.second))


def groups(count: int, offsets: Sequence[Offset]) -> list[int | None]:
    """Return for each piece the lowest number of the broken body it belongs to, or None.

    Examples
    --------
    >>> groups(3, [Offset(2, 1, 0.0, 0.0, 30.0, 5.0, 0.0)])
    [None, 1, 1]
    """
    own = list(range(count))
    for offset in offsets:
        low, high = sorted((own[offset.first], own[offset.second]))
        own = [low if number == high else number for number in own]
    return [number if own.count(number) > 1 else None for number in own]


def _end(ridges: Sequence[Ridge], number: int, turned: int, spacing: float) -> _End:
    """Return one end of a line, in line spacings about the first corner of all."""
    ridge, origin = ridges[number], ridges[0]
    place = np.column_stack(
        [ridge.easting_m - origin.easting_m[0], ridge.northing_m - origin.northing_m[0]]
    )
    place = (place[::-1] if turned else place) / spacing
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    inner = min(PULLED, length[-1] / 4)
    near = place[(length >= length[-1] - REACH) & (length <= length[-1] - inner)]
    near = near if len(near) > 2 else place
    out = principal_axis(near)
    out = out if (near[-1] - near[0]) @ out >= 0 else -out
    middle = near.mean(axis=0)
    scatter = spacing * float(np.sqrt(np.mean(((near - middle) @ [out[1], -out[0]]) ** 2)))
    reach = float((near[-1] - near[0]) @ out)
    return _End(
        number,
        middle + out * ((place[-1] - middle) @ out),
        out,
        middle,
        place_sd(scatter, ridge.half_width_m, float(np.median(ridge.ratio)), line_spacing_m=spacing)
        / spacing,
        max(reach / INDEPENDENT, 1.0),
        float(length[-1]),
        float(np.median(ridge.strength)),
    )


def _pair(one: _End, two: _End, spacing: float) -> tuple[float, Offset] | None:
    """Return how badly two ends go together, and their offset; None where they don't."""
    if one.number == two.number or one.out @ -two.out < np.cos(np.radians(TURN_DEG)):
        return None
    along = one.out - two.out
    along = along / np.hypot(*along)
    right = np.array([along[1], -along[0]])
    gap = float((two.place - one.place) @ along)
    between = (one.place + two.place) / 2
    offset = float((_at(two, between, along) - _at(one, between, along)) @ right)
    sd = float(np.hypot(_sd(one, between, along), _sd(two, between, along)))
    unlike = abs(np.log(one.strength / two.strength))
    widest = min(WIDEST, SHARE * min(one.length, two.length))
    if not -OVERLAP <= gap <= GAP or not LEAST_SD * sd < abs(offset) <= widest:
        return None
    if unlike > np.log(ALIKE):
        return None
    cost = abs(gap) + 0.5 * abs(offset) + 2.0 * unlike
    return cost, _offset(one, two, along, (offset, sd, gap), between, spacing)


def _offset(
    one: _End,
    two: _End,
    along: FloatArray,
    sizes: tuple[float, float, float],
    between: FloatArray,
    spacing: float,
) -> Offset:
    """Return an offset in metres, the pieces in order along the strike."""
    # To the right stays to the right when the way is walked from the other end.
    forward = along[0] > 0 or (along[0] == 0 and along[1] > 0)
    first, second = (one, two) if forward else (two, one)
    offset, sd, gap = (size * spacing for size in sizes)
    east, north = (between * spacing).tolist()
    return Offset(first.number, second.number, east, north, offset, sd, gap)


def _at(end: _End, place: FloatArray, along: FloatArray) -> FloatArray:
    """Return where the straight line of an end passes beside a place."""
    share = ((place - end.middle) @ along) / (end.out @ along)
    found: FloatArray = end.middle + share * end.out
    return found


def _sd(end: _End, place: FloatArray, along: FloatArray) -> float:
    """Return the standard deviation of that passage across the strike."""
    lever = float((place - end.middle) @ along)
    spread = max((end.independent * INDEPENDENT) ** 2 / 12, 1e-9)
    return end.scatter * float(np.sqrt((1 + lever**2 / spread) / end.independent))
