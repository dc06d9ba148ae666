"""Predicted error of each minute: coverage by trials, closed forms, what can't be told."""

import numpy as np
import pytest
from scipy.stats import kstwobign

from lodewalk.errors import InputError
from lodewalk.methods.checks.minutes import minute_verdicts, needed_tolerance
from lodewalk.methods.checks.minutes_chance import Groups, chance_over, size_at_chance
from lodewalk.methods.checks.minutes_interval import interval_judged
from lodewalk.methods.checks.minutes_scale import local_scale

HOURS = 6
SECONDS = HOURS * 3600 + 1
NOISE = 0.05


def red_noise(rng, *, exponent, seconds=SECONDS, rms=20.0):
    """Return a field each second whose power falls as frequency to the minus `exponent`."""
    frequency = np.fft.rfftfreq(4 * seconds)
    size = np.zeros(frequency.size)
    size[1:] = frequency[1:] ** (-exponent / 2)
    phases = rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size)
    field = np.fft.irfft(size * phases, 4 * seconds)[:seconds]
    return rms * (field - field.mean()) / field.std()


def storm(rng, *, seconds=SECONDS):
    """Return a field whose roughness grows and fades, with a sudden onset and packets."""
    time = np.arange(float(seconds))
    envelope = np.interp(time, np.arange(0, seconds + 1800, 1800.0), rng.normal(0, 1, 14))
    steps = np.diff(red_noise(rng, exponent=2.6), prepend=0.0)
    field = np.cumsum((steps - steps[0] * (time == 0)) * np.exp(envelope))
    field += 30 * np.tanh((time - rng.uniform(5000, 15_000)) / 60)
    for _ in range(15):
        period, centre = rng.uniform(120, 600), rng.uniform(0, seconds)
        packet = np.exp(-(((time - centre) / (4 * period)) ** 2) / 2)
        field += rng.exponential(2.0) * packet * np.sin(2 * np.pi * time / period)
    return field


def worst_of_minutes(field, step, start=0):
    """Return the true worst error of each minute between base readings; NaN where not covered."""
    time = np.arange(float(field.size))
    knots = time[start::step]
    line = np.interp(time, knots, field[start::step], left=np.nan, right=np.nan)
    whole = field.size // 60 * 60
    return np.abs(line - field)[:whole].reshape(-1, 60).max(axis=1)


def judged(field, step, *, start=0, tolerance=3.0, noise=NOISE, rng=None, **settings):
    time = np.arange(float(field.size))[start::step]
    base = field[start::step] + (noise * rng.normal(size=time.size) if rng is not None else 0.0)
    given = {"max_gap_s": 2.5 * step, "base_noise_nT": noise} | settings
    return minute_verdicts(time, base, tolerance_nT=tolerance, **given)


@pytest.mark.parametrize("step", [30, 60])
@pytest.mark.parametrize("kind", [2.0, 2.5, 3.0, "storm"])
def test_the_95_and_90_per_cent_sizes_hold_their_share(kind, step):
    share_95, share_90, chances, over = [], [], [], []
    for seed in range(8):
        rng = np.random.default_rng([seed, step])
        field = storm(rng) if kind == "storm" else red_noise(rng, exponent=kind)
        worst = worst_of_minutes(field, step)
        found = judged(field, step, tolerance=float(np.nanquantile(worst, 0.9)), rng=rng)
        n = min(len(found), worst.size)
        known = np.isfinite(found.chance_over[:n]) & np.isfinite(worst[:n])
        assert known.mean() > 0.97
        share_95 += [np.mean(worst[:n][known] <= found.worst_95_nT[:n][known])]
        share_90 += [np.mean(worst[:n][known] <= found.worst_90_nT[:n][known])]
        chances += [found.chance_over[:n][known]]
        over += [worst[:n][known] > found.tolerance_nT]
    # A red field keeps its roughness, while the scale is let to wander as in a storm: the sizes
    # are then wide. The storm made here is harsher than the real ones.
    assert np.mean(share_95) >= (0.9 if kind == "storm" else 0.95)
    assert np.mean(share_90) >= (0.8 if kind == "storm" else 0.88)
    chance, exceeded = np.concatenate(chances), np.concatenate(over)
    assert chance.mean() >= 0.5 * exceeded.mean()
    if kind == "storm":
        assert chance.mean() <= 3 * exceeded.mean()
        assert np.mean(share_95) <= 0.985
        assert np.mean(exceeded[chance < 0.05]) < 0.03
        assert np.mean(exceeded[chance > 0.5]) > 0.3


