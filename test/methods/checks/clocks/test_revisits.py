"""Clock slips from crossings, on walks over dykes under a daily curve with red noise."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.evidence import DETECTED, NOT_IDENTIFIABLE
from lodewalk.methods.checks.clocks.naming import named_slips
from lodewalk.methods.checks.clocks.revisits import revisit_clock
from lodewalk.methods.checks.clocks.revisits_likelihood import student_logs
from lodewalk.methods.checks.clocks.revisits_posterior import Grid, find_peaks
from lodewalk.methods.checks.clocks.revisits_unknown import (
    MEMORY_S,
    Variogram,
    fit_variogram,
    predictive_densities,
)

DAY, HOUR = 86_400.0, 3600.0
MIDNIGHT = 1_700_006_400.0
SPEED = 1.1
SPACING = 20.0
LINE_M = 400.0
ZONE = 5.5 * HOUR
SLIPS_H = (1, -1, 2, -2, 5.5, -5.5, 12, -12, 24, -24, 11, -11)  # 11 h: the zone's sign


@dataclass(frozen=True)
class Walk:
    first: np.ndarray
    second: np.ndarray
    difference: np.ndarray
    base_time: np.ndarray
    base: np.ndarray

    def judged(self, slip_s=0.0, **settings):
        """Judge the walk by a rover's clock that is ahead by `slip_s`."""
        return revisit_clock(
            self.first + slip_s,
            self.second + slip_s,
            self.difference,
            **{"base_time_s": self.base_time, "base_nT": self.base, **settings},
        )


def red_noise(rng, count, sd):
    frequency = np.fft.rfftfreq(count)
    amplitude = np.maximum(frequency, 1 / 7200.0) ** (-rng.uniform(0.9, 1.2))
    series = np.fft.irfft(amplitude * np.exp(2j * np.pi * rng.random(frequency.size)), n=count)
    return sd * (series - series.mean()) / series.std()


