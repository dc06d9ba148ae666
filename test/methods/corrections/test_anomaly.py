"""The anomaly exactly, and errors combined."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.anomaly import combine_sd, total_field_anomaly

NAMES = ("diurnal", "reference", "instrument", "heading", "level", "micro_level")


def test_from_left_to_right_to_the_last_bit():
    rng = np.random.default_rng(1)
    a, b, c, d, e, f, g = rng.normal(size=(7, 1000)) * [[5e4], [20], [5e4], [1], [1], [1], [0.1]]
    found = total_field_anomaly(a, **dict(zip(NAMES, (b, c, d, e, f, g), strict=True)))
    assert found.tolist() == (a - b - c - d - e - f - g).tolist()


@pytest.mark.parametrize("name", NAMES)
def test_each_correction_is_taken_off(name):
    none = dict.fromkeys(NAMES, 0.0)
    assert total_field_anomaly([10.0], **{**none, name: 3.0}).tolist() == [7.0]
    assert np.isnan(total_field_anomaly([10.0], **{**none, name: np.nan})[0])


def test_errors_add_as_squares():
    assert combine_sd([1.0, np.nan], [2.0, 1.0], 2.0)[0] == 3
    assert np.isnan(combine_sd([1.0, np.nan], [2.0, 1.0])[1])
    assert combine_sd(0.25).tolist() == 0.25


def test_input_is_checked():
    with pytest.raises(InputError, match="below zero"):
        combine_sd([1.0, -0.1])
    with pytest.raises(InputError, match="At least one"):
        combine_sd()
