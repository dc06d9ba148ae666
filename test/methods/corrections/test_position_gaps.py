"""Filled gaps: where the places lie, and how often the predicted error holds."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.position_gaps import fill_position_gaps, fix_sd
from lodewalk.methods.corrections.track import position_at

#: Radius of the 90 % circle of two equal normal errors: 1 - exp(-r^2 / 2) = 0.9.
CIRCLE_90 = 2.145966


def walk_with_turns(rng: np.random.Generator, *, lines: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Return a walk up and down lines of 300 m, one place a second, with stops and wandering."""
    east, north = [], []
    for line in range(lines):
        along, side, speed, stops = 0.0, 0.0, 1.2, rng.uniform(0, 300, rng.poisson(2)).tolist()
        while along < 300:
            speed += 0.05 * (1.2 - speed) + 0.05 * rng.normal()
            side += -0.03 * side + 0.1 * rng.normal()
            along += max(speed, 0.3)
            stay = 1 + sum(int(rng.uniform(5, 60)) for stop in stops if stop < along)
            stops = [stop for stop in stops if stop >= along]
            east += [20.0 * line + side] * stay
            north += [along if line % 2 == 0 else 300 - along] * stay
        east += (20.0 * line + np.arange(1.2, 20, 1.2)).tolist()
        north += [north[-1]] * np.arange(1.2, 20, 1.2).size
    return np.array(east), np.array(north)


def drifting(rng: np.random.Generator, count: int, *, sd: float, time_s: float) -> np.ndarray:
    """Return errors of fixes that stay alike over a time (first-order Gauss-Markov)."""
    keep, value = np.exp(-1 / time_s), sd * rng.normal()
    errors = np.empty(count)
    for place in range(count):
        errors[place] = value
        value = keep * value + sd * np.sqrt(1 - keep**2) * rng.normal()
    return errors


def hide(rng: np.random.Generator, time: np.ndarray, *, gap_s: float) -> np.ndarray:
    """Mark fixes to be hidden: gaps of one length, six times as far apart on the mean."""
    hidden, interval = np.zeros(time.size, dtype=bool), np.median(np.diff(time))
    long = round(gap_s / interval)
    first = int(rng.uniform(20, 60))
    while first + long + 20 < time.size:
        hidden[first + 1 : first + long] = True
        first += long + int(rng.exponential(6 * long) + 40)
    return hidden


def coverage(
    place: tuple[np.ndarray, np.ndarray],
    truth: tuple[np.ndarray, np.ndarray],
    *,
    gap_s: float,
    seed: int,
    time: np.ndarray | None = None,
    fix_sd_m: float = 0.0,
) -> np.ndarray:
    """Return whether each filled place lies in its circle, and on each axis in its interval."""
    time = np.arange(float(place[0].size)) if time is None else time
    hidden = hide(np.random.default_rng(seed), time, gap_s=gap_s)
    east, north = (np.where(hidden, np.nan, axis) for axis in place)
    found = fill_position_gaps(time, east, north, max_gap_s=1.5 * gap_s, fix_sd_m=fix_sd_m)
    np.testing.assert_array_equal(found.filled, hidden)
    miss = np.stack([found.easting_m - truth[0], found.northing_m - truth[1]])[:, hidden]
    sd = found.sd_m[hidden]
    return np.stack([np.hypot(*miss) <= CIRCLE_90 * sd, *(np.abs(miss) <= 1.645 * sd)])


@pytest.mark.parametrize("gap_s", [5, 10, 30, 60])
def test_circles_and_intervals_hold_on_walks_with_stops_and_turns(gap_s: int) -> None:
    parts = []
    for seed in range(100, 116):
        walk = walk_with_turns(np.random.default_rng(seed))
        parts.append(coverage(walk, walk, gap_s=gap_s, seed=seed))
    circle, east, north = np.concatenate(parts, axis=1).mean(axis=1)
    # 87 to 93 % is the aim; two points more for what 16 walks leave to chance.
    assert 0.85 < circle < 0.95
    assert 0.85 < (east + north) / 2 < 0.95


