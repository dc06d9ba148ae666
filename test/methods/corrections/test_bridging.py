"""Bridged base gaps against closed forms of the random walk, planted records and seeded trials."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.bridging import Readings, Revisits, bridge_gap, bridge_gaps

STEP = 10.0
RATE = 0.01  # variance of a random walk [nT^2/s]
START, END = 30_000.0, 33_600.0


def walk(seed, *, seconds=64_000.0):
    """Return times and a random walk about 48,000 nT, of variance `RATE` a second."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, STEP)
    return time, 48_000 + np.cumsum(np.sqrt(RATE * STEP) * rng.normal(size=time.size))


def cut(time, field, **aids):
    """Return the bridge over the field with START to END cut out."""
    live = (time <= START) | (time >= END)
    settings = {"gap_start_s": START, "gap_end_s": END, "base_noise_nT": 0.01}
    settings |= {"at_s": time[~live]} | aids
    return bridge_gap(time[live], field[live], **settings)


def truth(time, field):
    return field[(time > START) & (time < END)]


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def test_a_random_walk_is_bridged_straight_with_the_error_of_its_bridge():
    # Brownian bridge: mean on the line, variance RATE L u (1 - u).
    sds = []
    for seed in range(12):
        time, field = walk(seed)
        bridge = cut(time, field)
        line = np.interp(bridge.at.time_s, [START, END], np.interp([START, END], time, field))
        sds.append(bridge.at.sd_nT)
        assert bridge.source == "sides"
        assert rms(bridge.at.value_nT - line) < 0.15 * np.sqrt(RATE * (END - START) / 6)
    share = (bridge.at.time_s - START) / (END - START)
    expected = np.sqrt(RATE * (END - START) * share * (1 - share))
    middle = (share > 0.1) & (share < 0.9)
    assert np.mean(sds, axis=0)[middle] == pytest.approx(expected[middle], rel=0.15)


def test_ninety_per_cent_intervals_hold_ninety_per_cent():
    inside = []
    for seed in range(100):
        time, field = walk([seed, 1], seconds=40_000)
        bridge = cut(time, field)
        error = bridge.at.value_nT - truth(time, field)
        inside.append(np.mean(np.abs(error) <= 1.645 * bridge.at.sd_nT))
    assert 0.86 <= np.mean(inside) <= 0.95


def test_exact_revisits_pin_a_random_walk():
    # Known points cut a Brownian bridge into smaller ones, each straight in the mean.
    pins = np.array([30_600.0, 31_800.0, 33_000.0])
    partner = np.array([2000.0, 50_000.0, 29_000.0])
    knots = np.r_[START, pins, END]
    expected = np.sqrt(RATE * np.diff(knots) / 4)
    found = []
    for seed in range(12):
        time, field = walk([seed, 4])
        difference = np.interp(pins, time, field) - np.interp(partner, time, field)
        bridge = cut(time, field, revisits=Revisits(pins, partner, difference, 0.02), at_s=time)
        inside = (time > START) & (time < END)
        line = np.interp(time[inside], knots, np.interp(knots, time, field))
        assert bridge.n_revisits == 3
        assert rms(bridge.at.value_nT[inside] - line) < 0.1 * rms(truth(time, field) - line)
        assert bridge.at.sd_nT[np.isin(time, pins)].max() < 0.1
        between = np.isin(time, (knots[1:] + knots[:-1]) / 2)
        found.append(bridge.at.sd_nT[between] / expected)
    # three differences leave the roughness of the gap unknown within a factor, at some cost
    assert np.mean(found, axis=0) == pytest.approx(1.15, abs=0.3)


def test_the_order_and_sign_of_a_pair_do_not_matter():
    time, field = walk(4)
    first, second = np.array([31_000.0, 32_500.0]), np.array([10_000.0, 31_500.0])
    difference = np.array([3.0, -2.0])
    one = cut(time, field, revisits=Revisits(first, second, difference, 0.3))
    other = cut(time, field, revisits=Revisits(second, first, -difference, 0.3))
    assert one.at.value_nT == pytest.approx(other.at.value_nT, abs=1e-9)
    assert one.at.sd_nT == pytest.approx(other.at.sd_nT, abs=1e-9)


def pairs(time, field, rng, *, number=40, noise=0.5):
    first, second = rng.uniform(START, END, number), rng.uniform(20_000, 45_000, number)
    seen = np.interp(first, time, field) - np.interp(second, time, field)
    return Revisits(first, second, seen + noise * rng.normal(size=number), noise)


