"""One depth of a profile: a seeded part of the trial of known bodies, and profiles without one.

The whole trial is `bench/evidence_depth.py`; its figures stand in `doc/evidence.rst`.
"""

import re

import numpy as np
import pytest

from depth_suite import CALIBRATION, JUDGING, draw, end_member, floor, survey
from lodewalk.errors import InputError
from lodewalk.methods.bodies import index_dyke_anomaly
from lodewalk.methods.depth import answer_depth, structural_index
from lodewalk.methods.depth._window_kernel import CODES, body_curves
from lodewalk.methods.depth.answer import mixed
from lodewalk.methods.depth.noise_rows import window_rows
from lodewalk.methods.inversion.models import shape_curves
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import Estimate, Noise, Profile, ProfileFit

#: Profiles of each kind: enough to see an error of half its size or twice.
COUNT = 8


@pytest.mark.parametrize("kind", ["thin sheet", "dyke", "contact", "cylinder", "sphere"])
def test_known_bodies_lie_within_their_intervals(kind):
    off, held = [], []
    for seed in range(7000, 7000 + COUNT):
        case = draw(seed, kind, JUDGING)
        found = answer_depth(case.profile, noise=case.noise, kind=kind, about_m=case.about_m)
        if found.depth is None:
            assert found.problem
            continue
        off.append((found.depth.value - case.depth_m) / floor(case))
        held.append(found.depth.low <= case.depth_m <= found.depth.high)
    assert len(off) >= COUNT - 1
    assert np.median(np.abs(off)) / 0.6745 < 2.2
    assert sum(held) >= COUNT - 3


def sheet(distance, place=0.0):
    return index_dyke_anomaly(
        distance - place, depth_m=10.0, half_width_m=0.5, amplitude_nT=100.0, index_angle_deg=-50.0
    )


def profile(values, distance, sd=0.2):
    noise = np.random.default_rng(0).normal(0, sd, distance.size)
    return Profile(distance, values + noise, sd_nT=np.full(distance.size, sd))


WIDE = np.linspace(-80.0, 80.0, 81)


def test_a_neighbour_does_not_move_the_depth():
    alone = answer_depth(profile(sheet(WIDE), WIDE), noise=Noise(), kind="thin sheet")
    both = profile(sheet(WIDE) + 0.4 * sheet(WIDE, 60.0), WIDE)
    beside = answer_depth(both, noise=Noise(), kind="thin sheet")
    assert alone.depth.value == pytest.approx(10.0, abs=0.3)
    assert beside.depth.value == pytest.approx(10.0, abs=0.3)
    assert beside.depth.sd >= 0.8 * alone.depth.sd


def test_a_wrong_kind_is_told_beside_the_right_one():
    found = answer_depth(profile(sheet(WIDE), WIDE), noise=Noise())
    assert found.kinds
    assert found.index.value == 1.0
    assert found.depth.low < 10.0 < found.depth.high
    assert {rule.method for rule in found.rules} >= {"half slope", "Euler", "tilt depth"}


def test_a_fit_made_elsewhere_stands_beside_the_rules():
    fit = ProfileFit(depth=Estimate(9.0, 1.0, 7.5, 11.0))
    found = answer_depth(profile(sheet(WIDE), WIDE), noise=Noise(), fit=fit)
    assert found.rules[0].method == "fit"
    assert found.rules[0].depth.value == 9.0


@pytest.mark.parametrize(
    ("values", "distance", "message"),
    [
        (np.zeros(81), WIDE, "flat within its noise"),
        (sheet(WIDE[:9]), WIDE[:9], "9 readings; a depth needs 12"),
        (sheet(WIDE, 78.0), WIDE, "cut by the edge|don't hold the depth|comes to rest"),
    ],
)
def test_poor_profiles_have_a_problem_and_no_depth(values, distance, message):
    about = 78.0 if message.startswith("cut") else float(distance.mean())
    found = answer_depth(profile(values, distance), noise=Noise(), about_m=about)
    assert found.depth is None
    assert re.search(message, found.problem)


def test_a_place_outside_the_profile_is_told():
    found = answer_depth(profile(sheet(WIDE), WIDE), noise=Noise(), about_m=100.0)
    assert "lies outside the profile" in found.problem


