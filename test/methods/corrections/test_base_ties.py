"""Ties between bases: sums by hand, and trials of how often the interval holds the truth."""

import numpy as np
import pytest
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.corrections.base_ties import (
    correlated_mean,
    level_scatter,
    overlap_tie,
    revisit_tie,
    visits_tie,
)

HALF = 1.645


def red(rng, count, tau):
    """An autoregressive series of sd 1 whose neighbours are alike over `tau` values."""
    phi = np.exp(-1.0 / tau)
    noise = rng.normal(size=count + int(10 * tau))
    return lfilter([np.sqrt(1 - phi**2)], [1, -phi], noise)[-count:]


@pytest.mark.parametrize(
    ("count", "tau", "low", "high"),
    [
        (60, 0.05, 0.90, 1.0),
        (360, 10.0, 0.88, 1.0),
        (360, 30.0, 0.82, 0.95),
        (360, 60.0, 0.70, 0.90),
    ],
)
def test_interval_of_a_correlated_mean_holds_the_truth(count, tau, low, high):
    # 300 trials: a share of 0.90 has an sd of 0.017. It falls short where neighbours are alike over
    # a twelfth of the series and more, as the docstring says: too little is left to tell it.
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(300):
        found = correlated_mean(7.0 + red(rng, count, tau))
        held += abs(found.difference_nT - 7.0) <= HALF * found.sd_nT
    assert low <= held / 300 <= high


def test_error_of_a_correlated_mean_is_not_that_of_independent_values():
    # Of n values alike over tau the mean has the variance of n / (2 tau) independent ones.
    rng = np.random.default_rng(5)
    sd = np.median([correlated_mean(red(rng, 2000, 20.0)).sd_nT for _ in range(40)])
    right = np.sqrt(2 * 20.0 / 2000)
    assert 0.9 * right < sd < 2.0 * right


def test_few_or_equal_values():
    assert np.isnan(correlated_mean([1.0, 2.0]).sd_nT)
    assert correlated_mean([3.0] * 10).sd_nT == 0.0
    assert correlated_mean([np.nan, 1.0, 2.0, 3.0, 4.0]).count == 4


def test_overlap_by_hand_and_one_wild_reading():
    # Second less first is 60 nT in each common reading but one; a median of five doesn't see it.
    time = np.arange(0.0, 600.0, 10.0)
    second = 48_060 + 0.1 * (time + 300)
    second[12] += 500.0
    found = overlap_tie(time, 48_000 + 0.1 * time, time + 300, second, max_gap_s=30)
    assert found.difference_nT == pytest.approx(60.0, abs=1e-9)
    assert found.count == 30
    assert found.sd_nT == pytest.approx(0.01)


def test_distance_between_bases_is_in_the_error():
    # A wave of rms 4 / sqrt(2) nT, sites 15 km apart with a scale of 150 km: a tenth of it, as one
    # value an hour, of which there are two.
    time = np.arange(0.0, 7200.0, 10.0)
    wave = 48_000 + 4 * np.sin(2 * np.pi * time / 300)
    near, far = (
        overlap_tie(time, wave, time, wave, max_gap_s=30, distance_m=m) for m in (0.0, 15_000.0)
    )
    assert near.sd_nT == pytest.approx(0.01)
    assert far.sd_nT == pytest.approx(0.1 * 4 / np.sqrt(2) / np.sqrt(2), rel=0.02)


def test_bases_that_hardly_met_are_not_tied():
    time = np.arange(0.0, 100.0, 10.0)
    assert overlap_tie(time, time, time + 70, time, max_gap_s=30).count == 0
    assert overlap_tie(time, time, time + 900, time, max_gap_s=30).count == 0


def test_crossings_of_lines_share_the_error_of_the_line():
    # Line A meets P (5 nT) and Q (7 nT), places exact to 1 nT, lines to 2: covariance
    # [[1 + 8, 4], [4, 1 + 8]]; equal, so the mean, with variance (9 + 4) / 2.
    found = revisit_tie([5.0, 7.0], [1.0, 1.0], "AA", "PQ", line_sd_nT=2.0)
    assert found.difference_nT == pytest.approx(6.0)
    assert found.sd_nT == pytest.approx(np.sqrt(13 / 2 + 1e-4))


def test_one_gross_crossing_hardly_counts():
    values = [5.0] * 12 + [200.0]
    names = [str(place) for place in range(13)]
    found = revisit_tie(values, [1.0] * 13, names, names[::-1], line_sd_nT=0.0)
    assert abs(found.difference_nT - 5.0) < 0.3


def test_interval_of_a_revisit_tie_holds_the_truth():
    rng = np.random.default_rng(6)
    first, second = (part.ravel() for part in np.indices((6, 3)))
    held = 0
    for _ in range(300):
        d = 5 + rng.normal(0, 2, 6)[first] + rng.normal(0, 2, 3)[second] + rng.normal(0, 1, 18)
        found = revisit_tie(d, np.ones(18), first.tolist(), second.tolist(), line_sd_nT=2.0)
        held += abs(found.difference_nT - 5) <= HALF * found.sd_nT
    assert 0.85 <= held / 300 <= 0.96


def test_scatter_of_levels():
    rng = np.random.default_rng(7)
    d = rng.normal(0, np.hypot(1.0, np.sqrt(2) * 3.0), 4000)
    assert level_scatter(d, np.ones(4000), unknown_nT=9.0) == pytest.approx(3.0, abs=0.15)
    assert level_scatter(d[:9], np.ones(9), unknown_nT=9.0) == 9.0
    assert level_scatter(0.1 * d, np.full(4000, 5.0), unknown_nT=9.0) == 0.0


def test_bad_input():
    with pytest.raises(InputError, match="same length"):
        revisit_tie([1.0], [1.0, 2.0], "A", "B", line_sd_nT=1.0)
    with pytest.raises(InputError, match="must have a difference"):
        revisit_tie([np.nan], [1.0], "A", "B", line_sd_nT=1.0)
    with pytest.raises(InputError, match="sd_nT"):
        revisit_tie([1.0], [0.0], "A", "B", line_sd_nT=1.0)
    with pytest.raises(InputError, match="same length"):
        overlap_tie([0.0], [1.0], [0.0, 1.0], [1.0], max_gap_s=30)
    assert revisit_tie([], [], "", "", line_sd_nT=1.0).count == 0


def test_visits_by_hand():
    # Means 11 and 15; pooled variance (2 + 2) / 2 = 2 of two free, whose t holds 2.920 instead of
    # 1.645; two visits each: sd sqrt(2) * 2.920 / 1.645 * sqrt(1/2 + 1/2).
    found = visits_tie([10.0, 12.0], [14.0, 16.0])
    assert found.difference_nT == 4.0
    assert found.sd_nT == pytest.approx(np.sqrt(2) * 2.920 / 1.645, rel=1e-3)
    assert visits_tie([10.0], [11.0]).sd_nT == pytest.approx(np.sqrt(2))
    assert visits_tie([], [11.0]).count == 0
