"""Verdict, changes of a survey, and the odds' dependence on them."""

from dataclasses import replace

import numpy as np
import pytest

from lodewalk.methods.bodies import Body
from lodewalk.methods.planning.expected import Source
from lodewalk.methods.planning.feasibility import (
    Case,
    Seeking,
    alike,
    changes,
    ends_of,
    lowered,
    probabilities_of,
    size_share,
    verdict_of,
)
from lodewalk.methods.planning.line_layout import LineLayout
from lodewalk.methods.planning.survey_noise import RandomField, SurveyNoise

POLE = np.array([0.0, 0.0, 50000.0])
SQUARE = np.array([[0.0, 0.0], [150.0, 0.0], [150.0, 150.0], [0.0, 150.0]])
NOISE = SurveyNoise(0.1, 0.3, 0.5, 600.0, 1.0, (RandomField(2.0, 22.0), RandomField(0.6, 3.0)))
CASE = Case(LineLayout(0.0, 20.0, 200.0), NOISE, 0.05, 0.0, 12.0, 1.0)
SPHERE = Source(Body(kind="sphere", depth_m=12.0, radius_m=3.0), POLE, 0.05, np.zeros(3))


def seeking(source=SPHERE, draws=None):
    contrasts = np.full(100, source.susceptibility) if draws is None else draws
    return Seeking(source, contrasts, 0.0, SQUARE, 0.05)


@pytest.mark.parametrize(
    ("probability", "best", "verdict"),
    [
        (0.9, 0.0, "go"),
        (0.899, 0.0, "doubtful"),
        (0.5, 0.0, "doubtful"),
        (0.499, 0.89, "no-go"),
        (0.499, 0.9, "doubtful"),
        (0.0, 0.0, "no-go"),
    ],
)
def test_rule_of_the_verdict(probability, best, verdict):
    assert verdict_of(probability, wanted=0.9, best=best) == verdict


def test_lower_sensor_comes_nearer_to_soil():
    lower = lowered(CASE, 1.0)
    assert lower.layout.sensor_height_m == 1.0
    rock, soil = lower.noise.geology
    assert (rock.depth_m, soil.depth_m) == (21.0, 2.0)
    assert soil.sd_nT == pytest.approx(0.9)  # 0.6 nT at 3 m
    assert rock.sd_nT == pytest.approx(2.0 * 22 / 21)
    assert lowered(CASE, 1.8) is None


def test_each_change_changes_one_thing():
    found = {change.name: change for change in changes(CASE, measured={"low": 0.01, "high": 0.1})}
    assert found["closer lines"].case == replace(CASE, layout=replace(CASE.layout, spacing_m=10.0))
    assert found["sparser lines"].case.layout.spacing_m == 40.0
    assert found["quieter hours"].case == replace(CASE, noise=replace(NOISE, diurnal_nT=0.25))
    quiet = found["quieter sensor and walk"].case.noise
    assert (quiet.instrument_nT, quiet.walking_nT) == (0.05, 0.15)
    assert found["tie lines"].case.layout.tie_spacing_m == 100.0
    assert found["hand meter, high"].case.susceptibility == 0.1
    assert not found["hand meter, high"].of_survey


def test_tie_lines_are_added_where_there_are_none():
    bare = replace(CASE, layout=LineLayout(0.0, 20.0))
    ties = next(change for change in changes(bare) if change.name == "tie lines")
    assert ties.case.layout.tie_spacing_m == 200.0
    assert ties.text.startswith("Add tie lines")


def test_ends_hold_one_thing_and_leave_the_other():
    case = replace(CASE, spread=0.5, depth_factor=1.5)
    ends = {
        (what, end): (value, one) for what, end, value, one in ends_of(case, low=0.01, high=0.2)
    }
    assert ends["depth", "high"][0] == pytest.approx(18.0)
    assert ends["depth", "high"][1].depth_factor == 1.0
    assert ends["depth", "high"][1].spread == 0.5
    assert ends["susceptibility", "low"][1].spread == 0.0
    assert ends["susceptibility", "low"][1].depth_factor == 1.5


def test_sizes_of_a_strong_sphere():
    # closed form k / (1 + k / 3); small beside the field, 40 m off, so that it adds up
    far = replace(SPHERE, body=Body(kind="sphere", depth_m=40.0, radius_m=1.0))
    for k, other in ((0.05, 0.1), (1.0, 100.0)):
        expected = other / (1 + other / 3) / (k / (1 + k / 3))
        assert size_share(replace(far, susceptibility=k), other) == pytest.approx(
            expected, rel=1e-3
        )


def test_odds_grow_with_size_and_closeness():
    # pairs of which the first must be found less often, in any sound predictor
    weak, usual, strong = (replace(CASE, susceptibility=k) for k in (0.0005, 0.05, 0.5))
    sparse = replace(CASE, layout=replace(CASE.layout, spacing_m=60.0))
    noisy = replace(CASE, noise=replace(NOISE, geology=(RandomField(12.0, 22.0),)))
    odds = dict(
        zip(
            ("weak", "usual", "strong", "sparse", "noisy"),
            probabilities_of(seeking(), [weak, usual, strong, sparse, noisy]),
            strict=True,
        )
    )
    assert odds["weak"] < odds["usual"] < odds["strong"]
    assert odds["sparse"] < odds["usual"]
    assert odds["noisy"] < odds["usual"]
    # (2/3) k F (R/z)^3 is 0.16 nT at most, less than any part of the noise but the sensor's
    assert odds["weak"] < 0.05
    assert odds["strong"] > 0.95


def test_odds_over_a_range_lie_between_those_of_its_ends():
    draws = 0.05 * np.exp(0.8 * np.random.default_rng(1).standard_normal(5000))
    case = replace(CASE, spread=0.8)
    low, high = np.quantile(draws, [0.02, 0.98])
    whole = probabilities_of(seeking(draws=draws), [case])[0]
    ends = probabilities_of(
        seeking(draws=draws), [replace(CASE, susceptibility=float(k)) for k in (low, high)]
    )
    assert ends[0] < whole < ends[1]


def test_either_sign_of_the_contrast_costs_a_little():
    # looking for both signs doubles the false alarms: some odds are lost, not many
    draws = np.where(np.arange(1000) % 2, 0.05, -0.05)
    both = probabilities_of(seeking(draws=draws), [CASE])[0]
    one = probabilities_of(seeking(), [CASE])[0]
    assert one - 0.1 < both < one


def test_cases_are_alike_where_their_tables_are():
    assert alike(CASE) == alike(replace(CASE, susceptibility=9.0))
    assert alike(CASE) != alike(lowered(CASE, 0.5))
    assert alike(CASE) != alike(replace(CASE, depth_m=9.0))
