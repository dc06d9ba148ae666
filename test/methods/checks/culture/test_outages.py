"""Edges, bursts, shifts and headings, by hand and by seeded trials."""

import numpy as np
import pytest
from scipy.stats import binom

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture.outages import (
    dropout_edges,
    find_bursts,
    find_shifts,
    heading_chance,
)


def test_edges_by_noise_and_by_quality():
    rng = np.random.default_rng(1)
    truth = 30 * np.sin(np.arange(300) / 20)
    hit = sound = 0
    for _ in range(40):
        field = truth + rng.normal(scale=0.2, size=300)
        edge = np.r_[112:120, 140:148]
        field[edge] += rng.normal(scale=60, size=16)
        field[120:140] = 0.0
        lost = np.zeros(300, dtype=bool)
        lost[120:140] = True
        found = dropout_edges(field, lost, noise_nT=0.2)
        hit += found[edge].sum()
        sound += found[np.r_[:112, 148:300]].sum()
        low = np.zeros(300, dtype=bool)
        low[112:148] = True
        assert np.array_equal(
            np.flatnonzero(dropout_edges(field, lost, noise_nT=0.2, low=low)), edge
        )
        assert not found[lost].any()
    assert hit / 40 > 0.98 * 16
    assert sound / 40 < 0.5


def test_a_dropout_at_the_end_of_a_record():
    lost = np.zeros(10, dtype=bool)
    lost[7:] = True
    calm = np.full(10, 5.0)
    assert not dropout_edges(calm, lost, noise_nT=0.1).any()
    assert not dropout_edges(calm, ~lost | lost, noise_nT=0.1).any()
    with pytest.raises(InputError, match="at least 1"):
        dropout_edges(calm, lost, noise_nT=0.1, reach=0)


def test_bursts_are_noise_and_not_sources():
    rng = np.random.default_rng(2)
    found, false = [], []
    for _ in range(60):
        field = rng.normal(scale=0.2, size=200)
        # An upright dipole 1.2 steps away, as of a post beside the path: real, however strong.
        at, along = rng.uniform(40, 60), np.arange(200.0)
        near = 1.2**2 + (along - at) ** 2
        field += 300 * (3 * 1.2**2 / near - 1) / near**1.5
        field[130:146] += rng.normal(scale=15, size=16)
        marks = find_bursts(field, noise_nT=0.2)
        found.append(marks[130:146].mean())
        false.append(marks[:120].sum())
    assert np.mean(found) > 0.85
    assert np.mean(np.array(false) > 0) < 0.05
    assert find_bursts([1.0, 2.0], noise_nT=0.1).tolist() == [False, False]


def test_uneven_steps_over_a_steep_field_are_no_burst():
    """A flank of a thin sheet 9 m below the sensor, walked at 1.2 m a step, give or take."""
    rng = np.random.default_rng(4)
    false, missed, found = 0, 0, []
    for _ in range(60):
        way = np.cumsum(rng.normal(1.2, 0.25, size=200).clip(0.6, 1.8))
        off = (way - way[60]) / 9.0
        field = 140 * (1 - off) / (1 + off**2) + rng.normal(scale=0.15, size=200)
        field[140:156] += rng.normal(scale=15, size=16)
        seen = way + rng.normal(scale=0.05, size=200)
        marks = find_bursts(field, noise_nT=0.15, distance_m=seen)
        false += marks[:125].any()
        missed += find_bursts(field, noise_nT=0.15)[:125].any()
        found.append(marks[140:156].mean())
    assert missed > 6, "without the distance uneven steps pass for noise"
    assert false <= 2
    assert np.mean(found) > 0.85


def test_shifts_go_and_come_back():
    rng = np.random.default_rng(3)
    time = np.arange(200.0)
    field = 20 * np.sin(time / 15) + rng.normal(scale=0.2, size=200)
    there = field.copy()
    there[90:120] -= 35
    assert np.flatnonzero(find_shifts(time, there, noise_nT=0.2)).tolist() == list(range(90, 120))
    for_good = field.copy()
    for_good[90:] -= 35
    assert not find_shifts(time, for_good, noise_nT=0.2).any()
    assert not find_shifts(time, field, noise_nT=0.2).any()
    # Away by 35 and back by 62 is another place, not the same level again.
    partly = there.copy()
    partly[120:] += 27
    assert not find_shifts(time, partly, noise_nT=0.2).any()
    assert not find_shifts(time * 10, there, noise_nT=0.2, longest_s=120.0).any()
    assert not find_shifts([0.0, 1.0], [0.0, 9.0], noise_nT=0.2).any()
    # No jump is seen across a gap.
    late = np.where(time >= 90, time + 50, time)
    assert not find_shifts(late, there, noise_nT=0.2).any()


def test_chance_of_a_heading_is_binomial():
    azimuth = np.repeat([10.0, 190.0] * 12, 20)
    low = np.zeros(480, dtype=bool)
    low[5::40] = True
    assert heading_chance(azimuth, low) == pytest.approx(2 * binom.pmf(12, 12, 0.5))
    low[25::40] = True
    assert heading_chance(azimuth, low) > 0.5
    assert heading_chance(np.full(480, 10.0), low) == 1.0
    assert heading_chance(np.full(480, np.nan), low) == 1.0
