"""Position at a time, heights and local grids, against closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from lodewalk.errors import InputError
from lodewalk.methods.corrections.anomaly import combine_sd, total_field_anomaly
from lodewalk.methods.corrections.height import smooth_height
from lodewalk.methods.corrections.local_grid import tie_local_grid
from lodewalk.methods.corrections.track import position_at

TRACK = {
    "track_time_s": [0.0, 2.0, 4.0, 60.0],
    "track_easting_m": [0.0, 4.0, 8.0, 100.0],
    "track_northing_m": [0.0, 0.0, 6.0, 6.0],
    "track_height_m": [800.0, 802.0, np.nan, 803.0],
    "max_gap_s": 10.0,
}


def test_positions_lie_on_the_straight_line_between_points():
    found = position_at([0.5, 3.0, 2.0], **TRACK)
    np.testing.assert_allclose(found.easting_m, [1.0, 6.0, 4.0])
    np.testing.assert_allclose(found.northing_m, [0.0, 3.0, 0.0])
    np.testing.assert_allclose(found.height_m, [800.5, np.nan, 802.0])
    np.testing.assert_allclose(found.from_fix_s, [0.5, 1.0, 0.0])


def test_nothing_is_extrapolated_or_taken_from_a_long_gap():
    found = position_at([-0.1, 30.0, 60.1, np.nan], **TRACK)
    assert np.isnan(found.easting_m).all()


def test_a_point_beside_a_gap_counts():
    np.testing.assert_allclose(position_at([4.0, 60.0], **TRACK).easting_m, [8.0, 100.0])


def test_an_empty_track_gives_no_position():
    empty = {name: [] for name in TRACK if name != "max_gap_s"}
    assert np.isnan(position_at([1.0], **empty, max_gap_s=1.0).easting_m).all()


def test_a_track_that_runs_back_is_refused():
    with pytest.raises(InputError, match="track_time_s must increase"):
        position_at([1.0], **(TRACK | {"track_time_s": [0.0, 2.0, 1.0, 60.0]}))


def test_smoothing_keeps_a_slope_and_cuts_noise_as_averages_do():
    rng = np.random.default_rng(3)
    time = np.arange(0.0, 3600.0)
    slope = 800 + 0.01 * time
    smooth = smooth_height(time, slope + rng.normal(0, 3, time.size), window_s=120)
    inside = slice(200, -200)
    residual = smooth[inside] - slope[inside]
    # A plain mean of 120 independent heights would leave 3 / sqrt(120) = 0.27 m.
    assert np.std(residual) < 0.45
    assert abs(np.mean(residual)) < 0.15


def test_a_single_wild_height_hardly_shows():
    height = np.full(600, 800.0)
    height[300] = 1800.0
    assert np.ptp(smooth_height(np.arange(600.0), height, window_s=60)) < 0.01


def test_gaps_are_bridged_and_ends_held():
    height = np.full(100, 700.0)
    height[:10] = height[40:60] = height[-5:] = np.nan
    np.testing.assert_allclose(smooth_height(np.arange(100.0), height, window_s=20), 700.0)
    assert np.isnan(smooth_height([0.0, 1.0], [np.nan, np.nan], window_s=20)).all()


def test_two_days_far_apart_stay_quick_and_right():
    time = np.concatenate([np.arange(600.0), 1e7 + np.arange(600.0)])
    height = np.where(time < 1e6, 700.0, 900.0)
    np.testing.assert_allclose(smooth_height(time, height, window_s=60), height)


@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 200.0, 359.0])
def test_a_planted_shift_turn_and_scale_comes_back(azimuth):
    local = np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 300.0], [0.0, 300.0]])
    turned = Rotation.from_euler("z", -azimuth, degrees=True).apply(np.c_[local, np.zeros(4)])
    easting, northing = 560_000 + 1.002 * turned[:, 0], 7_245_000 + 1.002 * turned[:, 1]
    tie = tie_local_grid(local[:, 0], local[:, 1], easting_m=easting, northing_m=northing)
    assert tie.scale == pytest.approx(1.002, abs=1e-9)
    assert tie.rotation_deg % 360 == pytest.approx(azimuth, abs=1e-7)
    assert tie.rms_m == pytest.approx(0, abs=1e-6)
    back = tie.to_projected(200.0, 150.0)
    np.testing.assert_allclose(back, [easting.mean(), northing.mean()], atol=1e-6)


def test_rms_of_pegs_estimates_the_planted_error():
    rng = np.random.default_rng(5)
    local = rng.uniform(0, 500, (6, 2))
    found = []
    for _ in range(400):
        wrong = local + rng.normal(0, 1.0, local.shape)
        tie = tie_local_grid(
            local[:, 0], local[:, 1], easting_m=wrong[:, 0], northing_m=wrong[:, 1]
        )
        found.append(tie.rms_m**2)
    # Two coordinates with sd 1 m each: mean square distance 2; sd of the mean of 400 trials 0.05.
    assert np.mean(found) == pytest.approx(2.0, abs=0.2)


def test_too_few_pegs_are_refused():
    with pytest.raises(InputError, match="two or more surveyed pegs"):
        tie_local_grid([0.0], [0.0], easting_m=[0.0], northing_m=[0.0])
    with pytest.raises(InputError, match="lie in one place"):
        tie_local_grid([1.0, 1.0], [2.0, 2.0], easting_m=[0.0, 1.0], northing_m=[0.0, 1.0])


def test_two_pegs_leave_no_rms():
    tie = tie_local_grid([0, 0], [0, 100], easting_m=[5, 5], northing_m=[5, 105])
    assert np.isnan(tie.rms_m)


def test_the_anomaly_is_taken_from_left_to_right():
    parts = [10.1, 22_900.3, 0.2, 0.3, 0.4, 0.5]
    names = ("diurnal", "reference", "instrument", "heading", "level", "micro_level")
    expected = 23_000.7
    for part in parts:
        expected = expected - part
    found = total_field_anomaly(23_000.7, **dict(zip(names, parts, strict=True)))
    assert float(found) == expected
    assert np.isnan(total_field_anomaly(1.0, **dict.fromkeys(names, np.nan)))


def test_errors_add_in_squares():
    np.testing.assert_allclose(combine_sd([1.0, np.nan], [2.0, 1.0], 2.0), [3.0, np.nan])
