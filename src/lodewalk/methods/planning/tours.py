"""Walks of a day for one rover each: pieces split where they are too long, then shared out."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.planning.walk_order import (
    Floats,
    Integers,
    Order,
    Pieces,
    Ways,
    cell_by_cell,
    empty_walking,
    improved,
    line_by_line,
    straight_ways,
)

#: A tour of more pieces than this keeps the order in which it was cut.
MOST_IMPROVED = 300
#: Halvings of the capacity while tours are made even.
HALVINGS = 20
#: A piece is split into this many parts at most.
MOST_PARTS = 50


@dataclass(frozen=True)
class WalkingDay:
    """What one rover's day of walking is made of.

    Parameters
    ----------
    start, end : array, shape (2,)
        Where the first piece is walked to from, and where the last one is left for [m].
    fixed_s : float
        Time that each day takes besides, such as the repeat line and the way to it [s].
    available_s : float
        Time for all walking [s].
    pace_m_s : float
        Pace on the map over level ground [m/s].
    ways : callable
        Length of the way between places [m].
    """

    start: Floats
    end: Floats
    fixed_s: float
    available_s: float
    pace_m_s: float
    ways: Ways = straight_ways

    def reach_s(self, places: Floats) -> tuple[Floats, Floats]:
        """Return the time from the start to places, and from there to the end [s]."""
        out = self.ways(np.broadcast_to(self.start, places.shape), places)
        back = self.ways(places, np.broadcast_to(self.end, places.shape))
        return out / self.pace_m_s, back / self.pace_m_s


@dataclass(frozen=True)
class Tour:
    """One rover's walk of one day.

    Parameters
    ----------
    order : Order
        Its pieces in order of walking.
    between_m : float
        Empty walking, from the start and to the end [m].
    walking_s : float
        Time for pieces and empty walking, with the fixed part of a day [s].
    """

    order: Order
    between_m: float
    walking_s: float


def split_long(
    pieces: Pieces, slowness: Floats, day: WalkingDay
) -> tuple[Integers, Pieces, Floats]:
    """Split the pieces that nobody walks within one day into even parts.

    Parameters
    ----------
    pieces : Pieces
        Straight pieces.
    slowness : array, shape (n,)
        Time that each takes beside the same length of level ground.
    day : WalkingDay
        What a day has room for.

    Returns
    -------
    source : array
        Which piece each part is of.
    parts : Pieces
        The parts, in the order of the pieces.
    slowness : array
        Slowness of each part.

    Raises
    ------
    InputError
        When a day is too short to get to a line and back.

    Examples
    --------
    >>> one = Pieces(np.array([0]), np.zeros((1, 2)), np.array([[0.0, 9000.0]]))
    >>> home = np.array([0.0, 4500.0])
    >>> day = WalkingDay(home, home, 0.0, 12_000.0, 1.0)
    >>> split_long(one, np.ones(1), day)[1].second[:, 1].tolist()
    [4500.0, 9000.0]
    """
    count = np.ones(len(pieces.first), dtype=np.int64)
    for parts in range(1, MOST_PARTS + 1):
        source, split = _split(pieces, count)
        over = np.zeros(count.size, dtype=bool)
        over[source[_taken_s(split, slowness[source], day) > day.available_s + 1e-6]] = True
        if not over.any():
            return source, split, slowness[source]
        count[over] = parts + 1
    worst = int(np.argmax(over))
    reach = max(
        float(sum(way[0] for way in day.reach_s(end[[worst]])))
        for end in (pieces.first, pieces.second)
    )
    raise InputError(
        "A day in the field is too short to reach a line, walk on it and come back.",
        value=f"{day.available_s / 3600:.1f} h, of which {day.fixed_s / 3600:.1f} h are taken and "
        f"{reach / 3600:.1f} h are the way",
        remedy="Raise effort.hours_a_day, lower effort.set_up_h or plan.repeat_length_m, or plan "
        "smaller areas, each with its base.",
    )


def _split(pieces: Pieces, count: Integers) -> tuple[Integers, Pieces]:
    """Return the pieces in even parts, and which piece each is of."""
    source = np.repeat(np.arange(count.size), count)
    part = np.arange(source.size) - (np.cumsum(count) - count)[source]
    along = (pieces.second - pieces.first)[source] / count[source][:, np.newaxis]
    first = pieces.first[source] + part[:, np.newaxis] * along
    return source, Pieces(pieces.number[source], first, first + along)


def _taken_s(pieces: Pieces, slowness: Floats, day: WalkingDay) -> Floats:
    """Return the time of a day in which nothing but one piece is walked [s]."""
    length = np.hypot(*(pieces.second - pieces.first).T)
    out, back = day.reach_s(pieces.first)[0], day.reach_s(pieces.second)[1]
    taken: Floats = day.fixed_s + out + length * slowness / day.pace_m_s + back
    return taken


def shared_out(
    groups: list[Pieces], slowness: list[Floats], day: WalkingDay, *, rovers: int
) -> list[Tour]:
    """Share pieces out among days and rovers, and order each tour.

    Parameters
    ----------
    groups : list of Pieces
        Lines, then ties: parallel pieces each, every one short enough for a day. Pieces are
        counted through all groups.
    slowness : list of array
        Slowness of the pieces of each group.
    day : WalkingDay
        What a day has room for.
    rovers : int
        Rovers that walk at the same time.

    Returns
    -------
    list of Tour
        Tour k is walked by rover ``k % rovers`` on day ``k // rovers``.

    Notes
    -----
    All pieces are ordered line by line and, as another way, cell by cell; each order is cut where
    a day is full, all tours made about equally long, and each tour improved. The way with less
    empty walking is taken. But for the last, time grows in proportion to the number of pieces.

    Examples
    --------
    >>> two = Pieces(np.array([0, 1]), np.array([[0.0, 0.0], [20.0, 0.0]]),
    ...              np.array([[0.0, 500.0], [20.0, 500.0]]))
    >>> day = WalkingDay(np.zeros(2), np.zeros(2), 0.0, 2000.0, 1.0)
    >>> [tour.between_m for tour in shared_out([two], [np.ones(2)], day, rovers=1)]
    [40.0]
    """
    groups_with_rows = [item for item in groups if len(item.first)]
    if not groups_with_rows:
        return []
    every = Pieces(
        np.concatenate([item.number for item in groups]),
        np.concatenate([item.first for item in groups]),
        np.concatenate([item.second for item in groups]),
    )
    slow = np.concatenate(slowness)
    found: list[list[Tour]] = []
    for ordered in (line_by_line, lambda item: cell_by_cell(item, start=day.start)):
        order = _joined([ordered(item) for item in groups_with_rows])
        cuts = _even_cuts(every, order, slow, day, rovers)
        parts = zip(np.split(order.piece, cuts), np.split(order.turned, cuts), strict=True)
        found.append([_tour(every, Order(*part), slow, day) for part in parts])
    return min(found, key=lambda tours: (len(tours), sum(tour.walking_s for tour in tours)))


def _joined(orders: list[Order]) -> Order:
    """Return the orders of several groups one after the other, pieces counted through."""
    shifts = np.cumsum([0, *(order.piece.size for order in orders[:-1])])
    return Order(
        np.concatenate([order.piece + by for order, by in zip(orders, shifts, strict=True)]),
        np.concatenate([order.turned for order in orders]),
    )


def _tour(pieces: Pieces, order: Order, slowness: Floats, day: WalkingDay) -> Tour:
    """Return a tour in its improved order."""
    if order.piece.size <= MOST_IMPROVED:
        order = improved(pieces, order, start=day.start, end=day.end, ways=day.ways)
    between = empty_walking(pieces, order, start=day.start, end=day.end, ways=day.ways)
    length = np.hypot(*(pieces.second - pieces.first)[order.piece].T)
    walked = float((length * slowness[order.piece]).sum())
    return Tour(order, between, (between + walked) / day.pace_m_s + day.fixed_s)


def _even_cuts(
    pieces: Pieces, order: Order, slowness: Floats, day: WalkingDay, rovers: int
) -> Integers:
    """Return where an order is cut into tours that are about equally long.

    As few days as the capacity allows; within these every rover has a tour where that is
    possible, and the longest tour is as short as it can be.
    """
    out, work, hop, back = _times_s(pieces, order, slowness, day)
    low, high = 0.0, max(day.available_s - day.fixed_s, float((out + work + back).max()))
    fewest = _greedy_cuts(out, work, hop, back, np.array([high])).size + 1
    wanted = min(rovers * -(-fewest // rovers), work.size)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _greedy_cuts(out, work, hop, back, np.array([middle])).size + 1 <= wanted:
            high = middle
        else:
            low = middle
    return _greedy_cuts(out, work, hop, back, np.array([high]))


def _times_s(
    pieces: Pieces, order: Order, slowness: Floats, day: WalkingDay
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the time of the way out to each piece, on it, to it from the last, and back [s]."""
    entered, left = order.ends(pieces)
    out, back = day.reach_s(entered)[0], day.reach_s(left)[1]
    length = np.hypot(*(pieces.second - pieces.first)[order.piece].T)
    work: Floats = length * slowness[order.piece] / day.pace_m_s
    hop = np.zeros(work.size)
    hop[1:] = day.ways(left[:-1], entered[1:]) / day.pace_m_s
    return out, work, hop, back


@njit(nogil=True, cache=True)
def _greedy_cuts(
    out: Floats, work: Floats, hop: Floats, back: Floats, capacities: Floats
) -> Integers:  # pragma: no cover
    """Return where a new tour begins when each takes as much as it can; one piece at least.

    `capacities` are those of the tours in order; the last is that of all others.
    """
    cuts = np.empty(work.size, dtype=np.int64)
    count, spent = 0, 0.0
    for place in range(work.size):
        more = spent + hop[place] + work[place]
        if place == 0:
            spent = out[0] + work[0]
        elif more + back[place] > capacities[min(count, capacities.size - 1)]:
            cuts[count] = place
            count += 1
            spent = out[place] + work[place]
        else:
            spent = more
    return cuts[:count]


def days_of(tours: int, rovers: int) -> NDArray[np.int64]:
    """Return the day of each tour, from 1.

    Examples
    --------
    >>> days_of(5, 2).tolist()
    [1, 1, 2, 2, 3]
    """
    return np.arange(tours, dtype=np.int64) // rovers + 1
