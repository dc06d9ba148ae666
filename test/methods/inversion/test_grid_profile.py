"""Profiles of a grid whose field is known at every place."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.inversion.grid_profile import grid_profile

PLACE = {"west_m": 1000.0, "south_m": 5000.0, "spacing_m": 5.0}


def wave(east, north):
    """A smooth field of 60 m wave length."""
    return 30.0 * np.sin((east + 0.4 * north) * 2.0 * np.pi / 60.0)


def grids():
    east, north = np.meshgrid(1000.0 + 5.0 * np.arange(41), 5000.0 + 5.0 * np.arange(31))
    return wave(east, north), 1.0 + 0.01 * (east - 1000.0)


def test_values_between_nodes_are_those_of_the_field():
    values, sd = grids()
    found = grid_profile(values, sd, **PLACE, start=(1013.0, 5011.0), end=(1148.0, 5122.0))
    truth = wave(found.easting_m, found.northing_m)
    assert abs(found.value - truth).max() < 0.1
    np.testing.assert_allclose(found.sd, 1.0 + 0.01 * (found.easting_m - 1000.0))
    assert np.diff(found.distance_m) == pytest.approx(np.hypot(135.0, 111.0) / 35, rel=1e-9)


def test_a_hole_beside_the_line_does_no_harm():
    values, sd = grids()
    values[:6, 10:20] = np.nan
    found = grid_profile(values, sd, **PLACE, start=(1010.0, 5040.0), end=(1150.0, 5040.0))
    assert abs(found.value - wave(found.easting_m, found.northing_m)).max() < 0.5


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        ((990.0, 5010.0), (1100.0, 5010.0), "outside the grid.*1000 to 1200 E, 5000 to 5150 N"),
        ((1010.0, 5010.0), (1010.0, 5151.0), "outside the grid"),
        ((1010.0, 5010.0), (1020.0, 5010.0), "10.0 m apart"),
        ((1010.0, 5010.0), (1150.0, 5010.0), "a hole of the grid.*40 to 75 m"),
    ],
)
def test_what_can_not_be_cut_is_refused(start, end, message):
    values, sd = grids()
    values[:6, 10:18] = np.nan
    with pytest.raises(InputError, match=message):
        grid_profile(values, sd, **PLACE, start=start, end=end)


def test_an_error_that_is_not_known_is_a_hole():
    values, sd = grids()
    sd[:, 20] = np.nan
    with pytest.raises(InputError, match="its error is not known"):
        grid_profile(values, sd, **PLACE, start=(1010.0, 5010.0), end=(1150.0, 5010.0))
