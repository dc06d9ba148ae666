"""Figures of the set-up tests against planted effects, and coverage of their intervals.

The expected ranges of normal samples are d2 of the control-chart tables (Tippett 1925; also ASTM
manuals of quality control; from memory: n 2 1.128, 3 1.693, 5 2.326, 8 2.847, 10 3.078, 20 3.735).
"""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.cleanliness import (
    UNTOLD,
    block_means,
    by_heading,
    difference_of_spans,
    levels_between_steps,
    range_of_normal,
    repeat_misfit,
    spread_of_levels,
)


def swaying(rng, count, sd=0.3):
    """Walking noise that lasts some seconds, a reading a second."""
    white = rng.normal(0.0, 1.0, count + 8)
    part = np.convolve(white, np.ones(3) / np.sqrt(3), mode="valid")[:count]
    return sd * part


@pytest.mark.parametrize(
    ("count", "d2"), [(2, 1.128), (3, 1.693), (5, 2.326), (8, 2.847), (10, 3.078), (20, 3.735)]
)
def test_expected_range_of_normal_values(count, d2):
    assert range_of_normal(count) == pytest.approx(d2, abs=6e-4)


def test_a_range_of_one_value_is_refused():
    with pytest.raises(InputError, match="two values"):
        range_of_normal(1)


def test_item_taken_along_is_measured_and_covered():
    """90 % intervals of a planted 1.7 nT item over 600 trials of two minutes each way."""
    rng = np.random.default_rng(11)
    time = np.arange(120.0)
    inside = []
    for _ in range(600):
        with_item = block_means(time, 1.7 + swaying(rng, 120))
        without = block_means(time, swaying(rng, 120))
        found = difference_of_spans(with_item, without)
        inside.append(abs(found.value_nT - 1.7) < 1.645 * found.sd_nT)
    assert 0.87 < np.mean(inside) < 0.94


def test_too_short_a_test_tells_nothing():
    assert difference_of_spans([1.0], [2.0, 3.0]) == UNTOLD
    assert spread_of_levels([np.array([1.0, 2.0])]) == UNTOLD
    assert repeat_misfit([0.0], [1.0], [0.0], [1.0]) == (UNTOLD, UNTOLD)


def test_noise_alone_spreads_little_and_a_planted_spread_is_found():
    rng = np.random.default_rng(5)
    headings = np.radians(np.arange(0.0, 360.0, 45.0))
    clean, dirty = [], []
    for _ in range(300):
        levels = [block_means(np.arange(30.0), swaying(rng, 30)) for _ in headings]
        clean.append(spread_of_levels(levels).value_nT)
        turned = [
            level + 1.5 * np.cos(heading) for level, heading in zip(levels, headings, strict=True)
        ]
        dirty.append(spread_of_levels(turned).value_nT)
    assert np.mean(dirty) == pytest.approx(3.0, abs=0.1)
    assert np.percentile(clean, 95) < 0.45


def test_headings_are_told_apart_by_their_levels():
    """Eight headings of 20 s without a word of direction."""
    rng = np.random.default_rng(2)
    levels = 1.5 * np.cos(np.radians(np.arange(0.0, 360.0, 45.0)))
    value = np.repeat(levels, 20) + rng.normal(0.0, 0.1, 160)
    parts = levels_between_steps(np.arange(160.0), value)
    assert spread_of_levels(parts).value_nT == pytest.approx(3.0, abs=0.15)
    assert 5 <= len(parts) <= 8


def test_white_noise_is_seldom_parted():
    rng = np.random.default_rng(3)
    parts = [len(levels_between_steps(np.arange(160.0), rng.normal(size=160))) for _ in range(200)]
    assert np.mean(np.array(parts) > 1) <= 0.03


def test_headings_sort_across_north():
    parts = by_heading([350.0, 10.0, 180.0, np.nan], [1.0, 2.0, 3.0, 4.0])
    assert [part.tolist() for part in parts] == [[1.0, 2.0], [3.0]]


def test_repeat_line_gives_offset_and_noise_apart():
    rng = np.random.default_rng(8)
    along = np.arange(0.0, 600.0, 1.1)
    field = 20 * np.exp(-(((along - 300) / 60) ** 2))
    noise = rng.normal(0.0, 0.5, (2, along.size))
    back = along + 0.4
    mean, sd = repeat_misfit(
        along,
        field + 1.2 + noise[0],
        back,
        20 * np.exp(-(((back - 300) / 60) ** 2)) + noise[1],
        steep_nT_m=2.0,
    )
    assert mean.value_nT == pytest.approx(1.2, abs=4 * mean.sd_nT)
    # Linear interpolation between noisy readings takes a little of their noise away.
    assert 0.38 < sd.value_nT < 0.52


