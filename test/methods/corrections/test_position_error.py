"""Position error against displaced fields of dipoles in closed form."""

import numpy as np
import pytest

from gridded_survey import SPACING, planted
from lodewalk.errors import InputError
from lodewalk.methods.corrections.position_error import position_error


def displaced(seed: int, position_sd: float, noise: float) -> tuple[np.ndarray, ...]:
    """Return errors of the anomaly at recorded positions, their sd, and the true slope."""
    survey = planted(seed)
    rng = np.random.default_rng([seed, 5])
    shift = rng.normal(0, position_sd, (2, survey.lines))[:, survey.line]
    order = np.lexsort((survey.northing, survey.line))
    east, north = survey.easting[order], survey.northing[order]
    # Each line is displaced as a whole, as a receiver does over some minutes.
    recorded = east + shift[0][order], north + shift[1][order]
    value = survey.field(east, north) + rng.normal(0, noise, east.size)
    found = position_error(
        *recorded, value, survey.line[order], sd_nT=np.full(east.size, noise),
        position_sd_m=np.full(east.size, position_sd), line_spacing_m=SPACING,
    )  # fmt: skip
    truth = survey.field(*recorded)
    return value - truth, np.hypot(found.sd_nT, noise), survey.gradient(*recorded)


def test_intervals_hold_also_where_the_field_is_steep():
    inside, steep, ratio = [], [], []
    for seed in range(60):
        error, sd, slope = displaced(seed, 1.0, 0.3)
        held = np.abs(error) <= 1.645 * sd
        top = slope >= np.quantile(slope, 0.9)
        inside.append(held.mean())
        steep.append(held[top].mean())
        ratio.append(np.sqrt(np.mean(sd[top] ** 2) / np.mean(error[top] ** 2)))
    # 60 surveys of 8 to 10 displaced lines each: the sd of the second mean is some 2.5 %.
    assert 0.87 <= np.mean(inside) <= 0.93
    assert 0.84 <= np.mean(steep) <= 0.96
    assert 0.85 < np.median(ratio) < 1.2


def test_a_slope_square_to_the_lines_is_seen_between_them():
    east, north = (axis.ravel() for axis in np.mgrid[0:100:20.0, 0:100:1.0])
    line = np.repeat(np.arange(5), 100)
    for angle in np.radians([0.0, 30.0, 90.0, 200.0]):
        value = 3.0 * (east * np.sin(angle) + north * np.cos(angle))
        found = position_error(
            east, north, value, line, sd_nT=np.full(500, 0.01), position_sd_m=np.full(500, 0.5),
            line_spacing_m=20.0,
        )  # fmt: skip
        inner = (north > 10) & (north < 90)
        np.testing.assert_allclose(found.sd_nT[inner], 1.5, rtol=0.02)
        np.testing.assert_allclose(found.east_nT[inner], 1.5 * np.sin(angle), atol=0.03)
        np.testing.assert_allclose(found.north_nT[inner], 1.5 * np.cos(angle), atol=0.03)


def test_turning_the_survey_turns_the_parts():
    survey = planted(3)
    order = np.lexsort((survey.northing, survey.line))
    east, north = survey.easting[order], survey.northing[order]
    args = survey.value[order], survey.line[order]
    more = {
        "sd_nT": np.full(east.size, 0.5),
        "position_sd_m": np.full(east.size, 1.0),
        "line_spacing_m": SPACING,
    }
    one = position_error(east, north, *args, **more)
    turned = position_error(north, -east, *args, **more)
    np.testing.assert_allclose(turned.sd_nT, one.sd_nT, rtol=0.25, atol=0.3)
    usual = np.abs(one.east_nT).mean()
    assert np.abs(turned.east_nT - one.north_nT).mean() < 0.1 * usual
    assert np.abs(turned.north_nT + one.east_nT).mean() < 0.1 * usual


def test_noise_alone_is_no_slope():
    rng = np.random.default_rng(4)
    north = np.tile(np.arange(200.0), 6)
    east, line = np.repeat(np.arange(6) * 20.0, 200), np.repeat(np.arange(6), 200)
    found = position_error(
        east, north, rng.normal(0, 0.5, 1200), line, sd_nT=np.full(1200, 0.5),
        position_sd_m=np.full(1200, 0.5), line_spacing_m=20.0,
    )  # fmt: skip
    assert np.median(found.sd_nT) < 0.1


def test_one_line_few_readings_and_missing_ones():
    north = np.arange(60.0)
    value = 50 * np.exp(-(((north - 30) / 8) ** 2))
    value[10] = np.nan
    sd = {"sd_nT": np.full(60, 0.1), "position_sd_m": np.full(60, 0.5), "line_spacing_m": 20.0}
    found = position_error(np.zeros(60), north, value, np.zeros(60, int), **sd)
    assert np.isnan(found.sd_nT[10])
    assert np.isfinite(np.delete(found.sd_nT, 10)).all()
    # On the flank the slope along is 50 / 8 * sqrt(2 / e), and across may be as steep.
    steepest = 50 / 8 * np.sqrt(2 / np.e)
    assert 0.8 * 0.5 * steepest < found.sd_nT[24] < 1.5 * 0.5 * steepest
    few = {name: part[:3] if np.ndim(part) else part for name, part in sd.items()}
    flat = position_error(np.zeros(3), north[:3], value[:3], np.zeros(3, int), **few)
    assert flat.sd_nT.tolist() == [0.0, 0.0, 0.0]
    none = position_error([np.nan], [0.0], [1.0], [0], sd_nT=[1.0], position_sd_m=[1.0],
                          line_spacing_m=5.0)  # fmt: skip
    assert np.isnan(none.sd_nT).all()


def test_lines_too_short_for_a_profile_have_the_slope_of_the_surface():
    """Three lines of four readings on a slope of 10 nT/m, positions to 1 m: no silent nothing."""
    east, north = np.repeat([0.0, 20.0, 40.0], 4), np.tile([0.0, 10.0, 20.0, 30.0], 3)
    found = position_error(
        east, north, 10 * east, np.repeat(np.arange(3), 4), sd_nT=np.full(12, 0.1),
        position_sd_m=np.ones(12), line_spacing_m=20.0,
    )  # fmt: skip
    np.testing.assert_allclose(found.sd_nT[4:8], 10.0, rtol=0.05)
    np.testing.assert_allclose(found.east_nT[4:8], 10.0, rtol=0.05)


def test_a_spacing_of_nothing_is_refused():
    with pytest.raises(InputError, match="line_spacing_m must be above zero"):
        position_error([0.0], [0.0], [1.0], [0], sd_nT=[1.0], position_sd_m=[1.0],
                       line_spacing_m=0.0)  # fmt: skip


def test_readings_at_one_place_have_an_error_without_slopes():
    """No surface goes through one place, so nothing is told of a slope: 0, not a failure."""
    one = np.full(60, 5.0)
    found = position_error(
        one, one, np.arange(60.0), np.repeat([0, 1, 2], 20), sd_nT=np.full(60, 0.1),
        position_sd_m=np.ones(60), line_spacing_m=20.0,
    )  # fmt: skip
    assert not found.sd_nT.any()
