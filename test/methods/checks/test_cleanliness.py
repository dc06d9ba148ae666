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