def test_steep_places_are_left_out():
    along = np.arange(0.0, 200.0)
    field = np.where(along > 100, 300.0 * (along - 100), 0.0)
    mean, sd = repeat_misfit(along, field, along + 0.5, field)
    assert abs(mean.value_nT) < 1e-9
    assert sd.value_nT < 1e-9


def test_times_that_run_backward_are_refused():
    with pytest.raises(InputError, match="not decrease"):
        block_means([1.0, 0.0], [1.0, 2.0])


def test_blocks_begin_with_the_record_and_leave_out_what_is_missing():
    # 3 s to 13 s is the first block of ten seconds: (1 + 3 + 8) / 3 and then 5.
    assert block_means([3.0, 9.0, 12.0, 13.5], [1.0, 3.0, 8.0, 5.0]).tolist() == [4.0, 5.0]
    assert block_means([0.0, 1.0, 2.0], [1.0, np.nan, 3.0]).tolist() == [2.0]


def test_spread_of_two_levels_by_hand():
    """Means 1 and 10 of sd 1 and 3: range 9, of which chance makes (2 / sqrt(pi))^2 5 in squares.

    The mean of the squares of the two sd is 5; the expected range of two normal values is
    2 / sqrt(pi) of their sd.
    """
    found = spread_of_levels([np.array([0.0, 2.0]), np.array([7.0, 13.0])])
    assert found.value_nT == pytest.approx(np.sqrt(81 - 4 / np.pi * 5), rel=1e-4)
    assert found.sd_nT == pytest.approx(np.sqrt(1 + 9))
    assert found.count == 2


def test_a_step_half_above_the_penalty_is_mostly_found():
    """White noise of sd 1 in 80 blocks: a step D in the middle gains 20 D^2, the penalty is 17."""
    rng = np.random.default_rng(4)
    step = np.sqrt(1.5 * (2 * np.log(80) + 8) / 20)
    level = np.repeat([0.0, step], 80)
    found = [
        # Blocks of two seconds hold two readings, so readings have the root of two of their sd.
        len(levels_between_steps(np.arange(160.0), level + np.sqrt(2) * rng.normal(size=160)))
        for _ in range(100)
    ]
    assert np.mean(np.array(found) > 1) > 0.7


def test_a_stretch_shorter_than_a_heading_is_not_parted_off():
    """Four seconds at another level, within a heading of 40 s; the shortest stretch is 8 s."""
    rng = np.random.default_rng(6)
    value = rng.normal(0.0, 0.1, 40)
    value[20:24] += 5.0
    parts = levels_between_steps(np.arange(40.0), value)
    assert min(len(part) for part in parts) >= 4


def test_repeat_line_sds_are_those_of_white_noise():
    """Noise of sd 0.5 on both passages, read at the same places: differences have sd 0.707."""
    along = np.arange(0.0, 400.0)
    means, spreads, mean_sds, spread_sds = [], [], [], []
    for seed in range(200):
        noise = np.random.default_rng(seed).normal(0.0, 0.5, (2, along.size))
        mean, spread = repeat_misfit(along, noise[0], along, noise[1], steep_nT_m=100.0)
        means.append(mean.value_nT)
        spreads.append(spread.value_nT)
        mean_sds.append(mean.sd_nT)
        spread_sds.append(spread.sd_nT)
    assert np.mean(spreads) == pytest.approx(0.5, rel=0.02)
    assert np.mean(mean_sds) == pytest.approx(0.5 * np.sqrt(2 / 400), rel=0.05)
    assert np.std(means) == pytest.approx(np.mean(mean_sds), rel=0.2)
    # The spread is of 400 values, its sd from their 40 blocks: too large rather than too small.
    assert np.std(spreads) < np.mean(spread_sds) < 5 * np.std(spreads)


def test_two_block_means_on_each_side_are_enough():
    """Means 3 and 1, each of two values of variance 2: variance of the difference 1 + 1."""
    found = difference_of_spans([2.0, 4.0], [0.0, 2.0])
    assert (found.value_nT, found.count) == (2.0, 2)
    # Student's 95 % point of two degrees of freedom is 2.9200, the normal one 1.6449 (tables).
    assert found.sd_nT == pytest.approx(np.sqrt(2) * 2.9200 / 1.6449, rel=1e-3)
