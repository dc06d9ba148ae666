"""Lines of tracks whose truth is known: walked on paper, with stops, detours and position noise."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lines import (
    line_spacing,
    passage_geometry,
    split_track,
    tie_lines,
)

RULES = {"min_length_m": 80.0, "max_turn_deg": 40.0, "smoothing_m": 10.0, "max_gap_s": 20.0}


def walk(corners: list[tuple[float, float]], *, step: float = 1.2) -> tuple[np.ndarray, np.ndarray]:
    """Positions every `step` metres along straight legs and the number of the leg of each."""
    places, legs = [], []
    for leg, (a, b) in enumerate(pairwise(corners)):
        count = max(1, round(float(np.hypot(b[0] - a[0], b[1] - a[1])) / step))
        share = np.arange(count)[:, np.newaxis] / count
        places.append(np.asarray(a) + share * (np.asarray(b) - np.asarray(a)))
        legs.append(np.full(count, leg))
    return np.concatenate(places), np.concatenate(legs)


def up_and_down(lines: int, spacing: float, length: float = 300.0) -> list[tuple[float, float]]:
    """Corners of lines walked up and down; every second leg, from 0, is a line."""
    corners = []
    for line in range(lines):
        ends = (0.0, length) if line % 2 == 0 else (length, 0.0)
        corners += [(line * spacing, end) for end in ends]
    return corners


def position_noise(rng: np.random.Generator, count: int, sd: float, time: float = 40.0):
    """Noise of a first-order autoregressive kind, readings one second apart."""
    keep = np.exp(-1.0 / time)
    drive = rng.normal(size=(count + 400, 2)) * sd * np.sqrt(1 - keep**2)
    return lfilter([1.0], [1.0, -keep], drive, axis=0)[400:]


def with_stop(place: np.ndarray, leg: np.ndarray, at: int, seconds: int):
    """Stand still at one reading."""
    rows = np.concatenate([np.arange(at), np.full(seconds, at), np.arange(at, len(leg))])
    return place[rows], leg[rows]


def split(place: np.ndarray, **changes: float) -> np.ndarray:
    return split_track(np.arange(len(place)), *place.T, **(RULES | changes))


@pytest.mark.parametrize("spacing", [20.0, 50.0])
def test_lines_up_and_down_under_position_noise(spacing: float) -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        place, leg = walk(up_and_down(6, spacing), step=rng.uniform(0.7, 1.6))
        place, leg = with_stop(place, leg, int(rng.integers(len(leg))), 90)
        number = split(place + position_noise(rng, len(leg), 3.0), smoothing_m=15.0)
        truth = np.where(leg % 2 == 0, leg // 2, -1)
        on_line = truth >= 0
        assert number.max() == 5
        # Noise of 3 m (up to 9) moves either end of 300 m; a stop of 90 s at an end is cut too.
        assert np.mean(number[on_line] == truth[on_line]) > 0.9
        assert not np.any((number >= 0) & on_line & (number != truth))
        assert np.mean(number[~on_line] == -1) > 0.5


def test_turns_are_left_out_without_noise() -> None:
    place, leg = walk(up_and_down(4, 20.0))
    number = split(place)
    truth = np.where(leg % 2 == 0, leg // 2, -1)
    assert np.mean(number == truth) > 0.99


def test_round_turns() -> None:
    # Half circles of 10 m radius between lines 20 m apart; a line ends where the track has
    # turned by 40 degrees, 7 m into the turn.
    angle = np.linspace(0.0, np.pi, 32)[1:-1]
    arc = np.column_stack([10 - 10 * np.cos(angle), 300 + 10 * np.sin(angle)])
    up, down = walk([(0.0, 0.0), (0.0, 300.0)])[0], walk([(20.0, 300.0), (20.0, 0.0)])[0]
    number = split(np.concatenate([up, arc, down]))
    assert set(number[: len(up)]) == {0}
    assert set(number[-len(down) :]) == {1}
    assert np.sum(number[len(up) : -len(down)] == -1) >= 10


@pytest.mark.parametrize("aside", [5.0, 14.0])
def test_detour_round_a_tree_keeps_the_line(aside: float) -> None:
    corners = [(0, 0), (0, 140), (aside, 148), (aside, 156), (0, 164), (0, 300)]
    rng = np.random.default_rng(3)
    place, _ = walk(corners)
    for _ in range(20):
        number = split(place + position_noise(rng, len(place), 1.0))
        assert number.max() == 0
        assert np.mean(number == 0) > 0.95


def test_bend_sharper_than_allowed_ends_the_line() -> None:
    for bend, lines in ((25.0, 1), (60.0, 2)):
        end = 200 * np.sin(np.deg2rad(bend)), 200 + 200 * np.cos(np.deg2rad(bend))
        place, _ = walk([(0, 0), (0, 200), end])
        assert split(place).max() + 1 == lines


def test_stop_beyond_the_end_and_walk_to_the_first_line() -> None:
    rng = np.random.default_rng(5)
    corners = [(-40.0, 30.0), (-40.0, 0.0), (0.0, 0.0), (0.0, 300.0), (20.0, 300.0), (20.0, 270.0)]
    place, leg = walk(corners)
    place, leg = with_stop(place, leg, int(np.flatnonzero(leg == 3)[0]), 600)
    place, leg = with_stop(place, leg, 0, 600)
    number = split(place + position_noise(rng, len(leg), 1.0))
    assert number.max() == 0
    # Of ten minutes at either end no more than the usual pace allows.
    assert np.sum((number == 0) & (leg < 2)) <= 15
    assert np.sum((number == 0) & (leg > 2)) <= 15


def test_same_line_there_and_back_is_two() -> None:
    place, leg = walk([(0, 0), (0, 200), (0.5, 200), (0.5, 0)])
    number = split(place)
    assert number.max() == 1
    assert np.all(number[leg == 0] == 0)


def test_gap_missing_positions_and_order_of_rows() -> None:
    place, _ = walk([(0, 0), (0, 400)], step=1.0)
    time = np.arange(400.0)
    time[200:] += 100.0
    place[50:55] = np.nan
    number = split_track(time, *place.T, **RULES)
    assert np.all(number[50:55] == -1)
    assert np.all(np.delete(number[:200], np.arange(50, 55)) == 0)
    assert np.all(number[200:] == 1)
    order = np.random.default_rng(1).permutation(400)
    shuffled = split_track(time[order], *place[order].T, **RULES)
    np.testing.assert_array_equal(shuffled, number[order])


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_readings_make_no_line(count: int) -> None:
    assert split(np.zeros((count, 2))).tolist() == [-1] * count


def test_refuses_settings_out_of_range() -> None:
    with pytest.raises(InputError, match="smoothing_m must be above zero"):
        split(np.zeros((3, 2)), smoothing_m=0.0)
    with pytest.raises(InputError, match="max_turn_deg must lie in 1 to 89 degrees"):
        split(np.zeros((3, 2)), max_turn_deg=120.0)


@given(azimuth=st.floats(0.0, 359.9))
def test_geometry_of_a_known_line(azimuth: float) -> None:
    walked = np.array([0.0, 3.0, 2.0, 50.0, 80.0])  # one step back
    east = 450_000 + walked * np.sin(np.deg2rad(azimuth))
    north = 5_400_000 + walked * np.cos(np.deg2rad(azimuth))
    east[3] = np.nan
    found = passage_geometry(east, north)
    assert found.length_m == pytest.approx(80.0, abs=1e-6)
    assert np.cos(np.deg2rad(found.azimuth_deg - azimuth)) == pytest.approx(1.0, abs=1e-12)
    assert 0 <= found.azimuth_deg < 360
    np.testing.assert_allclose(found.distance_m, [0, 3, 2, np.nan, 80], atol=1e-6)


def test_geometry_without_direction() -> None:
    length, azimuth, distance = passage_geometry([1.0, 1.0, np.nan], [2.0, 2.0, 2.0])
    assert length == 0
    assert np.isnan(azimuth)
    np.testing.assert_array_equal(distance, [0, 0, np.nan])
    assert passage_geometry([], []).length_m == 0


def test_tie_lines_by_block() -> None:
    azimuth = [359.0, 181.0, 90.0, 90.0, 270.0, 2.0, np.nan]
    length = [300.0, 300.0, 100.0, 200.0, 200.0, 50.0, 10.0]
    block = ["west", "west", "west", "east", "east", "east", "east"]
    ties = tie_lines(azimuth, length, group=block)
    assert ties.tolist() == [False, False, True, False, False, True, False]
    assert tie_lines([0.0, 90.0], [100.0, 100.0]).tolist() == [False, True]


@given(turn=st.floats(0.0, 180.0), seed=st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_spacing_with_repeats_ties_and_a_wide_gap(turn: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    offsets = [0.0, 0.9, 20.0, 20.8, 21.2, 40.0, 60.0, 60.7, 160.0, 161.0, 180.0, 200.0]
    along = np.arange(0.0, 300.0, 1.0)
    across = np.concatenate([np.full(300, offset) for offset in offsets] + [along, along])
    walked = np.concatenate([along] * len(offsets) + [np.full(300, 50.0), np.full(300, 250.0)])
    number = np.repeat(np.arange(len(offsets) + 2), 300)
    number[rng.integers(0, number.size, 20)] = -1
    across = across + rng.normal(0, 0.5, across.size)
    angle = np.deg2rad(turn)
    east = 450_000 + across * np.cos(angle) + walked * np.sin(angle)
    north = 5_400_000 - across * np.sin(angle) + walked * np.cos(angle)
    # By hand: centres of repeats at 0.45, 20.67, 40, 60.35, 160.5, 180 and 200 m, so a median of
    # 20.1 m; scatter of 0.5 m over 300 readings moves it by less than 0.1 m.
    assert line_spacing(east, north, number) == pytest.approx(20.1, abs=0.2)


def test_spacing_of_a_single_line_is_missing() -> None:
    along = np.arange(100.0)
    assert np.isnan(line_spacing(np.zeros(100), along, np.zeros(100, dtype=int)))
    assert np.isnan(line_spacing(np.zeros(100), along, np.full(100, -1)))


def test_a_walker_who_jumps_from_line_to_line_is_no_error() -> None:
    """Readings of the first line's end and the next one's begin may follow at once."""
    along = np.arange(0, 161, 2.0)
    east = np.concatenate([np.full(along.size, 20.0 * n) for n in range(8)])
    north = np.concatenate([along if n % 2 == 0 else along[::-1] for n in range(8)])
    time = 2.0 * np.arange(east.size)
    number = split_track(
        time, east, north, min_length_m=60.0, max_turn_deg=40.0, smoothing_m=30.0, max_gap_s=30.0
    )
    assert number.size == east.size