def one_group(growth_surplus, *, spread=0.0, number=1.0, variance=1.0):
    array = np.array
    return Groups(
        array([0]), array([variance]), array([number]), array([growth_surplus]),
        array([spread]), array([variance]),
    )  # fmt: skip


def test_a_smooth_interval_exceeds_as_its_middle_does():
    q = np.array([1.96])
    assert chance_over(one_group(0.0), q)[0] == pytest.approx(0.05, abs=2e-4)
    twice = chance_over(one_group(0.0, number=2.0), q)[0]
    assert twice == pytest.approx(1 - 0.95**2, abs=3e-4)


def test_a_random_walk_exceeds_as_its_bridge_does():
    # A bridge of 60 steps stays a little inside the continuous one, whose largest size has
    # Kolmogorov's distribution; its middle has the sd 1/2.
    rng = np.random.default_rng(7)
    walk = np.cumsum(rng.normal(size=(40_000, 60)), axis=1) / np.sqrt(60)
    bridge = walk - walk[:, -1:] * np.arange(1, 61) / 60
    largest = np.abs(bridge).max(axis=1)
    for q in (1.5, 2.0, 2.5):
        chance = chance_over(one_group(1.7), np.array([q]))[0]
        assert chance == pytest.approx(np.mean(largest > q / 2), rel=0.1)
        assert chance < kstwobign.sf(q / 2)


def test_an_unsure_scale_has_the_tail_of_the_mixture():
    rng = np.random.default_rng(8)
    drawn = np.abs(rng.normal(size=400_000)) * np.exp(0.5 * rng.normal(size=400_000))
    chance = chance_over(one_group(0.0, spread=0.5), np.array([2.0]))[0]
    assert chance == pytest.approx(np.mean(drawn > 2), rel=0.02)


def test_sizes_at_a_chance_are_the_inverse_of_the_chance():
    for surplus, number in ((0.0, 1.0), (0.42, 6.0), (1.7, 60.0)):
        groups = one_group(surplus, spread=0.4, number=number, variance=9.0)
        for chance, size in zip((0.1, 0.05), size_at_chance(groups, (0.1, 0.05)), strict=True):
            assert chance_over(groups, size)[0] == pytest.approx(chance, rel=0.1)


def test_scale_of_a_random_walk_and_its_growth():
    # Misfit of the middle of 2 L: variance r L / 2; of the middle of L half of that.
    rng = np.random.default_rng(9)
    time = np.arange(0.0, 200 * 3600.0, 60)
    walk = np.cumsum(rng.normal(size=time.size))
    scale = local_scale(time, walk, base_noise_nT=0.0)
    # the near and the wide mean share misfits, so the mean of their product runs a little high
    assert np.mean(scale.middle_nT2) == pytest.approx(0.25, rel=0.15)
    assert np.median(scale.growth) == pytest.approx(1.0, abs=0.2)


def test_scale_follows_a_storm_within_minutes():
    rng = np.random.default_rng(10)
    time = np.arange(0.0, 6 * 3600.0, 60)
    loud = (time >= 7200) & (time < 10_800)
    walk = np.cumsum(rng.normal(size=time.size) * np.where(loud, 3.0, 0.1))
    found = minute_verdicts(time, walk, tolerance_nT=1.0, base_noise_nT=0.02, max_gap_s=150)
    assert set(found.verdict[130:170]) == {"re-walk"}
    assert set(found.verdict[20:100]) | set(found.verdict[200:340]) == {"keep"}


