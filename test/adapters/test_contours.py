"""Contours against circles, whose place and length are known."""

import numpy as np
import pytest

from lodewalk.adapters.contours import contours


def test_contours_of_a_bowl_are_circles():
    at = np.arange(201.0) - 100
    east, north = np.meshgrid(at, at)
    radii = np.array([20.0, 55.5, 90.0])
    found = contours(east**2 + north**2, radii**2)
    assert found.levels.tolist() == (radii**2).tolist()
    for radius, first, end in zip(radii, found.starts[:-1], found.starts[1:], strict=True):
        places = found.places[first:end] - 100
        assert np.hypot(*places.T) == pytest.approx(radius, abs=0.3 / radius + 0.01)
        assert np.hypot(*np.diff(places, axis=0).T).sum() == pytest.approx(
            2 * np.pi * radius, rel=2e-3
        )


def test_contours_end_where_the_grid_does():
    values = np.tile(np.arange(10.0), (10, 1))
    values[5, :] = np.nan
    found = contours(values, np.array([4.5]))
    assert found.starts.tolist() == [0, 5, 9]
    assert not np.any((found.places[:, 1] > 4) & (found.places[:, 1] < 6))
