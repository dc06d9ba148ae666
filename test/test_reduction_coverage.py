"""The stated errors of readings and grid through the whole job: a small part of the trials.

``bench/evidence_reduction.py`` runs four hundred surveys of this kind.
"""

from dataclasses import replace

import numpy as np
import pytest

from lodewalk.survey.folder import open_folder
from lodewalk.survey.store import read_product
from reduced_survey import TIMES, drawn, reduced

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def surveys(tmp_path_factory):
    """Six surveys, quiet and disturbed ones."""
    return [reduced(tmp_path_factory.mktemp(f"survey{seed}"), seed) for seed in range(500, 506)]


def share(error, sd):
    return float(np.mean(np.abs(error) <= TIMES * sd))


def test_intervals_of_the_anomaly_hold_the_truth_at_the_recorded_place(surveys):
    """Of 400 surveys the mean of these shares has a sd of 0.06 over surveys: 0.025 for six."""
    assert 0.83 <= np.mean([share(s.error, s.sd) for s in surveys]) <= 0.97
    steep = [share(s.error[s.steep], s.sd[s.steep]) for s in surveys]
    assert 0.75 <= np.mean(steep) <= 0.99


def test_intervals_of_the_grid_hold_the_truth_near_the_lines_and_between(surveys):
    for place in ("near", "between"):
        rows = [getattr(s, place) for s in surveys]
        shares = [share(s.node_error[r], s.node_sd[r]) for s, r in zip(surveys, rows, strict=True)]
        assert 0.84 <= np.mean(shares) <= 0.995


def test_no_interval_is_bought_with_width(surveys):
    """Over many surveys the stated sd is at most 1.2 of the rms; that of six varies by 0.2."""
    for error, sd in (
        ([s.error for s in surveys], [s.sd for s in surveys]),
        ([s.node_error for s in surveys], [s.node_sd for s in surveys]),
    ):
        rms = np.sqrt(np.mean([np.mean(part**2) for part in error]))
        assert np.mean([np.mean(part) for part in sd]) <= 1.5 * rms


@pytest.mark.parametrize("times", [0.4, 3.0])
def test_position_errors_stated_wrongly_are_put_right_by_the_crossings(tmp_path, times):
    """Ten lines and two tie lines over rough ground: twenty crossings."""
    plan = replace(drawn(501), lines=10, noise=0.1, storm=1.0, level=0.0, heading=(0.0, 0.0))
    plan = replace(plan, position=1.2, stated=1.2 / times)
    reduced(tmp_path, 501, plan)
    told = read_product(open_folder(tmp_path / "survey"), "budget")["position"]
    assert abs(np.log(told["factor"] / times)) < 2.5 * told["log_sd"]
    assert (told["factor"] > 1.0) == (times > 1.0)