def test_verdict_chance_and_size_tell_the_same():
    rng = np.random.default_rng(11)
    found = judged(storm(rng), 60, tolerance=1.0)
    known = np.isfinite(found.chance_over)
    keep, rewalk = found.verdict == "keep", found.verdict == "re-walk"
    assert (keep[known] == (found.chance_over[known] <= 0.05)).all()
    assert (rewalk[known] == (found.chance_over[known] > 0.5)).all()
    assert {"keep", "doubt", "re-walk"} <= set(found.verdict)
    apart = np.abs(found.worst_95_nT - 1.0) > 0.03
    assert (keep == (found.worst_95_nT <= 1.0))[known & apart].all()
    assert (found.worst_90_nT[known] < found.worst_95_nT[known]).all()
    assert (found.sd_nT[known] < found.worst_90_nT[known]).all()


def test_scale_datum_trend_and_epoch_change_nothing():
    rng = np.random.default_rng(12)
    field, time = red_noise(rng, exponent=2.5, seconds=7201)[::60], np.arange(0.0, 7201, 60)
    settings = {"max_gap_s": 90.0}
    plain = minute_verdicts(time, field, tolerance_nT=3, base_noise_nT=0.1, **settings)
    moved = minute_verdicts(
        time + 1_715_212_800, 10 * field + 48_000 + time, tolerance_nT=30, base_noise_nT=1.0,
        **settings,
    )  # fmt: skip
    assert moved.chance_over == pytest.approx(plain.chance_over, rel=1e-4, nan_ok=True)
    assert moved.worst_95_nT == pytest.approx(10 * plain.worst_95_nT, rel=1e-4, nan_ok=True)
    assert moved.start_s[0] == 1_715_212_800


def test_base_noise_alone_is_the_error_of_a_straight_record():
    rng = np.random.default_rng(13)
    time = np.arange(0.0, 7201, 60)
    base = 48_000 + 0.002 * time + 0.5 * rng.normal(size=time.size)
    found = minute_verdicts(time, base, tolerance_nT=3, base_noise_nT=0.5, max_gap_s=90)
    assert np.mean(found.verdict == "keep") > 0.9
    # the noise has its full size at the readings
    assert np.nanmedian(found.worst_95_nT) > 1.96 * 0.5


def test_minutes_without_base_are_unknown():
    time = np.arange(600.0, 20_000, 10)
    rng = np.random.default_rng(14)
    field = np.cumsum(0.01 * rng.normal(size=time.size))
    hole = (time > 7000) & (time < 8000)
    field[hole] = np.nan
    found = minute_verdicts(
        time, field, tolerance_nT=3, base_noise_nT=0.05, max_gap_s=25, start_s=0, end_s=86_400
    )
    unknown = found.verdict == "unknown"
    assert len(found) == 1440
    covered = (found.start_s >= 600) & (found.start_s + 60 <= 19_990)
    in_hole = (found.start_s + 60 > 7000) & (found.start_s < 8000)
    assert (unknown == (~covered | in_hole)).all()
    assert set(found.verdict[~unknown]) == {"keep"}
    for values in (found.sd_nT, found.worst_90_nT, found.worst_95_nT, found.chance_over):
        assert (np.isnan(values) == unknown).all()


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_a_record_too_short_to_tell_is_unknown(count):
    time = 60.0 * np.arange(count)
    found = minute_verdicts(
        time, np.zeros(count), tolerance_nT=3, base_noise_nT=0.1, max_gap_s=90, start_s=0, end_s=180
    )
    assert found.verdict.tolist() == ["unknown"] * 3
    assert np.isnan(found.chord_nT).all()


def test_nothing_at_all_gives_no_minute():
    found = minute_verdicts([], [], tolerance_nT=3, base_noise_nT=0.1, max_gap_s=90)
    assert len(found) == 0
    missing = minute_verdicts(
        [0.0, 60.0], [np.nan, np.nan], tolerance_nT=3, base_noise_nT=0.1, max_gap_s=90
    )
    assert len(missing) == 0


def test_a_short_piece_beyond_a_gap_is_unknown():
    time = np.concatenate((np.arange(0.0, 7200, 60), np.arange(14_400.0, 14_580, 60)))
    rng = np.random.default_rng(15)
    field = np.cumsum(0.1 * rng.normal(size=time.size))
    found = minute_verdicts(time, field, tolerance_nT=3, base_noise_nT=0.1, max_gap_s=150)
    assert set(found.verdict[:119]) == {"keep"}
    assert set(found.verdict[120:]) == {"unknown"}


