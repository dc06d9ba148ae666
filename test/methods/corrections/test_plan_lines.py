"""Readings on planned lines whose place is known from the plan."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.plan_lines import assign_to_plan

GRID = [np.array([(20.0 * k, 0.0), (20.0 * k, 200.0)]) for k in range(5)]
TIE = np.array([(-20.0, 100.0), (100.0, 100.0)])


def test_up_and_down_over_a_tie_line() -> None:
    rng = np.random.default_rng(2)
    north = np.arange(0.0, 201.0, 1.0)
    turn = np.arange(1.0, 20.0, 1.0)
    east_parts, north_parts, truth = [], [], []
    for k in range(5):
        east_parts += [np.full(north.size, 20.0 * k), 20.0 * k + turn]
        north_parts += [north[:: 1 - 2 * (k % 2)], np.full(turn.size, 200.0 * (1 - k % 2))]
        truth += [np.full(north.size, k), np.full(turn.size, -1)]
    expected = np.concatenate(truth)
    east, walked = np.concatenate(east_parts), np.concatenate(north_parts)
    shift = rng.normal(0, 1.0, east.size)
    found = assign_to_plan(east + shift, walked, [*GRID, TIE], off_line_m=8.0)
    on_line = expected >= 0
    # The way walked is taken over 15 m, so that readings that near a turn may be lost.
    assert np.all((found.line == expected)[on_line & (abs(walked - 100) < 85)])
    assert not np.any((found.line >= 0) & on_line & (found.line != expected))
    assert np.mean(found.line[~on_line] == -1) > 0.6
    good = on_line & (found.line == expected)
    np.testing.assert_allclose(found.off_line_m[good], shift[good], atol=1e-9)
    np.testing.assert_allclose(found.distance_m[good], walked[good], atol=1e-9)
    assert np.all(np.isnan(found.off_line_m[found.line == -1]))


def test_stray_readings_do_not_change_the_line() -> None:
    north = np.arange(0.0, 200.0, 1.0)
    east = np.zeros(200)
    east[80:83] = 19.0  # three fixes that jump to the next line
    east[150:] = np.linspace(0.0, 4.0, 50)
    found = assign_to_plan(east, north, GRID, off_line_m=8.0)
    # Not on the next line; and too far away to be on their own.
    assert found.line[80:83].tolist() == [-1] * 3
    assert np.all(np.delete(found.line, [80, 81, 82]) == 0)


def test_overshoot_and_bent_line() -> None:
    bent = [(0.0, 0.0), (0.0, 0.0), (0.0, 100.0), (50.0, 150.0)]
    north = np.concatenate([np.arange(-20.0, 100.0), 100 + np.arange(50) / np.sqrt(2)])
    east = np.concatenate([np.zeros(120), np.arange(50) / np.sqrt(2)])
    found = assign_to_plan(east, north, [bent], off_line_m=10.0)
    assert np.all(found.line[20:] == 0)
    assert np.all(found.line[:10] == -1)
    np.testing.assert_allclose(found.distance_m[20:], np.arange(150.0), atol=1e-9)
    np.testing.assert_allclose(found.off_line_m[20:], 0.0, atol=1e-9)
    assert found.distance_m[12] == pytest.approx(-8.0)


def test_missing_positions_stops_and_no_lines() -> None:
    north = np.concatenate([np.arange(0.0, 60.0), np.full(100, 60.0), np.arange(60.0, 120.0)])
    east = np.full(north.size, 1.0)
    east[30] = np.nan
    found = assign_to_plan(east, north, GRID, off_line_m=5.0)
    assert found.line[30] == -1
    assert np.all(np.delete(found.line, 30) == 0)
    assert np.all(assign_to_plan(east, north, [], off_line_m=5.0).line == -1)
    assert assign_to_plan([], [], GRID, off_line_m=5.0).line.size == 0
    assert assign_to_plan([0.0], [5.0], GRID, off_line_m=5.0).line.tolist() == [-1]


def test_refuses_a_line_without_length() -> None:
    with pytest.raises(InputError, match="Planned line 1 needs two different vertices"):
        assign_to_plan([0.0], [0.0], [GRID[0], [(1.0, 1.0), (1.0, 1.0)]], off_line_m=5.0)
    with pytest.raises(InputError, match="pairs of easting and northing"):
        assign_to_plan([0.0], [0.0], [[1.0, 2.0]], off_line_m=5.0)
