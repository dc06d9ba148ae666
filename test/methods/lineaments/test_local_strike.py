"""Strikes near a place of polylines whose strike is known."""

import numpy as np
import pytest

from lodewalk.methods.lineaments.local_strike import local_strike

SPACING = 20.0
#: Strike of the straight ones.
STRIKE = 37.0


def strike_at(corners, place, towards=20.0):
    return local_strike(corners, place, line_spacing_m=SPACING, towards_deg=towards)


def straight(along, aside):
    """Return corners so far along a strike of `STRIKE` degrees and to its right."""
    turn = np.radians(STRIKE)
    return np.column_stack(
        [
            along * np.sin(turn) + aside * np.cos(turn),
            along * np.cos(turn) - aside * np.sin(turn),
        ]
    )


def test_a_bent_lineament_has_the_strike_of_the_place():
    corners = np.array([[0.0, 0.0], [0.0, 200.0], [200.0, 400.0]])
    assert strike_at(corners, (0.0, 80.0)).strike_deg == pytest.approx(0.0, abs=1e-6)
    assert strike_at(corners, (120.0, 320.0)).strike_deg == pytest.approx(45.0, abs=1e-6)
    assert strike_at(corners, (120.0, 320.0), 200.0).strike_deg == pytest.approx(225.0, abs=1e-6)


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
    assert end.sd_deg > 1.5 * middle.sd_deg


def test_an_arc_is_held_where_its_end_is_left_out():
    """The strike turns by 1.5 degrees a line spacing; the arc's own tangent is the truth."""
    radius = SPACING / np.radians(1.5)
    turn = np.radians(np.linspace(0.0, 24.0, 33))
    corners = radius * np.column_stack([1.0 - np.cos(turn), np.sin(turn)])
    found = [strike_at(corners, tuple(corner)) for corner in corners]
    off = np.array([one.strike_deg for one in found]) - np.degrees(turn)
    off = (off + 90.0) % 180.0 - 90.0
    assert (abs(off) <= 1.645 * np.array([one.sd_deg for one in found])).all()


def test_strikes_of_lines_through_noisy_places_are_held_nine_times_in_ten():
    """Places that wander over two and a half line spacings, as crests of a grid do."""
    rng = np.random.default_rng(51_001)
    along = np.arange(0.0, 401.0, 10.0)
    held = []
    for _ in range(80):
        white = rng.normal(size=along.size + 10)
        aside = np.convolve(white, np.hanning(7), "same")[5:-5]
        corners = straight(along, aside / aside.std())
        for row in (2, 12, 20, 28, 38):
            found = strike_at(corners, tuple(corners[row]))
            held.append(abs(found.strike_deg - STRIKE) <= 1.645 * found.sd_deg)
    assert 0.86 <= np.mean(held) <= 0.99
