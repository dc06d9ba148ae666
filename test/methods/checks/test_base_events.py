"""Events planted into seeded base records, and real kinds of change that must be kept."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.base_events import find_base_events
from lodewalk.methods.checks.base_events_kinds import Kind, Untestable, Witness
from lodewalk.methods.checks.base_events_witness import odds_alone, odds_base

HOURS = np.arange(0.0, 4 * 3600.0)


def field(seed, time=HOURS, noise=0.02, size=1.0):
    """Return a daily variation with pulsations of 20 s to 20 min and noise of the readings."""
    rng = np.random.default_rng(seed)
    value = 48_000 + 20 * np.sin(2 * np.pi * time / 86_400)
    for period in np.geomspace(20, 1200, 25):
        value += size * 1e-3 * period**0.9 * np.sin(2 * np.pi * time / period + rng.uniform(0, 6))
    return value + rng.normal(0, noise, time.size)


def structure(value, interval=1.0):
    """Return the rms difference over a minute."""
    lag = round(60 / interval)
    return np.sqrt(np.mean((value[lag:] - value[:-lag]) ** 2))


def bump(time, at, sd):
    return np.exp(-0.5 * ((time - at) / sd) ** 2)


def bipolar(time, at, sd):
    return (time - at) / sd * np.exp(0.5) * bump(time, at, sd)


def dipole_pass(time, at, seconds):
    """Return the field of a vertical dipole on a line past the sensor, along its own direction."""
    u = (time - at) / seconds
    return (2 - u**2) / 2 / (1 + u**2) ** 2.5


def box(time, start, end):
    return ((time >= start) & (time < end)).astype(float)


def of(events, *kinds):
    return [
        (Kind(k), s, e, p)
        for k, s, e, p in zip(
            events.kind, events.start_s, events.end_s, events.peak_nT, strict=True
        )
        if not kinds or k in kinds
    ]


@pytest.mark.parametrize("shape", [bump, bipolar, dipole_pass])
@pytest.mark.parametrize("width", [2.0, 5.0, 9.0])
@pytest.mark.parametrize("sign", [-1, 1])
def test_a_passage_is_found_where_it_is(shape, width, sign):
    value = field(1)
    planted = sign * 8 * structure(value) * shape(HOURS, 7000.3, width)
    events = find_base_events(HOURS, value + planted)
    ((kind, start, end, peak),) = of(events)
    assert kind == Kind.PASSAGE
    large = HOURS[np.abs(planted) > 0.15 * np.abs(planted).max()]
    within = max(4, 0.15 * np.ptp(large))
    assert abs(start - large[0]) <= within
    assert abs(end - large[-1]) <= within
    assert abs(peak) == pytest.approx(np.abs(planted).max(), rel=0.15)
    assert np.abs(planted[~events.marked]).max() <= 0.3 * np.abs(planted).max()
    assert 0.5 < events.probability[0] <= 0.95
    assert events.witness[0] == Witness.NONE
    np.testing.assert_array_equal(events.marked, (start <= HOURS) & (end >= HOURS))


@pytest.mark.parametrize("seed", range(6))
def test_a_record_without_events_is_left_alone(seed):
    for noise in (0.0, 0.02, 0.3):
        events = find_base_events(HOURS, field(seed, noise=noise))
        assert len(events) == 0
        assert not events.marked.any()


@pytest.mark.parametrize("period", [8.0, 25.0, 45.0, 90.0])
@pytest.mark.parametrize("cycles", [2.5, 6.0])
def test_a_packet_of_pulsations_is_kept(period, cycles):
    value = field(2)
    packet = bump(HOURS, 7000, cycles * period / 3) * np.cos(2 * np.pi * (HOURS - 7000) / period)
    assert of(find_base_events(HOURS, value + 8 * structure(value) * packet)) == []


@pytest.mark.parametrize("rise", [60.0, 120.0, 300.0])
def test_a_sudden_commencement_is_kept(rise):
    onset = np.clip((HOURS - 7000) / rise, 0, 1) * np.exp(-np.maximum(HOURS - 7000, 0) / 4000)
    assert of(find_base_events(HOURS, field(3) + 60 * onset)) == []


@pytest.mark.parametrize("width", [1, 2, 3])
def test_a_spike_is_no_passage(width):
    value = field(4)
    value[7000 : 7000 + width] += 20
    assert of(find_base_events(HOURS, value)) == []


def test_pulses_of_noise_are_no_passages():
    value = 48_000 + np.random.default_rng(5).normal(0, 1.0, HOURS.size)
    assert of(find_base_events(HOURS, value)) == []


def test_passages_do_not_hide_behind_each_other():
    value = field(6)
    at = np.arange(800, 13_600, 300)  # twelve an hour
    planted = sum(bump(HOURS, centre, 5) for centre in at) * 30 * structure(value)
    found = of(find_base_events(HOURS, value + planted))
    assert len(found) == at.size
    assert {kind for kind, *_ in found} == {Kind.PASSAGE}


def test_a_small_passage_beside_a_large_one():
    value = field(6)
    planted = structure(value) * (60 * bump(HOURS, 7000, 5) + 8 * bump(HOURS, 7060, 5))
    found = of(find_base_events(HOURS, value + planted))
    assert [kind for kind, *_ in found] == [Kind.PASSAGE, Kind.PASSAGE]


def test_steps_do_not_hide_behind_each_other():
    value = field(6)
    for start in range(800, 13_600, 600):
        value += 8 * structure(field(6)) * box(HOURS, start, start + 300)
    assert find_base_events(HOURS, value).kind.tolist() == [Kind.PARKED] * 22


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("rise", [0.0, 2.0, 8.0])
def test_a_step(sign, rise):
    value = field(7)
    size = sign * 12 * structure(value)
    planted = size * np.clip((HOURS - 7000) / max(rise, 1e-6), 0, 1)
    events = find_base_events(HOURS, value + planted)
    ((kind, start, end, peak),) = of(events)
    assert kind == Kind.STEP
    assert 6990 <= start <= 7001 + rise / 3
    assert 7000 + rise / 2 <= end <= 7000 + rise + 3
    assert peak == pytest.approx(size, rel=0.25 if rise > 2 else 0.1)
    assert events.marked.sum() <= 12


def test_steps_of_opposite_sign_are_a_parked_vehicle():
    value = field(8)
    planted = -8 * structure(value) * box(HOURS, 5000, 6500)
    events = find_base_events(HOURS, value + planted)
    ((kind, start, end, peak),) = of(events)
    assert kind == Kind.PARKED
    assert abs(start - 5000) <= 2
    assert abs(end - 6500) <= 2
    assert peak == pytest.approx(planted.min(), rel=0.15)
    assert events.marked[5001:6499].all()


def test_steps_of_different_size_are_not():
    value = field(8)
    planted = 16 * structure(value) * (HOURS > 5000) - 8 * structure(value) * (HOURS > 6500)
    found = of(find_base_events(HOURS, value + planted))
    assert [kind for kind, *_ in found] == [Kind.STEP, Kind.STEP]
    assert found[0][3] == pytest.approx(-2 * found[1][3], rel=0.2)


def test_a_level_that_is_off_for_hours_is_not_dropped():
    value = field(8)
    planted = 8 * structure(value) * box(HOURS, 3000, 9000)
    events = find_base_events(HOURS, value + planted)
    assert events.kind.tolist() == [Kind.STEP, Kind.STEP]
    assert events.marked.sum() <= 20


def test_a_vehicle_that_passes_before_it_parks():
    value = field(9)
    size = 10 * structure(value)
    planted = size * (box(HOURS, 5000, 6500) + 2 * bump(HOURS, 6000, 4))
    found = of(find_base_events(HOURS, value + planted))
    assert [kind for kind, *_ in found] == [Kind.PARKED, Kind.PASSAGE]
    assert found[1][3] == pytest.approx(2 * size, rel=0.15)


@pytest.mark.parametrize("lasting", [600, 3000])
def test_noise_that_grows_lastingly(lasting):
    value = field(10, noise=0.1)
    value[7000 : 7000 + lasting] += np.random.default_rng(1).normal(0, 0.8, lasting)
    ((kind, start, end, noise),) = of(find_base_events(HOURS, value))
    assert kind == Kind.NOISIER
    assert abs(start - 7000) <= 60
    assert abs(end - 7000 - lasting) <= 60
    assert noise == pytest.approx(np.hypot(0.1, 0.8), rel=0.12)


def test_a_rough_field_is_not_noise():
    """Red noise of one nT a second: a fourth difference of a walk doubles its square with lag."""
    value = field(11, noise=0.05)
    walk = np.cumsum(np.random.default_rng(2).normal(0, 1.0, 3000))
    value[7000:10_000] += walk
    value[10_000:] += walk[-1]
    assert of(find_base_events(HOURS, value), Kind.NOISIER) == []


def test_short_noise_is_not_lasting():
    value = field(10, noise=0.1)
    value[7000:7140] += np.random.default_rng(0).normal(0, 1.5, 140)
    assert of(find_base_events(HOURS, value), Kind.NOISIER) == []


def test_a_lull_does_not_part_noise():
    value = field(10, noise=0.1)
    for start in (7000, 7480):
        value[start : start + 400] += np.random.default_rng(start).normal(0, 0.8, 400)
    ((kind, start, end, _),) = of(find_base_events(HOURS, value))
    assert kind == Kind.NOISIER
    assert abs(start - 7000) <= 60
    assert abs(end - 7880) <= 60


def witnessed(base, witness, **settings):
    return find_base_events(
        HOURS, base, witness_time_s=HOURS, witness_nT=witness - 1234.5, **settings
    )


def another(value, seed, noise=0.02):
    """Return the record of a second instrument."""
    return value + np.random.default_rng(seed).normal(0, noise, value.size)


def test_a_witness_that_saw_nothing_makes_it_surer():
    value = field(12)
    planted = 8 * structure(value) * bump(HOURS, 7000, 6)
    events = witnessed(value + planted, another(value, 1))
    assert events.kind.tolist() == [Kind.PASSAGE]
    assert events.witness[0] == Witness.NOT_SEEN
    assert events.probability[0] > 0.97
    assert events.marked[7000]


@pytest.mark.parametrize("share", [0.8, 1.0, 1.15])
def test_a_witness_that_saw_it_too_clears_it(share):
    value = field(12)
    planted = 8 * structure(value) * bump(HOURS, 7000, 6)
    events = find_base_events(
        HOURS,
        value + planted,
        witness_time_s=HOURS,
        witness_nT=another(value, 1) + share * planted,
    )
    seen = events.witness == Witness.SEEN
    assert seen.sum() == 1
    assert events.probability[seen][0] < 0.1
    assert not events.marked.any()


def test_an_event_of_the_witness_is_not_the_bases():
    value = field(12)
    planted = 8 * structure(value) * bump(HOURS, 7000, 6)
    events = witnessed(value, another(value, 1) + planted)
    assert not events.marked.any()
    assert not (events.probability > 0.5).any()


def test_a_witness_shows_what_a_storm_hides():
    value = field(13, size=30)
    planted = structure(value) * (bump(HOURS, 5000, 6) + box(HOURS, 8000, 9000))
    assert of(find_base_events(HOURS, value + planted)) == []
    events = witnessed(value + planted, another(value, 1))
    assert events.kind.tolist() == [Kind.PASSAGE, Kind.PARKED]
    assert (events.witness == Witness.NOT_SEEN).all()


def test_a_step_that_the_witness_saw():
    value = field(14) + 8 * (HOURS > 7000)
    events = witnessed(value, another(value, 1))
    assert events.kind.tolist() == [Kind.STEP]
    assert events.witness.tolist() == [Witness.SEEN]
    assert not events.marked.any()


def test_a_witness_that_reads_each_5_s_does_not_make_the_field_contamination():
    value = field(15) + 10 * bump(HOURS, 7002, 9)
    events = find_base_events(HOURS, value, witness_time_s=HOURS[::5], witness_nT=value[::5])
    assert events.witness.tolist() == [Witness.SEEN]


def test_where_the_witness_has_no_readings_nothing_changes():
    value = field(12)
    planted = 8 * structure(value) * bump(HOURS, 7000, 6)
    alone = find_base_events(HOURS, value + planted)
    part = slice(9000, 12_000)
    events = find_base_events(
        HOURS, value + planted, witness_time_s=HOURS[part], witness_nT=value[part]
    )
    assert events.witness.tolist() == [Witness.NONE]
    np.testing.assert_array_equal(events.probability, alone.probability)
    np.testing.assert_array_equal(events.marked, alone.marked)


@pytest.mark.parametrize("change", [-5.0, 5.0])
def test_a_creep_needs_a_witness(change):
    """Warming up in the morning sun: 5 nT with a time constant of half an hour."""
    value = field(16)
    warming = change * (1 - np.exp(-np.maximum(HOURS - 5000, 0) / 1800))
    alone = find_base_events(HOURS, value + warming)
    assert alone.untestable[Kind.CREEP] == Untestable.NO_WITNESS
    assert len(alone) == 0
    events = witnessed(value + warming, another(value, 1))
    ((kind, start, end, peak),) = of(events)
    assert kind == Kind.CREEP
    assert abs(start - 5000 - 1800 * np.log(1 / 0.9)) <= 600
    assert abs(end - 5000 - 1800 * np.log(1 / 0.1)) <= 600
    assert peak == pytest.approx(change, abs=0.3)
    assert events.probability[0] == 0.5  # it may be the witness's
    assert not events.marked.any()


def test_a_place_where_the_variation_is_larger_is_no_creep():
    value = field(16) + 80 * np.sin(HOURS / 4000)
    larger = 1.08 * (value - 48_000)
    assert np.ptp(larger - value) > 5
    assert of(witnessed(value, larger)) == []


def test_a_step_is_no_creep():
    value = field(16)
    events = witnessed(value + 5.0 * (HOURS > 7000), another(value, 1))
    assert events.kind.tolist() == [Kind.STEP]


def test_visits_of_a_rover_show_a_creep():
    """A rover that stands beside the base for two minutes each half hour."""
    time = np.concatenate([start + np.arange(120.0) for start in range(0, 14_400, 1800)])
    value = field(17)
    rover = value[time.astype(int)] + 77
    base = value + 6 * HOURS / HOURS[-1]
    events = find_base_events(HOURS, base, witness_time_s=time, witness_nT=rover)
    assert events.kind.tolist() == [Kind.CREEP]
    assert events.peak_nT[0] == pytest.approx(6 * 12_600 / 14_400, rel=0.05)


def test_what_cannot_be_tested_says_so():
    def reasons(interval, n=600):
        time = np.arange(n) * interval
        return find_base_events(time, field(1, time=time)).untestable.tolist()

    ok, long, short, none = Untestable
    assert reasons(1.0) == [ok, ok, ok, ok, none]
    assert reasons(5.0) == [ok, ok, ok, ok, none]
    assert reasons(10.0) == [long, ok, ok, long, none]
    assert reasons(60.0) == [long, long, long, long, none]
    assert reasons(1.0, n=200) == [short, short, short, short, none]
    for n in (0, 1, 2):
        assert reasons(1.0, n=n) == [short, short, short, short, none]
    time = np.arange(600) * 60.0
    minutes = find_base_events(time, field(1, time=time))
    assert not minutes.testable.any()
    assert not minutes.judged.any()
    assert np.isnan(minutes.shortest_passage_s)
    assert len(minutes) == 0


@pytest.mark.parametrize("witness", [[100.0], [3e6, 3e6 + 1], [0.0, 1.0, 2.0]])
def test_a_witness_that_hardly_overlaps(witness):
    events = find_base_events(
        HOURS, field(1), witness_time_s=witness, witness_nT=np.full(len(witness), 48_000.0)
    )
    assert events.untestable[Kind.CREEP] in (Untestable.NO_WITNESS, Untestable.RECORD_TOO_SHORT)
    assert len(events) == 0


@pytest.mark.parametrize("interval", [0.1, 0.5, 1.0, 2.0, 3.0])
def test_other_intervals_and_uneven_times(interval):
    time = np.arange(0, 9000, interval)
    time += np.random.default_rng(3).uniform(0, 0.15, time.size) * interval
    value = field(18, time=time)
    planted = 8 * structure(value, interval) * bump(time, 5000, 7)
    events = find_base_events(1.7e9 + time, value + planted)
    ((kind, start, end, _),) = of(events)
    assert kind == Kind.PASSAGE
    assert start - 1.7e9 == pytest.approx(5000 - 14, abs=6)
    assert end - 1.7e9 == pytest.approx(5000 + 14, abs=6)
    inside = np.abs(time - 5000) < 8
    assert events.marked[inside].all()
    assert events.marked.size == time.size


def test_missing_readings_and_gaps():
    value = field(19)
    planted = 8 * structure(value) * (bump(HOURS, 5000, 6) + bump(HOURS, 9000, 6))
    value += planted
    value[[4998, 5003, 5004]] = np.nan
    kept = np.ones(HOURS.size, dtype=bool)
    kept[7000:7600] = False
    events = find_base_events(HOURS[kept], value[kept])
    assert events.kind.tolist() == [Kind.PASSAGE, Kind.PASSAGE]
    assert events.marked[[4990, 5000, 5010]].all()
    judged = events.judged[np.searchsorted(HOURS[kept], [5, 3000, 6990, 7605, 9000, 14_395])]
    assert judged.tolist() == [False, True, False, False, True, False]


def test_settings():
    value = field(20)
    planted = 6 * structure(value) * bump(HOURS, 7000, 6)
    assert len(find_base_events(HOURS, value + planted)) == 1
    assert len(find_base_events(HOURS, value + planted, size_structure=8)) == 0
    assert len(find_base_events(HOURS, value + planted, floor_nT=1.2 * planted.max())) == 0
    noisy = field(20, noise=0.1)
    noisy[7000:9000] += np.random.default_rng(1).normal(0, 0.4, 2000)
    assert of(find_base_events(HOURS, noisy), Kind.NOISIER)
    assert not of(find_base_events(HOURS, noisy, noise_factor=6), Kind.NOISIER)
    creeping = value + 5 * HOURS / HOURS[-1]
    assert of(witnessed(creeping, value), Kind.CREEP)
    assert not of(witnessed(creeping, value, creep_nT=6), Kind.CREEP)


def test_input_is_checked():
    with pytest.raises(InputError, match="same length"):
        find_base_events([0.0], [0.0, 1.0])
    with pytest.raises(InputError, match="base_time_s must increase"):
        find_base_events([0.0, 0.0], [0.0, 1.0])
    with pytest.raises(InputError, match="witness_time_s must increase"):
        find_base_events([0.0], [0.0], witness_time_s=[1.0, 1.0], witness_nT=[0.0, 0.0])
    with pytest.raises(InputError, match="both its times and its readings"):
        find_base_events([0.0], [0.0], witness_time_s=[1.0])
    for name in ("size_structure", "floor_nT", "noise_factor", "creep_nT"):
        with pytest.raises(InputError, match=name):
            find_base_events([0.0], [0.0], **{name: 0})


def test_a_share_of_which_nothing_is_known_speaks_for_neither():
    assert odds_alone(0.3, np.inf) == 1.0
    assert odds_base(1.0, np.inf) == 0.5