@pytest.mark.parametrize(("noise", "most"), [(0.5, 0.5), (4.0, 0.95)])
def test_revisits_take_error_away_and_keep_their_promise(noise, most):
    lines, errors, inside = [], [], []
    for seed in range(40):
        rng = np.random.default_rng([seed, 2])
        time, field = walk([seed, 3], seconds=46_000)
        bridge = cut(time, field, revisits=pairs(time, field, rng, noise=noise))
        error = bridge.at.value_nT - truth(time, field)
        errors.append(rms(error))
        lines.append(rms(cut(time, field).at.value_nT - truth(time, field)))
        inside.append(np.mean(np.abs(error) <= 1.645 * bridge.at.sd_nT))
    assert rms(errors) <= most * rms(lines)
    assert 0.86 <= np.mean(inside) <= 0.95


def test_wild_revisits_hardly_move_the_bridge():
    rng = np.random.default_rng(5)
    time, field = walk(5)
    good = pairs(time, field, rng)
    wild = np.array(good.difference_nT)
    wild[::10] += 200.0
    clean = cut(time, field, revisits=good)
    spoilt = cut(time, field, revisits=Revisits(good.first_s, good.second_s, wild, good.sd_nT))
    assert rms(clean.at.value_nT - truth(time, field)) < 1.0
    assert rms(spoilt.at.value_nT - clean.at.value_nT) < 0.5


def test_revisits_show_a_storm_that_the_sides_know_nothing_of():
    rng = np.random.default_rng(6)
    time, field = walk(6)
    calm = cut(time, field, revisits=pairs(time, field, np.random.default_rng(6)))
    inside = (time > START) & (time < END)
    field = field + np.where(inside, 60 * np.sin(np.pi * (time - START) / (END - START)), 0)
    found = pairs(time, field, rng)
    bridge = cut(time, field, revisits=found)
    error = bridge.at.value_nT - truth(time, field)
    assert rms(error) < 0.2 * rms(cut(time, field).at.value_nT - truth(time, field))
    assert np.mean(np.abs(error) <= 1.645 * bridge.at.sd_nT) > 0.75
    assert rms(bridge.at.sd_nT) > 1.2 * rms(calm.at.sd_nT)


def test_noise_of_revisits_is_told_by_those_beside_the_gap():
    rng = np.random.default_rng(7)
    time, field = walk(7)
    first, second = rng.uniform(START, END, 200), rng.uniform(35_000, 60_000, 200)
    first[:100] -= 10_000
    seen = np.interp(first, time, field) - np.interp(second, time, field)
    seen += 0.8 * rng.normal(size=200)
    unknown = cut(time, field, revisits=Revisits(first, second, seen))
    # median of 100 squares: sd of the scale about 8 %
    assert unknown.revisit_scale == pytest.approx(0.8, rel=0.25)
    understated = cut(time, field, revisits=Revisits(first, second, seen, 0.2))
    assert understated.revisit_scale == pytest.approx(4.0, rel=0.25)
    overstated = cut(time, field, revisits=Revisits(first, second, seen, 5.0))
    assert overstated.revisit_scale == 1.0
    assert unknown.n_revisits == 100


def test_revisits_that_tell_nothing_are_not_heard():
    time, field = walk(8)
    none = cut(time, field)
    useless = Revisits([31_000.0, 1000.0, 31_500.0], [1000.0, 2000.0, 90_000.0], [np.nan, 5, 5], 1)
    bridge = cut(time, field, revisits=useless)
    assert bridge.n_revisits == 0
    assert np.array_equal(bridge.at.value_nT, none.at.value_nT)
    assert np.isnan(none.revisit_scale)


@pytest.mark.parametrize("level", [0.0, -300.0])
@pytest.mark.parametrize("epoch", [0.0, 1.7e9])
def test_another_record_is_followed_whatever_its_level_and_the_epoch(level, epoch):
    rng = np.random.default_rng(9)
    time, field = walk(9)
    other = Readings(time + epoch, field + level + 0.05 * rng.normal(size=time.size))
    live = (time <= START) | (time >= END)
    bridge = bridge_gap(
        time[live] + epoch,
        field[live],
        gap_start_s=START + epoch,
        gap_end_s=END + epoch,
        at_s=time[~live] + epoch,
        base_noise_nT=0.01,
        others=[other],
    )
    error = bridge.at.value_nT - truth(time, field)
    assert bridge.source == "other record"
    assert bridge.factor == pytest.approx(1.0, abs=0.01)
    # all that is left is the noise of the record followed
    assert rms(error) == pytest.approx(0.05, rel=0.2)
    assert rms(bridge.at.sd_nT) == pytest.approx(0.05, rel=0.2)


