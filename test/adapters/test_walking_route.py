"""The walk over lines, against trying every order and direction."""

from itertools import permutations, product

import numpy as np
import pytest

from lodewalk.adapters.walking_route import shortest_walk
from lodewalk.errors import InputError


def best_by_trying(one, two, start):
    """Return the least way between lines over all orders and directions."""
    count, best = len(one), np.inf
    for order in permutations(range(count)):
        for turned in product((False, True), repeat=count):
            here, way = start, 0.0
            for line in order:
                enter, leave = (two, one) if turned[line] else (one, two)
                if here is not None:
                    way += np.hypot(*(enter[line] - here))
                here = leave[line]
            if start is not None:
                way += np.hypot(*(start - here))
            best = min(best, way)
    return best


@pytest.mark.parametrize("start", [None, (250.0, -90.0)])
@pytest.mark.parametrize("seed", range(4))
def test_it_finds_the_shortest_walk_of_five_lines(seed, start):
    rng = np.random.default_rng(seed)
    one, two = rng.uniform(0.0, 600.0, (2, 5, 2))
    found = shortest_walk(one, two, start=start)
    expected = best_by_trying(one, two, None if start is None else np.array(start))
    assert sorted(found.order) == [0, 1, 2, 3, 4]
    assert found.between_m == pytest.approx(expected, abs=0.1)
    assert found.lines_m == pytest.approx(np.hypot(*(two - one).T).sum())


def test_parallel_lines_are_walked_to_and_fro():
    east = np.arange(0.0, 400.0, 20.0)
    one = np.column_stack([east, np.zeros(20)])
    two = np.column_stack([east, np.full(20, 500.0)])
    found = shortest_walk(one, two, start=(0.0, 0.0))
    # There and back over all lines: at best 19 steps of 20 m and the way home of 380 m.
    assert found.between_m <= 1.1 * (19 * 20 + 380)
    assert sum(found.reversed) == 10


def test_the_same_lines_give_the_same_walk():
    rng = np.random.default_rng(9)
    ends = rng.uniform(0.0, 900.0, (2, 25, 2))
    assert shortest_walk(*ends) == shortest_walk(*ends)


def test_nothing_to_walk_and_a_single_line():
    nothing = np.zeros((0, 2))
    assert shortest_walk(nothing, nothing).order == ()
    single = shortest_walk(np.array([[0.0, 0.0]]), np.array([[3.0, 4.0]]))
    assert (single.order, single.between_m, single.lines_m) == ((0,), 0.0, 5.0)


def test_a_place_that_is_not_known_is_refused():
    with pytest.raises(InputError, match="two finite ends"):
        shortest_walk(np.array([[np.nan, 0.0]]), np.array([[3.0, 4.0]]))
