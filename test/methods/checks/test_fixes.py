"""Wild fixes put into seeded walks, and short tracks worked out by hand."""

import itertools

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks import fixes
from lodewalk.methods.checks.fixes import find_wild_fixes

EAST, NORTH = 512_300.0, 7_240_800.0


def walk(n, rng):
    """Return a walk of 1 reading a second at about 1.2 m/s, with errors of 1.5 m."""
    time = np.arange(float(n))
    heading = np.cumsum(rng.normal(0, 0.02, n))
    easting = EAST + np.cumsum(1.2 * np.sin(heading)) + rng.normal(0, 1.5, n)
    northing = NORTH + np.cumsum(1.2 * np.cos(heading)) + rng.normal(0, 1.5, n)
    return time, easting, northing


def along(time, easting, **settings):
    """Return the wild fixes of a track that runs east."""
    found = find_wild_fixes(time, easting, np.zeros(len(easting)), **settings)
    return np.flatnonzero(found).tolist()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("share", [0.0, 0.01, 0.2, 0.45])
def test_fixes_thrown_far_away_are_found_and_no_other(seed, share):
    rng = np.random.default_rng(seed)
    time, easting, northing = walk(5000, rng)
    thrown = rng.random(5000) < share
    way = rng.uniform(0, 2 * np.pi, 5000)
    # beyond what any stretch between two good fixes of these walks could allow
    far = np.where(thrown, rng.uniform(60_000, 90_000, 5000), 0.0)
    found = find_wild_fixes(time, easting + far * np.sin(way), northing + far * np.cos(way))
    assert np.array_equal(found, thrown)


@pytest.mark.parametrize("at", [slice(0, 1), slice(0, 400), slice(700, 1000), slice(400, 700)])
def test_zeros_at_any_place_condemn_no_other(at):
    time, easting, northing = walk(1000, np.random.default_rng(8))
    easting[at] = northing[at] = 0.0
    assert np.flatnonzero(find_wild_fixes(time, easting, northing)).tolist() == [*range(1000)][at]


def test_reach_is_slack_and_speed_by_time():
    # 20 m + 5 m/s x 2 s = 30 m between fixes 2 s apart, worked out by hand
    assert along([0, 2, 4, 6], [0, 0, 30, 30]) == []
    assert along([0, 2, 4, 6, 8], [0, 0, 30.1, 0, 0]) == [2]
    assert along([0, 2, 4, 6, 8], [0, 0, 30.1, 0, 0], slack_m=21) == []
    assert along([0, 2, 4, 6, 8], [0, 0, 30.1, 0, 0], max_speed_m_s=5.1) == []


def test_a_jump_reached_in_two_bounds_loses_only_its_end():
    assert along([0, 1, 2, 3, 4, 5], [0, 0, 25, 50, 0, 0]) == [3]


def test_a_drive_to_another_block_is_no_jump():
    time, easting, northing = walk(600, np.random.default_rng(1))
    time[300:] += 1800
    easting[300:] += 8000
    assert not find_wild_fixes(time, easting, northing).any()
    time[300:] -= 1500
    assert find_wild_fixes(time, easting, northing).sum() == 300


def test_equal_times_and_missing_positions():
    assert along([0, 0, 0, 1, 1], [0, 5, 400, 5, np.nan]) == [2]
    assert along([0, 1, 2], [np.nan, np.nan, 3.0]) == []


@pytest.mark.parametrize("seed", range(40))
def test_no_smaller_set_of_wild_fixes_exists(seed):
    rng = np.random.default_rng(seed)
    time = np.sort(rng.uniform(0, 20, 11))
    east, north = rng.uniform(0, 120, (2, 11))
    found = find_wild_fixes(time, east, north)
    assert chained(time, east, north, np.flatnonzero(~found))
    for fewer in range(found.sum()):
        for wild in itertools.combinations(range(11), fewer):
            assert not chained(time, east, north, np.delete(np.arange(11), wild))


def chained(time, east, north, good):
    """Tell whether each good fix can be reached from the one before it."""
    apart = np.hypot(np.diff(east[good]), np.diff(north[good]))
    return bool(np.all(apart <= 20 + 5 * np.diff(time[good])))


def test_beyond_the_last_look_the_longest_chain_is_tried():
    n = 100 + 3 * fixes.MOST_LOOKS + 100
    time, easting, northing = walk(n, np.random.default_rng(3))
    lost = slice(100, n - 100)
    easting[lost] += 1e6 * np.random.default_rng(4).uniform(1, 9, n - 200)
    found = find_wild_fixes(time, easting, northing)
    assert np.flatnonzero(found).tolist() == [*range(n)][lost]


def test_runs_longer_than_a_block():
    n = 2 * fixes.BLOCK + 50
    time, easting, northing = walk(n, np.random.default_rng(3))
    wild = np.arange(10, n, fixes.BLOCK // 2)
    easting[wild] += 1e6
    assert np.array_equal(np.flatnonzero(find_wild_fixes(time, easting, northing)), wild)


def test_the_chain_may_leave_a_run_before_its_end():
    # From 1700 m at 250 s only the fixes at 1000 m (1270 m in reach) and 800 m (1020 m) agree.
    time = [0, 50, 100, 150, 200, *range(250, 262)]
    for sign in (1, -1):
        east = sign * np.array([1000, 800, 600, 400, 200, *[1700] * 12])
        assert along(time, east) == [2, 3, 4]
        found = find_wild_fixes(time, np.zeros(17), east)
        assert np.flatnonzero(found).tolist() == [2, 3, 4]


def test_short_tracks():
    assert along([], []) == []
    assert along([0.0], [5.0]) == []


def test_input_is_checked():
    with pytest.raises(InputError, match="same length"):
        find_wild_fixes([0.0], [0.0, 1.0], [0.0])
    with pytest.raises(InputError, match="not decrease"):
        find_wild_fixes([1.0, 0.0], [0.0, 1.0], [0.0, 0.0])
    with pytest.raises(InputError, match="max_speed_m_s"):
        find_wild_fixes([0.0], [0.0], [0.0], max_speed_m_s=0)
    with pytest.raises(InputError, match="slack_m"):
        find_wild_fixes([0.0], [0.0], [0.0], slack_m=-1)