def test_the_factor_of_another_record_is_found():
    time, field = walk(10)
    other = Readings(time, 20_000 + field / 0.8)
    bridge = cut(time, field, others=[other])
    assert bridge.factor == pytest.approx(0.8, abs=0.005)
    assert rms(bridge.at.value_nT - truth(time, field)) < 0.05 * rms(
        cut(time, field).at.value_nT - truth(time, field)
    )


def test_the_better_of_two_records_is_followed_and_a_strange_one_is_not():
    rng = np.random.default_rng(11)
    time, field = walk(11)
    strange = Readings(time, walk(12)[1])
    near = Readings(time, field + 0.05 * rng.normal(size=time.size))
    far = Readings(time, field + 0.3 * (walk(13)[1] - 48_000))
    best = cut(time, field, others=[strange, far, near])
    assert rms(best.at.value_nT - truth(time, field)) < 0.08
    alone = cut(time, field, others=[strange])
    assert alone.source == "sides"
    for seed in range(10):  # one that hardly changes has nothing to say either
        still = Readings(time, 0.05 * walk(seed)[1])
        assert cut(time, field, others=[still]).source == "sides"
    assert np.array_equal(alone.at.value_nT, cut(time, field).at.value_nT)


def test_a_record_with_a_hole_helps_beside_the_hole():
    # inside the hole stands the bridge of a shorter gap of a random walk
    hole_s = np.array([31_000.0, 32_500.0])
    away, sds, missed = [], [], []
    for seed in range(10):
        time, field = walk([seed, 7])
        hole = (time > hole_s[0]) & (time < hole_s[1])
        bridge = cut(time, field, others=[Readings(time[~hole], field[~hole] + 5)])
        at, error = bridge.at.time_s, bridge.at.value_nT - truth(time, field)
        deep = (at > hole_s[0] + 60) & (at < hole_s[1] - 60)
        line = np.interp(at, hole_s, np.interp(hole_s, time, field))
        assert bridge.source == "other record"
        assert rms(error[(at < 30_900) | (at > 32_600)]) < 1.0
        away.append(rms((bridge.at.value_nT - line)[deep]))
        missed.append(rms(error[deep]))
        sds.append(bridge.at.sd_nT[deep])
    share = (at[deep] - hole_s[0]) / np.diff(hole_s)
    expected = np.sqrt(RATE * np.diff(hole_s) * share * (1 - share))
    assert np.mean(sds, axis=0) == pytest.approx(expected, rel=0.25, abs=0.3)
    assert rms(away) < 0.4 * rms(missed)  # the edges of the hole lie between nodes


def test_a_base_that_stopped_needs_another_record():
    time, field = walk(15)
    live, at = time <= START, np.arange(START + 60, START + 7200, 60)
    settings = {"gap_start_s": START, "gap_end_s": END + 3600, "base_noise_nT": 0.01, "at_s": at}
    alone = bridge_gap(time[live], field[live], **settings)
    assert alone.source == "unknown"
    assert np.isnan(alone.at.value_nT).all()
    assert np.isnan(alone.minutes.sd_nT).all()
    other = Readings(time, field + 0.3 * (walk(16)[1] - 48_000) + 100)
    along = bridge_gap(time[live], field[live], others=[other], **settings)
    error = along.at.value_nT - np.interp(at, time, field)
    assert (np.diff(along.at.sd_nT) > 0).all()
    # a random walk of rate 0.09 RATE away from the last level
    expected = 0.3 * np.sqrt(RATE * (at - START))
    assert along.at.sd_nT == pytest.approx(expected, rel=0.7, abs=0.3)
    assert np.mean(np.abs(error) <= 2.58 * along.at.sd_nT) > 0.8


def test_after_the_last_common_reading_the_remainder_keeps_its_level():
    time, field = walk(25)
    remainder = np.minimum(time, START) * 1e-3
    live, at = time <= START, np.arange(START + 60, END, 60)
    bridge = bridge_gap(
        time[live],
        (field + remainder)[live],
        gap_start_s=START,
        gap_end_s=END,
        at_s=at,
        base_noise_nT=0.01,
        others=[Readings(time, field)],
    )
    truth_nT = np.interp(at, time, field) + START * 1e-3
    # a slope that went on would be wrong by up to 3.6 nT
    assert bridge.at.value_nT == pytest.approx(truth_nT, abs=0.5)


