"""Plans are held against the rule of thumb by simulated surveys, and against counting by hand.

The long trial is bench/evidence_optimiser.py.
"""

from dataclasses import replace

import numpy as np
import pytest

from detection_survey import prepared, simulate
from lodewalk.errors import CancelledError, InputError
from lodewalk.methods.planning.line_layout import line_length, line_pieces
from lodewalk.methods.planning.optimiser import choose_plan, rule_of_thumb
from planned_problems import problem, with_plan

SIZE = (140.0, 120.0)


def chosen(case, **changed):
    target = prepared(case, draws=1).target
    return choose_plan(case.area, target, case.layout, noise=case.noise, **changed)


def share_found(case, layout, threshold, surveys=200):
    return simulate(
        with_plan(case, layout), threshold, surveys=surveys, seed=8,
        truths=np.random.default_rng(9),
    ).found.mean()  # fmt: skip


@pytest.fixture(scope="module")
def strong():
    case = problem(701, strong=True, size_m=SIZE)
    return case, chosen(case)


def test_the_rule_of_thumb_crosses_the_strike_a_depth_apart(strong):
    case, choice = strong
    body = case.body
    assert choice.rule == rule_of_thumb(prepared(case, draws=1).target, case.layout)
    assert (choice.rule.azimuth_deg - body.strike_deg) % 180 == pytest.approx(90.0)
    assert choice.rule.spacing_m == pytest.approx(body.depth_m + case.height_m)
    assert choice.rule.tie_spacing_m == pytest.approx(10 * choice.rule.spacing_m)


def test_a_strong_body_needs_fewer_lines_and_is_found_as_surely_in_simulation(strong):
    case, choice = strong
    assert choice.better
    assert choice.saving >= 0.15
    assert choice.length_m == pytest.approx(line_length(case.area, choice.layout))
    by_rule = share_found(case, choice.rule, choice.rule_detection.threshold)
    by_choice = share_found(case, choice.layout, choice.detection.threshold)
    assert by_choice >= by_rule - 0.02


def test_two_tie_lines_remain(strong):
    case, choice = strong
    _, tie = line_pieces(case.area, choice.layout)
    assert tie.sum() >= 2


def test_the_widest_spacing_is_kept(strong):
    case, choice = strong
    widest = 1.5 * choice.rule.spacing_m
    narrow = chosen(case, widest_m=widest)
    assert narrow.layout.spacing_m <= widest
    assert all(plan.layout.spacing_m <= widest for plan in narrow.tried)
    assert narrow.saving < choice.saving


def test_no_plan_is_claimed_where_each_line_counts():
    case = problem(700, strong=False, size_m=SIZE)
    choice = chosen(case)
    assert not choice.better
    assert choice.layout == choice.rule
    assert choice.saving == 0
    # A quarter fewer kilometres do find less in simulation.
    wider = replace(choice.rule, spacing_m=1.35 * choice.rule.spacing_m)
    by_rule = share_found(case, choice.rule, choice.rule_detection.threshold, 600)
    assert share_found(case, wider, choice.rule_detection.threshold, 600) < by_rule - 0.01


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"widest_m": 1.0}, "widest spacing"),
        ({"widest_m": -1.0}, "widest_m must be above zero"),
        ({"least_saving": 1.0}, "least_saving must lie in"),
    ],
)
def test_bad_input_is_told(strong, changed, text):
    with pytest.raises(InputError, match=text):
        chosen(strong[0], **changed)


def test_the_search_ends_when_it_is_asked_to():
    asked = []

    def check():
        asked.append(1)
        if len(asked) == 3:
            raise CancelledError("enough")

    with pytest.raises(CancelledError):
        chosen(problem(701, strong=True, size_m=SIZE), check=check)
    assert len(asked) == 3
