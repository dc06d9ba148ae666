"""Spikes planted into seeded base records, and real kinds of change that must be kept."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.base_spikes import SIDE, find_base_spikes

DAY = np.arange(0.0, 86_400.0, 10.0)


def base(seed, time=DAY, noise=0.1):
    """Return a daily variation with pulsations of 20 s to 10 min and noise."""
    rng = np.random.default_rng(seed)
    field = 48_000 + 30 * np.sin(2 * np.pi * time / 86_400)
    for period in np.geomspace(20, 600, 12):
        field += 0.02 * period**0.75 * np.sin(2 * np.pi * time / period + rng.uniform(0, 6))
    return field + rng.normal(0, noise, time.size)


def found_in(field, time=DAY, **settings):
    return np.flatnonzero(find_base_spikes(time[: len(field)], field, **settings)).tolist()


@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize("seed", range(4))
def test_planted_spikes_are_found_and_no_other(seed, width):
    rng = np.random.default_rng(50 + seed)
    field = base(seed)
    scale = 1.4826 * np.median(np.abs(np.diff(field, 2)))
    planted = np.zeros(field.size)
    for start in range(40, field.size - 40, 60):
        at = start + rng.integers(0, 20)
        planted[at : at + width] = rng.choice([-1, 1]) * rng.uniform(1, 4) * max(5, 10 * scale)
    found = find_base_spikes(DAY, field + planted)
    assert found[planted != 0].mean() >= 0.95
    assert not found[planted == 0].any()


@pytest.mark.parametrize("noise", [0.1, 1.0, 3.0])
def test_a_record_without_spikes_is_left_alone(noise):
    for seed in range(5):
        assert found_in(base(seed, noise=noise)) == []


@pytest.mark.parametrize("envelope", [4, 10, 60])
def test_pulsations_at_the_nyquist_period_are_kept(envelope):
    index = np.arange(DAY.size)
    packet = np.exp(-0.5 * ((index - 4000) / envelope) ** 2) * (-1.0) ** index
    assert found_in(base(2) + 50 * packet) == []


def test_the_onset_of_a_storm_is_kept():
    rng = np.random.default_rng(5)
    storm = np.where(DAY.size // 2 <= np.arange(DAY.size), rng.normal(0, 15, DAY.size), 0)
    assert found_in(base(2) + storm) == []


@pytest.mark.parametrize("rise", [1, 2, 3, 6])
@pytest.mark.parametrize("size", [-80, 40, 150])
def test_a_sudden_commencement_is_kept(size, rise):
    step = size * np.clip((np.arange(DAY.size) - 3000) / rise, 0, 1)
    after = np.maximum(0, np.arange(DAY.size) - 3000 - rise)
    assert found_in(base(3) + step * np.exp(-after / 400)) == []


def test_a_crest_is_kept():
    crest = 60 - 12.0 * np.abs(np.arange(DAY.size) - 3000)
    assert found_in(base(3) + np.maximum(0, crest)) == []


def test_a_spike_on_a_steep_change():
    field = base(3) + 20.0 * np.arange(DAY.size)
    field[[700, 900, 901]] += [12, -12, -12]
    assert found_in(field) == [700, 900, 901]


def test_floor_and_resolution():
    field = 48_000 + 0.01 * np.arange(80)
    field[40] += 2.9
    assert found_in(field) == []
    assert found_in(field, floor_nT=2.8) == [40]
    coarse = np.full(80, 48_000.0)
    coarse[[20, 60]] += [5, 15]
    assert found_in(coarse) == [60]  # a step of 5 nT: 15 is three, 5 is one


def test_factor():
    field = base(4, noise=1.0)
    field[4000] += 25
    assert found_in(field) == [4000]
    assert found_in(field, k_sd=40) == []


def test_missing_readings_are_stepped_over_in_their_time():
    field = 48_000 + 10.0 * np.arange(80)
    field[[39, 42]] = np.nan
    assert found_in(field) == []
    field[40] += 6
    assert found_in(field) == [40]


def test_gaps_part_the_record():
    time = DAY[:120].copy()
    time[60:] += 3600
    time[62:] += 3600
    field = base(1)[:120]
    field[60:62] += 50  # a piece of two readings, in which nothing can be judged
    field[30] += 20
    assert found_in(field, time) == [30]


def test_near_the_ends_one_side_must_do():
    field = base(1)[: SIDE + 5]
    field[2] += 20
    assert found_in(field) == [2]
    assert found_in(field[::-1]) == [SIDE + 2]


@pytest.mark.parametrize("n", [0, 1, 4, 6, 8])
def test_short_records(n):
    assert found_in(np.arange(float(n)) % 2 * 9) == []


def test_input_is_checked():
    with pytest.raises(InputError, match="same length"):
        find_base_spikes([0.0], [0.0, 1.0])
    with pytest.raises(InputError, match="increase"):
        find_base_spikes([0.0, 0.0], [0.0, 1.0])
    with pytest.raises(InputError, match="k_sd"):
        find_base_spikes([0.0], [0.0], k_sd=0)
    with pytest.raises(InputError, match="floor_nT"):
        find_base_spikes([0.0], [0.0], floor_nT=-1)