def test_intervals_after_the_base_stopped_hold_ninety_per_cent():
    inside, at = [], np.arange(30_060, 36_000, 60.0)
    for seed in range(100):
        time, field = walk([seed, 5], seconds=36_000)
        other = Readings(time, field + 0.5 * (walk([seed, 6], seconds=36_000)[1] - 48_000))
        live = (time <= START) & (time >= 9000)  # three and a half lengths of what is bridged
        bridge = bridge_gap(
            time[live],
            field[live],
            gap_start_s=START,
            gap_end_s=36_000.0,
            at_s=at,
            base_noise_nT=0.01,
            others=[other],
        )
        error = bridge.at.value_nT - np.interp(at, time, field)
        inside.append(np.nanmean(np.abs(error) <= 1.645 * bridge.at.sd_nT))
    # without caution for the few long lags seen: 0.84
    assert 0.87 <= np.mean(inside) <= 0.96


def test_a_base_that_began_late_mirrors_one_that_stopped():
    time, field = walk(17)
    other = field + 0.3 * (walk(18)[1] - 48_000)
    live, at = time <= START, np.arange(START + 60, END, 60)
    settings = {"base_noise_nT": 0.01}
    stopped = bridge_gap(
        time[live],
        field[live],
        gap_start_s=START,
        gap_end_s=END,
        at_s=at,
        others=[Readings(time, other)],
        **settings,
    )
    late = bridge_gap(
        -time[live][::-1],
        field[live][::-1],
        gap_start_s=-END,
        gap_end_s=-START,
        at_s=-at,
        others=[Readings(-time[::-1], other[::-1])],
        **settings,
    )
    assert late.at.value_nT == pytest.approx(stopped.at.value_nT, abs=0.1)
    assert late.at.sd_nT == pytest.approx(stopped.at.sd_nT, rel=0.1)


def test_the_shape_of_other_days_bends_a_long_gap():
    rng = np.random.default_rng(19)
    time = np.arange(0.0, 4 * 86_400, 30.0)
    shape = 40 * np.exp(-((((time % 86_400) - 43_200) / 7200) ** 2))
    field = 48_000 + shape * (1 + 0.1 * (time > 3 * 86_400)) + 0.2 * rng.normal(size=time.size)
    today = time > 3 * 86_400
    start, end = 3 * 86_400 + 36_000.0, 3 * 86_400 + 50_400.0
    gap = (time > start) & (time < end)
    live = today & ~gap
    settings = {"gap_start_s": start, "gap_end_s": end, "at_s": time[gap], "base_noise_nT": 0.2}
    alone = bridge_gap(time[live], field[live], **settings)
    earlier = Readings(time[~today], field[~today])
    shaped = bridge_gap(time[live], field[live], quiet_days=earlier, **settings)
    assert shaped.source == "quiet days"
    assert rms(shaped.at.value_nT - field[gap]) < 0.3 * rms(alone.at.value_nT - field[gap])
    # days that look different are left aside
    noise = Readings(time[~today], np.cumsum(rng.normal(size=(~today).sum())))
    assert bridge_gap(time[live], field[live], quiet_days=noise, **settings).source == "sides"


def test_nothing_is_told_outside_the_gap_and_minutes_are_whole():
    time, field = walk(20)
    bridge = cut(time, field, at_s=[START - 1, START, 31_001.5, END, END + 1, np.nan])
    assert np.isfinite(bridge.at.value_nT).tolist() == [False, True, True, True, False, False]
    assert np.isfinite(bridge.at.sd_nT).tolist() == [False, True, True, True, False, False]
    assert bridge.at.value_nT[1] == pytest.approx(np.interp(START, time, field), abs=0.02)
    assert (bridge.start_s, bridge.end_s) == (START, END)
    assert bridge.minutes.time_s.tolist() == list(range(30_060, 33_600, 60))
    same = cut(time, field, at_s=bridge.minutes.time_s)
    assert np.array_equal(same.at.value_nT, bridge.minutes.value_nT)


def test_readings_inside_the_gap_are_not_used():
    time, field = walk(21)
    spoilt = np.where((time > START) & (time < END), 1e5, field)
    settings = {"gap_start_s": START, "gap_end_s": END, "base_noise_nT": 0.01, "at_s": [31_000.0]}
    value = bridge_gap(time, spoilt, **settings).at.value_nT
    assert value == pytest.approx(cut(time, field, at_s=[31_000.0]).at.value_nT, abs=1e-9)


