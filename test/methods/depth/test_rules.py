"""Rules on fields of known bodies: published factors, and the reason where there is no depth."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies import index_dyke_anomaly
from lodewalk.methods.depth import (
    Curves,
    euler_profile,
    half_slope,
    local_wavenumber,
    read_curves,
    tilt_depth,
    total_gradient_width,
)
from lodewalk.methods.depth.rules import PETERS, width_about
from lodewalk.methods.inversion.results import Noise, Profile

CHECKS = Path(__file__).parents[2] / "published" / "closed_form_checks.csv"
FINE = np.linspace(-400.0, 400.0, 16001)


def published(prefix):
    with CHECKS.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["id"].startswith(prefix)]
    return {row["id"]: float(row["value"]) for row in rows}


def exact(gradient, second=None):
    """Return curves of exact gradients, four times the same, at the level of the readings."""
    rows = [np.tile(part, (4, 1)) for part in (gradient, gradient if second is None else second)]
    return Curves(FINE, 0.0, np.zeros((4, FINE.size)), rows[0], rows[1], 1.0)


def edges(half_width, depth=10.0, index=1.0, turn=0.0):
    """Return gradients of a dyke, or of a line source of an index, in closed form."""
    place = depth + 1j * FINE
    if half_width:
        gradient = 1 / (place - 1j * half_width) - 1 / (place + 1j * half_width)
        return gradient * -1j / (2 * half_width) * np.exp(1j * turn)
    return np.exp(1j * turn) / place ** (index + 1)


@pytest.mark.parametrize(("name", "factor"), published("P_").items())
def test_peters_factors_of_a_dyke(name, factor):
    """CHECKS 4.1 and closed_form_checks: the half-slope distance over the depth."""
    rule = half_slope(exact(edges(10.0 * float(name[2:]))))
    assert rule.depth.value * PETERS / 10.0 == pytest.approx(factor, abs=0.005)


def test_peters_interval_holds_the_published_range():
    for half_width in (0.01, 5.0, 200.0):
        depth = half_slope(exact(edges(half_width))).depth
        assert depth.low < 10.0 < depth.high


@pytest.mark.parametrize(
    ("name", "curve"),
    [
        ("HW1", lambda u: (2 - u**2) / (1 + u**2) ** 2.5 / 2),
        ("HW2", lambda u: (1 - u**2) / (1 + u**2) ** 2),
        ("HW3", lambda u: (1 + u**2) ** -1.5),
        ("HW4", lambda u: 1 / (1 + u**2)),
    ],
)
def test_half_widths_of_the_models(name, curve):
    axis = np.linspace(-3.0, 3.0, 6001)
    low, high = width_about(axis, curve(axis), 3000, 0.5)
    assert 0.5 * (high - low) == pytest.approx(published("HW")[name], abs=1e-4)


@pytest.mark.parametrize("turn", [0.0, 0.7, -2.5])
def test_tilt_depth_of_a_contact(turn):
    """CHECKS 4.5, T1: 45 degrees at the depth's distance, whatever the phase once turned."""
    assert tilt_depth(exact(edges(0, index=0.0, turn=turn))).depth.value == pytest.approx(10, 1e-3)


@pytest.mark.parametrize("turn", [0.0, 0.9, 2.0, -1.2])
@pytest.mark.parametrize("index", [0.0, 1.0, 2.0])
def test_total_gradient_width_for_any_phase(turn, index):
    """CHECKS 4.7, 4.8: 2 h for a sheet, 2 sqrt(3) h for a contact."""
    rule = total_gradient_width(exact(edges(0, index=index, turn=turn)), index=index)
    assert rule.depth.value == pytest.approx(10.0, rel=1e-3)


@pytest.mark.parametrize("rule", [local_wavenumber, euler_profile])
@pytest.mark.parametrize("index", [0.0, 1.0, 2.0])
def test_exact_derivatives_give_depth_and_index(rule, index):
    """CHECKS 4.6: Euler's equation holds to rounding with exact derivatives."""
    place = 10.0 + 1j * FINE
    second = (index + 1) / place ** (index + 2)
    found = rule(exact(edges(0, index=index), second))
    assert found.depth.value == pytest.approx(10.0, rel=1e-6)
    assert found.index.value == pytest.approx(index, abs=1e-6)


EVEN = np.linspace(-100.0, 100.0, 81)


def profile(curve, noise=0.01, seed=0, distance=EVEN):
    rng = np.random.default_rng(seed)
    values = curve(distance)
    sd = noise * np.ptp(values)
    return Profile(
        distance, values + rng.normal(0, sd, distance.size), sd_nT=np.full(distance.size, sd)
    )


def sheet(distance):
    return index_dyke_anomaly(
        distance, depth_m=10.0, half_width_m=0.5, amplitude_nT=100.0, index_angle_deg=-50.0
    )


def test_readings_are_read_where_they_lie_and_over_uneven_ground():
    rng = np.random.default_rng(1)
    distance = np.sort(rng.uniform(-100, 100, 120))
    rise = 1.5 * np.sin(distance / 15.0)
    values = 1e4 * np.real(np.exp(-0.9j) / (10.0 + rise + 1j * distance))
    curves = read_curves(Profile(distance, values, rise, np.full(120, 2.0)))
    for rule in (total_gradient_width, local_wavenumber, euler_profile):
        assert rule(curves).depth.value == pytest.approx(10.0, rel=0.15)


@pytest.mark.parametrize("rule", [total_gradient_width, local_wavenumber, euler_profile])
def test_stated_errors_hold(rule):
    """Nine in ten or more of noisy sheets lie in the rule's interval."""
    held = []
    for seed in range(40):
        depth = rule(read_curves(profile(sheet, noise=0.02, seed=seed))).depth
        held.append(depth is not None and depth.low < 10.0 < depth.high)
    assert np.mean(held) >= 0.9


def test_tilt_needs_the_pole():
    curves = read_curves(profile(sheet))
    for inclination in (0.0, None, -40.0):
        rule = tilt_depth(curves, turned=False, inclination_deg=inclination)
        assert rule.depth is None
        assert not rule.valid
        assert "reduced to the pole" in rule.reason


def test_too_few_readings_and_flat_data_say_so():
    with pytest.raises(InputError, match="has 8 readings; a depth needs 12"):
        read_curves(profile(sheet, distance=np.linspace(-50.0, 50.0, 8)))
    with pytest.raises(InputError, match="flat within its noise"):
        read_curves(profile(lambda x: 0.0 * x + np.where(x > 0, 1e-9, 0.0), noise=1.0))
    with pytest.raises(InputError, match="no length"):
        read_curves(Profile(np.zeros(20), np.arange(20.0)))


def test_an_anomaly_at_the_edge_is_not_valid():
    curves = read_curves(
        profile(lambda x: sheet(x + 97.0), distance=np.linspace(-100.0, 100.0, 161))
    )
    for rule in (half_slope, total_gradient_width, euler_profile):
        assert not rule(curves).valid


def test_more_noise_makes_the_error_larger():
    few = [euler_profile(read_curves(profile(sheet, noise=n))).depth.sd for n in (0.002, 0.05)]
    assert few[1] > few[0]
    loud = read_curves(profile(sheet), noise=Noise(scale=3.0))
    assert loud.gradient.shape[0] == 17


def test_an_index_outside_the_range_is_refused():
    with pytest.raises(InputError, match="lies in 0 to 2"):
        total_gradient_width(read_curves(profile(sheet)), index=3.0)
