"""Tie lines early: without them the evening check has no crossings for days."""

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.planning.tours import (
    HALVINGS,
    Tour,
    WalkingDay,
    _greedy_cuts,
    _times_s,
    _tour,
)
from lodewalk.methods.planning.walk_order import Order, Pieces, cell_by_cell, line_by_line

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: Ties are walked early where all walking becomes longer by no more than this share.
MOST_DEARER: Final = 0.05
#: Times that the tours are cut anew with what the ties took in the last ones.
_PASSES: Final = 2


def ties_early(
    groups: list[Pieces],
    slowness: list[Floats],
    day: WalkingDay,
    tours: list[Tour],
    *,
    rovers: int,
) -> list[Tour]:
    """Return tours in which each rover walks a tie on the first day, where that costs little.

    Parameters
    ----------
    groups : list of Pieces
        Lines, then ties, as they were shared out.
    slowness : list of array
        Slowness of the pieces of each group.
    day : WalkingDay
        What a day has room for.
    tours : list of Tour
        The tours with the least walking.
    rovers : int
        Rovers that walk at the same time.

    Returns
    -------
    list of Tour
        As many tours, none longer than a day; `tours` itself where each rover has a tie on the
        first day already, there are too few ties, or all walking would become longer by more
        than 5 %.

    Notes
    -----
    Ties are dealt, in their order across the area, evenly to the tours of the first day, of the
    first two days, or of all days, or a pair to each tour of the first day and the others to the
    tours that had them. The lines are cut around them so that the tours are about equally long;
    of the ways that fit and cost little, that with the most tours with a tie is taken, of these
    the one with the least walking.

    Examples
    --------
    >>> from lodewalk.methods.planning.tours import shared_out
    >>> lines = Pieces(np.arange(8), np.stack([50.0 * np.arange(8), np.zeros(8)], 1),
    ...                np.stack([50.0 * np.arange(8), np.full(8, 400.0)], 1))
    >>> ties = Pieces(np.arange(2), np.array([[0.0, 100], [0, 300]]),
    ...               np.array([[350.0, 100], [350, 300]]))
    >>> day = WalkingDay(np.zeros(2), np.zeros(2), 0.0, 3600.0, 1.0)
    >>> both, slow = [lines, ties], [np.ones(8), np.ones(2)]
    >>> late = shared_out(both, slow, day, rovers=1)
    >>> early = ties_early(both, slow, day, late, rovers=1)
    >>> [[bool((tour.order.piece >= 8).any()) for tour in way] for way in (late, early)]
    [[False, True], [True, True]]
    """
    lines, ties = groups
    count, many = len(tours), len(lines.first)
    firsts = min(rovers, count)
    has_tie = [bool((tour.order.piece >= many).any()) for tour in tours]
    if len(ties.first) < firsts or len(lines.first) < count or all(has_tie[:firsts]):
        return tours
    every = Pieces(*(np.concatenate([getattr(item, name) for item in groups])
                     for name in ("number", "first", "second")))  # fmt: skip
    slow = np.concatenate(slowness)
    tie_order = line_by_line(ties)
    best, most_s = tours, (1 + MOST_DEARER) * _total(tours)
    least = (0, most_s)
    for ordered in (line_by_line(lines), cell_by_cell(lines, start=day.start)):
        for deal in _deals(len(ties.first), has_tie, rovers):
            rows = [np.flatnonzero(deal == number) for number in range(count)]
            ties_of = [Order(tie_order.piece[row] + many, tie_order.turned[row]) for row in rows]
            found = _around(every, ordered, ties_of, slow, day)
            rank = (-sum(own.piece.size > 0 for own in ties_of), _total(found))
            if found and rank[1] <= most_s and rank < least:
                best, least = found, rank
    return best


def _deals(ties: int, has_tie: list[bool], rovers: int) -> Iterator[Integers]:
    """Yield ways to deal ties to tours: the tour of each tie, in their order."""
    count, firsts = len(has_tie), min(rovers, len(has_tie))
    for among in dict.fromkeys((firsts, min(2 * firsts, count), count)):
        if among <= ties:
            yield np.arange(ties) * among // ties
    late = np.flatnonzero(has_tie)
    early = min(2 * firsts, ties)
    rest = np.arange(ties - early)
    if rest.size and late.size:
        yield np.concatenate(
            [np.arange(early) * firsts // early, late[rest * late.size // rest.size]]
        )


def _around(
    every: Pieces, lines: Order, ties: list[Order], slowness: Floats, day: WalkingDay
) -> list[Tour]:
    """Return tours of the lines cut around the ties of each; none where they don't fit."""
    times = _times_s(every, lines, slowness, day)
    length = np.hypot(*(every.second - every.first).T) * slowness / day.pace_m_s
    taken = np.array([float(length[own.piece].sum()) for own in ties])
    found: list[Tour] = []
    for _ in range(_PASSES):
        cuts = _cuts_around(times, taken, day.available_s - day.fixed_s)
        if cuts.size + 1 != len(ties):
            return []
        parts = zip(np.split(lines.piece, cuts), np.split(lines.turned, cuts), ties, strict=True)
        tours = [
            _tour(
                every,
                Order(np.r_[piece, own.piece], np.r_[turned, own.turned]),
                slowness,
                day,
            )
            for piece, turned, own in parts
        ]
        fits = max(tour.walking_s for tour in tours) <= day.available_s + 1e-6
        if fits and (not found or _total(tours) < _total(found)):
            found = tours
        alone = _alone_s(times, cuts)
        taken = np.array([tour.walking_s - day.fixed_s for tour in tours]) - alone
        taken = np.maximum(taken, 0.0)
    return found


def _total(tours: list[Tour]) -> float:
    """Return the walking of all tours [s]."""
    return sum(tour.walking_s for tour in tours)


def _alone_s(times: tuple[Floats, ...], cuts: Integers) -> Floats:
    """Return the time of each tour with its lines alone, in their order [s]."""
    out, work, hop, back = times
    begins, ends = np.r_[0, cuts], np.r_[cuts, work.size] - 1
    through = np.add.reduceat(work + hop, begins) - hop[begins]
    alone: Floats = out[begins] + through + back[ends]
    return alone


def _cuts_around(times: tuple[Floats, ...], taken: Floats, most_s: float) -> Integers:
    """Return where the lines are cut so that tours with what is taken of each are even."""
    out, work, hop, back = times

    def cut(whole: float) -> Integers:
        found: Integers = _greedy_cuts(out, work, hop, back, whole - taken)
        return found

    low, high = 0.0, most_s
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if cut(middle).size + 1 <= taken.size:
            high = middle
        else:
            low = middle
    return cut(high)
