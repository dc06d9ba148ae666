"""Regional and residual, power spectrum, features along a strike."""

import numpy as np
import pytest

from dipole_ground import anomaly, axis, one, smooth_noise
from lodewalk.errors import InputError
from lodewalk.methods.spectral.operators import Direction
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.separation import (
    TwoLayers,
    continuation_parts,
    directional_filter,
    matched_parts,
    trend_parts,
    two_layers,
)
from lodewalk.methods.spectral.transforms import prepare

COUNT, SPACING = 128, 5.0


def layers(seed):
    """Return the fields of a deep layer, 60 m down, and a shallow one, 12 m down."""
    rng = np.random.default_rng(seed)
    deep = 30 * smooth_noise(rng, COUNT, SPACING, 60.0)
    return deep, 5 * smooth_noise(rng, COUNT, SPACING, 12.0)


def test_white_noise_has_power_one():
    noise = np.random.default_rng(1).normal(size=(COUNT, COUNT))
    found = radial_power(prepare(noise, SPACING))
    high = found.wavenumber > 0.5 * np.pi / SPACING
    mean = np.average(found.power[high], weights=found.waves[high])
    assert mean == pytest.approx(1.0, abs=0.03)


def test_the_slope_of_the_spectrum_is_twice_the_depth():
    """White sources d below: P = exp(-2 k d) (Spector and Grant 1970)."""
    noise = smooth_noise(np.random.default_rng(2), COUNT, SPACING, 20.0)
    found = radial_power(prepare(noise, SPACING))
    used = (found.wavenumber > 0.03) & (found.wavenumber < 0.15)
    slope = np.polyfit(found.wavenumber[used], np.log(found.power[used]), 1)[0]
    assert -slope / 2 == pytest.approx(20.0, rel=0.1)


def test_the_spectrum_at_the_pole_is_that_of_the_anomaly_there():
    field = (20.0, -10.0)
    seen, pole = (
        radial_power(prepare(anomaly(one(30.0), COUNT, SPACING, way), SPACING), ways)
        for way, ways in ((field, (Direction(*field),) * 2), ((90.0, 0.0), ()))
    )
    middle = slice(4, 20)
    assert np.abs(np.log(seen.power / pole.power))[middle].max() < 0.1


def test_the_matched_filter_parts_two_layers():
    deep, shallow = layers(3)
    grid = deep + shallow
    prepared = prepare(grid, SPACING)
    found = two_layers(radial_power(prepared))
    assert found.deep_m == pytest.approx(60.0, rel=0.3)
    assert found.shallow_m == pytest.approx(12.0, rel=0.3)
    parts = matched_parts(prepared, grid)
    assert np.allclose(parts.regional + parts.residual, grid)
    middle = np.s_[8:-8, 8:-8]
    # Long waves of the shallow layer can't be told from the deep one's, but little of that is left.
    assert np.std((parts.residual - shallow)[middle]) < 0.2 * deep.std()
    assert np.corrcoef(parts.residual[middle].ravel(), shallow[middle].ravel())[0, 1] > 0.6


def test_one_layer_is_not_parted_in_two():
    white = np.random.default_rng(4).normal(size=(COUNT, COUNT))
    with pytest.raises(InputError, match="two layers"):
        two_layers(radial_power(prepare(white, SPACING)))


def test_a_share_of_each_wave_goes_to_the_deep_layer():
    share = TwoLayers(60.0, 12.0, 0.5).regional_share(np.array([0.0, np.log(2) / 48]))
    assert share == pytest.approx([1 / 1.5, 0.5])


def test_a_trend_is_not_tilted_by_a_body_in_a_corner():
    north, east = np.meshgrid(axis(40, 5.0), axis(40, 5.0), indexing="ij")
    ramp = 3 + 0.1 * north - 0.05 * east
    body = np.zeros(ramp.shape)
    body[2:8, 2:8] = 200.0
    body[20, 20] = np.nan
    parts = trend_parts(ramp + body)
    assert np.nanmax(np.abs(parts.regional - ramp)) < 1e-6
    assert np.isnan(parts.residual[20, 20])
    with pytest.raises(InputError, match="Degree"):
        trend_parts(ramp, degree=5)


def test_what_continuation_leaves_is_the_rest():
    grid = anomaly(one(30.0), COUNT, SPACING, (60.0, 0.0))
    parts = continuation_parts(prepare(grid, SPACING), grid, height_m=40.0)
    assert np.allclose(parts.regional + parts.residual, grid)
    # A dipole 70 m down is (30/70)^3 as high.
    assert parts.regional.max() / grid.max() == pytest.approx((30 / 70) ** 3, rel=0.03)


def test_features_along_a_strike_stay_and_others_go():
    north, east = np.meshgrid(axis(COUNT, SPACING), axis(COUNT, SPACING), indexing="ij")
    across = east * np.cos(np.radians(30)) - north * np.sin(np.radians(30))
    ridge = np.exp(-((across / 20) ** 2))
    prepared = prepare(ridge, SPACING)
    middle = np.s_[32:-32, 32:-32]
    for strike, least, most in ((30.0, 0.9, 1.1), (120.0, -0.1, 0.25)):
        kept = directional_filter(prepared, strike_deg=strike, power=4)
        left = directional_filter(prepared, strike_deg=strike, power=4, keep=False)
        share = np.sum((kept * ridge)[middle]) / np.sum(ridge[middle] ** 2)
        assert least < share < most
        assert np.allclose((kept + left), ridge + (kept + left - ridge).mean(), atol=1e-9)
