"""Errors of gradients and tilt against many draws of errors of known size."""

import numpy as np

from lodewalk.methods.spectral.gradient_error import gradient_errors
from lodewalk.methods.spectral.transforms import (
    Gradients,
    horizontal_gradient,
    tilt_angle,
    total_gradient,
)


def test_first_order_errors_are_those_of_many_draws_where_they_are_told():
    """A gradient four and more times its error: within 6 % of the spread of 20 000 draws."""
    rng = np.random.default_rng(8)
    sd = Gradients(*(np.array([part]) for part in (0.5, 0.7, 0.9)))
    for true in ((5.0, 1.0, 2.0), (3.0, 4.0, -6.0), (0.0, 6.0, 5.0)):
        slopes = Gradients(*(np.array([part]) for part in true))
        drawn = Gradients(
            *(rng.normal(part, own[0], 20000) for part, own in zip(true, sd, strict=True))
        )
        found = gradient_errors(slopes, sd)
        for told, made in zip(
            found,
            (horizontal_gradient(drawn), total_gradient(drawn), tilt_angle(drawn)),
            strict=True,
        ):
            assert abs(told[0] / np.std(made) - 1) < 0.06


def test_a_gradient_within_its_error_has_none_that_is_told():
    weak = Gradients(*np.full((3, 1), 0.5))
    assert all(np.isnan(part[0]) for part in gradient_errors(weak, Gradients(*np.ones((3, 1)))))
    nothing = Gradients(*np.zeros((3, 1)))
    assert all(np.isnan(part[0]) for part in gradient_errors(nothing, weak))
