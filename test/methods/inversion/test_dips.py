"""Dips against the forward model of a magnetised dyke, which has its own way to the index."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dyke import dyke_anomaly, dyke_field, index_dyke_anomaly
from lodewalk.methods.inversion.dips import (
    dip_of,
    index_of_dip,
    remanence_turn,
    section_direction,
    susceptibility_width,
)
from lodewalk.methods.inversion.results import Estimate

X = np.linspace(-60.0, 60.0, 121)


def exact(value):
    return Estimate(value, 0.0, value, value)


def index_of(curve, *, depth_m=10.0, half_width_m=3.0):
    """Return amplitude and index angle of a dyke's curve by least squares on its two parts."""
    parts = [
        index_dyke_anomaly(X, depth_m=depth_m, half_width_m=half_width_m, amplitude_nT=1.0,
                           index_angle_deg=angle)
        for angle in (0.0, 90.0)
    ]  # fmt: skip
    p, q = np.linalg.lstsq(np.array(parts).T, curve, rcond=None)[0]
    return np.hypot(p, q), np.degrees(np.arctan2(q, p))


@pytest.mark.parametrize("inclination", [60.0, -55.0, 15.0, -90.0, 0.0])
@pytest.mark.parametrize("azimuth", [0.0, 40.0, 130.0, -70.0])
@pytest.mark.parametrize("dip", [25.0, 90.0, 140.0])
def test_dip_of_an_induced_dyke_comes_back(inclination, azimuth, dip):
    field = {"strength_nT": 50000.0, "inclination_deg": inclination}
    curve = dyke_anomaly(X, depth_m=10.0, half_width_m=3.0, dip_deg=dip, susceptibility=0.02,
                         profile_azimuth_deg=azimuth, **field)  # fmt: skip
    amplitude, index = index_of(curve)
    found = dip_of(exact(index), inclination_deg=inclination, profile_azimuth_deg=azimuth,
                   magnetisation="induced", koenigsberger=0.2)  # fmt: skip
    assert found.dip.value == pytest.approx(dip, abs=1e-6)
    assert found.positive
    back = index_of_dip(dip, inclination_deg=inclination, profile_azimuth_deg=azimuth)
    assert abs((back - index + 180.0) % 360.0 - 180.0) < 1e-6
    product = susceptibility_width(exact(amplitude * 6.0), dip_deg=found.dip.value,
                                   profile_azimuth_deg=azimuth, **field)  # fmt: skip
    assert product.value == pytest.approx(0.02 * 6.0, rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_dip_of_a_remanent_dyke_comes_back_and_lies_in_the_range(seed):
    rng = np.random.default_rng(seed)
    inclination, azimuth, dip = rng.uniform(-80, 80), rng.uniform(-60, 60), rng.uniform(60, 120)
    ambient = np.radians(inclination)
    unit = np.array([np.cos(ambient) * np.cos(np.radians(azimuth)), np.sin(ambient),
                     -np.cos(ambient) * np.sin(np.radians(azimuth))])  # fmt: skip
    turned = rng.normal(size=3)
    total = unit + 0.4 * turned / np.linalg.norm(turned)
    along, down = dyke_field(X, depth_m=10.0, half_width_m=3.0, dip_deg=dip,
                             magnetisation_along=total[0], magnetisation_down=total[1])  # fmt: skip
    index = index_of(along * unit[0] + down * unit[1])[1]
    place = {"inclination_deg": inclination, "profile_azimuth_deg": azimuth}
    size = np.linalg.norm(total)
    given = dip_of(exact(index), magnetisation="given", **place,
                   body_inclination_deg=np.degrees(np.arcsin(total[1] / size)),
                   body_azimuth_deg=np.degrees(np.arctan2(-total[2], total[0])))  # fmt: skip
    assert given.dip.value == pytest.approx(dip, abs=1e-6)
    induced = dip_of(exact(index), magnetisation="induced", koenigsberger=0.4, **place)
    assert induced.range_low_deg - 1e-6 <= dip <= induced.range_high_deg + 1e-6


def test_reversed_magnetisation_is_told():
    curve = -dyke_anomaly(X, depth_m=10.0, half_width_m=3.0, dip_deg=70.0, susceptibility=0.02,
                          strength_nT=50000.0, inclination_deg=-40.0,
                          profile_azimuth_deg=20.0)  # fmt: skip
    found = dip_of(exact(index_of(curve)[1]), inclination_deg=-40.0, profile_azimuth_deg=20.0,
                   magnetisation="induced")  # fmt: skip
    assert found.dip.value == pytest.approx(70.0, abs=1e-6)
    assert not found.positive
    assert "less magnetic than its host" in found.words


def test_without_a_magnetisation_no_dip_is_told():
    found = dip_of(exact(10.0), inclination_deg=60.0, profile_azimuth_deg=0.0)
    assert found.dip is None
    assert "index angle alone" in found.words


def test_field_along_the_strike_tells_no_dip():
    found = dip_of(exact(10.0), inclination_deg=5.0, profile_azimuth_deg=88.0,
                   magnetisation="induced")  # fmt: skip
    assert found.dip is None
    assert "along the strike" in found.words


def test_error_of_index_and_strike_widen_the_interval():
    step = 1e-4
    place = {"inclination_deg": 30.0, "magnetisation": "induced"}
    sides = [dip_of(exact(-50.0), profile_azimuth_deg=50.0 + s, **place).dip.value
             for s in (-step, step)]  # fmt: skip
    rate = (sides[1] - sides[0]) / (2 * step)
    found = dip_of(Estimate(-50.0, 3.0, -54.9, -45.1), profile_azimuth_deg=50.0,
                   strike_sd_deg=2.0, koenigsberger=0.0, **place)  # fmt: skip
    assert found.dip.sd == pytest.approx(np.hypot(3.0, 2.0 * rate), rel=1e-6)
    assert found.dip.high - found.dip.value == pytest.approx(1.645 * found.dip.sd, rel=0.01)
    assert found.range_high_deg == found.dip.high


def test_strong_remanence_allows_any_dip():
    assert remanence_turn(1.2, 1.0) == 180.0
    found = dip_of(exact(-50.0), inclination_deg=60.0, profile_azimuth_deg=0.0, koenigsberger=1.5,
                   magnetisation="induced")  # fmt: skip
    assert found.dip is None
    assert np.isnan([found.range_low_deg, found.range_high_deg]).all()
    assert "any dip" in found.words


def test_an_interval_that_remanence_widens_to_all_dips_tells_none():
    """asin(0.9) is 64 degrees: with 30 more to either side it holds 0 to 180 about 90."""
    place = {"inclination_deg": 90.0, "profile_azimuth_deg": 0.0, "koenigsberger": 0.9,
             "magnetisation": "induced"}  # fmt: skip
    index = index_of_dip(90.0, inclination_deg=90.0, profile_azimuth_deg=0.0)
    narrow = dip_of(Estimate(index, 5.0, index - 8.0, index + 8.0), **place)
    assert narrow.dip.value == pytest.approx(90.0)
    assert narrow.range_low_deg == pytest.approx(90.0 - 8.0 - np.degrees(np.arcsin(0.9)))
    assert dip_of(Estimate(index, 18.0, index - 30.0, index + 30.0), **place).dip is None


def test_a_contact_says_on_which_side_the_more_magnetic_rock_lies():
    place = {"inclination_deg": 60.0, "profile_azimuth_deg": 0.0, "magnetisation": "induced"}
    right, left = (dip_of(exact(index), edge=True, **place) for index in (-50.0, 130.0))
    assert "right of the strike is the more magnetic" in right.words
    assert "left of the strike is the more magnetic" in left.words
    assert (right.positive, left.positive) == (True, False)


def test_the_error_of_the_dip_widens_that_of_the_susceptibility():
    field = {"strength_nT": 5e4, "inclination_deg": 60.0, "profile_azimuth_deg": 0.0}
    step = 1e-3
    sides = [susceptibility_width(exact(1000.0), dip_deg=40.0 + s, **field).value
             for s in (-step, step)]  # fmt: skip
    rate = abs(sides[1] - sides[0]) / (2.0 * step)
    found = susceptibility_width(exact(1000.0), dip_deg=40.0, dip_sd_deg=3.0, **field)
    assert found.sd == pytest.approx(3.0 * rate, rel=1e-4)
    assert found.high - found.value == pytest.approx(1.645 * found.sd, rel=1e-3)


def test_uncertain_index_tells_no_dip():
    found = dip_of(Estimate(-50.0, 40.0, -116.0, 16.0), inclination_deg=60.0,
                   profile_azimuth_deg=0.0, magnetisation="induced")  # fmt: skip
    assert found.dip is None


def test_direction_straight_down_lies_in_the_section_whole():
    angle, share, rate = section_direction(90.0, 77.0)
    assert (angle, share) == (pytest.approx(90.0), pytest.approx(1.0))
    assert rate == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"inclination_deg": 91.0}, "Inclination"),
        ({"koenigsberger": -0.1}, "must not be negative"),
        ({"magnetisation": "some"}, "unknown, induced or given"),
        ({"magnetisation": "given"}, "needs its inclination"),
    ],
)
def test_wrong_input_is_refused(change, match):
    values = {"inclination_deg": 60.0, "profile_azimuth_deg": 0.0, "magnetisation": "induced"}
    with pytest.raises(InputError, match=match):
        dip_of(exact(0.0), **{**values, **change})
    with pytest.raises(InputError, match="Dip must"):
        susceptibility_width(exact(1.0), dip_deg=0.0, strength_nT=5e4, inclination_deg=60.0,
                             profile_azimuth_deg=0.0)  # fmt: skip