def test_a_lost_reading_widens_its_minutes():
    time = np.arange(0.0, 10_000, 60)
    kept = np.delete(np.arange(time.size), 80)
    settings = {"tolerance_nT": 3, "base_noise_nT": 0.0, "max_gap_s": 150}
    whole, holed = [], []
    for seed in range(60):
        walk = np.cumsum(np.random.default_rng([16, seed]).normal(size=time.size))
        whole += [minute_verdicts(time, walk, **settings).sd_nT[79:81] ** 2]
        holed += [minute_verdicts(time[kept], walk[kept], **settings).sd_nT[79:81] ** 2]
    # The variance of a random walk's bridge grows with its length.
    assert np.mean(holed) / np.mean(whole) == pytest.approx(2, rel=0.25)


def test_a_chord_that_can_not_be_judged_is_never_quiet():
    time = np.arange(0.0, 7200, 60)
    time = time[~np.isin(time // 60 % 4, [3])]  # every fourth lost: no chord of four holds three
    found = minute_verdicts(
        time, np.zeros(time.size), tolerance_nT=3, base_noise_nT=0.1, max_gap_s=150
    )
    assert np.isnan(found.chord_nT).all()
    dense = np.arange(0.0, 3600.0)
    wave = 10 * np.cos(2 * np.pi * dense / 120)
    found = minute_verdicts(dense, wave, tolerance_nT=3, base_noise_nT=0.1, max_gap_s=5)
    # a chord of half a period across a crest
    assert np.nanmax(found.chord_nT) == pytest.approx(10.0, rel=0.02)
    assert set(found.verdict[1:-1]) == {"keep"}  # the chord doesn't make the verdict


def test_distance_adds_to_the_error():
    rng = np.random.default_rng(17)
    field = red_noise(rng, exponent=2.5)
    near, far = judged(field, 60), judged(field, 60, distance_m=100_000.0)
    known = np.isfinite(near.sd_nT)
    assert (far.sd_nT[known] > near.sd_nT[known]).all()
    assert (far.verdict == "keep").sum() < (near.verdict == "keep").sum()


def test_what_a_survey_needs():
    assert needed_tolerance() == 3.0
    assert needed_tolerance(smallest_anomaly_nT=5.0) == pytest.approx(0.5)
    assert needed_tolerance(smallest_anomaly_nT=5.0, share=0.2) == pytest.approx(1.0)
    for bad in ({"tolerance_nT": 0.0}, {"smallest_anomaly_nT": -1.0}, {"share": 1.5}):
        with pytest.raises(InputError, match=next(iter(bad))):
            needed_tolerance(**bad)


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"tolerance_nT": 0.0}, "tolerance_nT must be above zero"),
        ({"base_noise_nT": -1.0}, "base_noise_nT must not be below zero"),
        ({"max_gap_s": 0.0}, "max_gap_s must be above zero"),
        ({"distance_m": np.nan}, "distance_m must not be below zero"),
        ({"keep_chance": 0.6}, "keep_chance must be above 0"),
        ({"start_s": 100.0, "end_s": 0.0}, "must not end before it starts"),
        ({"start_s": 0.0, "end_s": 1e9}, "longer than forty days"),
    ],
)
def test_settings_are_checked(bad, said):
    settings = {"tolerance_nT": 3.0, "base_noise_nT": 0.1, "max_gap_s": 90.0} | bad
    with pytest.raises(InputError, match=said):
        minute_verdicts([0.0, 60.0, 120.0], [1.0, 2.0, 3.0], **settings)


def test_times_are_checked():
    settings = {"tolerance_nT": 3.0, "base_noise_nT": 0.1, "max_gap_s": 90.0}
    with pytest.raises(InputError, match="must increase"):
        minute_verdicts([0.0, 0.0], [1.0, 2.0], **settings)
    with pytest.raises(InputError, match="same length"):
        minute_verdicts([0.0, 1.0], [1.0], **settings)
    with pytest.raises(InputError, match="forty days"):
        minute_verdicts([0.0, 1e9], [1.0, 2.0], **settings)


