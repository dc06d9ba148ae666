"""In which order, and which way, pieces of parallel lines are walked with little empty walking."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]
#: Returns the length of the way on foot from each place to the one beside it [m].
Ways = Callable[[Floats, Floats], Floats]
#: Above this many cells they are taken in the order in which they begin.
MOST_CELLS = 3000
#: Passes over all moves before the search stops.
MOST_PASSES = 60


@dataclass(frozen=True)
class Pieces:
    """Straight pieces of parallel lines, line by line, each line's from its near end.

    Parameters
    ----------
    number : array, shape (n,)
        Line that each piece belongs to, not decreasing.
    first, second : array, shape (n, 2)
        Easting and northing of both ends [m].
    """

    number: Integers
    first: Floats
    second: Floats

    @property
    def extent(self) -> tuple[Floats, Floats]:
        """Place of both ends along the lines, the lesser first [m]."""
        if not len(self.first):
            return np.zeros(0), np.zeros(0)
        longest = int(np.argmax(np.hypot(*(self.second - self.first).T)))
        along = self.second[longest] - self.first[longest]
        along = along / np.hypot(*along)
        return self.first @ along, self.second @ along


@dataclass(frozen=True)
class Order:
    """An order of walking.

    Parameters
    ----------
    piece : array, shape (n,)
        Numbers of the pieces in order.
    turned : array, shape (n,)
        Whether each is walked from its second end to its first.
    """

    piece: Integers
    turned: Flags

    def ends(self, pieces: Pieces) -> tuple[Floats, Floats]:
        """Return where each piece is entered and left, in order [m]."""
        one, two = pieces.first[self.piece], pieces.second[self.piece]
        turned = self.turned[:, np.newaxis]
        return np.where(turned, two, one), np.where(turned, one, two)


def straight_ways(start: Floats, end: Floats) -> Floats:
    """Return the straight length between places [m].

    Examples
    --------
    >>> straight_ways(np.array([[0.0, 0.0]]), np.array([[3.0, 4.0]])).tolist()
    [5.0]
    """
    found: Floats = np.hypot(*np.moveaxis(end - start, -1, 0))
    return found


def empty_walking(
    pieces: Pieces, order: Order, *, start: Floats, end: Floats, ways: Ways = straight_ways
) -> float:
    """Return the way between pieces, from the start and to the end [m].

    Examples
    --------
    >>> two = Pieces(np.array([0, 1]), np.array([[0.0, 0.0], [20.0, 0.0]]),
    ...              np.array([[0.0, 50.0], [20.0, 50.0]]))
    >>> home = np.zeros(2)
    >>> empty_walking(two, line_by_line(two), start=home, end=home)
    40.0
    """
    entered, left = order.ends(pieces)
    places = np.concatenate([start[np.newaxis], left])
    return float(ways(places, np.concatenate([entered, end[np.newaxis]])).sum())


def line_by_line(pieces: Pieces) -> Order:
    """Return the order to and fro over whole lines, over the holes in them too.

    Examples
    --------
    >>> found = line_by_line(Pieces(np.array([0, 1, 1]), np.array([[0.0, 0], [9, 0], [9, 40]]),
    ...                             np.array([[0.0, 90], [9, 30], [9, 90]])))
    >>> found.piece.tolist(), found.turned.tolist()
    ([0, 2, 1], [False, True, True])
    """
    _, line = np.unique(pieces.number, return_inverse=True)
    back = line % 2 == 1
    low, _ = pieces.extent
    piece = np.lexsort((np.where(back, -low, low), line))
    return Order(piece.astype(np.int64), back[piece])


def cell_by_cell(pieces: Pieces, *, start: Floats) -> Order:
    """Return the order to and fro within cells that no hole parts, cell after cell.

    Parameters
    ----------
    pieces : Pieces
        At least one.
    start : array, shape (2,)
        Where the walk begins [m].

    Notes
    -----
    A cell goes on from line to line as long as one piece lies beside one piece (boustrophedon
    decomposition). The next cell is always the one with the nearest corner.

    References
    ----------
    Choset, H., and Pignon, P., 1998, Coverage path planning: the boustrophedon cellular
    decomposition: Field and Service Robotics, Springer, 203-209,
    https://doi.org/10.1007/978-1-4471-1273-0_32

    Examples
    --------
    >>> hole = Pieces(np.array([0, 1, 1, 2, 2]), np.array([[0.0, 0], [9, 0], [9, 60], [18, 0],
    ...     [18, 60]]), np.array([[0.0, 90], [9, 30], [9, 90], [18, 30], [18, 90]]))
    >>> cell_by_cell(hole, start=np.zeros(2)).piece.tolist()
    [0, 2, 4, 3, 1]
    """
    members = _cells(pieces)
    order, turned = [], []
    for cell, (backwards, upwards) in _cell_order(pieces, members, start):
        rows = members[cell][::-1] if backwards else members[cell]
        order.append(rows)
        turned.append((np.arange(rows.size) % 2 == 1) ^ upwards)
    return Order(np.concatenate(order), np.concatenate(turned))


def _cells(pieces: Pieces) -> list[Integers]:
    """Return the pieces of each cell, in order of their lines."""
    low, high = pieces.extent
    _, line = np.unique(pieces.number, return_inverse=True)
    apart = (high.max() - low.min()) + 1.0 if low.size else 1.0
    key_low, key_high = line * apart + (low - low.min()), line * apart + (high - low.min())
    # Pieces of the next line that lie beside each piece; those of one line don't overlap.
    begin = np.searchsorted(key_high, key_low + apart, side="right")
    end = np.searchsorted(key_low, key_high + apart, side="left")
    before = np.searchsorted(key_high, key_low - apart, side="right")
    beside = np.searchsorted(key_low, key_high - apart, side="left") - before
    single = np.flatnonzero(end - begin == 1)
    goes_on = single[beside[begin[single]] == 1]
    follows = np.full(low.size, -1, dtype=np.int64)
    follows[goes_on] = begin[goes_on]
    heads = np.setdiff1d(np.arange(low.size), follows[goes_on])
    return [_chain(int(head), follows) for head in heads]


def _chain(head: int, follows: Integers) -> Integers:
    """Return the pieces of a cell from its first."""
    found = [head]
    while (head := int(follows[head])) >= 0:
        found.append(head)
    return np.array(found, dtype=np.int64)


def _cell_order(
    pieces: Pieces, members: list[Integers], start: Floats
) -> list[tuple[int, tuple[bool, bool]]]:
    """Return the cells in order, each with whether its lines are taken and entered backwards."""
    ways_in = [(backwards, turned) for backwards in (False, True) for turned in (False, True)]
    if len(members) > MOST_CELLS:
        return [(cell, ways_in[0]) for cell in range(len(members))]
    both = np.stack([pieces.first, pieces.second])
    entry = np.empty((len(members), 4, 2))
    leave = np.empty((len(members), 4, 2))
    for cell, rows in enumerate(members):
        for way, (backwards, turned) in enumerate(ways_in):
            one, last = (rows[-1], rows[0]) if backwards else (rows[0], rows[-1])
            entry[cell, way] = both[int(turned), one]
            leave[cell, way] = both[int(turned ^ (rows.size % 2 == 1)), last]
    left, here, found = np.ones(len(members), dtype=bool), np.asarray(start, dtype=float), []
    for _ in members:
        away = np.hypot(*np.moveaxis(entry - here, -1, 0))
        away[~left] = np.inf
        cell, way = divmod(int(np.argmin(away)), 4)
        left[cell] = False
        here = leave[cell, way]
        found.append((cell, ways_in[way]))
    return found


def improved(
    pieces: Pieces, order: Order, *, start: Floats, end: Floats, ways: Ways = straight_ways
) -> Order:
    """Return a better order of a few pieces, by exchanges until none shortens the walk.

    Parameters
    ----------
    pieces : Pieces
        Straight pieces.
    order : Order
        Those that are walked, in some order; the others are left alone.
    start, end : array, shape (2,)
        Where the walk begins and ends [m].
    ways : callable
        Length of the way between places; it is asked for all pairs of ends.

    Notes
    -----
    2-opt (a stretch of the walk is turned round) and or-opt (up to three pieces are moved
    elsewhere, either way round), as for the travelling salesman; ways there and back are alike.
    Time grows with the square of the number of pieces. Near the optimum, not proven to be it.

    References
    ----------
    Croes, G. A., 1958, Operations Research 6, 791-812, https://doi.org/10.1287/opre.6.6.791
    Or, I., 1976, Traveling salesman-type combinatorial problems: thesis, Northwestern University.

    Examples
    --------
    >>> two = Pieces(np.array([0, 1]), np.array([[0.0, 0.0], [20.0, 0.0]]),
    ...              np.array([[0.0, 50.0], [20.0, 50.0]]))
    >>> home = np.zeros(2)
    >>> poor = Order(np.array([0, 1]), np.array([False, False]))
    >>> better = improved(two, poor, start=home, end=home)
    >>> empty_walking(two, better, start=home, end=home)
    40.0
    """
    count = order.piece.size
    if count == 0:
        return order
    entered, left = order.ends(pieces)
    # Node 2k is where piece k is entered as the order stands, node 2k + 1 where it is left.
    places = np.empty((2 * count + 2, 2))
    places[0:-2:2], places[1:-2:2] = entered, left
    places[-2], places[-1] = start, end
    length = _all_ways(places, ways)
    walk = _searched(length, count, MOST_PASSES)
    turned = order.turned[walk // 2] ^ (walk % 2 == 1)
    return Order(order.piece[walk // 2], turned)


def _all_ways(places: Floats, ways: Ways) -> Floats:
    """Return the way between each two places, asked for once a pair."""
    one, two = np.triu_indices(len(places), 1)
    length = np.zeros((len(places), len(places)))
    length[one, two] = length[two, one] = ways(places[one], places[two])
    return length


@njit(nogil=True, cache=True)
def _searched(length: Floats, count: int, passes: int) -> Integers:  # pragma: no cover
    """Return the node by which each piece is entered, in order of walking."""
    walk = np.arange(count) * 2
    for _ in range(passes):
        if not (_turn_stretches(length, walk) | _move_pieces(length, walk)):
            break
    return walk


@njit(nogil=True, cache=True)
def _leg(length: Floats, walk: Integers, place: int) -> float:  # pragma: no cover
    """Return the way to the piece at a place of the walk from what comes before it."""
    count = walk.size
    before = 2 * count if place == 0 else walk[place - 1] ^ 1
    after = 2 * count + 1 if place == count else walk[place]
    way: float = length[before, after]
    return way


@njit(nogil=True, cache=True)
def _turn_stretches(length: Floats, walk: Integers) -> bool:  # pragma: no cover
    """Turn each stretch round that makes the walk shorter; tell whether any did."""
    count, better = walk.size, False
    for low in range(count):
        before = 2 * count if low == 0 else walk[low - 1] ^ 1
        for high in range(low, count):
            after = 2 * count + 1 if high == count - 1 else walk[high + 1]
            now = _leg(length, walk, low) + _leg(length, walk, high + 1)
            then = length[before, walk[high] ^ 1] + length[walk[low], after]
            if then < now - 1e-6:
                walk[low : high + 1] = walk[low : high + 1][::-1].copy() ^ 1
                better = True
    return better


@njit(nogil=True, cache=True)
def _move_pieces(length: Floats, walk: Integers) -> bool:  # pragma: no cover
    """Move stretches of up to three pieces to where they cost less; tell whether any did."""
    count, better = walk.size, False
    for size in range(1, min(3, count - 1) + 1):
        low = 0
        while low + size <= count:
            better |= _move_one(length, walk, low, size)
            low += 1
    return better


@njit(nogil=True, cache=True)
def _move_one(length: Floats, walk: Integers, low: int, size: int) -> bool:  # pragma: no cover
    """Move one stretch to its best place in the rest of the walk, if that is shorter."""
    count = walk.size
    held = walk[low : low + size].copy()
    rest = np.concatenate((walk[:low], walk[low + size :]))
    one, two = held[0], held[-1] ^ 1
    before = 2 * count if low == 0 else walk[low - 1] ^ 1
    after = 2 * count + 1 if low + size == count else walk[low + size]
    gain = length[before, one] + length[two, after] - length[before, after]
    best, place, back = gain - 1e-6, -1, False
    for slot in range(rest.size + 1):
        left = 2 * count if slot == 0 else rest[slot - 1] ^ 1
        right = 2 * count + 1 if slot == rest.size else rest[slot]
        open_cost = length[left, right]
        forward = length[left, one] + length[two, right] - open_cost
        reverse = length[left, two] + length[one, right] - open_cost
        if min(forward, reverse) < best:
            best, place, back = min(forward, reverse), slot, reverse < forward
    if place < 0:
        return False
    walk[:place] = rest[:place]
    walk[place : place + size] = held[::-1] ^ 1 if back else held
    walk[place + size :] = rest[place:]
    return True