def test_errors_of_the_fixes_are_in_the_error_of_the_filled_places() -> None:
    parts = []
    for seed in range(200, 212):
        rng = np.random.default_rng(seed)
        walk = walk_with_turns(rng)
        fixes = tuple(axis + drifting(rng, axis.size, sd=2.0, time_s=100.0) for axis in walk)
        time = np.arange(float(walk[0].size))
        hidden = hide(rng, time, gap_s=20)
        east, north = (np.where(hidden, np.nan, axis) for axis in fixes)
        found = fill_position_gaps(time, east, north, max_gap_s=30, fix_sd_m=2.0, fix_time_s=100.0)
        miss = np.hypot(found.easting_m - walk[0], found.northing_m - walk[1])
        parts.append((miss <= CIRCLE_90 * found.sd_m)[hidden])
    assert 0.85 < np.concatenate(parts).mean() < 0.95


def test_independent_errors_of_fixes_are_not_counted_twice() -> None:
    # Standing still: what departs is the fixes' error alone, and half its variance is left at
    # the middle of the line between two fixes.
    rng = np.random.default_rng(4)
    time = np.arange(10_000.0)
    east, north = rng.normal(scale=2.0, size=(2, time.size))
    hidden = hide(rng, time, gap_s=20)
    middle = hidden & np.roll(hidden, 9) & np.roll(hidden, -9)
    east[hidden] = np.nan
    found = fill_position_gaps(time, east, north, max_gap_s=30, fix_sd_m=2.0, fix_time_s=0.0)
    # The shape along the gap isn't that of a walk, which leaves some too much.
    assert np.mean(found.sd_m[middle]) == pytest.approx(2.0 * np.sqrt(0.5), rel=0.35)


def test_random_walk_gives_the_error_of_a_brownian_bridge() -> None:
    # Variance of a Brownian bridge: rate^2 L u (1 - u).
    rng = np.random.default_rng(5)
    rate, time = 0.4, np.arange(20_000.0)
    east, north = np.cumsum(rng.normal(scale=rate, size=(2, time.size)), axis=1)
    hidden = hide(rng, time, gap_s=20)
    middle = hidden & np.roll(hidden, 9) & np.roll(hidden, -9)
    assert middle.any()
    east[hidden] = np.nan
    found = fill_position_gaps(time, east, north, max_gap_s=30, fix_sd_m=0.0)
    assert np.mean(found.sd_m[middle]) == pytest.approx(rate * np.sqrt(20 / 4), rel=0.1)


def test_random_acceleration_gives_the_error_of_its_straight_line() -> None:
    # Integrated Brownian motion less its chord: variance q L^3 u^2 (1 - u)^2 / 3, at the middle
    # q L^3 / 48, from Cov(X(s), X(t)) = q s^2 (3 t - s) / 6.
    rng = np.random.default_rng(6)
    root_q, time = 0.01, np.arange(20_000.0)
    speed = np.cumsum(rng.normal(scale=root_q, size=(2, time.size)), axis=1)
    east, north = np.cumsum(speed, axis=1)
    hidden = hide(rng, time, gap_s=20)
    middle = hidden & np.roll(hidden, 9) & np.roll(hidden, -9)
    east[hidden] = np.nan
    found = fill_position_gaps(time, east, north, max_gap_s=30, fix_sd_m=0.0)
    rms = np.sqrt(np.mean(found.sd_m[middle] ** 2))
    assert rms == pytest.approx(root_q * np.sqrt(20.0**3 / 48), rel=0.15)


def test_gaps_shorter_than_can_be_hidden_are_judged_by_growth() -> None:
    # Fixes each 2 s, readings each second: a gap of one fix interval is never hidden.
    rng = np.random.default_rng(7)
    time = np.arange(20_000.0)
    walk = np.cumsum(rng.normal(scale=0.4, size=(2, time.size)), axis=1)
    east = np.where(time % 2 == 0, walk[0], np.nan)
    found = fill_position_gaps(time, east, walk[1], max_gap_s=5, fix_sd_m=0.0)
    assert np.mean(found.sd_m[found.filled]) == pytest.approx(0.4 * np.sqrt(0.5), rel=0.15)


