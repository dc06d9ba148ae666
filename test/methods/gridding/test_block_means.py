"""Means over squares against sums done by hand."""

import numpy as np

from lodewalk.methods.gridding.block_means import block_means


def test_squares_lie_round_the_nodes() -> None:
    # Squares: [-0.5, 0.5) and [0.5, 1.5) by columns, in two rows.
    column = [0.49, -0.5, 0.5, 1.4, 1.0]
    row = [0.0, 0.0, 0.0, 0.2, 2.0]
    means = block_means(column, row, [1.0, 5.0, 2.0, 8.0, 7.0], weight=[3.0, 1.0, 1.0, 1.0, 2.0])
    np.testing.assert_allclose(means.column, [0.2425, 0.95, 1.0])
    np.testing.assert_allclose(means.row, [0.0, 0.1, 2.0])
    np.testing.assert_allclose(means.value, [2.0, 5.0, 7.0])
    np.testing.assert_allclose(means.weight, [4.0, 2.0, 2.0])


def test_no_readings_no_squares() -> None:
    assert block_means([], [], [], weight=[]).value.size == 0