def test_sides_too_short_tell_nothing():
    bridge = bridge_gap(
        [0.0, 10.0, 5000.0],
        [1.0, 2.0, 3.0],
        gap_start_s=10.0,
        gap_end_s=5000.0,
        at_s=[100.0],
        base_noise_nT=0.1,
    )
    assert bridge.source == "unknown"
    assert np.isnan(bridge.at.value_nT).all()


def test_a_constant_record_is_bridged_by_its_noise():
    time = np.arange(0.0, 40_000, STEP)
    bridge = cut(time, np.full(time.size, 48_000.0))
    assert bridge.at.value_nT == pytest.approx(48_000.0, abs=1e-6)
    assert bridge.at.sd_nT.max() <= 0.011


def test_every_gap_of_a_record_is_bridged_for_itself():
    time, field = walk(22)
    dead = ((time > 10_000) & (time < 12_000)) | ((time > START) & (time < END)) | (time > 60_000)
    wanted = np.array([63_000.0, 31_000.0, 100.0, 11_000.0, 32_000.0, -50.0])
    settings = {"at_s": wanted, "max_gap_s": 60, "base_noise_nT": 0.01}
    total, gaps = bridge_gaps(time[~dead], field[~dead], **settings)
    assert np.isfinite(total.value_nT).tolist() == [False, True, False, True, True, False]
    assert [gap.source for gap in gaps] == ["unknown", "sides", "sides", "unknown"]
    assert [gap.start_s for gap in gaps][1:] == [10_000.0, START, 60_000.0]
    assert gaps[2].at.time_s.tolist() == [31_000.0, 32_000.0]
    single = bridge_gap(
        time[~dead],
        field[~dead],
        gap_start_s=START,
        gap_end_s=END,
        at_s=[31_000.0],
        base_noise_nT=0.01,
    )
    assert total.value_nT[1] == single.at.value_nT[0]
    more, _ = bridge_gaps(time[~dead], field[~dead], others=[Readings(time, field + 3)], **settings)
    edges, none = bridge_gaps(time[~dead], field[~dead], **(settings | {"at_s": [START, END]}))
    assert np.isnan(edges.value_nT).all()
    assert none == ()
    known = np.interp(wanted[:5], time, field)
    assert more.value_nT[[0, 1, 3, 4]] == pytest.approx(known[[0, 1, 3, 4]], abs=0.1)
    assert np.isnan(more.value_nT[5])


def test_missing_readings_are_stepped_over():
    time, field = walk(23)
    holes = np.where(np.arange(time.size) % 7 == 0, np.nan, field)
    bridge = cut(time, holes, others=[Readings(time, holes + 1)])
    assert np.isfinite(bridge.at.value_nT).all()
    assert rms(bridge.at.value_nT - truth(time, field)) < 0.3


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"gap_end_s": START}, "must end after it"),
        ({"gap_end_s": np.inf}, "finite start"),
        ({"base_noise_nT": -1.0}, "base_noise_nT must not be below zero"),
        ({"gap_start_s": -5.0, "gap_end_s": 1e6}, "before or after it"),
        ({"revisits": Revisits([31_000.0], [1.0, 2.0], [1.0])}, "same length"),
        ({"revisits": Revisits([31_000.0], [1.0], [1.0])}, "Revisits need sd_nT.*State the noise"),
        ({"revisits": Revisits([31_000.0], [1.0], [1.0], 0.0)}, "must be above zero"),
        ({"others": [Readings([2.0, 1.0], [1.0, 2.0])]}, "must increase"),
        ({"quiet_days": Readings([1.0], [1.0, 2.0])}, "same length"),
    ],
)
def test_bad_input_is_told(changed, message):
    time, field = walk(24, seconds=40_000)
    settings = {"gap_start_s": START, "gap_end_s": END, "base_noise_nT": 0.01, "at_s": [31_000.0]}
    with pytest.raises(InputError, match=message):
        bridge_gap(time, field, **(settings | changed))


def test_gaps_of_an_empty_record_or_without_length_are_refused():
    with pytest.raises(InputError, match="at least one reading"):
        bridge_gaps([], [], at_s=[1.0], max_gap_s=10, base_noise_nT=0.1)
    with pytest.raises(InputError, match="max_gap_s must be above zero"):
        bridge_gaps([0.0], [1.0], at_s=[1.0], max_gap_s=0, base_noise_nT=0.1)