@pytest.mark.parametrize(
    ("kind", "index"),
    [("thin sheet", 1.0), ("wide dyke", 0.0), ("contact", 0.0), ("cylinder", 2.0), ("sphere", 3.0)],
)
def test_end_members_are_told(kind, index):
    for seed in range(9000, 9003):
        case = end_member(seed, kind)
        found = structural_index(case.profile, noise=case.noise, about_m=case.about_m)
        assert found.resolved
        assert found.value == index


def test_between_end_members_no_index_is_told():
    case = end_member(9001, "dyke as wide as deep")
    found = structural_index(case.profile, noise=case.noise, about_m=case.about_m)
    assert not found.resolved
    assert (found.low, found.high) == (0.0, 1.0)


def test_no_index_of_flat_data():
    with pytest.raises(InputError, match="flat within its noise"):
        structural_index(profile(np.zeros(81), WIDE))


@pytest.mark.parametrize("seed", [20001, 20059, 20087])
def test_a_sphere_beside_a_neighbour_is_found_at_its_depth(seed):
    # searches from one first shape end at half or twice the depth here
    case = draw(seed, "sphere", JUDGING)
    found = answer_depth(case.profile, noise=case.noise, kind="sphere", about_m=case.about_m)
    assert abs(found.depth.value - case.depth_m) < 3.0 * floor(case)


def test_an_interval_holds_both_of_two_minima():
    # the data like the wrong one better by two squares
    case = draw(1056, "sphere", CALIBRATION)
    found = answer_depth(case.profile, noise=case.noise, kind="sphere", about_m=case.about_m)
    assert found.depth.value < 0.8 * case.depth_m
    assert found.depth.low < case.depth_m < found.depth.high


@pytest.mark.parametrize("pooled", [False, True])
def test_neighbours_are_not_told_as_noise(pooled):
    cases = survey(1001)
    rows = [window_rows(case.profile, case.kind, about_m=case.about_m) for case in cases]
    told = []
    for group in [range(len(cases))] if pooled else [[k] for k in range(len(cases))]:
        told += pooled_noises([cases[k].profile for k in group], [rows[k] for k in group])
    assert any(case.neighbours for case in cases)
    for case, noise in zip(cases, told, strict=True):
        sd = case.profile.sd_nT[0]
        true = np.hypot(sd, case.noise.correlated_nT)
        assert 0.5 * true < np.hypot(noise.scale * sd, noise.correlated_nT) < 2.0 * true


def test_a_flat_profile_has_no_rows_for_its_noise():
    assert window_rows(profile(np.zeros(81), WIDE)).shape == (0, 81)


def test_a_mixture_covers_its_parts():
    parts = {"a": Estimate(10.0, 1.0, 8.5, 12.0), "b": Estimate(20.0, 1.0, 18.5, 22.0)}
    both = mixed({"a": 0.5, "b": 0.5}, parts)
    assert 11.0 < both.value < 19.0
    assert both.low < 9.5
    assert both.high > 20.5
    assert both.sd > 5.0


@pytest.mark.parametrize(
    ("kind", "shape"),
    [
        ("thin sheet", [1.0, 6.0]),
        ("dyke", [1.0, 6.0, 30.0]),
        ("dyke", [1.0, 6.0, 0.01]),
        ("dyke", [1.0, 6.0, -8.0]),
        ("contact", [1.0, 6.0]),
        ("cylinder", [1.0, 6.0]),
        ("sphere", [1.0, 6.0]),
        ("finite dyke", [1.0, 6.0, 9.0, 20.0, 70.0]),
        ("step", [1.0, 6.0, 20.0, 110.0]),
    ],
)
def test_the_kernel_has_the_curves_of_the_models(kind, shape):
    distance = np.linspace(-30.0, 40.0, 60)
    rise, shape = np.sin(distance), np.array(shape)
    columns, slopes = shape_curves(kind, distance, rise, shape)
    own, changes = np.empty_like(columns), np.empty_like(slopes)
    body_curves(CODES[kind], distance, rise, shape, own, changes)
    np.testing.assert_allclose(own, columns, rtol=1e-9, atol=1e-13 * np.abs(columns).max())
    for one, other in zip(changes, slopes, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-7, atol=1e-12 * np.abs(other).max())
