"""Targets planted in raw files are found, or not, in the anomalies of the real run.

Twenty surveys are bench/evidence_walked_detection.py.
"""

from dataclasses import replace

import numpy as np
import pytest

from walked_detection import WALKED, band, number_found, walked


@pytest.mark.parametrize("strong", [True, False])
def test_a_strong_body_is_found_through_the_run_and_a_faint_one_is_not(tmp_path, strong):
    case = replace(WALKED[0], size_m=(160.0, 120.0), tie_spacing_m=60.0)
    factor = 6.0 if strong else 0.01
    case = replace(case, susceptibility=tuple(factor * k for k in case.susceptibility))
    one = walked(tmp_path, case, 5)
    assert (one.predicted > 0.95) if strong else (one.predicted < 0.06)
    assert one.found is strong
    assert one.kept > 0.95


def test_the_number_found_is_that_of_independent_surveys():
    chance = number_found([0.5, 0.5, 1.0])
    assert chance.tolist() == pytest.approx([0.0, 0.25, 0.5, 0.25])
    assert band([0.5] * 100, 0.95) == (40, 60)
    assert np.sum(number_found([0.1, 0.7])) == pytest.approx(1.0)
