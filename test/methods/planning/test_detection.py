"""The predicted probability of detection is held against simulated surveys.

The simulator's bodies, ground and diurnal noise are its own; see `detection_survey`. The long
trial is bench/evidence_detection.py.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from detection_cases import CASES
from detection_survey import Case, anomaly, prepared, simulate
from lodewalk.errors import InputError
from lodewalk.methods.bodies.target import Body, body_anomaly
from lodewalk.methods.planning import detection
from lodewalk.methods.planning.detection import (
    layout_detection,
    layout_scores,
    predict_detection,
)
from lodewalk.methods.planning.line_layout import Readings
from lodewalk.methods.planning.whitening import whitened

SMALL = Case(
    "sphere", Body("sphere", 9.0, radius_m=4.0), (0.003, 0.012), 40_000, -50, 10, azimuth_deg=20.0,
    spacing_m=20.0, tie_spacing_m=60.0, size_m=(140.0, 120.0), soil=(0.5, 4.0),
)  # fmt: skip
DYKE = Case(
    "dyke", Body("dyke", 8.0, 4.0, 80.0, 100.0, strike_deg=30.0), (0.0006, 0.003), 50_000, 62,
    azimuth_deg=120.0, spacing_m=24.0, tie_spacing_m=100.0, strike_sd_deg=6.0,
    size_m=(140.0, 120.0), soil=(0.5, 4.0),
)  # fmt: skip


def promised(case, **changed):
    return layout_detection(
        case.area, case.layout, prepared=prepared(case, draws=changed.pop("draws", 64)),
        noise=case.noise, **changed,
    )  # fmt: skip


@pytest.mark.parametrize("case", [SMALL, DYKE], ids=lambda case: case.name)
def test_prediction_and_simulation_agree(case):
    surveys = 400
    predicted = promised(case, places=64)
    found = simulate(case, predicted.threshold, surveys=surveys, seed=11)
    chance = predicted.probability
    room = 3.3 * np.sqrt(chance * (1 - chance) / surveys) + 0.02
    assert 0.2 < chance < 0.95
    assert abs(found.found.mean() - chance) < room
    low, high = binom.ppf([0.0005, 0.9995], surveys, 0.05)
    assert low <= found.false_alarm.sum() <= high


@pytest.mark.parametrize("number", [0, 6, 10, 13, 19, 21, 24])
def test_the_simulator_has_the_bodies_of_the_predictor(number):
    # Dipoles at Gauss points against polyhedra: both right, or both wrong in the same way.
    case = CASES[number]
    case = replace(case, koenigsberger=0.0)
    east, north = np.random.default_rng(number).normal(0, 40, (2, 100))
    summed = anomaly(case, case.body, case.middle, east, north)
    closed = body_anomaly(
        case.body, east, north, np.full(100, case.height_m), ambient_nT=case.ambient,
        susceptibility=case.middle,
    )  # fmt: skip
    # The level of a contact's edge depends on where its slab ends.
    level = np.mean(summed - closed) if case.body.kind == "contact" else 0.0
    assert np.abs(summed - closed - level).max() < 0.01 * np.ptp(closed)


def test_what_makes_it_easier_raises_the_probability():
    start = promised(SMALL).probability
    assert promised(replace(SMALL, spacing_m=12.0)).probability > start
    assert promised(replace(SMALL, white=(0.1, 3.0))).probability < start
    assert promised(replace(SMALL, susceptibility=(0.02, 0.06))).probability > start
    assert promised(replace(SMALL, rocks=(8.0, 12.0))).probability < start


def test_strong_targets_are_certain_and_weak_ones_are_chance():
    strong = promised(replace(SMALL, susceptibility=(0.5, 0.6), spacing_m=10.0))
    assert strong.probability > 0.999
    nothing = promised(replace(SMALL, susceptibility=(1e-7, 1e-7)))
    assert nothing.probability < 0.05


def test_threshold_rises_with_fewer_false_alarms_and_a_larger_area():
    plain = promised(SMALL)
    assert promised(SMALL, false_alarm=0.001).threshold > plain.threshold + 0.5
    large = promised(replace(SMALL, size_m=(560.0, 480.0)))
    assert large.looks == pytest.approx(16 * plain.looks, rel=0.3)
    assert large.threshold > plain.threshold


def test_many_readings_are_worth_what_the_whole_covariance_says(monkeypatch):
    body = Body("dyke", 8.0, 4.0, 400.0, 100.0, strike_deg=90.0)
    case = replace(DYKE, body=body, susceptibility=(0.0002, 0.001), azimuth_deg=0.0,
                   spacing_m=10.0, size_m=(400.0, 160.0))  # fmt: skip
    sizes = []

    def whole(blocks, *args):
        sizes.append(blocks.count.size)
        return whitened(blocks, *args, exact=10_000)

    quick = promised(case, places=8)
    monkeypatch.setattr(detection, "whitened", whole)
    exact = promised(case, places=8)
    assert min(sizes) > 500
    assert 0.1 < exact.probability < 0.95
    assert quick.probability == pytest.approx(exact.probability, abs=0.01)
    assert quick.threshold == pytest.approx(exact.threshold, abs=0.02)


def test_one_set_of_scores_serves_targets_of_any_strength():
    weaker = replace(prepared(SMALL).target, strength_low=0.2, strength_high=0.6)
    own = layout_detection(
        SMALL.area, SMALL.layout, prepared=replace(prepared(SMALL), target=weaker),
        noise=SMALL.noise,
    )  # fmt: skip
    shared = layout_scores(
        SMALL.area, SMALL.layout, prepared=prepared(SMALL), noise=SMALL.noise
    ).detection(weaker)
    assert shared.probability == own.probability
    assert shared.probability < promised(SMALL).probability


def test_either_sign_costs_looks_but_finds_both():
    one, both = promised(SMALL), promised(replace(SMALL, both=True))
    assert both.threshold > one.threshold
    assert one.probability - 0.1 < both.probability < one.probability


def test_an_area_narrower_than_the_places_apart_is_still_looked_at():
    strong = replace(DYKE, susceptibility=(0.05, 0.06), size_m=(300.0, 14.0), tie_spacing_m=None)
    assert promised(strong).probability > 0.95


def test_the_same_seed_gives_the_same_figure():
    assert promised(SMALL).probability == promised(SMALL).probability
    assert promised(SMALL).probability != promised(SMALL, seed=1).probability


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"false_alarm": 0.0}, "false_alarm must lie between 0 and 1"),
        ({"spacing_m": 0.0}, "spacing_m must be above zero"),
        ({}, "without readings"),
    ],
)
def test_bad_input_is_told(changed, text):
    none = Readings(np.empty(0), np.empty(0), np.empty(0, dtype=np.int64), np.empty(0))
    given = {"spacing_m": 10.0, "azimuth_deg": 0.0, **changed}
    with pytest.raises(InputError, match=text):
        predict_detection(
            none, SMALL.area, prepared=prepared(SMALL, draws=1), noise=SMALL.noise, **given
        )