def test_places_are_those_of_the_track() -> None:
    time = np.arange(0.0, 300.0, 3.0)
    east, north = walk_with_turns(np.random.default_rng(3))
    east, north = east[::3][:100].copy(), north[::3][:100].copy()
    east[:4] = east[40:45] = north[60:90] = east[97:] = np.nan
    found = fill_position_gaps(time, east, north, max_gap_s=20.0)
    known = np.isfinite(east + north)
    track = position_at(
        time,
        track_time_s=time[known],
        track_easting_m=east[known],
        track_northing_m=north[known],
        track_height_m=north[known],
        max_gap_s=20.0,
    )
    np.testing.assert_array_equal(found.easting_m, track.easting_m)
    np.testing.assert_array_equal(found.northing_m, track.northing_m)
    assert np.flatnonzero(found.filled).tolist() == [40, 41, 42, 43, 44]
    placed = np.isfinite(found.easting_m)
    np.testing.assert_array_equal(np.isfinite(found.sd_m), placed)
    assert np.all(np.isnan(found.easting_m[60:90]))
    assert np.all(found.sd_m[known] == 3.0)


def test_short_record_falls_back_on_what_a_walker_can_reach() -> None:
    # 8 m apart after 10 s at 1.5 m/s: an ellipse of axes 15 m and sqrt(15^2 - 8^2) m.
    time = np.array([0.0, 5.0, 10.0])
    found = fill_position_gaps(
        time, [0.0, np.nan, 8.0], [0.0, np.nan, 0.0], max_gap_s=15.0, fix_sd_m=0.0
    )
    assert found.sd_m[1] == pytest.approx(np.sqrt(15**2 - 8**2) / 2 / CIRCLE_90, rel=1e-4)


def test_little_or_nothing_known() -> None:
    for count in (0, 1, 5):
        nothing = np.full(count, np.nan)
        found = fill_position_gaps(np.arange(float(count)), nothing, nothing, max_gap_s=9.0)
        assert not found.filled.any()
        assert np.all(np.isnan(found.sd_m))
    alone = fill_position_gaps([0.0, 1.0], [5.0, np.nan], [5.0, np.nan], max_gap_s=9.0)
    assert not alone.filled.any()
    assert alone.sd_m[0] == 3.0


def test_sd_of_fixes_by_kind_and_dilution() -> None:
    found = fix_sd(["3d", "rtk", "rtk", "none", None], hdop=[2.0, 0.7, 3.0, 1.0, np.nan])
    # UERE 4 m x 2 on the plane, 0.05 m and thrice that, nothing, a plain fix.
    np.testing.assert_allclose(found, [8 / np.sqrt(2), 0.05, 0.15, np.nan, 3.0])
    np.testing.assert_allclose(fix_sd(["2d", "float", "dgps"]), [3.0, 0.5, 1.5])


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"max_gap_s": 0.0}, "max_gap_s must be above zero"),
        ({"speed_m_s": -1.0}, "speed_m_s must be above zero"),
        ({"fix_sd_m": -1.0}, "fix_sd_m must not be below zero"),
        ({"fix_time_s": -1.0}, "fix_time_s must not be below zero"),
        ({"fix_sd_m": [1.0]}, "same length"),
    ],
)
def test_bad_settings(changed: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        fill_position_gaps([0.0, 1.0], [0.0, 1.0], [0.0, 1.0], **{"max_gap_s": 5.0} | changed)


def test_bad_order() -> None:
    with pytest.raises(InputError, match="time_s must increase"):
        fill_position_gaps([1.0, 0.0], [0.0, 1.0], [0.0, 1.0], max_gap_s=5.0)
    with pytest.raises(InputError, match="same length"):
        fill_position_gaps([1.0, 2.0], [0.0], [0.0, 1.0], max_gap_s=5.0)
