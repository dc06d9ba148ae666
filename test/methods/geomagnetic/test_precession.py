"""Precession frequency and tuning."""

import numpy as np
import pytest

from lodewalk.methods.geomagnetic import precession_frequency_hz, tuning_microtesla


# CODATA 2022: shielded proton gyromagnetic ratio over 2 pi 42.57638543 MHz/T, times the field.
@pytest.mark.parametrize(
    ("field", "frequency"),
    [(25e3, 1064.4096), (28e3, 1192.1388), (50e3, 2128.8193), (65e3, 2767.4651)],
)
def test_frequency(field, frequency):
    assert precession_frequency_hz(field) == pytest.approx(frequency, abs=1e-4)


def test_shielded_constant_is_that_of_an_independent_carrier():
    from scipy import constants

    hertz_per_tesla = 1e6 * constants.value("shielded proton gyromag. ratio in MHz/T")
    assert precession_frequency_hz(1e9) == pytest.approx(hertz_per_tesla, rel=4e-9)


def test_constants_that_are_easily_taken_instead():
    """At 50 000 nT the constant of 1986 (2.67515255e8 per second and tesla, from memory), being
    smaller, reads 0.012 nT higher, and the one of bare protons 1.28 nT lower (CODATA 2022)."""
    from scipy import constants

    hertz = precession_frequency_hz(50_000.0)
    older = 2.67515255e8 / (2 * np.pi) * 1e-9
    bare = 1e-3 * constants.value("proton gyromag. ratio in MHz/T")
    assert hertz / older - 50_000.0 == pytest.approx(0.012, abs=0.001)
    assert 50_000.0 - hertz / bare == pytest.approx(1.28, abs=0.01)


# Common practice: the field rounded to the nearest whole microtesla.
@pytest.mark.parametrize(
    ("field", "tuning"),
    [(48_499.9, 48.0), (48_500.0, 49.0), (49_000.0, 49.0), (24_499.0, 24.0), (65_501.0, 66.0)],
)
def test_tuning(field, tuning):
    assert tuning_microtesla(field) == tuning


def test_arrays_keep_their_shape_and_missing_values():
    field = np.array([[50_000.0, np.nan]])
    np.testing.assert_array_equal(np.isnan(precession_frequency_hz(field)), [[False, True]])
    np.testing.assert_array_equal(tuning_microtesla(field), [[50.0, np.nan]])
