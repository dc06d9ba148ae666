"""Chains as lines in units of the line spacing: trimmed, resampled, their directions."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.validation import FloatArray

#: Distance between corners [line spacings].
STEP: Final = 0.5
#: A line ends where the response has sunk to this share of that inside: there the body ends,
#: since half of the filter lies beyond it.
_HALF: Final = 0.5
#: How far inside, and at which quantile, the body's own response is looked for [line spacings].
_INSIDE, _HIGH = 6.0, 0.75

#: Length of an end that may be a hook, of what it is compared with [line spacings], and the turn.
_HOOK, _BEFORE, _TURN_DEG = 2.0, 4.0, 25.0


@dataclass(frozen=True)
class Line:
    """A chain of places: east and north, ratio and response at each; all lengths in line spacings.

    `width` is the standard deviation of the filter across it.
    """

    place: FloatArray
    ratio: FloatArray
    response: FloatArray
    width: float

    @property
    def distance(self) -> FloatArray:
        """Distance of each place along the line."""
        steps = np.hypot(*np.diff(self.place, axis=0).T)
        return np.concatenate([[0.0], np.cumsum(steps)])

    @property
    def length(self) -> float:
        """Length of the line."""
        return float(self.distance[-1])

    def part(self, keep: slice) -> "Line":
        """Return a part of the line."""
        return Line(self.place[keep], self.ratio[keep], self.response[keep], self.width)

    def reversed(self) -> "Line":
        """Return the line from its end to its start."""
        return self.part(slice(None, None, -1))


def trimmed(line: Line) -> Line | None:
    """Return a line without the ends where the filter looks past the body; None if none is left.

    Examples
    --------
    >>> place = np.column_stack([np.arange(9.0), np.zeros(9)])
    >>> weak = np.array([1.0, 2, 4, 4, 4, 4, 4, 1.9, 1])
    >>> trimmed(Line(place, weak, weak, 0.5)).place[:, 0].tolist()
    [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    """
    if line.place.shape[0] < 3:
        return None
    first = _begin(line)
    last = line.place.shape[0] - _begin(line.reversed())
    return line.part(slice(first, last)) if last - first >= 3 else None


def _begin(line: Line) -> int:
    """Return the first place whose response is at least half of that inside."""
    distance = line.distance
    after = np.searchsorted(distance, distance + _INSIDE)
    for start, stop in enumerate(after):
        inside = np.quantile(line.response[start:stop], _HIGH) if stop > start else 0.0
        if line.response[start] >= _HALF * inside:
            return start
    return distance.size


def unhooked(line: Line) -> Line:
    """Return a line without ends that turn off it, as the field does round the end of a body.

    An end is cut back while its last two line spacings turn by more than 25 degrees from the
    four before them.

    Examples
    --------
    >>> way = [(0.5 * k, 0.0) for k in range(16)] + [(7.5, 0.5), (7.5, 1.0), (7.5, 1.5)]
    >>> line = Line(np.array(way), np.ones(19), np.ones(19), 0.5)
    >>> unhooked(line).place[-1].tolist()
    [7.5, 0.5]
    """
    for _ in range(2):
        line = _cut_back(line).reversed()
    return line


def _cut_back(line: Line) -> Line:
    """Return a line whose last end is cut back while it turns off."""
    while line.length > _HOOK + _BEFORE:
        distance = line.distance
        last = line.place[distance >= distance[-1] - _HOOK]
        before = line.place[
            (distance <= distance[-1] - _HOOK) & (distance >= distance[-1] - _HOOK - _BEFORE)
        ]
        if min(len(last), len(before)) < 2:
            return line
        turn = abs(principal_axis(last) @ principal_axis(before))
        if turn >= np.cos(np.radians(_TURN_DEG)):
            return line
        line = line.part(slice(None, -1))
    return line


def resampled(line: Line) -> Line:
    """Return a line with corners an even step apart, smoothed over one step each way.

    Ends stay where they are.

    Examples
    --------
    >>> place = np.column_stack([np.arange(0, 2.1, 0.25), np.zeros(9)])
    >>> resampled(Line(place, np.ones(9), np.ones(9), 0.5)).place[:, 0].tolist()
    [0.0, 0.5, 1.0, 1.5, 2.0]
    """
    distance = line.distance
    count = max(int(np.rint(distance[-1] / STEP)), 1) + 1
    at = np.linspace(0.0, distance[-1], count)
    weight = np.maximum(1.0 - np.abs(at[:, None] - distance[None, :]) / STEP, 0.0)
    # The same reach on both sides of each corner, so that smoothing doesn't pull at the ends.
    room = np.minimum(at, distance[-1] - at)[:, None]
    near = np.abs(at[:, None] - distance[None, :]) <= np.maximum(room, 1e-9) + 1e-9
    weight = weight * near
    weight[0], weight[-1] = 0.0, 0.0
    weight[0, 0], weight[-1, -1] = 1.0, 1.0
    total = weight.sum(axis=1)
    empty = total == 0
    columns = np.column_stack([line.place, line.ratio, line.response])
    means = weight @ columns / np.where(empty, 1.0, total)[:, None]
    for k in range(columns.shape[1]):
        means[empty, k] = np.interp(at[empty], distance, columns[:, k])
    return Line(means[:, :2], means[:, 2], means[:, 3], line.width)


def direction_at_end(line: Line, reach: float) -> tuple[FloatArray, FloatArray]:
    """Return the end of a line and the unit vector in which it leaves it, fitted over a reach.

    Notes
    -----
    The axis of largest spread of the places within `reach` of the end (total least squares);
    the end is moved onto it.

    Examples
    --------
    >>> place = np.column_stack([np.arange(5.0), np.zeros(5)])
    >>> end, along = direction_at_end(Line(place, np.ones(5), np.ones(5), 0.5), 3.0)
    >>> end.tolist(), along.tolist()
    ([4.0, 0.0], [1.0, 0.0])
    """
    distance = line.distance
    near = line.place[distance >= distance[-1] - reach]
    if near.shape[0] < 2:
        near = line.place[-2:]
    middle = near.mean(axis=0)
    along = principal_axis(near)
    if (near[-1] - near[0]) @ along < 0:
        along = -along
    return middle + along * ((near[-1] - middle) @ along), along


def principal_axis(place: FloatArray) -> FloatArray:
    """Return the unit vector of largest spread of places.

    Examples
    --------
    >>> np.abs(principal_axis(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]))).round(3).tolist()
    [0.707, 0.707]
    """
    about = place - place.mean(axis=0)
    (ee, en), (_, nn) = about.T @ about
    turn = 0.5 * np.arctan2(2 * en, ee - nn)
    return np.array([np.cos(turn), np.sin(turn)]) + 0.0
