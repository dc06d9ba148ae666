"""Courses of points planted among points strewn at random."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import find_linear_features, line_ends
from lodewalk.methods.checks.culture.courses import Passages

SPACING = 20.0


def passages(count, length=400.0):
    north = SPACING * np.arange(count)
    start = np.stack([np.zeros(count), north], axis=1)
    return Passages(np.arange(count), start, start + np.array([length, 0]))


def strewn(rng, lines, count):
    """Return points at random places of random lines."""
    line = rng.integers(0, lines, count)
    return rng.uniform(0, 400, count), SPACING * line + rng.normal(size=count), line


def test_chance_finds_few_courses():
    found = 0
    for seed in range(60):
        points = strewn(np.random.default_rng(seed), 20, 60)
        found += len(find_linear_features(*points, passages=passages(20)))
    assert found <= 6  # 0.05 each expected at most


def test_a_planted_course_and_its_ends():
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        east, north, line = strewn(rng, 20, 60)
        shown = np.flatnonzero(rng.random(16) < 0.9)
        at = 150 + 0.4 * SPACING * shown + rng.normal(scale=1.2, size=shown.size)
        points = (
            np.append(east, at),
            np.append(north, SPACING * shown),
            np.append(line, shown),
        )
        found = find_linear_features(*points, passages=passages(20))
        assert len(found) == 1
        assert (found.member[60:] == 0).mean() > 0.85
        assert found.lines[0] >= shown.size - 3
        assert found.expected[0] < 0.05
        slope = (found.end_easting_m - found.start_easting_m) / (
            found.end_northing_m - found.start_northing_m
        )
        assert slope[0] == pytest.approx(0.4, abs=0.04)


def test_two_courses_and_one_along_the_lines():
    line = np.concatenate([np.arange(8), np.arange(8), np.full(8, 3)])
    east = np.concatenate([np.full(8, 100.0), np.full(8, 250.0), np.linspace(10, 390, 8)])
    found = find_linear_features(east, SPACING * line, line, passages=passages(8))
    assert len(found) == 2
    assert sorted(found.lines.tolist()) == [8, 8]
    assert (found.member[[17, 18, 20, 21]] == -1).all()


@pytest.mark.parametrize(("angle_deg", "courses"), [(10.0, 0), (30.0, 1)])
def test_a_course_nearly_along_the_lines_is_none(angle_deg, courses):
    line = np.arange(6)
    east = 30 + SPACING * line / np.tan(np.radians(angle_deg))
    wide = passages(6, length=800.0)
    found = find_linear_features(east, SPACING * line, line, passages=wide)
    assert len(found) == courses


def test_too_few_lines_and_unknown_places():
    line = np.array([0, 1, 2])
    two = find_linear_features([100, 100], [0, 20], [0, 1], passages=passages(2))
    unknown = find_linear_features([np.nan] * 3, [0, 20, 40], line, passages=passages(3))
    off_lines = find_linear_features([100] * 3, [0, 20, 40], [-1] * 3, passages=passages(3))
    assert len(two) == len(unknown) == len(off_lines) == 0
    assert len(find_linear_features([], [], [], passages=passages(3))) == 0
    with pytest.raises(InputError, match="at least 3"):
        find_linear_features([0], [0], [0], passages=passages(3), min_lines=2)
    with pytest.raises(InputError, match="same length"):
        find_linear_features([0], [0], [0, 1], passages=passages(3))


def test_line_ends_whatever_the_order():
    east = np.array([5.0, 0.0, 10.0, 3.0, np.nan, 7.0])
    line = np.array([2, 2, 2, 9, 2, -1])
    ends = line_ends(line, east, np.zeros(6))
    assert ends.number.tolist() == [2, 9]
    assert sorted([ends.start[0, 0], ends.end[0, 0]]) == [0.0, 10.0]
    assert ends.start[1, 0] == ends.end[1, 0] == 3.0
