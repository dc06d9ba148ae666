"""Ties early: nothing is lost, no day is too long, little is walked more, each rover has one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.methods.planning.tie_tours import MOST_DEARER, ties_early
from lodewalk.methods.planning.tours import WalkingDay, shared_out
from lodewalk.methods.planning.walk_order import Pieces

HOME = np.array([-50.0, 0.0])


def both(lines, length, ties, spacing=50.0):
    """Return lines to the north and ties across them, evenly."""
    east = spacing * np.arange(lines)
    north = (np.arange(ties) + 0.5) * length / max(ties, 1)
    reach = spacing * (lines - 1)
    return [
        Pieces(np.arange(lines), np.stack([east, 0 * east], 1),
               np.stack([east, 0 * east + length], 1)),
        Pieces(np.arange(ties), np.stack([0 * north, north], 1),
               np.stack([0 * north + reach, north], 1)),
    ]  # fmt: skip


def shared(lines, length, ties, hours, rovers):
    groups = both(lines, length, ties)
    slow = [np.ones(lines), np.ones(ties)]
    day = WalkingDay(HOME, HOME, 600.0, hours * 3600, 1.0)
    late = shared_out(groups, slow, day, rovers=rovers)
    return late, ties_early(groups, slow, day, late, rovers=rovers)


@settings(deadline=None, max_examples=60)
@given(st.integers(6, 40), st.floats(300, 900), st.integers(0, 7), st.floats(3, 6),
       st.integers(1, 3))  # fmt: skip
def test_nothing_is_lost_and_no_day_too_long(lines, length, ties, hours, rovers):
    late, early = shared(lines, length, ties, hours, rovers)
    walked = np.concatenate([tour.order.piece for tour in early])
    assert sorted(walked.tolist()) == list(range(lines + ties))
    assert len(early) == len(late)
    assert max(tour.walking_s for tour in early) <= hours * 3600 + 1
    before, after = (sum(tour.walking_s for tour in way) for way in (late, early))
    assert after <= (1 + MOST_DEARER) * before
    # At 1 m/s the time is the length of pieces and ways, and what each day takes besides.
    way = lines * length + ties * 50.0 * (lines - 1) + sum(tour.between_m for tour in early)
    assert after == pytest.approx(way + 600 * len(early))


@pytest.mark.parametrize("rovers", [1, 2])
def test_each_rover_has_a_tie_on_the_first_of_several_days(rovers):
    late, early = shared(32, 800.0, 4, 4.5, rovers)
    assert len(late) > rovers
    assert not any((tour.order.piece >= 32).any() for tour in late[:rovers])
    assert all((tour.order.piece >= 32).any() for tour in early[:rovers])


def test_ties_that_would_cost_too_much_stay_where_they_are():
    """A tie 20 km away on its own day can't be had early without a day more."""
    lines = both(8, 400.0, 0)[0]
    far = Pieces(np.zeros(1, int), np.array([[0.0, 9000.0]]), np.array([[300.0, 9000.0]]))
    day = WalkingDay(HOME, HOME, 0.0, 19_000.0, 1.0)
    slow = [np.ones(8), np.ones(1)]
    crowded = WalkingDay(HOME, HOME, 0.0, 18_700.0, 1.0)
    for limits in (day, crowded):
        late = shared_out([lines, far], slow, limits, rovers=1)
        early = ties_early([lines, far], slow, limits, late, rovers=1)
        assert sum(t.walking_s for t in early) <= 1.05 * sum(t.walking_s for t in late)
        assert max(t.walking_s for t in early) <= limits.available_s
