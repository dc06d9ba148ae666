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


def sharp_walk(step: float, *, lines: int = 6, length: float = 120.0, apart: float = 20.0):
    """Return positions and true line of a walk to and fro with corners, -1 in the turns."""
    along = np.arange(0.0, length + step / 2, step)
    turn = np.arange(step, apart - step / 2, step)
    parts = []
    for k in range(lines):
        up = along[:: 1 - 2 * (k % 2)]
        parts.append(np.column_stack([np.full(up.size, apart * k), up, np.full(up.size, k)]))
        level = np.full(turn.size, up[-1])
        parts.append(np.column_stack([apart * k + turn, level, np.full(turn.size, -1)]))
    return np.concatenate(parts[:-1])


SHORT_LINES = [np.array([(20.0 * k, 0.0), (20.0 * k, 120.0)]) for k in range(6)]


@pytest.mark.parametrize("step", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("aside", [0.0, 3.0, -3.0])
def test_lines_are_whole_between_sharp_turns(step: float, aside: float) -> None:
    east, north, truth = sharp_walk(step).T
    found = assign_to_plan(east + aside, north, SHORT_LINES, off_line_m=8.0)
    for k in range(6):
        assert np.ptp(found.distance_m[found.line == k]) >= 118.0
    in_turn = truth == -1
    # A corner is told to within one step.
    inner = in_turn & (np.minimum(east % 20.0, 20.0 - east % 20.0) > step)
    assert np.all(found.line[inner] == -1)
    assert np.all((found.line == truth)[~in_turn])


def test_ends_are_found_in_noise() -> None:
    east, north, truth = sharp_walk(1.0).T
    got, wrong = [], []
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(0, 2.0, (2, east.size))
        line = assign_to_plan(east + noise[0], north + noise[1], SHORT_LINES, off_line_m=8.0).line
        got += [np.ptp(north[(line == k) & (truth == k)]) for k in range(6)]
        wrong.append(np.mean(line[truth == -1] != -1))
        assert not np.any((line >= 0) & (truth >= 0) & (line != truth))
    assert np.median(got) >= 118.0
    # Of 19 readings in a turn, two at either corner lie within the noise.
    assert np.mean(wrong) < 4 / 19


def test_a_line_does_not_go_on_into_a_turn_back_or_over_another_line() -> None:
    # North on the first line, off to the left at 100 m, and back south 6 m beside it.
    north = np.concatenate([np.arange(0.0, 101.0), np.full(5, 100.0), np.arange(100.0, -1.0, -1)])
    east = np.concatenate([np.zeros(101), -np.arange(1.0, 6.0), np.full(101, -6.0)])
    lines = [np.array([(0.0, 0.0), (0.0, 100.0)]), np.array([(-6.0, 0.0), (-6.0, 100.0)])]
    line = assign_to_plan(east, north, lines, off_line_m=8.0).line
    assert np.all(line[:101] == 0)
    assert np.all(line[106:] == 1)


def test_a_line_does_not_go_on_into_a_round_turn_beyond_its_end() -> None:
    # Half a circle of 10 m from the end of the first line to that of the second.
    up, angle = np.arange(0.0, 121.0), np.arange(0.1, np.pi, 0.1)
    north = np.concatenate([up, 120 + 10 * np.sin(angle), up[::-1]])
    east = np.concatenate([np.zeros(121), 10 - 10 * np.cos(angle), np.full(121, 20.0)])
    line = assign_to_plan(east, north, SHORT_LINES, off_line_m=8.0, max_angle_deg=10.0).line
    assert np.all(line[:121] == 0)
    assert np.all(line[-121:] == 1)
    # 10 degrees of the circle are 1.7 m of it, and the way walked is taken over 15 m.
    assert np.all(line[125:-125] == -1)


def test_a_line_does_not_go_on_over_a_straight_way_beyond_its_end() -> None:
    # Corners 5 m beyond the ends, so that the way walked there is neither line nor turn.
    east, north, _ = sharp_walk(1.0, length=130.0).T
    north = north - 5.0
    noise = np.random.default_rng(5).normal(0, 0.5, (2, east.size))
    line = assign_to_plan(east + noise[0], north + noise[1], SHORT_LINES, off_line_m=8.0).line
    assert np.mean(line[(east % 20.0 == 0) & (north > 1.0) & (north < 119.0)] >= 0) > 0.99
    # Where the walk begins and ends there is no corner, and the line goes on as it always did.
    beyond = ((north < -2.0) | (north > 122.0))[10:-10]
    # The way walked over 15 m still is the line's there, so that some are kept, but not most.
    assert np.mean(line[10:-10][beyond] >= 0) < 0.4
