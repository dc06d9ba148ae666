"""Lag and lever arm: places by hand, planted surveys, what can't be told apart.

Surveys are lines there and back and tie lines over point sources and dykes, a reading a second. The
sensor hangs ahead of or beside the antenna, and its readings bear a time that is late.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lag import apply_lag, estimate_lag

NINETY = 1.645


@dataclass(frozen=True)
class Survey:
    """A walk, its ground and what is late or aside."""

    lines: int = 16
    ties: int = 3
    length_m: float = 400.0
    spacing_m: float = 20.0
    azimuth_deg: float = 35.0
    speed_m_s: float = 1.2
    speed_spread: float = 0.08
    lag_s: float = 0.5
    ahead_m: float = 0.0
    right_m: float = 0.0
    position_sd_m: float = 0.3
    noise_nT: float = 0.5
    residue_nT: float = 0.3
    sources: int = 40
    dykes: int = 2
    rms_nT: float = 80.0


def wandering(rng, count, *, sd, time_s):
    """Return noise that forgets itself within `time_s`, at 1 s."""
    keep = np.exp(-1.0 / time_s)
    steps = rng.normal(size=count) * np.sqrt(1 - keep**2)
    return sd * lfilter([1.0], [1.0, -keep], steps, zi=[keep * rng.normal()])[0]


def legs(rule):
    """Return start, end and name of each leg in the order walked; -1 off the lines."""
    width, found, here = (rule.lines - 1) * rule.spacing_m, [], None
    ways = []
    for n in range(rule.lines):
        ends = [(0.0, n * rule.spacing_m), (rule.length_m, n * rule.spacing_m)]
        ways.append(ends if n % 2 == 0 else ends[::-1])
    for t in range(rule.ties):
        along = rule.length_m * (t + 1) / (rule.ties + 1)
        ends = [(along, -10.0), (along, width + 10.0)]
        ways.append(ends[::-1] if t % 2 == 0 else ends)
    for name, (start, stop) in enumerate(ways):
        if here is not None:
            found.append((here, start, -1))
        found.append((start, stop, name))
        here = stop
    return found


def walked(rng, rule):
    """Return place (n, 2), direction (n, 2) and line of each second."""
    parts = []
    for start, stop, name in legs(rule):
        way = np.subtract(stop, start)
        length = np.hypot(*way)
        pace = rule.speed_m_s * max(1 + rule.speed_spread * rng.normal(), 0.5)
        made = np.cumsum(
            pace * (1 + wandering(rng, int(3 * length / pace) + 10, sd=0.05, time_s=20.0))
        )
        share = made[made < length] / length
        aside = wandering(rng, share.size, sd=0.5, time_s=30.0) * np.sin(np.pi * share)
        normal = np.array([-way[1], way[0]]) / length
        place = start + share[:, None] * way + aside[:, None] * normal
        parts.append((place, np.tile(way / length, (share.size, 1)), np.full(share.size, name)))
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))


def ground(rng, rule):
    """Return the anomaly as a function of place along and across, of about the given rms [nT]."""
    width = rule.lines * rule.spacing_m
    points = [
        (
            rng.uniform(-50, rule.length_m + 50),
            rng.uniform(-50, width + 50),
            np.exp(rng.uniform(*np.log([8.0, 40.0]))),
            rng.normal(),
        )
        for _ in range(rule.sources)
    ]
    dykes = [
        (
            rng.uniform(0.2, 0.8) * rule.length_m,
            np.deg2rad(rng.uniform(40, 140)),
            np.exp(rng.uniform(*np.log([6.0, 25.0]))),
            rng.normal(),
        )
        for _ in range(rule.dykes)
    ]

    def raw(place):
        value = np.zeros(len(place))
        for x, y, depth, size in points:
            r2 = (place[:, 0] - x) ** 2 + (place[:, 1] - y) ** 2 + depth**2
            value += 2.0 * size * depth**3 / r2**1.5
        for x, strike, depth, size in dykes:
            off = (place[:, 0] - x) * np.sin(strike) - (place[:, 1] - width / 2) * np.cos(strike)
            value += size * depth**2 / (off**2 + depth**2)
        return value

    grid = np.stack(np.meshgrid(np.arange(0, rule.length_m, 5.0), np.arange(0, width, 5.0)), -1)
    scale = rule.rms_nT / raw(grid.reshape(-1, 2)).std()
    return lambda place: scale * raw(place)


def survey(seed, rule=None):
    """Return readings and track of a survey, and where the sensor was (easting, northing)."""
    rule, rng = rule or Survey(), np.random.default_rng(seed)
    place, way, line = walked(rng, rule)
    time, count = np.arange(len(place), dtype=float), len(place)
    right = np.column_stack([-way[:, 1], way[:, 0]])  # across is to the right of along
    sensor = place + rule.ahead_m * way + rule.right_m * right
    # The reading that bears time t was taken at t - lag.
    late = np.column_stack([np.interp(time - rule.lag_s, time, part) for part in sensor.T])
    field = ground(rng, rule)(late)
    field += wandering(rng, count, sd=rule.residue_nT, time_s=300.0)
    field += rule.noise_nT * rng.normal(size=count)
    seen = np.column_stack(
        [part + wandering(rng, count, sd=rule.position_sd_m, time_s=90.0) for part in place.T]
    )
    turn = np.radians(rule.azimuth_deg)

    def to_grid(at):
        return (
            at[:, 0] * np.sin(turn) + at[:, 1] * np.cos(turn),
            at[:, 0] * np.cos(turn) - at[:, 1] * np.sin(turn),
        )

    east, north = to_grid(seen)
    parts = {
        "time_s": time,
        "field_nT": field,
        "line": line,
        "track_time_s": time,
        "track_easting": east,
        "track_northing": north,
    }
    return parts, to_grid(late), line


def any_rule(seed, **fixed):
    """Return a survey of any size and any lag."""
    rng = np.random.default_rng([seed, 1])
    drawn = Survey(
        lines=int(rng.integers(10, 21)),
        ties=int(rng.integers(0, 4)),
        length_m=float(rng.choice([300.0, 400.0])),
        spacing_m=rng.uniform(10, 30),
        azimuth_deg=rng.uniform(0, 360),
        speed_m_s=rng.uniform(0.9, 1.4),
        lag_s=rng.uniform(-1, 1.5),
        position_sd_m=rng.uniform(0.05, 0.3),
        noise_nT=rng.uniform(0.2, 0.8),
        sources=int(rng.integers(20, 80)),
        dykes=int(rng.integers(0, 4)),
        rms_nT=rng.uniform(30, 120),
    )
    return replace(drawn, **fixed)


def estimate(parts, **more):
    return estimate_lag(**parts, **({"position_sd_m": 0.3} | more))


def test_a_lag_of_half_a_second_is_found_to_a_tenth():
    found = [estimate(survey(seed)[0], ahead_m=0.0, right_m=0.0) for seed in range(10)]
    error = np.array([item.lag_s - 0.5 for item in found])
    sd = np.array([item.lag_sd_s for item in found])
    assert all(item.state == "measured" for item in found)
    # To a tenth or inside its own 90 % interval; of ten, fewer than six would be 1 in 600.
    assert np.sum((np.abs(error) <= 0.1) | (np.abs(error) <= NINETY * sd)) >= 6
    assert np.median(np.abs(error)) <= 0.1
    assert np.median(sd) < 0.1


@pytest.mark.parametrize("lag_s", [-1.5, 0.0, 3.0])
def test_the_sign_is_field_less_position(lag_s):
    found = estimate(survey(3, Survey(lag_s=lag_s))[0], ahead_m=0.0, right_m=0.0)
    assert abs(found.lag_s - lag_s) < 3 * found.lag_sd_s
    assert found.lag_sd_s < 0.15


def test_a_measured_arm_is_allowed_for():
    rule = Survey(ahead_m=-0.8, right_m=0.4)
    found = estimate(survey(4, rule)[0], ahead_m=-0.8, right_m=0.4)
    assert abs(found.lag_s - 0.5) < 3 * found.lag_sd_s
    assert found.lag_sd_s < 0.15
    # Believed to be at the antenna, it would pass for a lag of 0.8 m / 1.2 m/s more.
    wrong = estimate(survey(4, rule)[0], ahead_m=0.0, right_m=0.0)
    assert wrong.lag_s - found.lag_s == pytest.approx(0.8 / 1.2, abs=0.1)


def test_at_one_speed_only_the_combination_is_told():
    rule = Survey(ahead_m=0.9, speed_spread=0.0)
    found = estimate(survey(5, rule)[0])
    assert found.state == "combination only"
    assert found.shift_s == pytest.approx(0.5 - 0.9 / 1.2, abs=3 * found.shift_sd_s)
    assert found.shift_sd_s < 0.15 < 0.5 < found.lag_sd_s
    assert abs(found.lag_s - 0.5) < 2 * found.lag_sd_s


def test_at_many_speeds_lag_and_arm_are_told_apart():
    rule = Survey(ahead_m=0.9, speed_spread=0.4, lines=40)
    found = estimate(survey(6, rule)[0])
    assert found.state == "measured"
    assert abs(found.lag_s - 0.5) < 3 * found.lag_sd_s
    assert abs(found.ahead_m - 0.9) < 3 * found.ahead_sd_m


def test_crossings_tell_the_arm_aside():
    rule = Survey(right_m=1.2, ties=8, position_sd_m=0.1)
    found = estimate(survey(7, rule)[0], ahead_m=0.0)
    assert found.right_sd_m < 0.3
    assert abs(found.right_m - 1.2) < 3 * found.right_sd_m


def test_applied_places_are_where_the_sensor_was():
    rule = Survey(lag_s=0.7, ahead_m=1.0, right_m=-0.5, position_sd_m=1e-6)
    parts, (east, north), line = survey(8, rule)
    found = apply_lag(
        parts["time_s"],
        **{name: parts[name] for name in ("track_time_s", "track_easting", "track_northing")},
        lag_s=0.7,
        ahead_m=1.0,
        right_m=-0.5,
    )
    off = np.hypot(found[0] - east, found[1] - north)
    # The planted arm keeps to the leg's direction; the track weaves 0.5 m about it.
    steady = (np.convolve(line, np.ones(41) / 41, mode="same") == line) & (line >= 0)
    assert np.isnan(off[0])  # before the first fix
    assert np.median(off[1:][steady[1:]]) < 0.05


def test_an_arm_turns_with_the_heading_by_hand():
    time = np.arange(101.0)
    there = np.where(time <= 50, time, 100 - time)
    for place, sign in ((25.0, 1.0), (75.0, -1.0)):
        east, north = apply_lag(
            [place],
            track_time_s=time,
            track_easting=there,
            track_northing=np.zeros(101),
            lag_s=2.0,
            ahead_m=0.5,
            right_m=0.25,
        )
        # Two seconds earlier, half a metre on in the direction of walking; right of east is south.
        assert float(east[0]) == pytest.approx(25.0 + sign * (0.5 - 2.0))
        assert float(north[0]) == pytest.approx(-sign * 0.25)


def test_outside_the_track_and_in_gaps_there_is_no_place():
    east, _ = apply_lag(
        [-1.0, 1.0, 30.0, 70.0],
        track_time_s=[0.0, 2.0, 60.0],
        track_easting=[0.0, 2.0, 60.0],
        track_northing=np.zeros(3),
        lag_s=0.0,
    )
    np.testing.assert_array_equal(np.isfinite(east), [False, True, False, False])


def test_without_anomalies_or_one_way_nothing_is_said():
    flat = estimate(survey(9, Survey(rms_nT=1e-3))[0])
    assert (flat.state, flat.lag_sd_s) == ("not identifiable", np.inf)
    assert np.isnan(flat.lag_s)
    parts = survey(9, Survey(lines=2, ties=0))[0]
    assert estimate(parts).state == "not identifiable"
    parts["field_nT"] = np.full(parts["time_s"].size, np.nan)
    assert estimate(parts).state == "not identifiable"


# Of seeds whose fit still moved by about its sd in the third round, one came back to the same
# answers for ever, and one ended 0.73 s off at an sd of 0.44 s.
@pytest.mark.parametrize("seed", [10, 249])
def test_a_fit_that_does_not_settle_says_nothing(seed):
    rule = any_rule(seed, position_sd_m=1.0, lag_s=0.0)
    found = estimate_lag(**survey(5000 + seed, rule)[0], position_sd_m=1.0)
    assert found.state == "not identifiable"
    assert np.isnan(found.lag_s)


def test_a_long_first_step_is_no_harm_where_the_next_ones_are_short():
    rule = any_rule(290, position_sd_m=1.0, lag_s=0.0)
    found = estimate_lag(**survey(5290, rule)[0], position_sd_m=1.0)
    assert abs(found.shift_s) < NINETY * found.shift_sd_s < 0.5


def test_intervals_cover():
    inside = 0
    for seed in range(16):
        rule = any_rule(seed)
        found = estimate(survey(300 + seed, rule)[0], ahead_m=0.0, right_m=0.0)
        inside += int(abs(found.lag_s - rule.lag_s) <= NINETY * found.lag_sd_s)
    # Of 16 at 90 %: fewer than 11 happen in 1 of 300 times.
    assert inside >= 11


def test_bad_settings_say_so():
    with pytest.raises(InputError, match="position_sd_m must be above zero"):
        estimate_lag([], [], [], track_time_s=[], track_easting=[], track_northing=[],
                     position_sd_m=0.0)  # fmt: skip
    with pytest.raises(InputError, match="same length"):
        apply_lag([0.0], track_time_s=[0.0], track_easting=[], track_northing=[], lag_s=0.1)
