"""Pieces of lines that go on from one another, joined."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from lodewalk.methods.lineaments.polyline import STEP, Line, direction_at_end, resampled
from lodewalk.validation import FloatArray

#: Widest gap that is bridged [line spacings].
GAP: Final = 3.0
#: How far apart two pieces may lie across their direction, and how much they may turn.
ASIDE, TURN_DEG = 0.4, 15.0
#: How far pieces may lie beside one another [line spacings].
OVERLAP: Final = 1.0
#: Reach over which the direction of an end is taken [line spacings].
REACH: Final = 4.0


def joined(lines: Sequence[Line]) -> list[Line]:
    """Return lines with those joined that go on from one another, nearest first.

    Parameters
    ----------
    lines : sequence of Line
        Pieces, in line spacings.

    Returns
    -------
    list of Line

    Notes
    -----
    Two ends join when the gap between them is at most `GAP`, each lies within `ASIDE` of the
    other's direction, and the directions differ by at most `TURN_DEG`: a piece that is offset by
    more is left for the search for faults.

    Examples
    --------
    >>> def piece(first, last):
    ...     east = np.arange(first, last, 0.5)
    ...     return Line(np.column_stack([east, 0 * east]), 0 * east + 5, 0 * east + 1, 0.5)
    >>> [line.length for line in joined([piece(0, 4), piece(5, 9)])]
    [8.5]
    """
    pieces = list(lines)
    while True:
        best = min(_candidates(pieces), default=None)
        if best is None:
            return pieces
        _, first, second, first_turned, second_turned = best
        one = pieces[first].reversed() if first_turned else pieces[first]
        two = pieces[second].reversed() if second_turned else pieces[second]
        rest = [line for k, line in enumerate(pieces) if k not in (first, second)]
        pieces = [*rest, _one(one, two)]


def _candidates(pieces: list[Line]) -> list[tuple[float, int, int, bool, bool]]:
    """Return cost, numbers and turns of the pairs of ends that may be joined."""
    ends = [
        (number, turned, *direction_at_end(line.reversed() if turned else line, REACH))
        for number, line in enumerate(pieces)
        for turned in (False, True)
    ]
    found = []
    place = np.array([end[2] for end in ends]).reshape(-1, 2)
    for k, (first, first_turned, end, along) in enumerate(ends):
        near = np.hypot(*(place - end).T) <= GAP + OVERLAP
        for m in np.flatnonzero(near):
            if m <= k or ends[m][0] == first:
                continue
            second, second_turned, other_end, other_along = ends[m]
            cost = _cost(end, along, other_end, other_along)
            if cost is not None:
                # The second piece begins at the end that was looked at.
                found.append((cost, first, second, first_turned, not second_turned))
    return found


def _cost(
    end: FloatArray, along: FloatArray, other: FloatArray, other_along: FloatArray
) -> float | None:
    """Return how badly one end goes on in the other, None where it doesn't."""
    if along @ -other_along < np.cos(np.radians(TURN_DEG)):
        return None
    between = along - other_along
    between = between / np.hypot(*between)
    step = other - end
    gap, aside = float(step @ between), abs(float(step @ [between[1], -between[0]]))
    if not -OVERLAP <= gap <= GAP or aside > ASIDE + 0.1 * max(gap, 0.0):
        return None
    return abs(gap) + 3.0 * aside


def _one(first: Line, second: Line) -> Line:
    """Return two pieces as one line; where they lie beside one another the second gives way."""
    end, along = first.place[-1], direction_at_end(first, REACH)[1]
    ahead = (second.place - end) @ along > 0.5 * STEP
    start = int(np.argmax(ahead)) if ahead.any() else second.place.shape[0]
    rest = second.part(slice(start, None))
    return resampled(
        Line(
            np.concatenate([first.place, rest.place]),
            np.concatenate([first.ratio, rest.ratio]),
            np.concatenate([first.response, rest.response]),
            max(first.width, second.width),
        )
    )
