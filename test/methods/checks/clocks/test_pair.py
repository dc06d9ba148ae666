"""Clock offsets of planted pairs: the truth is known, and intervals are counted.

The likelihood is compared with the dense normal distribution of the same process, whose
covariance is integrated by hand from that of its slope.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import multivariate_normal

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks import pair as pair_module
from lodewalk.methods.checks.clocks._pair_field import FieldModel, Record
from lodewalk.methods.checks.clocks._pair_filter import filter_alone, log_likelihood
from lodewalk.methods.checks.clocks._pair_search import Pair, Posterior, misfit_inflation, refine
from lodewalk.methods.checks.clocks.evidence import MEASURED, NOTHING
from lodewalk.methods.checks.clocks.pair import pair_drift, pair_offset

TWO_HOURS = 7200


def red_noise(rng, *, rms, slope=2.0, size=TWO_HOURS):
    """A field a second, its power falling by the power `slope` of frequency; rms over all."""
    spectrum = np.zeros(2 * size + 1, dtype=complex)
    frequency = np.arange(1, spectrum.size)
    parts = rng.normal(size=(2, frequency.size))
    spectrum[1:] = frequency ** (-slope / 2) * (parts[0] + 1j * parts[1])
    field = np.fft.irfft(spectrum)[:size]
    return (field - field.mean()) * (rms / field.std())


def random_walk(rng, *, rms, size=TWO_HOURS):
    field = np.cumsum(rng.normal(size=size))
    return (field - field.mean()) * (rms / field.std())


@dataclass(frozen=True)
class Planted:
    """A run of ten minutes, by a clock that is ahead, and the base around it."""

    time: np.ndarray
    rover: np.ndarray
    base_time: np.ndarray
    base: np.ndarray

    def offset(self, **options):
        return pair_offset(self.time, self.rover, self.base_time, self.base, **options)


def plant(rng, field, *, ahead_s, run=600, noise=(0.1, 0.05), every=1, start=1.7e9):
    at = int(rng.integers(1200, field.size - run - 1200))
    time = start + np.arange(field.size)
    rover = field[at : at + run] + rng.normal(scale=noise[0], size=run) + rng.normal(scale=30)
    base = (field + rng.normal(scale=noise[1], size=field.size))[::every] + 48_000
    return Planted(time[at : at + run] + ahead_s, rover + 48_000, time[::every], base)


def trials(number, field, *, seed, ahead_s=18.0, **options):
    """Errors and sd of planted pairs."""
    found = []
    for k in range(number):
        rng = np.random.default_rng([seed, k])
        found.append(plant(rng, field(rng), ahead_s=ahead_s, **options).offset())
    return np.array([f.offset_s - ahead_s for f in found]), np.array([f.sd_s for f in found])


def dense_log_likelihood(shift, first, second, model, prior):
    """log p(first | second) from the covariance of all readings, time from the first of all."""
    walk, memory, bend, apart = model
    time = np.concatenate([first[0] - shift, second[0]]) - second[0, 0]
    s, t = np.meshgrid(time, time)
    early, late = np.minimum(s, t), np.maximum(s, t)
    # The integral of exp(-|u - v| / memory) walk / (2 memory) over u < s, v < t.
    fast = 1 - np.exp(-s / memory) - np.exp(-t / memory) + np.exp(-(late - early) / memory)
    cov = prior[0] + walk * (early - memory * fast / 2)
    # And of a slope that is itself a random walk from a random start.
    cov += prior[1] * s * t + bend * early**2 * (3 * late - early) / 6
    n = first.shape[1]
    cov[:n, :n] += prior[2] + apart * (early[:n, :n] - time[:n].min())
    cov += np.diag(np.concatenate([first[2], second[2]]))
    values = np.concatenate([first[1], second[1]])
    both = multivariate_normal(cov=cov).logpdf(values)
    return both - multivariate_normal(cov=cov[n:, n:]).logpdf(values[n:])


@pytest.mark.parametrize("shift", [0.0, 2.0, 1.3, -3.5])
def test_likelihood_is_that_of_the_dense_normal_distribution(shift):
    rng = np.random.default_rng(3)
    second = np.stack([np.arange(0.0, 60.0, 3.0), rng.normal(size=20), np.full(20, 0.3)])
    first = np.stack([np.arange(10.0, 40.0, 2.0), rng.normal(size=15), np.full(15, 0.5)])
    model, prior = np.array([0.2, 4.0, 0.003, 0.0]), np.array([9.0, 0.5, 4.0])
    means, covs = np.empty((20, 4)), np.empty((20, 4, 4))
    alone = filter_alone(second, model, prior, means, covs)
    running = np.empty(15)
    found = log_likelihood(shift, first, second, model, prior, means, covs, alone, 1e3, running)
    expected = dense_log_likelihood(shift, first, second, model, prior)
    assert found == pytest.approx(expected, abs=1e-8)


def test_likelihood_with_a_difference_that_wanders():
    rng = np.random.default_rng(4)
    second = np.stack([np.arange(0.0, 60.0, 3.0), rng.normal(size=20), np.full(20, 0.3)])
    first = np.stack([np.arange(0.0, 30.0, 2.0), rng.normal(size=15), np.full(15, 0.5)])
    model, prior = np.array([0.2, 4.0, 0.003, 0.05]), np.array([9.0, 0.5, 4.0])
    means, covs = np.empty((20, 4)), np.empty((20, 4, 4))
    alone = filter_alone(second, model, prior, means, covs)
    running = np.empty(15)
    found = log_likelihood(0.0, first, second, model, prior, means, covs, alone, 1e3, running)
    expected = dense_log_likelihood(0.0, first, second, model, prior)
    assert found == pytest.approx(expected, abs=1e-8)


def test_sd_of_a_normal_posterior():
    shifts = np.arange(-10.0, 20.0, 0.05)
    weights = np.exp(-0.5 * ((shifts - 3) / 1.7) ** 2)
    median, sd = Posterior(shifts, weights / weights.sum(), 0.05, 0.0).median_and_sd()
    assert median == pytest.approx(3.0, abs=1e-3)
    assert sd == pytest.approx(1.7, rel=2e-3)


def test_sd_of_an_even_posterior():
    # 90 % lie within 9 of the middle, 99 % within 9.9: the first is further in normal sd.
    even = Posterior(np.arange(-9.5, 10.0), np.full(20, 0.05), 1.0, 0.0)
    median, sd = even.median_and_sd()
    assert median == pytest.approx(0.0, abs=1e-9)
    assert sd == pytest.approx(9.0 / 1.644854, abs=1e-6)


@pytest.mark.parametrize("far", [0.02, 0.2])
def test_second_peak_counts(far):
    # A second peak of 2 % lies beyond 90 %, but within 99 %.
    near = (1 - far) / 2
    two = Posterior(np.array([0.0, 1.0, 50.0]), np.array([near, near, far]), 1.0, 0.0)
    _, sd = two.median_and_sd()
    assert 48.5 / 2.6 < sd < 50.5 / 1.6


@pytest.mark.parametrize("make", [red_noise, random_walk])
def test_gps_slip_on_a_moderate_field(make):
    error, sd = trials(12, lambda rng: make(rng, rms=1.0), seed=41)
    assert np.all(sd <= 2.0)
    assert np.median(np.abs(error)) <= 0.3
    assert np.sum(np.abs(error) <= 1.645 * sd) >= 9  # under 9 of 12 has a chance of 3 % at 90 %
    assert np.all(np.abs(error) <= 4 * sd)


def test_gps_slip_on_a_quiet_field():
    # Rms rate 0.009 nT/s, as the walk in steps of that size: 0.3 nT over two hours on average.
    error, sd = trials(16, lambda rng: np.cumsum(rng.normal(scale=0.009, size=7200)), seed=42)
    detected = (sd <= 2) | (np.abs(error + 18) > 3 * sd)
    assert detected.sum() >= 14  # 95 % of many; under 14 has a chance of 4 %
    assert np.sum(np.abs(error) <= 1.645 * sd) >= 12


def test_moving_field():
    error, sd = trials(6, lambda rng: red_noise(rng, rms=5.0, slope=2.5), seed=43)
    assert np.all(sd <= 1.0)
    assert np.sum(np.abs(error) <= 1.645 * sd) >= 4
    assert np.all(np.abs(error) <= 4 * sd)


def test_clean_pair_is_no_slip():
    """Of a thousand, a few may lie beyond three sd: one of ten by bad luck, not two."""
    far = 0
    for rms in (0.3, 1.0):
        error, sd = trials(5, lambda rng, rms=rms: random_walk(rng, rms=rms), seed=44, ahead_s=0.0)
        far += np.sum(np.abs(error) > 3 * sd)
    assert far <= 1


@pytest.mark.parametrize(("every", "rms", "within"), [(5, 3.0, 2.0), (10, 3.0, 3.0), (60, 10, 6.0)])
def test_base_that_reads_less_often(every, rms, within):
    error, sd = trials(
        3, lambda rng: red_noise(rng, rms=rms, slope=2.5), seed=45, every=every, ahead_s=-37.5
    )
    assert np.all(np.abs(error) <= np.minimum(within, 4 * sd))
    assert np.all(sd <= within)


@pytest.fixture(scope="module")
def planted():
    rng = np.random.default_rng(46)
    return plant(rng, red_noise(rng, rms=2.0), ahead_s=18.0)


def test_swapped_records_give_the_opposite(planted):
    found = planted.offset()
    turned = pair_offset(planted.base_time, planted.base, planted.time, planted.rover)
    assert found.offset_s == pytest.approx(18.0, abs=0.5)
    assert turned.offset_s == -found.offset_s
    assert (turned.sd_s, turned.count) == (found.sd_s, found.count)


def test_gaps_spikes_and_missing_values(planted):
    rover, base = planted.rover.copy(), planted.base.copy()
    rover[50:90], base[3000:3100] = np.nan, np.nan
    rover[[200, 333, 450]] += [40.0, -25.0, 300.0]
    keep = np.ones(base.size, dtype=bool)
    keep[2000:2050] = False
    found = pair_offset(planted.time, rover, planted.base_time[keep], base[keep])
    assert found.offset_s == pytest.approx(18.0, abs=0.5)
    assert found.sd_s < 0.5
    assert found.count == pytest.approx(557, abs=3)


def test_offset_near_the_end_of_the_range(planted):
    for slip in (-880.0, 890.0):
        found = pair_offset(
            planted.time - 18 + slip, planted.rover, planted.base_time, planted.base
        )
        assert found.offset_s == pytest.approx(slip, abs=0.5)


def test_known_noise(planted):
    found = planted.offset(first_noise_nT=0.1, second_noise_nT=0.05)
    assert found.offset_s == pytest.approx(18.0, abs=0.5)
    assert found.state == MEASURED


def test_base_no_longer_than_the_run():
    for k in range(3):
        rng = np.random.default_rng([47, k])
        pair = plant(rng, red_noise(rng, rms=1.0), ahead_s=0.0)
        at = np.searchsorted(pair.base_time, pair.time[0])
        part = slice(at, at + 600)
        found = pair_offset(pair.time + 18, pair.rover, pair.base_time[part], pair.base[part])
        assert abs(found.offset_s - 18.0) <= min(2.0, 4 * found.sd_s)


def test_noise_that_is_not_white():
    """Noise like that of its neighbours, of a person about: 0.1 nT white, 0.15 nT over 5 s."""
    errors, sds = [], []
    for k in range(10):
        rng = np.random.default_rng([48, k])
        pair = plant(rng, red_noise(rng, rms=2.0), ahead_s=18.0)
        slow = np.convolve(rng.normal(size=660), np.exp(-np.arange(60) / 5), mode="valid")[:600]
        found = pair_offset(
            pair.time, pair.rover + slow * (0.15 / slow.std()), pair.base_time, pair.base
        )
        errors.append(found.offset_s - 18)
        sds.append(found.sd_s)
    error, sd = np.array(errors), np.array(sds)
    assert np.median(np.abs(error)) < 0.5
    assert np.sum(np.abs(error) <= 1.645 * sd) >= 7


def test_misfit_that_hangs_together_inflates():
    """Noise whose neighbours go with 0.9 has (1 + 0.9) / (1 - 0.9) = 19 times its share of slow."""
    time = np.arange(1800.0)
    field = 3 * np.sin(time / 60) + 2 * np.sin(time / 37)
    model = FieldModel(walk=0.01, memory=30.0, bend=1e-9, first=0.01, second=0.0025)
    found = {"white": [], "slow": []}
    for k in range(6):
        rng = np.random.default_rng([52, k])
        base = Record(time, field + rng.normal(scale=0.05, size=1800), np.nan)
        white = rng.normal(scale=0.1, size=1800)
        slow = lfilter([(1 - 0.81) ** 0.5], [1, -0.9], white)
        for name, noise in (("white", white), ("slow", slow)):
            rover = Record(time[300:1500], (field + noise)[300:1500], np.nan)
            pair = Pair(rover, base, model)
            posterior = refine(pair, np.arange(-2, 3), 1.0, 900.0)
            found[name].append(misfit_inflation(pair, posterior))
    assert np.median(found["white"]) < 1.5
    assert 4 < np.median(found["slow"]) < 19


def test_inflation_widens_the_interval(planted, monkeypatch):
    """A likelihood divided by nine is three times as wide."""
    sd = {}
    for inflation in (1.0, 9.0):
        monkeypatch.setattr(pair_module, "misfit_inflation", lambda *_, by=inflation: by)
        sd[inflation] = planted.offset().sd_s
    assert sd[9.0] == pytest.approx(3 * sd[1.0], rel=0.15)


@pytest.mark.parametrize("slope", [2.0, 3.0])
def test_unrelated_records_are_not_measured(slope):
    """A slow rise and fall in both may pass for the same one, but not to 2 s."""
    called = 0
    for k in range(4):
        rng = np.random.default_rng([49, k])
        one = plant(rng, red_noise(rng, rms=5.0, slope=slope), ahead_s=18.0)
        other = plant(rng, red_noise(rng, rms=5.0, slope=slope), ahead_s=18.0)
        found = pair_offset(one.time, one.rover, other.base_time, other.base)
        assert found.state != MEASURED
        called += found.state != "not identifiable"
    assert called <= 1


def test_what_says_nothing():
    time = np.arange(600.0)
    rng = np.random.default_rng(50)
    moving = np.cumsum(rng.normal(size=600))
    assert pair_offset(time, np.full(600, 48_000.0), time, moving) == NOTHING
    assert pair_offset(time, moving, time + 1e5, moving) == NOTHING  # they never overlap
    assert pair_offset(time[:1], moving[:1], time, moving) == NOTHING
    assert pair_offset(time, np.full(600, np.nan), time, moving) == NOTHING
    assert pair_offset([], [], time, moving) == NOTHING
    assert pair_offset(time[:30], moving[:30], time, moving) == NOTHING


def test_long_run_gives_the_drift():
    """A base of a day and a rover for four hours, whose clock gains 40 s a day."""
    rng = np.random.default_rng(51)
    size = 6 * 3600
    field = red_noise(rng, rms=5.0, slope=2.5, size=size)
    time = np.arange(float(size))
    at = slice(3600, 5 * 3600)
    ahead = 3.0 + 40.0 / 86_400 * (time[at] - 3 * 3600)
    rover = field[at] + rng.normal(scale=0.1, size=field[at].size)
    found = pair_offset(time[at] + ahead, rover, time, field + rng.normal(scale=0.05, size=size))
    assert found.offset_s == pytest.approx(3.0, abs=4 * found.sd_s)
    assert found.sd_s < 0.3
    assert found.drift_s_per_day == pytest.approx(40.0, abs=4 * found.drift_sd_s_per_day)
    assert found.drift_sd_s_per_day < 8.0


def test_line_is_that_of_weighted_least_squares():
    time, sd = np.array([0.0, 1000, 5000, 9000, 20_000]), np.array([0.5, 1, 2, 0.5, 1.0])
    offset = 2 + 1e-4 * time + np.array([0.1, -0.2, 0.3, 0.0, -0.1])
    (rate, level), cov = np.polyfit(time - 4000, offset, 1, w=1 / sd, cov="unscaled")
    line = pair_drift(time, offset, sd, at_s=4000.0)
    assert line.offset_s == pytest.approx(level)
    assert line.sd_s == pytest.approx(cov[1, 1] ** 0.5)  # chi square is under one: not raised
    assert line.drift_s_per_day == pytest.approx(rate * 86_400)
    assert line.drift_sd_s_per_day == pytest.approx(cov[0, 0] ** 0.5 * 86_400)


def test_line_with_more_misfit_than_stated():
    time, offset = np.arange(6.0), np.array([1.0, -1, 1, -1, 1, -1])
    _, scaled = np.polyfit(time, offset, 1, cov=True)
    line = pair_drift(time, offset, np.full(6, 0.01))
    assert line.drift_sd_s_per_day == pytest.approx(scaled[0, 0] ** 0.5 * 86_400)


def test_drift_that_is_not_determined():
    one = pair_drift([100.0, 200.0], [5.0, np.nan], [0.5, np.inf])
    assert (one.offset_s, one.sd_s) == (5.0, 0.5)
    assert np.isnan(one.drift_s_per_day)
    assert pair_drift([100.0], [5.0], [0.5], at_s=4000.0) == NOTHING
    assert pair_drift([], [], []) == NOTHING


def test_messages():
    time = np.arange(100.0)
    with pytest.raises(InputError, match="same length"):
        pair_offset(time, time[1:], time, time)
    with pytest.raises(InputError, match="second_time_s must not decrease"):
        pair_offset(time, time, time[::-1], time)
    with pytest.raises(InputError, match="max_offset_s must be above zero"):
        pair_offset(time, time, time, time, max_offset_s=0)
    with pytest.raises(InputError, match="first_noise_nT must be above zero"):
        pair_offset(time, time, time, time, first_noise_nT=-1.0)
    with pytest.raises(InputError, match="sd_s must be above zero"):
        pair_drift([0.0], [1.0], [0.0])
