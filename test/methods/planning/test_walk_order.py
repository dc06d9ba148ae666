"""The order of walking, against trying every one, and against known walks of grids."""

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.adapters.walking_route import shortest_walk
from lodewalk.methods.planning.walk_order import (
    Order,
    Pieces,
    cell_by_cell,
    empty_walking,
    improved,
    line_by_line,
)


def parallel(seed, lines=5, spacing=25.0):
    """Return parallel lines, some parted by holes, in a turned direction."""
    rng = np.random.default_rng(seed)
    angle = rng.uniform(0, np.pi)
    along, across = (
        np.array([np.sin(angle), np.cos(angle)]),
        np.array([np.cos(angle), -np.sin(angle)]),
    )
    number, first, second = [], [], []
    for line in range(lines):
        cuts = np.sort(rng.uniform(-300, 300, rng.choice([2, 2, 4])))
        for low, high in cuts.reshape(-1, 2):
            number.append(line)
            first.append(low * along + line * spacing * across)
            second.append(high * along + line * spacing * across)
    return Pieces(np.array(number), np.array(first), np.array(second))


def shortest_of_all(pieces, start, end):
    """Return the least empty walking over all orders and directions, tried one by one."""
    count, best = len(pieces.first), np.inf
    for order in permutations(range(count)):
        for turned in product((False, True), repeat=count):
            here, way = start, 0.0
            for piece, back in zip(order, turned, strict=True):
                enter, leave = pieces.first[piece], pieces.second[piece]
                if back:
                    enter, leave = leave, enter
                way += np.hypot(*(enter - here))
                here = leave
            best = min(best, way + np.hypot(*(end - here)))
    return best


@pytest.mark.parametrize("seed", range(8))
def test_a_few_pieces_are_walked_in_nearly_the_best_order(seed):
    pieces = parallel(seed, lines=4)
    pieces = Pieces(pieces.number[:6], pieces.first[:6], pieces.second[:6])
    rng = np.random.default_rng(seed)
    start, end = rng.uniform(-200, 200, (2, 2))
    best = shortest_of_all(pieces, start, end)
    walks = [
        empty_walking(pieces, improved(pieces, order, start=start, end=end), start=start, end=end)
        for order in (line_by_line(pieces), cell_by_cell(pieces, start=start))
    ]
    assert best - 1e-6 <= min(walks) <= 1.05 * best


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000), st.integers(1, 14))
def test_every_piece_is_walked_once_and_no_exchange_makes_it_longer(seed, lines):
    pieces = parallel(seed, lines=lines)
    home = np.array([30.0, -400.0])
    for order in (line_by_line(pieces), cell_by_cell(pieces, start=home)):
        better = improved(pieces, order, start=home, end=home)
        for found in (order, better):
            assert sorted(found.piece.tolist()) == list(range(len(pieces.first)))
        before = empty_walking(pieces, order, start=home, end=home)
        assert empty_walking(pieces, better, start=home, end=home) <= before + 1e-6


def test_a_part_of_the_pieces_is_reordered_by_itself():
    pieces = parallel(3, lines=9)
    part = Order(np.array([4, 2, 7]), np.array([True, False, True]))
    home = np.zeros(2)
    found = improved(pieces, part, start=home, end=home)
    assert sorted(found.piece.tolist()) == [2, 4, 7]


def test_from_any_order_it_comes_near_the_routing_library():
    rng = np.random.default_rng(5)
    ratios = []
    for _ in range(6):
        first, second = rng.uniform(0, 1000, (2, 30, 2))
        pieces, home = Pieces(np.arange(30), first, second), np.zeros(2)
        poor = Order(rng.permutation(30), rng.random(30) < 0.5)
        found = improved(pieces, poor, start=home, end=home)
        own = empty_walking(pieces, found, start=home, end=home)
        ratios.append(own / shortest_walk(first, second, start=(0.0, 0.0)).between_m)
    assert np.mean(ratios) < 1.12


def test_a_plain_field_is_walked_to_and_fro():
    east = np.arange(0.0, 400, 20)
    pieces = Pieces(
        np.arange(20),
        np.column_stack([east, np.zeros(20)]),
        np.column_stack([east, np.full(20, 500)]),
    )
    home = np.zeros(2)
    # There and back by turns even before anything is improved.
    plain = empty_walking(pieces, line_by_line(pieces), start=home, end=home)
    assert plain == pytest.approx(19 * 20 + 380)
    found = improved(pieces, line_by_line(pieces), start=home, end=home)
    # No walk beats 19 steps to the next line and the way home from the last.
    assert empty_walking(pieces, found, start=home, end=home) <= 19 * 20 + 380 + 1e-6
    assert cell_by_cell(pieces, start=home).piece.tolist() == list(range(20))


def test_a_hole_that_is_wide_is_gone_round_cell_by_cell():
    east = np.arange(0.0, 300, 10)
    low = np.column_stack([east, np.zeros(30)]), np.column_stack([east, np.full(30, 100)])
    high = np.column_stack([east, np.full(30, 900)]), np.column_stack([east, np.full(30, 1000)])
    number = np.repeat(np.arange(30), 2)
    first = np.stack([low[0], high[0]], axis=1).reshape(-1, 2)
    second = np.stack([low[1], high[1]], axis=1).reshape(-1, 2)
    pieces, home = Pieces(number, first, second), np.zeros(2)
    cells = empty_walking(pieces, cell_by_cell(pieces, start=home), start=home, end=home)
    lines = empty_walking(pieces, line_by_line(pieces), start=home, end=home)
    # Two cells: 29 steps of 10 m in each, and about 2 km between them and home again.
    assert cells < 2 * 290 + 2 * 1000 + 600 < lines


def test_ways_that_are_asked_for_decide():
    # A wall between the two pairs of lines makes the way across dear.
    east = np.array([0.0, 10, 20, 30])
    pieces = Pieces(
        np.arange(4), np.column_stack([east, np.zeros(4)]), np.column_stack([east, np.full(4, 50)])
    )

    def walled(one, two):
        across = (one[:, 0] < 15) != (two[:, 0] < 15)
        return np.hypot(*(two - one).T) + 1000 * across

    home = np.array([0.0, -5.0])
    poor = Order(np.array([0, 2, 1, 3]), np.zeros(4, dtype=bool))
    found = improved(pieces, poor, start=home, end=home, ways=walled)
    total = empty_walking(pieces, found, start=home, end=home, ways=walled)
    assert 2000 < total < 2200
