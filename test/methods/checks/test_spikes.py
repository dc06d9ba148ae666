"""Spikes put into seeded walks over dipoles; dropouts put in by hand.

The field of a dipole is the projected total-field anomaly of a point dipole magnetised along the
inducing field, 100 m (3 cos^2 - 1) / r^3 nT for m in A m2 and r in m.
"""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.spikes import (
    find_dropouts,
    find_out_of_range,
    find_spikes,
    find_stuck,
)

NOISE = 0.3


def walk_over_dipoles(rng, *, n=6000, every=150, depth=(0.3, 5.0), sensor=1.5):
    """Return the field along a walk at 1 reading a metre, dipoles at random below the path."""
    along = np.arange(float(n))
    field = 0.01 * along
    inclination, azimuth = np.deg2rad(rng.uniform(-80, 80)), rng.uniform(0, 2 * np.pi)
    direction = np.array(
        [
            np.cos(inclination) * np.cos(azimuth),
            np.cos(inclination) * np.sin(azimuth),
            np.sin(inclination),
        ]
    )
    for centre in rng.uniform(0, n, n // every):
        below = sensor + np.exp(rng.uniform(*np.log(depth)))
        peak = np.exp(rng.uniform(np.log(10), np.log(300)))
        aside = rng.uniform(-1.5, 1.5)
        to = np.stack([along - centre, np.full(n, aside), np.full(n, -below)], axis=-1)
        distance = np.linalg.norm(to, axis=-1)
        cosine = to @ direction / distance
        field += peak * below**3 / 2 * (3 * cosine**2 - 1) / distance**3
    return field


def isolated_spikes(rng, n, size):
    """Return spikes of one or two readings, one in each stretch of 60."""
    spikes = np.zeros(n)
    for start in range(30, n - 30, 60):
        at, width = start + rng.integers(0, 20), rng.integers(1, 3)
        spikes[at : at + width] = size * rng.choice([-1, 1]) * rng.uniform(1, 3)
    return spikes


def test_spikes_of_ten_times_the_noise_are_found_and_little_else():
    found_share, flagged_share = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        field = walk_over_dipoles(rng, every=200) + rng.normal(scale=NOISE, size=6000)
        spikes = isolated_spikes(rng, 6000, 10 * NOISE)
        found = find_spikes(field + spikes)
        found_share.append(found[spikes != 0].mean())
        flagged_share.append(found[spikes == 0].mean())
    assert np.mean(found_share) >= 0.95
    assert np.mean(flagged_share) <= 0.001


@pytest.mark.parametrize("sensor", [1.5, 2.0])
def test_real_anomalies_are_left_alone(sensor):
    flagged_share, steep_share = [], []
    for seed in range(8):
        rng = np.random.default_rng(100 + seed)
        field = walk_over_dipoles(rng, sensor=sensor, every=60)
        found = find_spikes(field + rng.normal(scale=NOISE, size=6000))
        steep = np.abs(np.gradient(field))
        flagged_share.append(found.mean())
        steep_share.append(found[steep >= np.quantile(steep, 0.9)].mean())
    assert np.mean(flagged_share) <= 0.001
    assert np.mean(steep_share) <= 0.02


def test_spikes_in_steep_fields_are_found():
    """At ten times the noise four in ten where the field changes by 2 to 5 nT a metre, at a
    hundred nearly all; rules that look at two readings on either side find one in five."""
    shares = {}
    for size in (10 * NOISE, 100 * NOISE):
        found_all, steep_all = [], []
        for seed in range(40, 52):
            rng = np.random.default_rng(seed)
            field = walk_over_dipoles(rng, every=60)
            spikes = isolated_spikes(rng, 6000, size)
            found = find_spikes(field + rng.normal(scale=NOISE, size=6000) + spikes)
            found_all.append(found[spikes != 0])
            steep_all.append(np.abs(np.gradient(field))[spikes != 0])
        found, steep = np.concatenate(found_all), np.concatenate(steep_all)
        shares[size] = found[(steep > 2) & (steep < 5)].mean()
    assert shares[10 * NOISE] >= 0.3
    assert shares[100 * NOISE] >= 0.9


@pytest.mark.parametrize(("sensor", "spacing"), [(1.5, 1.0), (2.0, 0.3), (1.8, 1.1)])
@pytest.mark.parametrize("peak", [20.0, 200.0])
def test_single_dipoles_below_ground_are_left_alone(sensor, spacing, peak):
    cut = 0
    for seed in range(60):
        rng = np.random.default_rng(300 + seed)
        along = (np.arange(81) - rng.uniform(35, 45)) * spacing
        below = sensor * rng.uniform(1.1, 1.6)
        direction = rng.normal(size=3)
        direction /= np.linalg.norm(direction)
        to = np.stack([along, np.full(81, rng.uniform(-1, 1)), np.full(81, -below)], axis=-1)
        distance = np.linalg.norm(to, axis=-1)
        field = (3 * (to @ direction / distance) ** 2 - 1) / distance**3
        field *= peak / np.abs(field).max()
        noisy = field + rng.normal(scale=0.2, size=81)
        cut += find_spikes(noisy, noise_nT=0.2, distance_m=along, sensor_height_m=sensor).any()
    assert cut <= 4


def test_distance_and_height_decide_what_may_be_real():
    along = np.arange(-30.0, 31.0)
    # A dipole 1.2 m below the sensor: above ground under a sensor at 2.2 m, below it at 1.2 m.
    field = 90 * 1.2**3 / 2 * (2 * 1.2**2 - along**2) / (along**2 + 1.2**2) ** 2.5
    noisy = field + np.random.default_rng(8).normal(scale=0.1, size=61)
    given = {"noise_nT": 0.1, "distance_m": along}
    assert find_spikes(noisy, sensor_height_m=2.2, least_depth=1.0, **given)[30]
    assert not find_spikes(noisy, sensor_height_m=2.2, least_depth=0.5, **given).any()
    assert not find_spikes(noisy, sensor_height_m=1.2, least_depth=1.0, **given).any()
    nowhere = np.full(61, np.nan)
    assert np.array_equal(
        find_spikes(noisy, noise_nT=0.1, distance_m=nowhere), find_spikes(noisy, noise_nT=0.1)
    )


def test_uneven_steps_in_a_steep_field_are_no_spikes():
    cut = {True: 0, False: 0}
    for seed in range(60):
        rng = np.random.default_rng(500 + seed)
        along = np.cumsum(1.0 + 0.06 * rng.normal(size=80)) - rng.uniform(35, 45)
        # A thin sheet, 4 m below the sensor: 600 nT.
        field = 600 * 4**2 / (along**2 + 4**2) + rng.normal(scale=0.2, size=80)
        for known in cut:
            where = {"distance_m": along if known else np.arange(80.0), "sensor_height_m": 1.8}
            cut[known] += find_spikes(field, noise_nT=0.2, **where).any()
    assert cut[True] <= 1
    assert cut[False] > cut[True]


def test_a_dipole_on_the_ground_is_no_spike():
    along = np.arange(-50.0, 51.0)
    field = 400 * (2 * 1.5**2 - along**2) / (along**2 + 1.5**2) ** 2.5
    noise = np.random.default_rng(2).normal(scale=0.1, size=101)
    assert not find_spikes(field + noise).any()


def test_spike_beside_a_gap_and_missing_readings():
    record = np.random.default_rng(4).normal(scale=0.1, size=60)
    record[[20, 41]] += 8.0
    record[[10, 22, 43]] = np.nan
    time = np.arange(60.0)
    time[45:] += 500
    assert np.flatnonzero(find_spikes(record, time_s=time)).tolist() == [20, 41]


def test_a_step_across_a_gap_is_no_spike():
    record = np.random.default_rng(4).normal(scale=0.1, size=60)
    record[30:32] += 40
    time = np.arange(60.0)
    time[30:] += 500
    time[32:] += 500
    assert not find_spikes(record, time_s=time).any()


def test_width_floor_and_resolution():
    record = np.random.default_rng(7).normal(scale=0.1, size=40)
    record[[10, 11]] += 5
    assert np.flatnonzero(find_spikes(record, noise_nT=0.1)).tolist() == [10, 11]
    assert find_spikes(record, noise_nT=0.1, max_width=1).sum() == 0
    assert find_spikes(record, noise_nT=0.1, floor_nT=6).sum() == 0
    coarse = np.zeros(40)
    coarse[20] = 1.0
    assert find_spikes(coarse).sum() == 0
    coarse[21:] = 0.1 * (np.arange(19) // 4)
    assert np.flatnonzero(find_spikes(coarse)).tolist() == [20]


@pytest.mark.parametrize("n", [0, 1, 4, 5])
def test_short_records(n):
    assert find_spikes(np.zeros(n)).tolist() == [False] * n


def test_settings_are_checked():
    with pytest.raises(InputError, match="1 or 2 readings"):
        find_spikes([0.0], max_width=3)
    with pytest.raises(InputError, match="k_sd"):
        find_spikes([0.0], k_sd=0)
    with pytest.raises(InputError, match="same length"):
        find_spikes([0.0], time_s=[0.0, 1.0])
    with pytest.raises(InputError, match="same length"):
        find_spikes([0.0], distance_m=[0.0, 1.0])
    with pytest.raises(InputError, match="sensor_height_m must be above zero"):
        find_spikes([0.0], distance_m=[0.0], sensor_height_m=0.0)
    with pytest.raises(InputError, match="least_depth"):
        find_spikes([0.0], least_depth=0.0)
    with pytest.raises(InputError, match="at least 5"):
        find_stuck([0.0], min_run=4)


def test_out_of_range():
    field = [0, -48_000, 14_999, 15_000, 75_000, 75_001, np.inf, np.nan]
    assert find_out_of_range(field).tolist() == [1, 1, 1, 0, 0, 1, 1, 0]


def test_stuck_value_at_a_fine_resolution():
    record = 48_000 + np.random.default_rng(6).normal(size=5000).round(2)
    record[700:712] = record[700]
    found = find_stuck(record)
    assert np.flatnonzero(found).tolist() == list(range(700, 712))
    assert np.array_equal(find_dropouts(record), found)


@pytest.mark.parametrize("seed", range(5))
def test_a_coarse_resolution_is_not_taken_for_stuck(seed):
    rng = np.random.default_rng(seed)
    coarse = 48_000 + np.round(rng.normal(scale=0.35, size=20_000))
    assert not find_stuck(coarse).any()
    coarse[3000:3500] = 48_002
    assert find_stuck(coarse)[3000:3500].all()


def test_nothing_to_find_in_nothing():
    assert find_stuck([]).size == 0
    assert not find_stuck([np.nan] * 50).any()
