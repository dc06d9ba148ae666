"""Seeded walks there and back over dykes, the rover's clock set apart from the track's.

The field of a dyke is that of a thin sheet, A z (z cos Q + x sin Q) / (x^2 + z^2), with x square to
its strike; dykes bend, fade and lie oblique to the lines. Positions wander as a handheld's do.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.evidence import MEASURED, NOT_IDENTIFIABLE
from lodewalk.methods.checks.clocks.zigzag import zigzag_offset
from lodewalk.methods.checks.clocks.zigzag_fit import fit_zigzag
from lodewalk.methods.checks.clocks.zigzag_passages import Passages, line_numbers

NINETY = 1.645


@dataclass(frozen=True)
class Survey:
    """A walk and the ground below it."""

    lines: int = 12
    length_m: float = 400.0
    spacing_m: float = 20.0
    azimuth_deg: float = 35.0
    speed_m_s: float = 1.1
    overshoot_m: float = 4.0
    stops_per_600_m: float = 0.6
    position_sd_m: float = 1.5
    noise_nT: float = 0.15
    walking_nT: float = 0.3
    daily_nT: float = 25.0
    peak_nT: tuple[float, float] = (20.0, 150.0)
    dykes: int = 2
    one_way: bool = False
    pauses: bool = False


def wandering(rng, count, *, sd, time_s):
    """Return noise that forgets itself within `time_s`, at 1 s."""
    keep = np.exp(-1.0 / time_s)
    steps = rng.normal(size=count) * np.sqrt(1 - keep**2)
    return sd * lfilter([1.0], [1.0, -keep], steps, zi=[keep * rng.normal()])[0]


def way(rng, rule, length, stops):
    """Return metres made by each second along a leg, at uneven pace with stops."""
    count = int(3 * length / rule.speed_m_s) + 60
    pace = rule.speed_m_s * np.maximum(1 + wandering(rng, count, sd=0.09, time_s=25.0), 0.4)
    for at in rng.integers(1, int(length / rule.speed_m_s) + 1, rng.poisson(stops)):
        pace = np.insert(pace, at, np.zeros(rng.integers(5, 33)))
    made = np.cumsum(pace)
    return np.minimum(made[: np.searchsorted(made, length) + 1], length)


def walked(rng, rule):
    """Return place along, place across and line (-1 on turns) for each second."""
    here, parts = np.array([-rule.overshoot_m, 0.0]), []
    for n in range(rule.lines):
        ends = (0.0, rule.length_m) if rule.one_way or n % 2 == 0 else (rule.length_m, 0.0)
        more = np.sign(ends[1] - ends[0]) * rule.overshoot_m
        for along, name in (
            (ends[0] - more, -1),
            (ends[0], -1),
            (ends[1], n),
            (ends[1] + more, -1),
        ):
            to = np.array([along, n * rule.spacing_m])
            length = np.hypot(*(to - here))
            if length == 0:
                continue
            stops = rule.stops_per_600_m * length / 600 if name >= 0 else 0.0
            share = way(rng, rule, length, stops) / length
            aside = wandering(rng, share.size, sd=0.9, time_s=30.0) * np.sin(np.pi * share) ** 0.3
            place = here + share[:, None] * (to - here)
            place[:, 1] += aside if name >= 0 else 0.0
            parts.append((place, np.full(share.size, name)))
            here = to
    along, across = np.concatenate([part[0] for part in parts]).T
    return along, across, np.concatenate([part[1] for part in parts])


def ground(rng, rule, along, across):
    """Return the field of the ground [nT]."""
    value = 0.02 * along - 0.03 * across
    strike = np.deg2rad(rng.uniform(35, 90) * rng.choice([-1, 1]))
    middle = (rule.lines - 1) * rule.spacing_m / 2
    for k in range(rule.dykes):
        own = strike + np.deg2rad(rng.normal(0, 6))
        centre = rule.length_m * (k + rng.uniform(0.25, 0.75)) / rule.dykes
        wave = 2 * np.pi * across / rng.uniform(200, 500) + rng.uniform(0, 6)
        bend = rng.uniform(0, 5) * np.sin(wave)
        x = (along - centre + bend) * np.sin(own) - (across - middle) * np.cos(own)
        z = np.exp(rng.uniform(*np.log([6.0, 40.0])))
        turn = rng.uniform(0, 2 * np.pi)
        fade = 1 + 0.3 * np.sin(across / 100 + rng.uniform(0, 6))
        shape = (z * np.cos(turn) + x * np.sin(turn)) * z / (x**2 + z**2)
        value = value + np.exp(rng.uniform(*np.log(rule.peak_nT))) * fade * shape
    return value


def survey(seed, offset_s=0.0, rule=None):
    """Return readings and track of a survey, the rover's clock `offset_s` ahead of the track's."""
    rule = rule or Survey()
    rng = np.random.default_rng(seed)
    along, across, line = walked(rng, rule)
    count = along.size
    time = 40000.0 + np.arange(count)
    moving = np.hypot(np.gradient(along), np.gradient(across)) > 0.1
    steps = 0.7 * rng.normal(size=count) + wandering(rng, count, sd=0.7, time_s=2.0)
    field = ground(rng, rule, along, across) + wandering(rng, count, sd=1.0, time_s=600.0)
    field += rule.daily_nT * np.sin(2 * np.pi * time / 30000 + rng.uniform(0, 6))
    field += rule.noise_nT * rng.normal(size=count) + rule.walking_nT * moving * steps
    seen_along, seen_across = (
        part
        + wandering(rng, count, sd=rule.position_sd_m, time_s=90.0)
        + 0.12 * rng.normal(size=count)
        for part in (along, across)
    )
    fixes = np.cumsum(rng.integers(2, 6, count // 2))
    fixes = fixes[fixes < count]
    turn = np.deg2rad(rule.azimuth_deg)
    east = 500000.0 + seen_along * np.sin(turn) + seen_across * np.cos(turn)
    north = 7e6 + seen_along * np.cos(turn) - seen_across * np.sin(turn)
    kept = line >= 0 if rule.pauses else np.full(count, True)
    return {
        "time_s": (time + offset_s)[kept],
        "field_nT": np.round(48000.0 + field, 1)[kept],
        "line": line[kept],
        "track_time_s": time[fixes],
        "track_easting": east[fixes],
        "track_northing": north[fixes],
    }


def any_survey(seed, **fixed):
    """Return a survey of 10 to 24 lines, 10 to 50 m apart, over one to three dykes."""
    rng = np.random.default_rng([seed, 1])
    drawn = Survey(
        lines=int(rng.integers(10, 25)),
        length_m=float(rng.choice([300.0, 400.0, 600.0])),
        spacing_m=rng.uniform(10, 50),
        dykes=int(rng.integers(1, 4)),
        position_sd_m=rng.uniform(1, 2),
    )
    return replace(drawn, **fixed)


def test_a_slip_of_18_s_is_measured_and_right():
    found = [zigzag_offset(**survey(seed, 18.0, any_survey(seed))) for seed in range(20)]
    right = [item.state == MEASURED and abs(item.offset_s - 18) < 3 * item.sd_s for item in found]
    assert sum(right) >= 19
    assert abs(np.mean([item.offset_s for item in found]) - 18) < 0.4


def test_intervals_cover_and_no_slip_is_claimed_on_a_sound_clock():
    found = [zigzag_offset(**survey(seed, 0.0, any_survey(seed))) for seed in range(100, 124)]
    size = np.array([abs(item.offset_s) / item.sd_s for item in found])
    assert not np.any(size > 3)
    # 24 trials at 90 %: fewer than 18 would happen in 1 of 200 times.
    assert np.sum(size <= NINETY) >= 18


@pytest.mark.parametrize("offset_s", [-55.0, -18.0, 40.0])
def test_the_sign_is_rover_minus_track(offset_s):
    found = zigzag_offset(**survey(3, offset_s))
    assert found.state == MEASURED
    assert abs(found.offset_s - offset_s) < 3 * found.sd_s


def test_positions_that_lag_behind_the_field_show_as_an_offset():
    lag = 4
    parts = survey(4)
    time = np.arange(parts["time_s"][0], parts["time_s"][-1])
    place = [
        np.interp(time - lag, parts["track_time_s"], parts[name])
        for name in ("track_easting", "track_northing")
    ]
    field = np.interp(time, parts["time_s"], parts["field_nT"])
    line = parts["line"][: time.size]
    found = zigzag_offset(
        time, field, line, track_time_s=time, track_easting=place[0], track_northing=place[1]
    )
    # The reading at t stands at the place of t - 4: its place bears the time that is 4 s too late,
    # so the field's clock is 4 s behind the positions'.
    assert found.state == MEASURED
    assert abs(found.offset_s + lag) < 3 * found.sd_s


def test_without_anomalies_nothing_is_said():
    for seed in range(8):
        found = zigzag_offset(**survey(seed, 18.0, any_survey(seed, dykes=0)))
        assert found.state == NOT_IDENTIFIABLE
        assert np.isnan(found.offset_s)


def test_a_storm_without_anomalies_is_not_taken_for_a_zigzag():
    for seed in range(10):
        rng = np.random.default_rng([seed, 3])
        parts = survey(seed, 18.0, any_survey(seed, dykes=0))
        storm = wandering(rng, parts["line"].size, sd=8.0, time_s=60.0)
        storm = np.convolve(storm, np.ones(15) / 15, mode="same")
        found = zigzag_offset(**(parts | {"field_nT": parts["field_nT"] + storm}))
        assert found.state == NOT_IDENTIFIABLE


def test_lines_walked_one_way_say_nothing():
    parts = survey(1, 18.0, Survey(one_way=True, pauses=True))
    assert zigzag_offset(**parts).state == NOT_IDENTIFIABLE


def test_a_walk_between_the_lines_without_readings_does_not_part_neighbours():
    parts = survey(2, 18.0)
    plain = zigzag_offset(**parts)
    # Afterwards the walker goes back between the third line and the fourth, the rover off.
    turn, way = np.deg2rad(Survey.azimuth_deg), np.arange(400.0)
    more = {
        "track_time_s": parts["track_time_s"][-1] + 600.0 + way,
        "track_easting": 500000.0 + way * np.sin(turn) + 50.0 * np.cos(turn),
        "track_northing": 7e6 + way * np.cos(turn) - 50.0 * np.sin(turn),
    }
    joined = {name: np.concatenate([parts[name], part]) for name, part in more.items()}
    found = zigzag_offset(**(parts | joined))
    assert found.count == plain.count
    assert abs(found.offset_s - plain.offset_s) < 0.1


def test_two_lines_say_nothing():
    assert zigzag_offset(**survey(1, 18.0, Survey(lines=2))).state == NOT_IDENTIFIABLE


def test_an_offset_beyond_the_search_is_not_taken_for_one_inside():
    for seed in range(5):
        assert zigzag_offset(**survey(seed, 3600.0)).state == NOT_IDENTIFIABLE
        assert zigzag_offset(**survey(seed, 40.0), max_offset_s=15.0).state == NOT_IDENTIFIABLE


def test_order_of_rows_spikes_losses_and_wrong_names_hardly_matter():
    parts = survey(6, 18.0)
    plain = zigzag_offset(**parts)
    rng = np.random.default_rng(0)
    field = parts["field_nT"].copy()
    field[rng.integers(0, field.size, 15)] += 500.0
    field[rng.integers(0, field.size, 60)] = np.nan
    field[1000:1040] = np.nan
    field[1700:1740] = 0.0  # a sensor without a signal
    late = np.roll(parts["line"], 18)  # as the track would name them
    mixed = rng.permutation(field.size)
    spoilt = parts | {
        "time_s": parts["time_s"][mixed],
        "field_nT": field[mixed],
        "line": late[mixed],
    }
    found = zigzag_offset(**spoilt)
    assert found.state == MEASURED
    assert abs(found.offset_s - plain.offset_s) < plain.sd_s


def test_a_slow_variation_of_100_nT_hardly_matters():
    parts = survey(7, 18.0)
    plain = zigzag_offset(**parts)
    slow = 100 * np.sin(2 * np.pi * parts["time_s"] / 20000)
    moved = zigzag_offset(**(parts | {"field_nT": parts["field_nT"] + slow}))
    assert abs(moved.offset_s - plain.offset_s) < plain.sd_s


def test_no_track_no_field_or_one_reading_say_nothing():
    parts = survey(8, 18.0)
    none = np.full(parts["field_nT"].size, np.nan)
    assert zigzag_offset(**(parts | {"field_nT": none})).state == NOT_IDENTIFIABLE
    constant = np.full(none.size, 48000.0)
    assert zigzag_offset(**(parts | {"field_nT": constant})).state == NOT_IDENTIFIABLE
    nowhere = np.full(parts["track_easting"].size, np.nan)
    assert zigzag_offset(**(parts | {"track_easting": nowhere})).state == NOT_IDENTIFIABLE
    one = {name: parts[name][:1] for name in ("time_s", "field_nT", "line")}
    assert zigzag_offset(**(parts | one)).state == NOT_IDENTIFIABLE


def test_bad_input_is_refused():
    parts = survey(9)
    with pytest.raises(InputError, match="same length"):
        zigzag_offset(**(parts | {"line": parts["line"][1:]}))
    with pytest.raises(InputError, match="same length"):
        zigzag_offset(**(parts | {"track_easting": parts["track_easting"][1:]}))
    with pytest.raises(InputError, match="max_offset_s must be above zero"):
        zigzag_offset(**parts, max_offset_s=0.0)


def test_the_fit_covers_when_each_line_has_an_error_of_its_own():
    """Displacements made by hand from a known offset and known errors."""
    rng = np.random.default_rng(11)
    count, offset, inside, off = 12, 3.0, 0, []
    speed = np.where(np.arange(count) % 2, -1.1, 1.1)
    rows = np.arange(count)
    beside = np.stack([rows - 1, np.where(rows + 1 < count, rows + 1, -1)], axis=1)
    passages = Passages(np.zeros((count, 3)), 20.0 * rows, speed, beside, 2.0)
    for _ in range(600):
        own = rng.uniform(1, 2) * rng.normal(size=count)
        place = 7.0 * rows + speed * offset + own
        shift = np.full((count, 2), np.nan)
        for n in range(1, count - 1):
            shift[n] = (place[n - 1] + place[n + 1]) / 2 - place[n]
        found = fit_zigzag(shift, np.ones((count, 2)), passages)
        inside += abs(found.offset_s - offset) <= NINETY * found.sd_s
        off.append(found.offset_s - offset)
    assert 0.87 <= inside / 600 <= 0.935  # 0.9 within 2.5 sd of 600 trials
    # No unbiased estimate betters the alternating mean of all twelve lines, whose errors are
    # 1.53 m rms: 1.53 / 1.1 / sqrt(12) s.
    assert 0.9 * 0.401 < np.std(off) < 1.25 * 0.401


def test_names_of_lines_may_be_text_or_numbers():
    assert line_numbers(["L2", None, "", "L1", "L2"]).tolist() == [1, -1, -1, 0, 1]
    assert line_numbers(np.array([4, -1, 7])).tolist() == [0, -1, 1]
    assert line_numbers([2.0, float("nan")]).tolist() == [0, -1]
