"""Distance off the planned lines and speed of walking, for walks that are known."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.walked.off_track import off_track, place_on_lines, walking_speed


def test_places_on_a_slanting_line() -> None:
    # A line of azimuth 53.13 degrees (3, 4, 5), from (100, 200); right of it is (3, -4) / 5.
    ends = [(100.0, 200.0), (100 + 400.0, 200 + 300.0)]
    along, right = np.array([-20.0, 0.0, 250.0, 520.0, 100.0]), np.array([1.0, -2.0, 30.0, 0.5, 0])
    east = 100 + 0.8 * along + 0.6 * right
    north = 200 + 0.6 * along - 0.8 * right
    found = place_on_lines(east, north, [0, 0, 0, 0, -1], [ends])
    np.testing.assert_allclose(found.off_line_m[:4], right[:4], atol=1e-9)
    np.testing.assert_allclose(found.distance_m[:4], along[:4], atol=1e-9)
    assert np.isnan(found.off_line_m[4])


def test_only_the_own_line_is_looked_at() -> None:
    lines = [[(0.0, 0.0), (0.0, 100.0)], [(20.0, 0.0), (20.0, 100.0)]]
    found = place_on_lines([19.0, np.nan, 19.0], [50.0, 50.0, 50.0], [0, 0, 1], lines)
    np.testing.assert_allclose(found.off_line_m, [19.0, np.nan, -1.0])
    near = place_on_lines([19.0], [50.0], [0], lines, reach_m=10.0)
    assert np.isnan(near.off_line_m[0])


def test_quantiles_whichever_side() -> None:
    off = np.concatenate([np.arange(-50.0, 51.0), [np.nan, 7.0, -9.0, 100.0]])
    line = np.concatenate([np.zeros(102), [2, 2, -1]]).astype(int)
    found = off_track(off, line, count=3)
    # 0, twice 1 to 50: median and 95 % of 101 sizes are their 51st and 96th.
    np.testing.assert_allclose(found.median_m, [25.0, np.nan, 8.0])
    np.testing.assert_allclose(found.high_m, [48.0, np.nan, 8.9])
    np.testing.assert_allclose(found.worst_m, [50.0, np.nan, 9.0])


def test_speeds_of_passages_with_a_run_a_stop_and_a_wild_place() -> None:
    time = np.arange(0.0, 400.0)
    pace = np.where(time < 100, 1.0, np.where(time < 130, 2.5, np.where(time < 150, 0.0, 1.0)))
    along = np.concatenate([[0.0], np.cumsum(pace[:-1])])
    north = along.copy()
    north[200] += 60.0
    passage = np.where(time < 390, 0, 1)  # the second is too short for a speed
    order = np.random.default_rng(1).permutation(time.size)
    found = walking_speed(
        time[order], along[order] * 0.0, north[order], passage[order], count=3, window_s=10.0
    )
    np.testing.assert_allclose(found.median_m_s, [1.0, np.nan, np.nan])
    np.testing.assert_allclose(found.fastest_m_s, [2.5, np.nan, np.nan])


def test_uneven_times_and_missing_places() -> None:
    time = np.array([0.0, 3.0, 7.0, 12.0, 14.0, 22.0, 30.0])
    east = 1.5 * time
    east[3] = np.nan
    found = walking_speed(time, east, np.zeros(7), np.zeros(7, dtype=int), count=1)
    np.testing.assert_allclose([found.median_m_s[0], found.fastest_m_s[0]], 1.5)


def test_bad_input() -> None:
    with pytest.raises(InputError, match="window_s must be above zero"):
        walking_speed([0.0], [0.0], [0.0], [0], count=1, window_s=0.0)
    with pytest.raises(InputError, match="same length"):
        off_track([0.0], [0, 1], count=1)
    with pytest.raises(InputError, match="same length"):
        place_on_lines([0.0], [0.0], [0, 1], [[(0, 0), (0, 1)]])
