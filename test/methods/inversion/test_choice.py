"""Kind and depth under planted profiles; what is said of profiles that hold no answer."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.inversion.choice import fit_profile
from lodewalk.methods.inversion.constraints import Constraint
from lodewalk.methods.inversion.results import Noise, Profile
from planted_profiles import planted

X = np.linspace(-80.0, 80.0, 81)


def dyke(place=0.0, *, depth=10.0, width=4.0, size=100.0, angle=-50.0):
    return index_dyke_anomaly(X - place, depth_m=depth, half_width_m=width / 2.0,
                              amplitude_nT=size, index_angle_deg=angle)  # fmt: skip


def measured(curve, sd=0.5, seed=1, x=X):
    errors = np.random.default_rng(seed).normal(0.0, sd, x.size)
    return Profile(x, curve + errors, sd_nT=np.full(x.size, sd))


@pytest.fixture(scope="module")
def cases():
    found = []
    for seed in range(9_000, 9_080):
        case = planted(seed)
        found.append((case, fit_profile(case.profile, noise=case.noise)))
    return found


def test_the_kind_is_right_where_it_is_told(cases):
    told = [fit.fits[0].kind == case.kind for case, fit in cases if fit.decidable]
    assert len(told) > 0.5 * len(cases)
    assert np.mean(told) >= 0.95


def test_depth_intervals_hold_the_truth_as_often_as_they_say(cases):
    held = [fit.depth.low <= case.depth_m <= fit.depth.high for case, fit in cases if fit.depth]
    # three standard deviations of 80 trials about nine in ten
    assert 0.80 <= np.mean(held) <= 1.0


def test_few_profiles_have_no_answer(cases):
    assert np.mean([bool(fit.problem) for _, fit in cases]) < 0.05


def test_probabilities_add_up_and_the_best_kind_is_first(cases):
    for _, fit in cases[:20]:
        assert sum(fit.probability.values()) == pytest.approx(1.0)
        assert fit.fits[0].kind == max(fit.probability, key=fit.probability.__getitem__)
        logs = [one.log_evidence for one in fit.fits]
        assert logs == sorted(logs, reverse=True)


def test_width_below_the_depth_is_not_resolved_but_strength_is():
    fit = fit_profile(measured(dyke(width=2.0), sd=1.0), noise=Noise())
    best = fit.fits[0]
    assert best.kind == "thin sheet"
    assert "The width is not resolved: below" in best.not_resolved[0]
    half = best.estimates["half_width_m"]
    assert (half.low, half.resolved) == (0.0, False)
    assert half.high > 1.0
    strength = best.estimates["strength_nT_m"]
    assert strength.low < 200.0 < strength.high
    assert strength.sd < 0.1 * strength.value


def test_width_above_the_depth_is_resolved():
    fit = fit_profile(measured(dyke(width=30.0)), noise=Noise())
    best = fit.fits[0]
    assert (best.kind, best.not_resolved) == ("dyke", ())
    half = best.estimates["half_width_m"]
    assert half.low < 15.0 < half.high
    assert half.resolved
    assert best.estimates["index_angle_deg"].value == pytest.approx(-50.0, abs=2.0)


@pytest.mark.parametrize("known", [60.0, np.inf])
def test_good_data_give_a_narrow_depth(known):
    """Beside the floor of the linear theory: half a per cent at this width and noise."""
    profile = measured(dyke(depth=8.0, width=20.0), sd=0.3)
    fit = fit_profile(profile, noise=Noise(known=known))
    assert fit.fits[0].kind == "dyke"
    assert fit.depth.sd < 0.08
    assert abs(fit.depth.value - 8.0) < 3.0 * fit.depth.sd


def test_what_can_not_be_told_apart_is_said():
    fit = fit_profile(measured(dyke(width=10.0), sd=4.0), noise=Noise())
    assert not fit.decidable
    assert "The kind is not decided" in fit.fits[0].not_resolved[-1]


def test_model_runs_through_the_readings():
    profile = measured(dyke(width=30.0) + 40.0 + 0.3 * X)
    best = fit_profile(profile, noise=Noise()).fits[0]
    rest = profile.anomaly_nT - best.model_nT
    assert np.std(rest) == pytest.approx(0.5, rel=0.25)
    assert (best.low_nT <= best.model_nT).all()
    assert (best.model_nT <= best.high_nT).all()
    assert best.cost == pytest.approx((rest**2).sum() / 0.25, rel=1e-6)


def test_a_borehole_narrows_the_depth():
    profile = measured(dyke(width=10.0), sd=4.0)
    free = fit_profile(profile, noise=Noise())
    bored = fit_profile(profile, noise=Noise(),
                        constraints=[Constraint("depth_m", 10.0, 10.0, 0.3)])  # fmt: skip
    assert bored.depth.high - bored.depth.low < 0.4 * (free.depth.high - free.depth.low)
    assert bored.depth.low < 10.0 < bored.depth.high


def test_index_angle_and_strength_can_be_known():
    profile = measured(dyke(width=3.0), sd=4.0)
    known = [Constraint("index_angle_deg", -50.0, -50.0, 1.0),
             Constraint("strength_nT_m", 300.0, 300.0, 6.0)]  # fmt: skip
    best = fit_profile(profile, noise=Noise(), constraints=known).fits[0]
    assert best.estimates["index_angle_deg"].sd < 1.05
    assert best.estimates["strength_nT_m"].sd < 7.0


def test_a_weak_neighbour_is_fitted_along():
    curve = dyke(-5.0) + dyke(45.0, size=20.0, angle=60.0)
    for more in ({}, {"neighbours": (45.0,)}):
        fit = fit_profile(measured(curve), noise=Noise(), **more)
        assert fit.problem == ""
        assert fit.depth.low < 10.0 < fit.depth.high
        assert fit.depth.sd < 1.5


@pytest.mark.parametrize("apart", [30.0, 40.0, 60.0])
def test_two_bodies_in_one_window_are_told(apart):
    fit = fit_profile(measured(dyke(-20.0) + dyke(apart - 20.0, size=90.0)), noise=Noise())
    assert fit.fits == ()
    assert fit.depth is None
    assert "Two bodies lie in one window" in fit.problem
    assert f"{apart:.0f} m" in fit.problem or f"{apart + 1:.0f} m" in fit.problem \
        or f"{apart - 1:.0f} m" in fit.problem  # fmt: skip


@pytest.mark.parametrize(
    ("curve", "match"),
    [
        (np.zeros(81), "No anomaly stands above the noise"),
        (dyke(75.0, width=8.0), "cut by an end"),
    ],
)
def test_no_number_is_given_where_there_is_none(curve, match):
    fit = fit_profile(measured(curve), noise=Noise())
    assert (fit.fits, fit.depth, fit.decidable) == ((), None, False)
    assert match in fit.problem


def test_flat_and_short_profiles_are_told():
    assert "flat" in fit_profile(Profile(X, np.full(81, 7.0)), noise=Noise()).problem
    few = Profile(X[:6], dyke()[:6])
    assert "needs" in fit_profile(few, noise=Noise()).problem


def test_noise_is_hardly_ever_taken_for_a_body():
    found = [fit_profile(measured(np.zeros(81), seed=seed), noise=Noise()) for seed in range(40)]
    assert sum(not fit.problem for fit in found) == 0


def test_other_kinds_may_be_asked_for():
    square = X**2 + 20.0**2
    curve = 4e4 * (20.0**2 - X**2) / square**2
    fit = fit_profile(measured(curve), noise=Noise(), kinds=("thin sheet", "cylinder", "step"))
    assert fit.fits[0].kind == "cylinder"
    assert fit.decidable
    assert fit.depth.low < 20.0 < fit.depth.high
    with pytest.raises(InputError, match="No such kind"):
        fit_profile(measured(curve), noise=Noise(), kinds=("blob",))
