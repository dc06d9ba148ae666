"""Days and rovers: nothing is lost, no day is too long, and no fewer days would do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.planning.line_names import line_names
from lodewalk.methods.planning.tours import WalkingDay, days_of, shared_out, split_long
from lodewalk.methods.planning.walk_order import Pieces

HOME = np.array([-50.0, 0.0])


def field(lines, length, spacing=50.0):
    east = spacing * np.arange(lines)
    return Pieces(
        np.arange(lines),
        np.column_stack([east, np.zeros(lines)]),
        np.column_stack([east, np.full(lines, length)]),
    )


def day(hours, fixed=0.0, home=HOME):
    return WalkingDay(home, home, fixed, hours * 3600, 1.0)


@settings(deadline=None, max_examples=40)
@given(st.integers(1, 40), st.floats(100, 1500), st.floats(4, 8), st.integers(1, 3))
def test_tours_hold_every_piece_once_and_fit_the_day(lines, length, hours, rovers):
    pieces, limits = field(lines, length), day(hours, fixed=600)
    source, parts, slow = split_long(pieces, np.ones(lines), limits)
    tours = shared_out([parts], [slow], limits, rovers=rovers)
    walked = np.concatenate([tour.order.piece for tour in tours])
    assert sorted(walked.tolist()) == list(range(len(source)))
    assert max(tour.walking_s for tour in tours) <= hours * 3600 + 1
    # However well they are ordered, that many seconds of lines alone need so many tours.
    least = np.ceil(lines * length / (hours * 3600 - 600))
    assert len(tours) >= least
    assert days_of(len(tours), rovers)[-1] == -(-len(tours) // rovers)


def test_the_time_of_a_tour_by_hand():
    limits = day(4, fixed=100.0)
    (tour,) = shared_out([field(2, 1000.0)], [np.array([1.0, 2.0])], limits, rovers=1)
    # 50 m out, 1000 m up, 50 m over, 1000 m down at half the pace, 100 m home.
    assert tour.between_m == pytest.approx(200.0)
    assert tour.walking_s == pytest.approx(100 + 200 + 1000 + 2000)


def test_lines_and_ties_are_counted_through():
    ties = Pieces(np.zeros(1, int), np.array([[0.0, 500.0]]), np.array([[100.0, 500.0]]))
    tours = shared_out([field(3, 1000.0), ties], [np.ones(3), np.ones(1)], day(9), rovers=1)
    assert sorted(np.concatenate([t.order.piece for t in tours]).tolist()) == [0, 1, 2, 3]


def test_tours_of_two_rovers_are_about_equally_long():
    tours = shared_out([field(30, 1000.0)], [np.ones(30)], day(20), rovers=2)
    assert len(tours) == 2
    assert abs(tours[0].walking_s - tours[1].walking_s) < 3000


def test_a_line_longer_than_a_day_is_split_evenly_and_keeps_its_place():
    middle = np.array([0.0, 15_000.0])
    slowness = np.array([1.0, 1.5])
    source, parts, slow = split_long(field(2, 30_000.0), slowness, day(10, home=middle))
    # In halves: 15 km out, 15 km of line; at half again the time, thirds: 15 out, 15, 5 home.
    assert np.bincount(source).tolist() == [2, 3]
    assert slow.tolist() == [1, 1, 1.5, 1.5, 1.5]
    for line in (0, 1):
        rows = source == line
        assert np.allclose(parts.first[rows][1:], parts.second[rows][:-1])
        assert parts.first[rows][0, 1] == 0
        assert parts.second[rows][-1, 1] == pytest.approx(30_000)


def test_a_day_too_short_to_get_there_is_refused():
    with pytest.raises(InputError, match=r"too short to reach.*hours_a_day"):
        split_long(field(2, 500.0), np.ones(2), day(0.2))


def test_nothing_to_walk_makes_no_tour():
    nothing = Pieces(np.zeros(0, int), np.zeros((0, 2)), np.zeros((0, 2)))
    assert shared_out([nothing], [np.zeros(0)], day(5), rovers=1) == []


def test_names_are_short_unique_and_letter_the_pieces():
    number = np.repeat(np.arange(1200), 2)
    names = line_names(number, letter="L", longest=10)
    assert len(set(names)) == 2400
    assert names[0] == "L0001A"
    assert names[-1] == "L1200B"
    assert line_names([0, 0, 1], letter="T", longest=4) == ["T01A", "T01B", "T02"]
    assert line_names([], letter="T", longest=4) == []
    with pytest.raises(InputError, match=r"name_length is 4.*L001A"):
        line_names([0, 0], letter="L", longest=4)
