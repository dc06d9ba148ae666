"""Folds of lines on surveys small enough to see the answer."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.gridding.line_folds import KEPT, line_folds


def survey(angle_deg=0.0, tie_ends=(0.0, 60.0)):
    """Seven lines 10 m apart and a tie line, turned by an angle."""
    along = np.arange(0.0, 101.0, 5.0)
    across = np.arange(*tie_ends, 3.0)
    east = np.concatenate([np.repeat(np.arange(7) * 10.0, along.size), across])
    north = np.concatenate([np.tile(along, 7), np.full(across.size, 52.0)])
    line = np.concatenate([np.repeat(np.arange(7), along.size), np.full(across.size, 100)])
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return c * east - s * north, s * east + c * north, line


@pytest.mark.parametrize("angle_deg", [0.0, 37.0, 90.0, 163.0])
def test_every_third_line_together_and_the_outermost_kept(angle_deg):
    east, north, line = survey(angle_deg)
    fold = line_folds(east, north, line, line_spacing_m=10.0, folds=3)
    assert set(fold[(line == 0) | (line == 6)]) == {KEPT}
    assert set(fold[line == 100]) == {3}
    own = [set(fold[line == number]) for number in range(1, 6)]
    assert all(len(folds) == 1 for folds in own)
    numbers = [folds.pop() for folds in own]
    assert numbers[0] == numbers[3]
    assert numbers[1] == numbers[4]
    assert sorted(numbers[:3]) == [0, 1, 2]


def test_a_line_in_parts_or_walked_twice_is_left_out_whole():
    east, north, line = survey()
    second = (line == 2) & (north > 50)
    line = np.where(second, 77, line).astype(str)
    again = line == "3"
    east, north = np.append(east, east[again] + 0.8), np.append(north, north[again][::-1])
    line = np.append(line, np.full(np.count_nonzero(again), "again"))
    fold = line_folds(east, north, line, line_spacing_m=10.0, folds=3)
    assert set(fold[line == "77"]) == set(fold[line == "2"])
    assert set(fold[line == "again"]) == set(fold[line == "3"])


def test_ties_beyond_the_lines_are_kept():
    east, north, line = survey(tie_ends=(-30.0, 90.0))
    fold = line_folds(east, north, line, line_spacing_m=10.0)
    tie = line == 100
    assert set(fold[tie & ((east < 0) | (east > 60))]) == {KEPT}
    assert set(fold[tie & (east > 0) & (east < 60)]) == {4}


@pytest.mark.parametrize(
    ("options", "rule"),
    [
        ({"folds": 1}, "At least two folds"),
        ({"line_spacing_m": 0.0}, "line_spacing_m must be above zero"),
        ({"line_spacing_m": 50.0}, "at least three lines beside each other"),
    ],
)
def test_wrong_settings_are_refused(options, rule):
    with pytest.raises(InputError, match=rule):
        line_folds(*survey(), **{"line_spacing_m": 10.0, **options})
