"""Crossings of lines whose geometry is known, and against a search of every pair of segments."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.corrections.crossings import (
    at_positions,
    crossing_misfits,
    find_crossings,
)

Lines = tuple[np.ndarray, np.ndarray, np.ndarray]


def straight_lines(count: int, *, spacing: float, step: float, length: float) -> Lines:
    """North-going lines 0, 1, ... and as many east-going tie lines 100, 101, ..."""
    along = np.arange(0.0, length + step / 2, step)
    offsets = spacing * (np.arange(count) + 0.5)
    ids = np.repeat(np.concatenate([np.arange(count), 100 + np.arange(count)]), along.size)
    across, walked = np.repeat(offsets, along.size), np.tile(along, count)
    return ids, np.concatenate([across, walked]), np.concatenate([walked, across])


def all_pairs(ids: np.ndarray, position: np.ndarray, *, max_gap_m: float) -> np.ndarray:
    """Fractional indexes of crossings, solving for every pair of segments."""
    joined = [
        i
        for i in range(len(ids) - 1)
        if ids[i] == ids[i + 1] and np.linalg.norm(position[i + 1] - position[i]) <= max_gap_m
    ]
    found = []
    for a in joined:
        for b in joined:
            if a >= b or ids[a] == ids[b]:
                continue
            ways = np.column_stack([position[a + 1] - position[a], position[b] - position[b + 1]])
            if abs(np.linalg.det(ways)) > 1e-12:
                share = np.linalg.solve(ways, position[b] - position[a])
                if np.all((share >= 0) & (share <= 1)):
                    found.append((a + share[0], b + share[1]))
    return np.array(sorted(found)).reshape(-1, 2)


@given(st.integers(0, 2**32 - 1), st.integers(2, 6), st.floats(0.5, 5.0))
@settings(max_examples=40, deadline=None)
def test_finds_what_a_search_of_every_pair_finds(seed: int, lines: int, max_gap_m: float) -> None:
    rng = np.random.default_rng(seed)
    ids = np.repeat(np.arange(lines), 12)
    position = np.cumsum(rng.normal(size=(ids.size, 2)), axis=0) % 7.0
    expected = all_pairs(ids, position, max_gap_m=max_gap_m)
    found = find_crossings(ids, *position.T, max_gap_m=max_gap_m)
    np.testing.assert_allclose(np.column_stack([found.first, found.second]), expected, atol=1e-7)


def test_right_angled_lines() -> None:
    ids, easting, northing = straight_lines(4, spacing=25.0, step=4.0, length=100.0)
    found = find_crossings(ids, easting, northing, max_gap_m=5.0)
    centres = 25.0 * (np.arange(4) + 0.5)
    np.testing.assert_allclose(found.easting, np.repeat(centres, 4))
    np.testing.assert_allclose(found.northing, np.tile(centres, 4))
    np.testing.assert_allclose(found.angle_deg, 90.0)
    # 26 readings a line; line i meets tie line j (the 4 + j-th) at 12.5, 37.5, ... m along.
    np.testing.assert_allclose(found.first, np.repeat(26 * np.arange(4), 4) + found.northing / 4.0)
    second = 26 * (4 + np.tile(np.arange(4), 4)) + found.easting / 4.0
    np.testing.assert_allclose(found.second, second)


def test_crossing_at_readings_counts_once() -> None:
    # Every crossing falls on a reading of both lines.
    ids, easting, northing = straight_lines(5, spacing=20.0, step=10.0, length=100.0)
    assert len(find_crossings(ids, easting, northing, max_gap_m=11.0)) == 25
    assert len(find_crossings(ids, easting[::-1], northing[::-1], max_gap_m=11.0)) == 25


def test_projected_coordinates_lose_nothing() -> None:
    ids, easting, northing = straight_lines(4, spacing=25.0, step=4.0, length=100.0)
    near = find_crossings(ids, easting, northing, max_gap_m=5.0)
    far = find_crossings(ids, easting + 500_000.0, northing + 5_300_000.0, max_gap_m=5.0)
    np.testing.assert_allclose(far.first, near.first, atol=1e-8)
    np.testing.assert_allclose(far.northing - 5_300_000.0, near.northing, atol=1e-7)


@pytest.mark.parametrize("angle", [2.0, 30.0, 75.0, 90.0, 130.0])
def test_angle_between_lines(angle: float) -> None:
    turn = np.radians(angle)
    easting = [-10.0, 10.0, -10.0 * np.cos(turn), 10.0 * np.cos(turn)]
    northing = [0.0, 0.0, -10.0 * np.sin(turn), 10.0 * np.sin(turn)]
    found = find_crossings(["L1", "L1", "T1", "T1"], easting, northing, max_gap_m=25.0)
    np.testing.assert_allclose(found.angle_deg, [min(angle, 180.0 - angle)])
    np.testing.assert_allclose([found.first[0], found.second[0]], [0.5, 2.5])


def test_only_readings_of_a_line_within_reach_are_joined() -> None:
    ids = ["A", "A", "B", "B"]
    easting, northing = [0.0, 10.0, 5.0, 5.0], [0.0, 0.0, -5.0, 5.0]
    assert len(find_crossings(ids, easting, northing, max_gap_m=10.0)) == 1
    assert len(find_crossings(ids, easting, northing, max_gap_m=9.9)) == 0
    assert len(find_crossings(ids, [0.0, np.nan, 5.0, 5.0], northing, max_gap_m=10.0)) == 0
    assert len(find_crossings(["A", "C", "B", "B"], easting, northing, max_gap_m=10.0)) == 0


def test_line_is_not_compared_with_itself() -> None:
    ids = ["A"] * 4
    assert len(find_crossings(ids, [0, 10, 5, 5], [0, 0, 5, -5], max_gap_m=50.0)) == 0


def test_lines_on_top_of_each_other_do_not_cross() -> None:
    ids = ["A", "A", "A", "B", "B", "B"]
    easting = [0.0, 1.0, 2.0, 0.5, 1.5, 2.5]
    assert len(find_crossings(ids, easting, np.zeros(6), max_gap_m=5.0)) == 0


def test_standing_still_on_a_crossing_counts_once() -> None:
    ids = ["A"] * 5 + ["B"] * 2
    easting, northing = [-1, 0, 0, 0, 1, 0, 0], [0, 0, 0, 0, 0, -1, 1]
    assert len(find_crossings(ids, easting, northing, max_gap_m=5.0)) == 1


def test_no_crossing_gives_empty_arrays() -> None:
    for size in (0, 1, 2):
        found = find_crossings(np.arange(size), np.arange(size), np.zeros(size), max_gap_m=5.0)
        assert len(found) == 0
        assert crossing_misfits(found, np.zeros(size)).size == 0
    assert len(find_crossings(["A", "A", "B", "B"], np.ones(4), np.ones(4), max_gap_m=5.0)) == 0


def test_misfit_of_a_tilted_plane_is_the_difference_of_line_levels() -> None:
    ids, easting, northing = straight_lines(4, spacing=25.0, step=4.0, length=100.0)
    plane = 3.0 * easting - 2.0 * northing + 480.0
    level = np.random.default_rng(1).normal(0.0, 5.0, 200)
    found = find_crossings(ids, easting, northing, max_gap_m=5.0)
    expected = np.repeat(level[:4], 4) - np.tile(level[100:104], 4)
    np.testing.assert_allclose(crossing_misfits(found, plane + level[ids]), expected, atol=1e-9)


def test_missing_value_beside_a_crossing_leaves_no_misfit() -> None:
    ids = ["A", "A", "A", "B", "B"]
    found = find_crossings(ids, [0, 10, 20, 5, 5], [0, 0, 0, -5, 5], max_gap_m=20.0)
    assert np.isnan(crossing_misfits(found, [1.0, np.nan, 1.0, 1.0, 1.0])).all()
    assert crossing_misfits(found, [1.0, 1.0, np.nan, 1.0, 1.0]).tolist() == [0.0]


def test_value_at_a_reading_needs_no_neighbour() -> None:
    assert at_positions([0.0, 1.0], [4.0, 7.0]).tolist() == [4.0, 7.0]
    assert at_positions([0.0], [4.0, np.nan]).tolist() == [4.0]


def test_bad_input_is_refused() -> None:
    with pytest.raises(InputError, match="max_gap_m must be above zero"):
        find_crossings([1, 1], [0.0, 1.0], [0.0, 1.0], max_gap_m=0.0)
    with pytest.raises(InputError, match="same length"):
        find_crossings([1, 1], [0.0, 1.0], [0.0], max_gap_m=1.0)
