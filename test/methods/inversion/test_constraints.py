"""Constraints from boreholes and outcrops."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.constraints import (
    CONSTRAINED,
    Constraint,
    fact_constraint,
    limits_of,
)


def row(name, *constraints):
    return limits_of(constraints)[CONSTRAINED.index(name)]


def test_nothing_known_leaves_all_open():
    assert np.isinf(limits_of([])).all()


def test_two_measured_values_are_joined_by_weight():
    found = row("depth_m", Constraint("depth_m", 10.0, 10.0, 1.0),
                Constraint("depth_m", 12.0, 12.0, 2.0))  # fmt: skip
    np.testing.assert_allclose(found, [10.4, 10.4, 0.8**0.5])


def test_two_boreholes_leave_what_is_between():
    found = row("depth_m", Constraint("depth_m", 10.0, np.inf, 0.5),
                Constraint("depth_m", -np.inf, 30.0, 0.2))  # fmt: skip
    assert found.tolist() == [10.0, 30.0, 0.5]


def test_a_value_inside_a_range_stands():
    found = row("half_width_m", Constraint("half_width_m", 1.0, 5.0, 0.1),
                Constraint("half_width_m", 2.0, 2.0, 0.3))  # fmt: skip
    assert found.tolist() == [2.0, 2.0, 0.3]


def test_strength_stands_as_its_logarithm():
    found = row("strength_nT_m", Constraint("strength_nT_m", 100.0, 100.0, 10.0))
    np.testing.assert_allclose(found, [np.log(100.0), np.log(100.0), 0.1])


@pytest.mark.parametrize(
    ("values", "match"),
    [
        (("width", 1.0, 2.0, 0.1), "Constrained is one of"),
        (("depth_m", 3.0, 2.0, 0.1), "must not be above"),
        (("depth_m", 3.0, 4.0, 0.0), "sd of a constraint"),
    ],
)
def test_wrong_constraints_are_refused(values, match):
    with pytest.raises(InputError, match=match):
        Constraint(*values)


def test_facts_become_constraints():
    found = fact_constraint("depth", 12.0, sd=0.2, sensor_height_m=2.5)
    assert found == Constraint("depth_m", 14.5, 14.5, 0.2)
    assert fact_constraint("width", 8.0, sd=None, sensor_height_m=2.5) == Constraint(
        "half_width_m", 4.0, 4.0, 0.4
    )
    with pytest.raises(InputError, match="Constraints come from"):
        fact_constraint("dip", 60.0, sd=None, sensor_height_m=2.0)