def daily_curve(rng, second, sq_nT):
    total = np.zeros(second.size)
    for day in range(int(second[-1] // DAY) + 1):
        peak, size = (day + 0.5) * DAY + rng.normal(0, 1500), sq_nT * rng.uniform(0.85, 1.15)
        total += size * np.exp(-(((second - peak) / 9400) ** 2))
        total -= 0.3 * size * np.exp(-(((second - peak - 17_000) / 11_000) ** 2))
    return total


def over_dykes(rng, width):
    """Return the anomaly of some smooth dykes as a function of place."""
    dykes = [
        (rng.uniform(0, width), rng.uniform(-0.4, 0.4), rng.uniform(10, 40), rng.uniform(10, 100))
        for _ in range(6)
    ]

    def anomaly(east, north):
        return sum(
            peak * depth**2 / ((east - place - tilt * north) ** 2 + depth**2)
            for place, tilt, depth, peak in dykes
        )

    return anomaly


def schedule(rng, lines, ties, days):
    """Return when each line and each tie line is begun, and the span of each day."""
    line_start, tie_start, spans = np.empty(lines), np.empty(ties), []
    each = int(np.ceil(lines / days))
    for day in range(days):
        start = now = day * DAY + (8 + rng.uniform(-0.5, 0.5)) * HOUR
        for line in range(day * each, min((day + 1) * each, lines)):
            line_start[line] = now
            now += LINE_M / SPEED + 40
        if day == days - 1:
            for tie in range(ties):
                tie_start[tie] = now
                now += lines * SPACING / SPEED + 60
        spans.append((start, now))
    return line_start, tie_start, spans


@lru_cache(maxsize=4)
def walk(
    seed,
    *,
    lines=35,
    ties=3,
    days=1,
    red_nT=1.0,
    noise_nT=0.3,
    place_m=1.5,
    base_s=30.0,
    sq_nT=35.0,
):
    """Make one walk: lines, then tie lines across them, with a base half an hour longer."""
    rng = np.random.default_rng([2024, seed])
    anomaly = over_dykes(rng, lines * SPACING)
    second = np.arange(0.0, (days + 1) * DAY)
    field = daily_curve(rng, second, sq_nT) + red_noise(rng, second.size, red_nT)
    line_start, tie_start, spans = schedule(rng, lines, ties, days)
    line, tie = (index.ravel() for index in np.mgrid[:lines, :ties])
    east, north = line * SPACING, (tie + 0.5) / ties * LINE_M
    first = line_start[line] + np.where(line % 2 == 0, north, LINE_M - north) / SPEED
    later = tie_start[tie] + np.where(tie % 2 == 0, east, lines * SPACING - east) / SPEED
    off = rng.normal(0, place_m, (4, line.size))
    difference = anomaly(east + off[0], north + off[1]) - anomaly(east + off[2], north + off[3])
    difference += np.interp(first, second, field) - np.interp(later, second, field)
    difference += rng.normal(0, noise_nT, line.size)
    base_time = np.concatenate([np.arange(a - 1800, b + 1800, base_s) for a, b in spans])
    base = 48_000 + np.interp(base_time, second, field) + rng.normal(0, 0.1, base_time.size)
    swapped = rng.random(line.size) < 0.5
    return Walk(
        MIDNIGHT + np.where(swapped, later, first),
        MIDNIGHT + np.where(swapped, first, later),
        np.where(swapped, -difference, difference),
        MIDNIGHT + base_time,
        base,
    )


def any_walk(seed):
    """Make a walk of any size, on a quiet to moderately disturbed day."""
    rng = np.random.default_rng([2025, seed])
    return walk(
        seed,
        lines=int(rng.integers(10, 61)),
        ties=int(rng.integers(2, 6)),
        days=int(rng.integers(1, 3)),
        red_nT=float(np.exp(rng.uniform(np.log(0.3), np.log(10)))),
        noise_nT=float(np.exp(rng.uniform(np.log(0.3), np.log(3)))),
        place_m=float(rng.uniform(0.5, 2)),
        base_s=float(rng.choice([10, 30, 60])),
        sq_nT=float(rng.uniform(20, 45)),
    )


def name_of(evidence):
    named = named_slips(evidence.offset_s, evidence.sd_s, zone_offset_s=ZONE, gps_minus_utc_s=18.0)
    return named[0].offset_s / HOUR if named else None


@pytest.mark.parametrize("slip_h", SLIPS_H)
def test_gross_slips_are_found_and_named_with_their_sign(slip_h):
    days = 1 + SLIPS_H.index(slip_h) // 2 % 2
    found = walk(days, days=days).judged(slip_h * HOUR)
    assert found.evidence.state == DETECTED
    assert found.slip_probability > 0.99
    assert name_of(found.evidence) == slip_h
    assert found.count == 105
    assert found.candidates[0].offset_s == found.evidence.offset_s


def test_no_slip_is_claimed_on_clean_walks():
    for seed in range(12):
        found = any_walk(seed).judged()
        assert found.evidence.state == NOT_IDENTIFIABLE
        assert found.slip_probability < 0.5


@pytest.mark.parametrize("red_nT", [0.5, 3.0, 10.0])
def test_gps_time_is_not_identifiable(red_nT):
    found = walk(7, red_nT=red_nT).judged(18.0)
    assert found.evidence.state == NOT_IDENTIFIABLE
    assert abs(found.evidence.offset_s - 18.0) < 3 * found.evidence.sd_s
    assert found.evidence.sd_s > 10


def test_offsets_lie_within_their_intervals():
    inside = []
    for seed in range(40, 56):
        evidence = any_walk(seed).judged(-12 * HOUR).evidence
        if evidence.state == DETECTED:
            inside.append(abs(evidence.offset_s + 12 * HOUR) < 1.645 * evidence.sd_s)
    assert len(inside) > 12
    assert np.mean(inside) >= 0.75  # 90 % of 16 less two sd


def test_rollover_of_the_weeks():
    evidence = walk(3).judged(-1024 * 7 * DAY).evidence
    assert evidence.state == DETECTED
    assert name_of(evidence) == -1024 * 7 * 24


def test_a_smooth_base_tells_nothing():
    sound = walk(4, lines=10, ties=2, red_nT=0.01, sq_nT=0.2, noise_nT=3.0)
    for slip in (0.0, 2 * HOUR, 12 * HOUR):
        assert sound.judged(slip).evidence.state == NOT_IDENTIFIABLE


def test_a_base_of_another_day_is_no_slip():
    for seed in range(4):
        rover, other = any_walk(seed), any_walk(seed + 500)
        found = rover.judged(base_time_s=other.base_time + 3 * DAY, base_nT=other.base)
        assert found.evidence.state == NOT_IDENTIFIABLE


@pytest.mark.parametrize("wrong", ["moved base", "drifting rover", "wild pairs"])
def test_other_faults_are_no_slip(wrong):
    rng = np.random.default_rng(5)
    for seed in range(100, 103):
        sound = walk(seed, days=2, noise_nT=1.0)
        difference, base = sound.difference.copy(), sound.base.copy()
        if wrong == "moved base":
            base[sound.base_time > MIDNIGHT + DAY] += 25
        elif wrong == "drifting rover":
            phases = [np.sin((time - MIDNIGHT) / 15_000) for time in (sound.first, sound.second)]
            difference += 6 * (phases[0] - phases[1])
        else:
            wild = rng.random(difference.size) < 0.1
            difference[wild] += rng.normal(0, 100, wild.sum())
        spoilt = Walk(sound.first, sound.second, difference, sound.base_time, base)
        found = spoilt.judged()
        assert found.evidence.state == NOT_IDENTIFIABLE
        assert not found.slip_probability > 0.99


def test_a_base_that_tells_nothing_is_no_slip():
    sound = walk(11)
    noise = np.random.default_rng(7).normal(0, 50, sound.base.size)
    found = sound.judged(base_nT=sound.base + noise)
    assert found.evidence.state == NOT_IDENTIFIABLE
    assert found.slip_probability < 0.5


def hump(time, peak_s, width_s, size_nT):
    return size_nT * np.exp(-(((time - MIDNIGHT - peak_s) / width_s) ** 2))


@pytest.mark.parametrize(
    ("days_later", "peak_h", "width_s", "size_nT"),
    [(3, 12.4, 9400.0, 35.0), (0, 12.3, 9400.0, 37.0)],
)
def test_a_base_with_a_curve_much_alike_is_no_slip(days_later, peak_h, width_s, size_nT):
    """A quiet day looks like another quiet day, some minutes later; so may a base elsewhere."""
    sound, rng = walk(1), np.random.default_rng(4)
    true = [hump(time, 12 * HOUR, 9400.0, 35.0) for time in (sound.first, sound.second)]
    difference = true[0] - true[1] + 0.5 * rng.standard_t(4, sound.first.size)
    base = hump(sound.base_time, peak_h * HOUR, width_s, size_nT)
    base += 0.1 * rng.normal(size=base.size)
    base_time = sound.base_time + days_later * DAY
    found = Walk(sound.first, sound.second, difference, base_time, base).judged()
    assert found.evidence.state == NOT_IDENTIFIABLE
    assert not found.slip_probability > 0.99


def test_moments_of_a_normal_likelihood():
    """A peak of sd 50 s beside one e^-3 lower, at places where the prior is flat."""

    def likelihood(offset):
        tops = [-0.5 * ((offset - at) / 50.0) ** 2 for at in (1000.0, 5000.0)]
        return np.logaddexp(tops[0] + 20, tops[1] + 17)

    offsets = 30.0 * np.arange(-400, 401)
    peaks, *_ = find_peaks(Grid(offsets, 30.0, likelihood(offsets), 24_000.0), likelihood)
    assert peaks[0].offset_s == pytest.approx(1000.0, abs=0.5)
    assert peaks[0].sd_s == pytest.approx(50.0, rel=0.01)
    assert peaks[1].offset_s == pytest.approx(5000.0, abs=0.5)
    assert peaks[0].log_slip - peaks[1].log_slip == pytest.approx(3.0, abs=0.02)


def test_known_sd_of_pairs_sharpens_the_answer():
    rng = np.random.default_rng(6)
    sound = walk(8, place_m=0.0, noise_nT=0.2)
    sd = np.where(rng.random(sound.difference.size) < 0.5, 0.3, 15.0)
    noisy = sound.difference + sd * rng.normal(size=sd.size)
    spoilt = Walk(sound.first, sound.second, noisy, sound.base_time, sound.base)
    with_sd = spoilt.judged(HOUR, difference_sd_nT=sd).candidates[0]
    assert abs(with_sd.offset_s - HOUR) < 3 * with_sd.sd_s
    assert with_sd.sd_s < spoilt.judged(HOUR).candidates[0].sd_s


def test_order_of_a_pair_and_of_pairs_is_nothing():
    sound = walk(9)
    turned = Walk(
        sound.second[::-1],
        sound.first[::-1],
        -sound.difference[::-1],
        sound.base_time,
        sound.base,
    )
    one, other = sound.judged(HOUR).evidence, turned.judged(HOUR).evidence
    assert one.offset_s == pytest.approx(other.offset_s, abs=0.5)


@pytest.mark.parametrize("few", ["pairs", "base", "values"])
def test_too_little_says_nothing(few):
    sound = walk(10)
    pairs = slice(0, 4) if few == "pairs" else slice(None)
    base = slice(0, 2) if few == "base" else slice(None)
    found = revisit_clock(
        sound.first[pairs],
        sound.second[pairs],
        sound.difference[pairs] + (np.nan if few == "values" else 0.0),
        base_time_s=sound.base_time[base],
        base_nT=sound.base[base],
    )
    assert found.evidence.state == NOT_IDENTIFIABLE
    assert np.isnan(found.slip_probability)
    assert found.candidates == ()


def test_bad_input():
    sound = walk(10)
    with pytest.raises(InputError, match="same length"):
        revisit_clock([0.0], [1.0, 2.0], [0.0], base_time_s=[0.0], base_nT=[0.0])
    with pytest.raises(InputError, match="base_time_s must increase"):
        sound.judged(base_time_s=sound.base_time[::-1])
    with pytest.raises(InputError, match="difference_sd_nT must be above zero"):
        sound.judged(difference_sd_nT=0.0)
    with pytest.raises(InputError, match="max_offset_s must be above zero"):
        sound.judged(max_offset_s=-1.0)


def test_students_density_is_that_of_the_library():
    from scipy.stats import t

    values = np.random.default_rng(1).normal(0, 30, (3, 400))
    values[1, ::3] = np.nan
    spreads = np.array([0.5, 4.0])
    logs = student_logs(values**2, spreads)
    for row in range(3):
        expected = [np.nansum(t.logpdf(values[row], 3, scale=spread)) for spread in spreads]
        assert logs[row] == pytest.approx(expected, rel=1e-12)


def test_first_density_without_a_base():
    """One pair: Student's t whose variance is that of the field's change and of the noise."""
    from scipy.stats import t

    variogram = Variogram(50.0, 1.5)
    found = predictive_densities(
        np.array([0.0]),
        np.array([7200.0]),
        np.array([9.0]),
        noise_nT=np.array([[2.0]]),
        variogram=variogram,
        freedom=4.0,
        scales=(1.0, 0.0),
    )
    variance = 2 * 50.0 * (1 - np.exp(-(0.5**1.5)))
    assert found[0, 0] == pytest.approx(t.logpdf(9.0, 4, scale=np.sqrt(variance + 4)))
    assert found[0, 1] == pytest.approx(t.logpdf(9.0, 4, scale=2.0))


def test_second_density_is_that_of_the_conditional_field():
    """Two pairs with little noise: the regression of one on the other, from the variogram."""
    times = np.array([0.0, 300.0]), np.array([5000.0, 5600.0])
    variogram = Variogram(80.0, 1.0)

    def gamma(lag):
        return 80.0 * (1 - np.exp(-abs(lag) / MEMORY_S))

    def covariance(i, j):
        (a, b), (c, d) = (times[0][i], times[1][i]), (times[0][j], times[1][j])
        return gamma(a - d) + gamma(b - c) - gamma(a - c) - gamma(b - d)

    found = predictive_densities(
        *times,
        np.array([6.0, 7.0]),
        noise_nT=np.array([[1e-6, 1e-6]]),
        variogram=variogram,
        freedom=1e7,  # near normal
        scales=(1.0,),
    )
    gain = covariance(0, 1) / covariance(0, 0)
    variance = covariance(1, 1) - gain * covariance(0, 1)
    expected = -0.5 * np.log(2 * np.pi * variance) - 0.5 * (7.0 - gain * 6.0) ** 2 / variance
    assert found[1, 0] == pytest.approx(expected, rel=1e-3)


def test_variogram_of_a_random_walk():
    steps = np.random.default_rng(2).normal(0, 1.0, 40_000)
    found = fit_variogram(np.cumsum(steps), interval_s=30.0)
    assert found.exponent == pytest.approx(1.0, abs=0.1)
    # Half the mean square change over 1 h, 120 steps, is 60; the curve bends a little by then.
    assert float(found(np.array([3600.0]))[0]) == pytest.approx(60 * 0.88, rel=0.15)
    assert fit_variogram(np.full(50, np.nan), interval_s=30.0) is None
