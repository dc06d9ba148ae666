"""Places of the sensor by hand: what moves, what can't, and the error that adds."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.sensor_place import sensor_places

TIME = np.arange(101.0)
#: East at 1.5 m/s for 50 s, a stop of 20 s, and on.
EAST = 1.5 * np.concatenate([TIME[:51], np.full(20, 50.0), TIME[71:] - 20.0])


def placed(time, **more):
    time = np.asarray(time, dtype=float)
    return sensor_places(
        time,
        np.interp(time, TIME, EAST),
        0 * time,
        track_time_s=TIME,
        track_easting=EAST,
        track_northing=0 * TIME,
        **more,
    )


def test_a_lag_takes_the_reading_back_along_the_walk():
    found = placed([20.0, 25.5], lag_s=2.0)
    np.testing.assert_allclose(found.easting_m, [27.0, 35.25])
    np.testing.assert_allclose(found.northing_m, 0.0)
    np.testing.assert_array_equal(found.sd_m, 0.0)


def test_an_arm_turns_with_the_walk():
    # Walking east: ahead is east, to the right is south.
    found = placed([20.0], ahead_m=0.8, right_m=0.3)
    np.testing.assert_allclose([found.easting_m[0], found.northing_m[0]], [30.8, -0.3])
    # An arm of nothing is measured too, and has the error of the measurement.
    assert placed([20.0], ahead_m=0.0).sd_m[0] == pytest.approx(0.1)


def test_errors_add_in_quadrature():
    found = placed([20.0], lag_s=1.0, lag_sd_s=0.2, ahead_m=0.5)
    assert found.sd_m[0] == pytest.approx(np.sqrt((1.5 * 0.2) ** 2 + 0.1**2))


def test_readings_at_rest_are_not_moved_by_a_lag():
    found = placed([60.0], lag_s=2.0, lag_sd_s=0.5)
    assert found.moved[0]
    assert found.easting_m[0] == pytest.approx(75.0)
    assert found.sd_m[0] == 0.0


def test_at_the_end_of_the_track_the_place_stays_and_its_error_says_so():
    found = placed([1.0, 2.0], lag_s=2.0)
    np.testing.assert_array_equal(found.moved, [False, True])
    np.testing.assert_allclose(found.easting_m, [1.5, 0.0])
    assert found.sd_m[0] == pytest.approx(3.0, rel=0.1)


def test_two_readings_of_one_time_keep_their_difference():
    found = sensor_places(
        [20.0, 20.0], [30.0, 30.4], [0.0, 0.0], track_time_s=TIME, track_easting=EAST,
        track_northing=0 * TIME, lag_s=1.0,
    )  # fmt: skip
    np.testing.assert_allclose(found.easting_m, [28.5, 28.9])


def test_what_has_no_place_gets_none():
    found = sensor_places(
        [20.0], [np.nan], [0.0], track_time_s=TIME, track_easting=EAST,
        track_northing=0 * TIME, lag_s=1.0, ahead_m=1.0,
    )  # fmt: skip
    assert np.isnan(found.easting_m[0])
    assert not found.moved[0]
    assert found.sd_m[0] == 0.0


def test_bad_input_says_so():
    with pytest.raises(InputError, match="lag_sd_s must be zero or more"):
        placed([1.0], lag_sd_s=-0.1)
    with pytest.raises(InputError, match="same length"):
        sensor_places([1.0], [1.0], [], track_time_s=TIME, track_easting=EAST,
                      track_northing=EAST)  # fmt: skip
    with pytest.raises(InputError, match="max_gap_s must be above zero"):
        placed([1.0], max_gap_s=0.0)
