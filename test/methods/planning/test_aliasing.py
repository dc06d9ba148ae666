"""Aliased power of a spacing, against Reid's table and the spectrum itself."""

import numpy as np
import pytest
from scipy.integrate import quad

from lodewalk.errors import InputError
from lodewalk.methods.planning.aliasing import aliased_power, largest_spacing_m

# Reid (1980), Geophysics 45, 973-976, table in per cent as printed (from memory).
TOTAL_FIELD = [(1, 0.187, 0.001), (2, 4.32, 0.01), (4, 20.8, 0.1), (5, 28.5, 0.1)]
GRADIENT = [(1, 5.0, 0.1), (2, 39.0, 0.5), (4, 79.0, 0.5)]


@pytest.mark.parametrize(("ratio", "percent", "printed"), TOTAL_FIELD)
def test_table_of_the_total_field(ratio, percent, printed):
    assert 100 * aliased_power(ratio * 7.0, depth_m=7.0) == pytest.approx(percent, abs=printed)


@pytest.mark.parametrize(("ratio", "percent", "printed"), GRADIENT)
def test_table_of_the_gradient(ratio, percent, printed):
    found = 100 * aliased_power(ratio * 7.0, depth_m=7.0, measured="gradient")
    assert found == pytest.approx(percent, abs=printed)


@pytest.mark.parametrize(("measured", "power"), [("total field", 0), ("gradient", 2)])
@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.7, 3.0, 8.0])
def test_by_integrating_the_spectrum_of_white_sources(measured, power, ratio):
    depth = 12.0

    def spectrum(k):
        return k**power * np.exp(-2 * k * depth)

    folded = quad(spectrum, np.pi / (ratio * depth), np.inf, epsabs=0)[0]
    whole = quad(spectrum, 0, np.inf, epsabs=0)[0]
    found = aliased_power(ratio * depth, depth_m=depth, measured=measured)
    assert found == pytest.approx(folded / whole, rel=1e-7)


def test_by_a_profile_over_random_sources():
    """White noise on a line 20 m down, seen from above: power that a coarse sampling folds."""
    rng = np.random.default_rng(11)
    step, depth, spacing, many = 1.0, 20.0, 40.0, 2**18
    k = 2 * np.pi * np.fft.rfftfreq(many, step)
    profile = np.abs(np.fft.rfft(rng.standard_normal(many)) * np.exp(-k * depth)) ** 2
    folded = profile[k > np.pi / spacing].sum() / profile.sum()
    # About 1600 independent bins hold the power beyond: 4 % of the share, three times that allowed.
    assert aliased_power(spacing, depth_m=depth) == pytest.approx(folded, rel=0.12)


@pytest.mark.parametrize("measured", ["total field", "gradient"])
@pytest.mark.parametrize("share", [1e-9, 0.001, 0.05, 0.5, 0.99])
def test_the_largest_spacing_has_that_share(measured, share):
    spacing = largest_spacing_m(share, depth_m=30.0, measured=measured)
    assert aliased_power(spacing, depth_m=30.0, measured=measured) == pytest.approx(share, rel=1e-9)
    assert aliased_power(0.99 * spacing, depth_m=30.0, measured=measured) < share


def test_largest_spacing_by_its_closed_form():
    assert largest_spacing_m(0.05, depth_m=20.0) == pytest.approx(-40 * np.pi / np.log(0.05))


@pytest.mark.parametrize("spacing", [0.0, -5.0, np.nan, np.inf])
def test_a_spacing_that_is_none(spacing):
    with pytest.raises(InputError, match="Spacing must be above zero"):
        aliased_power(spacing, depth_m=10.0)


def test_other_bad_values():
    with pytest.raises(InputError, match="Depth below the sensor must be above zero"):
        aliased_power(10.0, depth_m=0.0)
    with pytest.raises(InputError, match="must lie between 0 and 1"):
        largest_spacing_m(1.0, depth_m=10.0)
    with pytest.raises(InputError, match=r"Measured is one of total field, gradient"):
        aliased_power(10.0, depth_m=10.0, measured="tensor")
