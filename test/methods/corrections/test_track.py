"""Place on a track, on tracks short enough to work out by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.track import position_at


def place_at(time, fix_time, easting, northing, *, max_gap_s=20):
    return position_at(
        time,
        track_time_s=fix_time,
        track_easting_m=easting,
        track_northing_m=northing,
        track_height_m=np.full(len(fix_time), 5.0),
        max_gap_s=max_gap_s,
    )


def test_between_on_and_outside_the_fixes():
    time = [-1, 0, 1, 5, 40, 50, 60, 61]
    place = place_at(time, [0, 2, 10, 60], [0, 20, 100, 200], [0, -2, -10, 0])
    nan = np.nan
    assert np.array_equal(place.easting_m, [nan, 0, 10, 50, nan, nan, 200, nan], equal_nan=True)
    assert np.array_equal(place.northing_m, [nan, 0, -1, -5, nan, nan, 0, nan], equal_nan=True)
    assert np.array_equal(place.height_m, [nan, 5, 5, 5, nan, nan, 5, nan], equal_nan=True)
    assert place.from_fix_s.tolist() == [1, 0, 1, 3, 20, 10, 0, 1]


def test_a_fix_without_position_is_stepped_over():
    place = place_at([5.0], [0, 4, 10], [0, np.nan, 10], [0, 7, 20])
    assert (place.easting_m[0], place.northing_m[0], place.from_fix_s[0]) == (5, 10, 5)
    place = place_at([5.0], [0, 4, 10], [0, 7, 10], [0, np.nan, 20])
    assert (place.easting_m[0], place.northing_m[0], place.from_fix_s[0]) == (5, 10, 5)


def test_input_is_checked():
    with pytest.raises(InputError, match="track_time_s must increase"):
        place_at([0], [1, 1], [0, 0], [0, 0])
    with pytest.raises(InputError, match="same length"):
        place_at([0], [1, 2], [0, 0], [0])
    with pytest.raises(InputError, match="max_gap"):
        place_at([0], [1, 2], [0, 0], [0, 0], max_gap_s=0)
