"""Stations along a line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.planning.waypoints import stations_along


@given(st.floats(0.5, 5000), st.floats(0.5, 900))
def test_stations_are_multiples_that_keep_off_the_end(length, each):
    stations = stations_along(length, each_m=each)
    assert np.allclose(np.diff(np.concatenate(([0.0], stations))), each)
    assert not stations.size or stations[-1] <= length - 0.25 * each + 1e-9
    last = stations[-1] if stations.size else 0.0
    assert length - last < 1.25 * each * (1 + 1e-9)


def test_a_distance_of_zero_is_refused():
    with pytest.raises(InputError, match="above zero"):
        stations_along(100.0, each_m=0.0)
