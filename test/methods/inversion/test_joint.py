"""Joint fits: closed forms for copies of one profile, coverage and differences by planting."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.joint import fit_joint
from lodewalk.methods.inversion.results import Noise, Profile
from planted_profiles import across

X = np.arange(-60.0, 60.0, 2.5)


def test_copies_of_one_profile_halve_the_error():
    profile = across(np.random.default_rng(4))
    alone = fit_joint([profile, profile], noises=[Noise(), Noise()])
    four = fit_joint([profile] * 8, noises=[Noise()] * 8)
    for name in ("depth_m", "index_angle_deg", "half_width_m"):
        one, many = alone.estimates[name], four.estimates[name]
        assert many.value == pytest.approx(one.value, rel=1e-4)
        assert many.sd == pytest.approx(one.sd / 2.0, rel=1e-3)
    assert four.cost == pytest.approx(4.0 * alone.cost, rel=1e-6)
    assert four.chance == pytest.approx(1.0, abs=1e-3)
    assert four.freedom == 8 * X.size - (8 * 4 + 3)


@pytest.fixture(scope="module")
def joined():
    found = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found.append(fit_joint([across(rng) for _ in range(5)], noises=[Noise()] * 5))
    return found


def test_intervals_hold_what_is_shared(joined):
    for name, truth in (("depth_m", 10.0), ("half_width_m", 6.0), ("index_angle_deg", -40.0)):
        held = np.mean([f.estimates[name].low <= truth <= f.estimates[name].high for f in joined])
        assert 0.78 <= held <= 0.99, name


def test_profiles_of_one_body_seldom_differ(joined):
    assert np.mean([found.differ for found in joined]) <= 0.17


def test_profiles_of_a_plunging_body_differ_and_the_interval_holds_their_mean():
    held, differ, spread = [], [], []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        depths = 10.0 * np.exp(0.2 * rng.normal(size=5))
        some = [across(rng, depth=depth, share=0.02) for depth in depths]
        found = fit_joint(some, noises=[Noise()] * 5)
        held.append(found.estimates["depth_m"].low <= 10.0 <= found.estimates["depth_m"].high)
        differ.append(found.differ)
        spread.append(found.spread["depth_m"])
    assert np.mean(differ) > 0.9
    assert np.mean(held) >= 0.75
    assert np.median(spread) == pytest.approx(0.2, rel=0.5)


def test_an_angle_past_the_half_turn_is_no_difference():
    rng = np.random.default_rng(8)
    some = [across(rng, angle=angle) for angle in (179.0, -179.5, 180.0)]
    found = fit_joint(some, noises=[Noise()] * 3, shared=("index_angle_deg",))
    angle = found.estimates["index_angle_deg"].value
    assert abs(abs(angle) - 180.0) < 5.0
    assert not found.differ
    assert list(found.estimates) == ["index_angle_deg", "strength_nT_m"]


def test_places_are_each_profiles_own():
    rng = np.random.default_rng(3)
    state = rng.bit_generator.state
    places = []
    for _ in range(3):
        places.append(rng.uniform(-8.0, 8.0))
        rng.uniform(50.0, 150.0)
        rng.normal(size=X.size)
        rng.normal()
    rng.bit_generator.state = state
    found = fit_joint([across(rng) for _ in range(3)], noises=[Noise()] * 3)
    for estimate, place in zip(found.position_m, places, strict=True):
        assert estimate.value == pytest.approx(place, abs=4.0 * estimate.sd)


def test_poor_profiles_are_told():
    good = across(np.random.default_rng(1))
    assert "two profiles" in fit_joint([good], noises=[Noise()]).problem
    short = Profile(X[:5], np.arange(5.0))
    found = fit_joint([good, short], noises=[Noise()] * 2)
    assert found.problem.startswith("Profile 2: ")
    assert not found.estimates


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"kind": "sphere"}, "thin sheet, dyke or contact"),
        ({"noises": []}, "needs its noise"),
        ({"shared": ("level_nT",)}, "can share"),
    ],
)
def test_wrong_input_is_refused(change, match):
    good = across(np.random.default_rng(1))
    with pytest.raises(InputError, match=match):
        fit_joint([good, good], **{"noises": [Noise(), Noise()], **change})
