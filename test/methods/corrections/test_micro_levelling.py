"""Micro-levelling against its response by hand, its limit and its guard."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.micro_levelling import MicroLevelling, micro_level

LINES, SPACING_M = 41, 25.0
ALONG = np.arange(0.0, 1001.0, 10.0)
NUMBER = np.repeat(np.arange(LINES), ALONG.size)
PLACE = np.tile(ALONG, LINES)
INNER = (NUMBER > 12) & (NUMBER < 28) & (PLACE > 300) & (PLACE < 700)


def levelled(value: np.ndarray, **given: float) -> MicroLevelling:
    rules = {"limit_nT": 1e6, "min_wavelength_m": 200.0} | given
    return micro_level(NUMBER, PLACE, SPACING_M * NUMBER, value, **rules)


@pytest.mark.parametrize(
    ("lines_a_wave", "width", "share"),
    [
        # (1 - cos k)^2 / ((1 - cos k)^2 + m) with k = 2 pi / lines and m = (1 - cos(pi / width))^2.
        (2.0, 2.0, 4 / 5),  # cos k = -1
        (4.0, 2.0, 1 / 2),  # cos k = 0: a stripe of two lines is halved, as said
        (3.0, 2.0, 2.25 / 3.25),  # cos k = -1/2
        (6.0, 2.0, 0.25 / 1.25),  # cos k = 1/2
        (6.0, 3.0, 1 / 2),  # a stripe of three lines is halved with width 3
    ],
)
def test_response_across(lines_a_wave: float, width: float, share: float) -> None:
    stripes = np.cos(2 * np.pi * NUMBER / lines_a_wave)
    found = levelled(stripes, width_lines=width)
    rest = (found.free_nT - share * stripes)[INNER]
    assert np.abs(rest).max() < 0.01


def test_response_along_is_half_at_the_shortest_wavelength() -> None:
    stripe = np.where(NUMBER % 2 == 0, 1.0, -1.0)
    wave = stripe * np.cos(2 * np.pi * PLACE / 200.0)
    long = stripe * np.cos(2 * np.pi * PLACE / 1000.0)
    got = [np.sum((levelled(v).free_nT * v)[INNER]) / np.sum((v**2)[INNER]) for v in (wave, long)]
    assert got[0] == pytest.approx(0.8 * 0.5, abs=0.02)
    assert got[1] == pytest.approx(0.8 * 0.5 ** (1 / 25), abs=0.02)


def test_plane_and_wide_bodies_stay() -> None:
    plane = 0.2 * SPACING_M * NUMBER - 0.05 * PLACE
    np.testing.assert_allclose(levelled(plane).free_nT, 0.0, atol=1e-9)
    body = 50 * np.exp(-0.5 * ((NUMBER - 20) / 6.0) ** 2)
    assert np.abs(levelled(body).free_nT).max() < 0.5


def test_limit_bends_softly_and_is_never_passed() -> None:
    stripes = np.where(NUMBER % 2 == 0, 1.0, -1.0)
    found = levelled(stripes, limit_nT=2.0)
    # 0.8 nT bent to 2 tanh(0.4); neighbours differ by 2 nT, one limit, so the guard is open.
    np.testing.assert_allclose(np.abs(found.level_nT[INNER]), 2 * np.tanh(0.4), atol=1e-3)
    np.testing.assert_array_equal(found.guard[INNER], 1.0)
    rng = np.random.default_rng(2)
    found = levelled(rng.normal(0, 3, LINES)[NUMBER], limit_nT=0.4)
    assert np.abs(found.level_nT).max() <= 0.4


def test_guard_leaves_steep_places_alone() -> None:
    step = np.where(NUMBER >= 20, 10.0, 0.0)
    found = levelled(step, limit_nT=1.0)
    beside = (NUMBER == 19) | (NUMBER == 20)
    np.testing.assert_array_equal(found.level_nT[beside], 0.0)
    assert np.abs(found.free_nT[beside]).max() > 1.0
    # A regional slope that lines share doesn't close it: 10 nT a line.
    np.testing.assert_array_equal(levelled(10.0 * NUMBER, limit_nT=1.0).guard, 1.0)
    # Between one and a half and two limits it closes: 1.75 limits is half open.
    half = levelled(np.where(NUMBER == 20, 1.75, 0.0), limit_nT=1.0)
    np.testing.assert_allclose(half.guard[NUMBER == 20], 0.5, atol=1e-6)


def test_uneven_lines_follow_the_straight_between_neighbours() -> None:
    across = np.cumsum(np.random.default_rng(1).uniform(15, 35, LINES))[NUMBER]
    found = micro_level(NUMBER, PLACE, across, 0.3 * across, limit_nT=1.0, min_wavelength_m=200.0)
    np.testing.assert_allclose(found.free_nT, 0.0, atol=1e-9)


def test_lines_beyond_a_wide_gap_are_not_compared() -> None:
    line = np.where(NUMBER < 20, NUMBER, NUMBER + 10)
    value = np.where(NUMBER == 20, 1.0, 0.0)  # an edge of a block: has one neighbour only
    found = micro_level(
        NUMBER, PLACE, SPACING_M * line, value, limit_nT=5.0, min_wavelength_m=200.0
    )
    np.testing.assert_allclose(found.level_nT[NUMBER == 19], 0.0, atol=1e-12)
    assert np.abs(found.level_nT[NUMBER == 20]).max() < 0.2


def test_short_lines_gaps_and_missing_values() -> None:
    value = np.where(NUMBER % 2 == 0, 1.0, -1.0)
    value[(NUMBER == 20) & (PLACE > 500)] = np.nan
    off = NUMBER.copy()
    off[NUMBER == 3] = -1
    found = micro_level(off, PLACE, SPACING_M * NUMBER, value, limit_nT=5.0, min_wavelength_m=200.0)
    missing = np.isnan(value) | (off < 0)
    np.testing.assert_array_equal(np.isnan(found.level_nT), missing)


@pytest.mark.parametrize("count", [1, 2])
def test_too_few_lines_give_no_correction(count: int) -> None:
    part = count > NUMBER
    found = micro_level(
        NUMBER[part],
        PLACE[part],
        SPACING_M * NUMBER[part],
        NUMBER[part].astype(float),
        limit_nT=1.0,
        min_wavelength_m=200.0,
    )
    np.testing.assert_array_equal(found.level_nT, 0.0)


def test_readings_all_off_lines() -> None:
    found = micro_level([-1], [0.0], [0.0], [1.0], limit_nT=1.0, min_wavelength_m=200.0)
    assert np.isnan(found.level_nT).all()


@pytest.mark.parametrize("name", ["limit_nT", "min_wavelength_m", "width_lines"])
def test_bad_input_is_named(name: str) -> None:
    with pytest.raises(InputError, match=f"{name} must be above zero"):
        levelled(np.zeros(NUMBER.size), **{name: 0.0})
