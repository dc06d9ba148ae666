"""The error of a strike in lengths, against profiles projected on a wrong normal."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.methods.inversion.strike_error import strike_error

SHARP = Estimate(10.0, 1e-9, 10.0, 10.0)


def stretched(length, crossing, off):
    """What a length is told as where the strike is off: both rest on the same way of the line."""
    return length * np.sin(np.radians(crossing + off)) / np.sin(np.radians(crossing))


@pytest.mark.parametrize("crossing", [35.0, 60.0, 80.0, 90.0])
def test_the_spread_is_that_of_profiles_under_random_strikes(crossing):
    rng = np.random.default_rng(8)
    told = stretched(10.0, crossing, rng.normal(0.0, 4.0, 200_000))
    found = strike_error(SHARP, crossing_deg=crossing, strike_sd_deg=4.0)
    assert found.sd == pytest.approx(np.std(told), rel=0.05)
    assert found.high - found.value == pytest.approx(NINETY * found.sd)


def test_the_ends_hold_nine_in_ten_strikes_that_nobody_knows():
    rng = np.random.default_rng(9)
    true = 10.0 * np.sin(np.radians(rng.uniform(30.0, 150.0, 100_000)))
    found = strike_error(SHARP, crossing_deg=90.0, strike_sd_deg=None)
    assert np.mean(true < found.low) == pytest.approx(0.05, abs=0.005)
    assert found.sd == pytest.approx(np.sqrt(np.mean((true - 10.0) ** 2)), rel=0.01)
    assert found.high == 10.0


def test_an_open_end_stays_open_and_errors_add_in_squares():
    found = strike_error(Estimate(5.0, 0.3, -np.inf, 5.5), crossing_deg=45.0, strike_sd_deg=3.0)
    assert found.low == -np.inf
    assert found.sd == pytest.approx(np.hypot(0.3, 5.0 * np.radians(3.0)), rel=0.01)
    assert found.value == 5.0


def test_an_angle_beyond_a_right_one_is_refused():
    with pytest.raises(InputError, match="crossing_deg must lie in 0 to 90"):
        strike_error(SHARP, crossing_deg=91.0, strike_sd_deg=1.0)
