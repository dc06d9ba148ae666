"""The ground surveyed, held against distances computed one by one."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region, surveyed_ground, within_reach


def test_reach_is_the_distance_to_the_nearest_reading():
    rng = np.random.default_rng(3)
    column, row = rng.uniform(0, 30, 40), rng.uniform(0, 20, 40)
    inside = within_reach(column, row, (21, 31), reach=2.5)
    for y in range(21):
        for x in range(31):
            near = min(np.hypot(column - x, row - y)) <= 2.5
            assert inside[y, x] == near


def lines(*eastings):
    along = np.arange(0.0, 201.0, 2.0)
    return np.repeat(eastings, along.size), np.tile(along, len(eastings))


def ground(east, north, **more):
    region = Region(-150.0, -150.0, (101, 121))
    given = {"spacing_m": 5.0, "reach_m": 50.0, "margin_m": 10.0} | more
    return surveyed_ground(east, north, region=region, **given), region


def test_a_gap_narrower_than_twice_the_reach_is_ground_and_a_wider_one_is_not():
    narrow, region = ground(*lines(0.0, 90.0))
    wide, _ = ground(*lines(0.0, 130.0))
    row = int((100 - region.south_m) / 5)
    between = [int((east - region.west_m) / 5) for east in (45, 65)]
    assert narrow[row, between[0]]
    assert not wide[row, between[1]]


@pytest.mark.parametrize("margin", [10.0, 30.0, 50.0])
def test_the_margin_lies_beyond_the_outer_lines(margin):
    inside, region = ground(*lines(0.0, 40.0), margin_m=margin)
    row = inside[int((100 - region.south_m) / 5)]
    east = region.west_m + 5.0 * np.flatnonzero(row)
    assert east.min() == pytest.approx(-margin, abs=5.0)
    assert east.max() == pytest.approx(40 + margin, abs=5.0)


@pytest.mark.parametrize("name", ["spacing_m", "reach_m", "margin_m"])
def test_lengths_are_above_zero(name):
    with pytest.raises(InputError, match=name):
        ground(*lines(0.0), **{name: 0.0})
