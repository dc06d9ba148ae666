"""The stated errors of readings and grid through the whole job: a small part of the trials.

``bench/evidence_reduction.py`` runs four hundred surveys of this kind.
"""

import numpy as np
import pytest

from reduced_survey import TIMES, reduced

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
    """The stated sd over all surveys is at most 1.2 of the rms of the errors."""
    for error, sd in (
        ([s.error for s in surveys], [s.sd for s in surveys]),
        ([s.node_error for s in surveys], [s.node_sd for s in surveys]),
    ):
        rms = np.sqrt(np.mean([np.mean(part**2) for part in error]))
        assert np.mean([np.mean(part) for part in sd]) <= 1.2 * rms
