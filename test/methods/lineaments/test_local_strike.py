"""Strikes near a place of polylines whose strike is known."""

import numpy as np
import pytest

from bent_dykes import rows_of
from crossed_traces import SPACING, STRIKE, bend, crossed, held, straight
from lodewalk.errors import InputError
from lodewalk.methods.lineaments.local_strike import local_strikes


def strikes_at(corners, places, towards=20.0):
    return local_strikes(corners, places, line_spacing_m=SPACING, towards_deg=towards)


def strike_at(corners, place, towards=20.0):
    return strikes_at(corners, [place], towards)[0]


def test_a_bent_lineament_has_the_strike_of_the_place():
    rng = np.random.default_rng(4)
    corners, strikes, along = crossed(rng, lines=24, turn=bend(10.0, 30.0), error=0.01)
    found = strikes_at(corners, corners)
    inside, off = held(found, strikes)
    assert inside.all()
    assert np.abs(off[np.abs(along - 10.0) > 4.0]).max() < 1.0
    turned = strike_at(corners, tuple(corners[0]), towards=200.0)
    assert turned.strike_deg == pytest.approx(found[0].strike_deg + 180.0)


@pytest.mark.parametrize("turn", [0.0, 12.0])
def test_strikes_over_lines_that_err_are_held_nine_times_in_ten(turn):
    """A trace bends smoothly between lines that err, so its scatter about a piece tells too little.

    The straight line through four spacings, with the error that its scatter tells, holds 78 % of
    them, and 28 % near the bend.
    """
    rng = np.random.default_rng(51_200)
    inside, off, sd, near = [], [], [], []
    for _ in range(30):
        at = rng.uniform(8.0, 12.0)
        corners, strikes, along = crossed(rng, lines=24, turn=bend(at, turn))
        found = strikes_at(corners, corners[::2])
        right, how = held(found, strikes[::2])
        inside += right.tolist()
        off += how.tolist()
        sd += [one.sd_deg for one in found]
        near += (np.abs(along[::2] - at) < 2.0).tolist()
    assert np.mean(inside) >= 0.86
    assert turn == 0.0 or np.mean(np.array(inside)[near]) >= 0.8
    # ... and not by errors too wide for any use.
    assert np.sqrt(np.mean(np.square(sd))) < 1.8 * np.sqrt(np.mean(np.square(off)))


def test_strikes_traced_from_a_map_are_held():
    """Six surveys with errors of place, most of them of several dykes."""
    rows = [row for seed in range(51_300, 51_306) for row in rows_of(seed)]
    share = [np.mean([row["held"] for row in rows if row["seed"] == seed])
             for seed in {row["seed"] for row in rows}]  # fmt: skip
    assert np.mean(share) >= 0.8


@pytest.mark.parametrize("length", [60.0, 100.0, 400.0])
def test_an_end_that_bends_to_the_border_tells_no_strike(length):
    along = np.arange(0.0, length + 1.0, 10.0)
    bent = np.where(along < 20.0, 0.3 * (20.0 - along), 0.0)
    corners = straight(along, bent)
    found = strike_at(corners, tuple(corners[0]))
    assert found.strike_deg == pytest.approx(STRIKE, abs=1.645 * found.sd_deg)
    if length >= 100.0:
        assert found.strike_deg == pytest.approx(STRIKE, abs=0.6)


def test_an_end_is_less_sure_than_the_middle():
    corners = straight(np.arange(0.0, 401.0, 10.0), np.zeros(41))
    middle, end = (strike_at(corners, tuple(corners[row])) for row in (20, 40))
    assert end.sd_deg > 1.3 * middle.sd_deg


def test_a_long_lineament_is_told_part_by_part():
    """Its middle may not hang on what lies farther off than forty line spacings."""
    along = np.arange(0.0, 2401.0, 10.0)
    bent = np.where(along > 2000.0, np.tan(np.radians(8.0)) * (along - 2000.0), 0.0)
    corners = straight(along, bent)
    short = strikes_at(corners[:101], corners[:60])
    assert strikes_at(corners, corners[20:40]) == pytest.approx(
        np.array(short[20:40]), abs=0.05
    )  # fmt: skip
    assert strike_at(corners, tuple(corners[-10])).strike_deg == pytest.approx(
        STRIKE + 8.0, abs=0.5
    )


def test_an_arc_is_held_where_its_end_is_left_out():
    """The strike turns by 1.5 degrees a line spacing; the arc's own tangent is the truth."""
    radius = SPACING / np.radians(1.5)
    turn = np.radians(np.linspace(0.0, 24.0, 33))
    corners = radius * np.column_stack([1.0 - np.cos(turn), np.sin(turn)])
    found = strikes_at(corners, corners)
    assert held(found, np.degrees(turn))[0].all()


@pytest.mark.parametrize("count", [1, 2, 5])
def test_corners_that_coincide_have_no_strike(count):
    with pytest.raises(InputError, match="corners of a polyline coincide"):
        strike_at(np.full((count, 2), 560_000.0), (560_000.0, 560_000.0))