# ---- the interval of the base -----------------------------------------------------------------


def test_longest_interval_of_a_pulsation_by_its_closed_form():
    # Line across the crest of A cos(2 pi t / P): A (1 - cos(pi h / P)).
    time = np.arange(0.0, 14_400.0)
    for period, tolerance in ((240.0, 1.0), (600.0, 0.5), (100.0, 2.0)):
        field = 48_000 + 5 * np.cos(2 * np.pi * time / period + 0.3)
        found = interval_judged(
            time, field, tolerance_nT=tolerance, base_noise_nT=0.01, max_gap_s=5
        )
        worst = 5 * (1 - np.cos(np.pi * np.minimum(found.intervals_s / period, 1.0)))
        always, next_one = found.intervals_s[worst <= tolerance][-1], found.longest_s
        assert next_one >= always  # never over it: kept
        beyond = found.intervals_s[found.intervals_s > next_one][0]
        assert 5 * (1 - np.cos(np.pi * min(beyond / period, 1.0))) > tolerance
        assert found.answer == "enough"
        assert found.basis[0] == "predicted"
        assert set(found.basis[2:]) == {"measured"}


@pytest.mark.parametrize("step", [10, 60])
def test_answer_and_size_against_the_truth_of_a_red_field(step):
    for seed in range(6):
        rng = np.random.default_rng([seed, step, 3])
        field = red_noise(rng, exponent=2.4)
        true_95 = np.nanquantile(worst_of_minutes(field, step), 0.95)
        time, base = np.arange(0.0, field.size, step), field[::step]
        settings = {"base_noise_nT": 0.01, "max_gap_s": 2.5 * step}
        for factor, answer in ((0.5, "not enough"), (2.0, "enough")):
            found = interval_judged(time, base, tolerance_nT=factor * true_95, **settings)
            assert found.answer == answer
            assert true_95 / 1.1 <= found.error_95_nT <= 1.8 * true_95  # on the careful side
            assert (found.longest_s >= step) == (answer == "enough")


def test_shorter_intervals_are_said_to_be_extrapolated():
    longest = []
    for seed in range(8):
        field = red_noise(np.random.default_rng([18, seed]), exponent=2.4)
        enough = 1.02 * np.nanquantile(worst_of_minutes(field, 20), 0.95)  # 20 s was, 30 s was not
        time = np.arange(0.0, field.size, 60)
        found = interval_judged(
            time, field[::60], tolerance_nT=enough, base_noise_nT=0.01, max_gap_s=150
        )
        assert found.answer == "not enough"
        assert found.basis == ("extrapolated",) * 6 + ("predicted",) * 3
        assert (np.diff(found.shares_within[:7]) <= 0.02).all()
        longest += [found.longest_s]
    assert 5.0 <= np.median(longest) <= 20.0
    assert np.nanmax(longest) <= 20.0


def test_an_interval_that_can_not_be_told():
    time = np.arange(0.0, 1200, 60)
    settings = {"tolerance_nT": 3.0, "base_noise_nT": 0.1, "max_gap_s": 90.0}
    short = interval_judged(time, np.zeros(time.size), **settings)
    assert short.answer == "cannot be told"
    assert short.minutes_judged < 30
    assert np.isnan([short.error_95_nT, short.longest_s]).all()
    for count in (0, 1, 2):
        empty = interval_judged(time[:count], np.zeros(count), start_s=0, end_s=7200, **settings)
        assert empty.answer == "cannot be told"
        assert np.isnan(empty.shares_within).all()


def test_interval_settings_are_checked():
    time = np.arange(0.0, 7200, 60)
    settings = {"tolerance_nT": 3.0, "base_noise_nT": 0.1, "max_gap_s": 90.0}
    with pytest.raises(InputError, match="share must lie in"):
        interval_judged(time, time, share=1.5, **settings)
    with pytest.raises(InputError, match="intervals_s must increase"):
        interval_judged(time, time, intervals_s=(60.0, 30.0), **settings)
    with pytest.raises(InputError, match="tolerance_nT"):
        interval_judged(time, time, **(settings | {"tolerance_nT": -1.0}))
