"""What isn't known of a target is held against its stated ranges, tables against direct values."""

import numpy as np
import pytest
from scipy.stats import kstest, norm

from lodewalk.errors import InputError
from lodewalk.methods.bodies.target import Body, body_anomaly
from lodewalk.methods.planning.line_layout import block_means, frame_of, readings_on
from lodewalk.methods.planning.matched_filter import looked_up
from lodewalk.methods.planning.sought import (
    Target,
    body_target,
    prepare_target,
    spread_points,
)

AMBIENT = np.array([18_000.0, -6_000.0, -14_000.0])
DYKE = Body(depth_m=8.0, width_m=4.0, length_m=120.0, strike_deg=30.0, dip_deg=70.0)


def dyke_target(**changed):
    return body_target(DYKE, ambient_nT=AMBIENT, susceptibility=(0.001, 0.004), **changed)


def test_strengths_have_the_stated_percentiles():
    target = dyke_target()
    assert target.strengths([0.05, 0.5, 0.95]).tolist() == pytest.approx([0.5, 1.0, 2.0])
    either = Target(target.signature, 8.0, strength_low=-1.0, strength_high=3.0)
    assert either.strengths([0.05, 0.5, 0.95]).tolist() == pytest.approx([-1.0, 1.0, 3.0])


def test_a_negative_contrast_keeps_its_sign():
    target = body_target(DYKE, ambient_nT=AMBIENT, susceptibility=(-0.004, -0.001))
    here = np.linspace(-30.0, 30.0, 25), np.linspace(10.0, -10.0, 25)
    positive = dyke_target().signature(*here, 2.0, depth_m=8.0, strike_deg=30.0)
    negative = target.signature(*here, 2.0, depth_m=8.0, strike_deg=30.0)
    assert np.abs(negative + positive).max() < 0.01 * np.abs(positive).max()
    assert 0 < target.strength_low < target.strength_high


def test_draws_follow_their_distributions():
    prepared = prepare_target(dyke_target(strike_sd_deg=7.0), sensor_height_m=2.0, draws=60)
    strike = (prepared.draw_strikes_deg - 30.0) / 7.0
    assert kstest(strike, norm.cdf).pvalue > 0.2
    points = spread_points(1000, seed=3)
    assert kstest(points[:, 0], "uniform").pvalue > 0.2
    assert abs(np.corrcoef(points.T)[0, 1]) < 0.05


def test_the_table_gives_the_anomaly_of_each_strike():
    prepared = prepare_target(dyke_target(strike_sd_deg=10.0), sensor_height_m=2.0, draws=1)
    blocks = block_means(readings_on([(-70, -20, 80, 30)]), 1.0)
    place = np.array([[3.0, -4.0]])
    for number, strike in enumerate(prepared.strikes_deg):
        body = Body(**{**DYKE.__dict__, "strike_deg": strike})
        direct = body_anomaly(
            body,
            blocks.easting_m - 3.0,
            blocks.northing_m + 4.0,
            np.full(blocks.count.size, 2.0),
            ambient_nT=AMBIENT,
            susceptibility=0.002,
        )
        found = looked_up(prepared, blocks, place, np.array([number]))[:, 0]
        assert np.abs(found - direct).max() < 0.01 * np.ptp(direct)


def test_a_draw_is_averaged_over_its_block():
    target = Target(lambda e, n, h, **_: 1.0 + e**2, 8.0)
    prepared = prepare_target(target, sensor_height_m=2.0, draws=1)
    blocks = block_means(readings_on([(-10, 0, 10, 0)]), 5.0)
    found = looked_up(prepared, blocks, np.zeros((1, 2)), np.array([0]), draws=True)[:, 0]
    # The mean of 1 + e^2 over readings at -10, -9, -8, -7, -6: 1 + 66; cubic tables are near.
    assert found[0] == pytest.approx(67.0, rel=0.01)


def test_strikes_are_tried_only_where_they_can_be_told():
    assert prepare_target(dyke_target(), sensor_height_m=2.0, draws=1).strikes_deg.size == 1
    unsure = prepare_target(dyke_target(strike_sd_deg=10.0), sensor_height_m=2.0, draws=1)
    assert unsure.strikes_deg.size == 5
    assert unsure.strikes_deg[[0, -1]].tolist() == pytest.approx([15.0, 45.0])
    sphere = body_target(
        Body(kind="sphere", depth_m=9.0, radius_m=3.0),
        ambient_nT=AMBIENT,
        susceptibility=(0.01, 0.02),
        strike_sd_deg=90.0,
    )
    assert prepare_target(sphere, sensor_height_m=2.0, draws=1).strikes_deg.size == 1


def test_tolerance_is_the_larger_of_depth_and_half_a_spacing():
    prepared = prepare_target(dyke_target(), sensor_height_m=2.0, draws=1)
    assert prepared.tolerance(12.0) == (10.0, pytest.approx(30.0, abs=0.5))
    assert prepared.tolerance(50.0)[0] == 25.0


def test_a_shallow_sphere_touches_the_ground_at_most():
    sphere = body_target(
        Body(kind="sphere", depth_m=3.0, radius_m=2.9),
        ambient_nT=AMBIENT,
        susceptibility=(0.01, 0.02),
        depth_factor=2.0,
    )
    assert np.isfinite(prepare_target(sphere, sensor_height_m=1.0, draws=32).draws).all()


def test_the_frame_of_the_tables_is_that_of_the_strike():
    assert (np.array([[0.5, np.sqrt(0.75)]]) @ frame_of(30.0))[0].tolist() == pytest.approx(
        [0.0, 1.0]
    )


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: body_target(DYKE, ambient_nT=AMBIENT, susceptibility=(-0.1, 0.1)),
            "one sign",
        ),
        (lambda: body_target(DYKE, ambient_nT=AMBIENT, susceptibility=(0.0, 0.1)), "not zero"),
        (lambda: dyke_target(depth_factor=0.9), "depth_factor must be 1 or more"),
        (lambda: dyke_target(strike_sd_deg=-1.0), "strike_sd_deg must be 0 or more"),
        (
            lambda: Target(lambda *_, **__: None, 1.0, strength_low=2.0, strength_high=1.0),
            "low strength",
        ),
        (lambda: prepare_target(dyke_target(), sensor_height_m=0.0), "sensor_height_m"),
    ],
)
def test_bad_targets_are_told(call, text):
    with pytest.raises(InputError, match=text):
        call()
