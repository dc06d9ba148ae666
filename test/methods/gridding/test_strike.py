"""The strike between lines is held against the angle of a ridge that is known."""

import numpy as np
import pytest

from lodewalk.methods.gridding.line_profiles import line_profiles
from lodewalk.methods.gridding.strike import carry_along_strike

SPACING, LINES, LENGTH = 20.0, 7, 400.0


def profiles_of(field, *, skip=(), hole=None):
    along = np.tile(np.arange(0.0, LENGTH, 1.5), LINES)
    across = np.repeat(np.arange(LINES) * SPACING, along.size // LINES)
    line = np.repeat(np.arange(LINES), along.size // LINES)
    used = ~np.isin(line, skip)
    if hole is not None:
        used &= ~((line == hole[0]) & (along > hole[1]) & (along < hole[2]))
    along, across, line = along[used], across[used], line[used]
    return line_profiles(
        along, across, field(along, across), line, weight=np.ones(line.size),
        line_spacing=SPACING, step=SPACING / 8,
    )  # fmt: skip


def ridge(angle_deg, half=7.0):
    """A ridge through the middle; its strike stands at an angle to the lines, which run along."""
    turn = np.radians(angle_deg)

    def field(along, across):
        off = (along - LENGTH / 2) * np.sin(turn) - (across - 60) * np.cos(turn)
        return half**2 / (off**2 + half**2)

    return field


def carried(profiles, along, across):
    return carry_along_strike(
        profiles, np.atleast_1d(float(along)), np.atleast_1d(float(across)), line_spacing=SPACING
    )


@pytest.mark.parametrize("angle", [15, 20, 30, 45, 70, 90, 110, 150, 165])
def test_the_strike_of_a_ridge(angle):
    """Half a step of the strikes tried is 0.04 of sin(angle), some 2 degrees at most."""
    profiles = profiles_of(ridge(angle))
    middle = LENGTH / 2 + 10 / np.tan(np.radians(angle))
    found = carried(profiles, middle, 70.0)
    error = (np.degrees(found.strike[0]) - angle + 90) % 180 - 90
    assert abs(error) < 1.5
    assert found.value[0] == pytest.approx(1.0, abs=0.05)
    assert found.coherence[0] > 0.95


def test_one_line_missing_makes_the_strike_longer_not_other():
    profiles = profiles_of(ridge(25), skip=(3,))
    found = carried(profiles, LENGTH / 2, 60.0)
    assert np.degrees(found.strike[0]) == pytest.approx(25, abs=1.5)
    assert found.value[0] == pytest.approx(1.0, abs=0.05)


def test_over_a_hole_the_next_line_is_the_neighbour():
    profiles = profiles_of(ridge(25), hole=(3, 150.0, 250.0))
    assert profiles.right[2, int(LENGTH / 2 / profiles.step)] == 4
    found = carried(profiles, LENGTH / 2, 60.0)
    assert found.value[0] == pytest.approx(1.0, abs=0.05)


def test_lines_of_unlike_noise_have_no_coherence():
    rng = np.random.default_rng(7)
    profiles = profiles_of(lambda along, across: rng.normal(0, 1, along.size) + 0 * across)
    along = rng.uniform(50, LENGTH - 50, 400)
    found = carry_along_strike(profiles, along, rng.uniform(1, 119, 400), line_spacing=SPACING)
    assert np.nanmean(found.coherence) < 0.1
    assert np.nanmean(found.coherence > 0.5) < 0.01


def test_where_two_ridges_cross_the_coherence_falls():
    one, other = ridge(30), ridge(150)
    both = profiles_of(lambda along, across: one(along, across) + other(along, across))
    cross = carried(both, LENGTH / 2, 70.0)
    alone = carried(profiles_of(one), LENGTH / 2 + 10 * np.sqrt(3), 70.0)
    assert cross.coherence[0] < alone.coherence[0] - 0.1


def test_waves_that_two_strikes_explain_are_left_alone():
    """Each line is the last one shifted by half a wave, forwards or backwards alike.

    In the middle the two strikes want sin and -sin of the same phase (30 m are a quarter wave), so
    the variance between them is that of the waves, and nothing is in common.
    """

    def field(along, across):
        return np.cos(2 * np.pi * (along / 120 + across / (2 * SPACING)))

    found = carried(profiles_of(field), LENGTH / 2 + 10, 70.0)
    assert abs(np.sin(2 * np.pi * (LENGTH / 2 + 10) / 120)) > 0.8
    assert found.coherence[0] < 0.5


def test_where_the_strike_leaves_the_lines_nothing_stands_in_for_it():
    """The ridge meets one line at 11 m before its first reading, the other 32 m after it."""
    turn = np.radians(25)

    def field(along, across):
        off = (along - 10) * np.sin(turn) - (across - 70) * np.cos(turn)
        return 49 / (off**2 + 49)

    profiles = profiles_of(field)
    assert carried(profiles, 10.0, 70.0).coherence[0] < 0.3
    # Well inside the same ridge is known.
    assert carried(profiles, 10 + 20 / np.tan(turn), 90.0).coherence[0] > 0.9


def test_beyond_the_lines_nothing_is_known():
    found = carried(profiles_of(ridge(30)), LENGTH / 2, 130.0)
    assert np.isnan(found.value[0])
    assert np.isnan(found.coherence[0])


def test_lines_read_in_parts_or_twice_are_one():
    along = np.tile(np.arange(0.0, 100, 2), 2)
    across = np.repeat([0.0, 20.0], 50)
    line = np.where(across > 0, 5, np.where(along < 50, 0, 1))
    found = line_profiles(along, across, along, line, weight=np.ones(100), line_spacing=20.0,
                          step=2.5)  # fmt: skip
    assert found.value.shape[0] == 2
    np.testing.assert_allclose(found.value, np.arange(40) * 2.5 + 0 * found.value, atol=1.3)


def test_a_weight_counts_in_the_profile():
    along = np.tile(np.repeat(np.arange(0.0, 100, 5), 2), 2)
    value = np.tile([0.0, 1.0], 40)
    found = line_profiles(
        along, np.repeat([0.0, 20.0], 40), value, np.repeat([0, 1], 40),
        weight=np.tile([3.0, 1.0], 40), line_spacing=20.0, step=5.0,
    )  # fmt: skip
    np.testing.assert_allclose(found.value, 0.25)
