"""Records rounded to a known step; the sd of rounding from JCGM 100:2008, F.2.2.1."""

import numpy as np
import pytest

from lodewalk.methods.checks.resolution import quantisation_sd, value_resolution


def field(n, seed=0):
    """Return an unrounded walk over 300 nT around 48 000 nT."""
    rng = np.random.default_rng(seed)
    return 48_000 + 150 * np.sin(np.arange(n) / 40) + rng.normal(0, 2, n)


@pytest.mark.parametrize("step", [1.0, 0.5, 0.25, 0.1, 0.02, 0.01, 0.001])
def test_step_of_a_rounded_record(step):
    record = np.round(field(4000) / step) * step
    assert value_resolution(record) == pytest.approx(step, rel=1e-6)
    assert value_resolution(record - 48_000.0) == pytest.approx(step, rel=1e-6)


def test_step_that_no_two_readings_show():
    assert value_resolution([48_000.0, 48_000.2, 48_000.5]) == pytest.approx(0.1)


def test_outliers_and_missing_readings_leave_the_step():
    record = np.round(field(4000), 2)
    record[[5, 80, 900]] = 0.0, 99_999.99, np.nan
    record[901] = np.inf
    assert value_resolution(record) == pytest.approx(0.01)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("n", [8, 100, 20_000])
def test_an_unrounded_record_has_no_step(n, seed):
    assert value_resolution(field(n, seed)) <= 1e-3


def test_noise_of_arithmetic_is_no_step():
    rounded = np.round(field(4000))
    assert value_resolution((rounded * 1.1 + 7.7 - 7.7) / 1.1) == pytest.approx(1.0)


def test_spacing_of_32_bit_floats():
    # IEEE 754: 24 bits of significand, so 2^(15 - 23) from 32 768 up to 65 536
    assert value_resolution(field(4000).astype(np.float32)) == 2.0**-8


@pytest.mark.parametrize("record", [[], [48_000.0], [48_000.0] * 9, [np.nan] * 3])
def test_no_step_can_be_told(record):
    assert value_resolution(record) == 0.0
    assert quantisation_sd(record) == 0.0


def test_sd_of_rounding():
    record = np.round(field(4000))
    assert quantisation_sd(record) == pytest.approx(0.29, abs=0.005)  # "u = 0,29 dx"
    errors = record - field(4000)
    assert quantisation_sd(record) == pytest.approx(errors.std(), rel=0.03)
