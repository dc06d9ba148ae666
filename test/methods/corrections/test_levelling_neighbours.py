"""Ties of passages that run alongside each other, on geometry whose answers are known."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.levelling_neighbours import NeighbourTies, neighbour_ties

S = np.arange(0.0, 401.0, 2.0)


def ties_of(
    lines: list[tuple[np.ndarray, np.ndarray, np.ndarray]], **given: float
) -> NeighbourTies:
    """Lines of easting, northing and value, 400 m long; along is metres."""
    number = np.repeat(np.arange(len(lines)), [line[0].size for line in lines])
    east, north, value = (np.concatenate(column) for column in zip(*lines, strict=True))
    rules = {"max_apart_m": 30.0, "piece_m": 200.0, "noise_nT": 0.1} | given
    return neighbour_ties(number, north, east, north, value, **rules)


def flat(value: float, east: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return np.full(S.size, east), S, np.full(S.size, value)


def test_repeat_walked_back_in_two_pieces() -> None:
    line = (np.full(S.size, 1.0), S[::-1], 0.5 + 0.01 * S[::-1])
    found = ties_of([(np.zeros(S.size), S, 0.01 * S), line])
    ties = found.ties
    np.testing.assert_allclose(ties.difference_nT, [-0.5, -0.5])
    np.testing.assert_allclose(ties.first_along, ties.second_along)
    np.testing.assert_allclose(ties.first_along, [99.0, 300.0], atol=1.5)
    np.testing.assert_allclose(found.apart_m, 1.0)
    # Half of the differences are 0.5 nT over 1 m, and a repeat's own difference isn't counted.
    assert found.slope_nT_m == pytest.approx(0.5 / 0.6745)
    np.testing.assert_allclose(ties.sd_nT, np.hypot(0.1, 0.5 / 0.6745))


def test_sd_grows_with_the_slope_along_the_lines() -> None:
    # 0.2 nT/m along, equal means: the slope across is taken for as steep, times 25 m.
    lines = [(np.full(S.size, e), S, 0.2 * S) for e in (0.0, 25.0)]
    found = ties_of(lines)
    assert found.slope_nT_m == pytest.approx(0.2)
    np.testing.assert_allclose(found.ties.sd_nT, np.hypot(0.1, 5.0))


def test_all_of_a_difference_between_lines_may_be_geology() -> None:
    lines = [flat(0.0, 25.0 * i) for i in range(6)]
    lines[3] = flat(20.0, 75.0)
    ties = ties_of(lines).ties
    step = np.abs(ties.difference_nT) > 0
    assert step.sum() == 4
    assert (ties.sd_nT[step] >= 20.0).all()


def test_far_lines_and_crossing_lines_give_no_tie() -> None:
    crossing = (S - 200.0, np.full(S.size, 200.0), np.zeros(S.size))
    assert not len(ties_of([flat(0.0), flat(1.0, 60.0), crossing]).ties)


def test_readings_without_value_are_left_out() -> None:
    hole = flat(1.0)
    hole[2][10:20] = np.nan
    found = ties_of([hole, flat(0.0, 2.0)], piece_m=400.0)
    np.testing.assert_allclose(found.ties.difference_nT, [1.0])


def test_bad_input_is_named() -> None:
    with pytest.raises(InputError, match=r"piece_m must be at least 4 times.*100"):
        ties_of([flat(0.0)], piece_m=100.0)
    with pytest.raises(InputError, match="noise_nT must be above zero"):
        ties_of([flat(0.0)], noise_nT=0.0)
    with pytest.raises(InputError, match="same length"):
        neighbour_ties([0], [0, 1], [0], [0], [0], max_apart_m=1.0, piece_m=10.0, noise_nT=1.0)
