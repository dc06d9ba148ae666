"""Range of a quiet day: the shape by numerical derivatives, the size by what was measured."""

import numpy as np
import pytest
from scipy.special import lpmv

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import site_values
from lodewalk.methods.geomagnetic.quiet_range import daily_variation, quiet_range


def schmidt(n, m, cosine):
    """scipy's functions carry (-1)^m; Schmidt's have none and a root before them."""
    from math import factorial

    root = np.sqrt(2.0 * factorial(n - m) / factorial(n + m))
    return (-1) ** m * root * lpmv(m, n, cosine)


def potential(radius, colatitude, time):
    """External and induced potential of the two terms, radius in that of the Earth."""
    total = 0.0
    for n, m, size in ((2, 1, 1.0), (3, 2, -0.5)):
        reach = radius**n + 0.4 * radius ** -(n + 1)
        total += size * reach * schmidt(n, m, np.cos(colatitude)) * np.cos(m * time)
    return total


@pytest.mark.parametrize("dip", [-60.0, -20.0, 0.0, 33.0, 75.0])
def test_shape_by_derivatives_of_the_potential(dip):
    hours = np.arange(0.0, 24.0, 0.25)
    time, step = 2 * np.pi * hours / 24, 1e-5

    def slopes(latitude):
        theta = np.radians(90.0 - latitude)
        north = potential(1.0, theta + step, time) - potential(1.0, theta - step, time)
        down = potential(1.0 + step, theta, time) - potential(1.0 - step, theta, time)
        return north / (2 * step), down / (2 * step)

    span = np.ptp(slopes(0.0)[0])
    for found, expected in zip(daily_variation(dip, hours), slopes(dip), strict=True):
        np.testing.assert_allclose(found, expected / span, atol=1e-8)


def at(latitude, longitude, year):
    inclination = site_values(latitude, longitude, 0.0, decimal_year=year).inclination_deg
    return quiet_range(latitude, longitude, inclination_deg=inclination, decimal_year=year)


def test_quiet_days_at_eskdalemuir():
    """Medians of the total field, 08 to 18 UT, 2003: 15 nT on days of K 0 to 1, 20 nT on those of
    K 2, over all seasons."""
    found = [at(55.314, -3.206, 2003.0 + month / 12) for month in range(12)]
    assert np.mean([one.low_nT for one in found]) < 15.0
    assert np.mean([one.high_nT for one in found]) > 20.0


def test_a_quiet_day_at_conrad():
    """Daily range of F on 9 May 2024: 43 nT."""
    found = at(47.93, 15.87, 2024.355)
    assert found.low_nT < 43.0 < found.high_nT


def test_electrojet():
    """On the dip equator the range is two to three times that a few degrees off (from memory)."""
    under, beside = at(-12.04, -75.3, 2010.2), at(-21.0, -75.3, 2010.2)
    assert under.electrojet
    assert not beside.electrojet
    assert 1.8 < under.regular_nT / beside.regular_nT < 3.5


def test_summer_is_livelier_than_winter():
    for latitude in (50.0, -50.0):
        june, december = at(latitude, 20.0, 2020.47), at(latitude, 20.0, 2020.97)
        summer, winter = (june, december) if latitude > 0 else (december, june)
        assert summer.regular_nT > 1.5 * winter.regular_nT


def test_under_the_auroral_oval_quiet_is_louder():
    assert at(69.7, 18.9, 2020.25).high_nT > at(50.0, 18.9, 2020.25).high_nT


@pytest.mark.parametrize("place", [(90.0, 0.0), (-90.0, 0.0), (0.0, 180.0), (0.0, -180.0), (8, 39)])
def test_a_range_everywhere(place):
    found = at(*place, 2026.4)
    assert 1.0 < found.low_nT < found.high_nT < 400.0


def test_bad_values():
    with pytest.raises(InputError, match="Inclination must lie"):
        quiet_range(0.0, 0.0, inclination_deg=91.0, decimal_year=2020.0)
    with pytest.raises(InputError, match="1900 to 2030"):
        quiet_range(0.0, 0.0, inclination_deg=1.0, decimal_year=2040.0)
