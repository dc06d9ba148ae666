"""Gridding along strike is held against fields that are constant along a strike, and known."""

import numba
import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.gridding.along_strike import AlongStrike, carried_values
from lodewalk.methods.gridding.interface import ALONG_STRIKE, grid_readings

SPACING, SIDE, NODE = 20.0, 320.0, 4.0
SHAPE = (81, 81)
INNER = (slice(5, -5), slice(5, -5))


def walk(step=1.5, side=SIDE):
    """North-going lines over a square."""
    north = np.arange(0.0, side + 1e-9, step)
    places = np.arange(0.0, side + 1e-9, SPACING)
    return (
        np.repeat(places, north.size),
        np.tile(north, places.size),
        np.repeat(np.arange(places.size), north.size),
    )


def strip(east, north, angle_deg, depth, offset=0.0):
    """Anomaly of a thin vertical dyke at the pole: z^2 / (x^2 + z^2), constant along its strike.

    The angle is that of the strike from north, the direction of the lines.
    """
    turn = np.radians(angle_deg)
    off = (east - SIDE / 2 - offset) * np.cos(turn) - (north - SIDE / 2) * np.sin(turn)
    return 50 * depth**2 / (off**2 + depth**2)


def ball(east, north, depth, centre):
    """Vertical field of a vertical dipole (Blakely 1995, chapter 4, from memory)."""
    square = (east - centre[0]) ** 2 + (north - centre[1]) ** 2
    return 25 * depth**3 * (2 * depth**2 - square) / (depth**2 + square) ** 2.5


def nodes():
    north, east = np.indices(SHAPE) * NODE
    return east, north


def grid(east, north, value, line, strength, *, longest_m=None, **options):
    told = {"west_m": 0.0, "south_m": 0.0, "spacing_m": NODE, "shape": SHAPE, "damping_m2": 0.02}
    return grid_readings(
        east, north, value, reach_m=2000.0, method=ALONG_STRIKE, **(told | options),
        along_strike=AlongStrike(line, SPACING, strength, longest_m),
    )  # fmt: skip


def rms(found, truth):
    return float(np.sqrt(np.mean((found - truth)[INNER] ** 2)))


@pytest.mark.parametrize("angle", [15.0, -25.0, 45.0, 70.0])
def test_a_dyke_on_sparse_lines_is_joined(angle):
    """Its half width is 0.35 of the line spacing; the closed form is constant along the strike."""
    east, north, line = walk()
    value, truth = strip(east, north, angle, 7.0), strip(*nodes(), angle, 7.0)
    plain, along = (rms(grid(east, north, value, line, s), truth) for s in (0.0, 0.1))
    assert plain > 1.0
    assert along < 0.35 * plain


def test_the_strike_lets_long_waves_be():
    """A dyke over a body five times as strong, 3 line spacings down: the body isn't carried."""
    east, north, line = walk()

    def field(e, n):
        return strip(e, n, 20.0, 7.0) + 4 * ball(e, n, 60.0, (120.0, 200.0))

    value, truth = field(east, north), field(*nodes())
    plain, every, short = (
        rms(grid(east, north, value, line, strength, longest_m=longest_m), truth)
        for strength, longest_m in ((0.0, None), (0.1, None), (0.1, 4 * SPACING))
    )
    assert short < 0.35 * plain
    assert short < 0.5 * every


def test_nothing_carried_is_minimum_curvature_to_the_bit():
    east, north, line = walk()
    value = strip(east, north, 20.0, 7.0)
    plain = grid_readings(
        east, north, value, west_m=0.0, south_m=0.0, spacing_m=NODE, shape=SHAPE, reach_m=2000.0,
        method="minimum curvature", damping_m2=0.02,
    )  # fmt: skip
    assert np.array_equal(grid(east, north, value, line, 0.0), plain)


@pytest.mark.parametrize("longest_m", [None, 80.0])
def test_a_plane_is_exact(longest_m):
    east, north, line = walk()
    found = grid(east, north, 50 + 0.3 * east - 0.2 * north, line, 1.0, longest_m=longest_m)
    e, n = nodes()
    np.testing.assert_allclose(found, 50 + 0.3 * e - 0.2 * n, atol=1e-9)


def test_a_ball_carries_little():
    """One body on three lines: no strike joins it to anything."""
    east, north, line = walk()
    for seed in range(3):
        centre = np.random.default_rng(seed).uniform(80, 240, 2)
        value, truth = ball(east, north, 25.0, centre), ball(*nodes(), 25.0, centre)
        plain, along = (rms(grid(east, north, value, line, s), truth) for s in (0.0, 0.1))
        assert along < plain + 0.1


def test_noise_alone_carries_next_to_nothing():
    east, north, line = walk()
    noise = np.random.default_rng(3).normal(0, 0.01, east.size)
    carried = carried_values(
        east / NODE, north / NODE, noise, weight=np.ones(east.size), line=line,
        wanted=np.ones(SHAPE, dtype=bool), line_spacing=SPACING / NODE, strength=1.0,
    )  # fmt: skip
    assert carried.value.size < 0.05 * SHAPE[0] * SHAPE[1]


def test_everything_turned_by_a_right_angle_is_the_grid_turned():
    # Steps that divide the side, so that pieces of lines are the same from either end.
    east, north, line = walk(step=1.6)
    value = strip(east, north, 25.0, 7.0) + ball(east, north, 20.0, (90.0, 220.0))
    upright = grid(east, north, value, line, 0.1)
    # A quarter turn to the left: east becomes north, north becomes west.
    turned = grid(SIDE - north, east, value, line, 0.1)
    np.testing.assert_allclose(np.rot90(turned, 1), upright, atol=1e-9)


def test_southern_coordinates_change_nothing():
    """Northings south of the equator are near 10,000,000 m in UTM."""
    east, north, line = walk()
    value = strip(east, north, 20.0, 7.0)
    here = grid(east, north, value, line, 0.1)
    there = grid(
        east + 500_000, north + 9_400_000, value, line, 0.1, west_m=500_000.0,
        south_m=9_400_000.0,
    )  # fmt: skip
    np.testing.assert_allclose(there, here, atol=1e-4)


def test_threads_change_no_bit():
    east, north, line = walk(step=3.0)
    value = strip(east, north, 20.0, 7.0)
    before = numba.get_num_threads()
    grids = []
    for threads in (1, 2):
        numba.set_num_threads(min(threads, numba.config.NUMBA_NUM_THREADS))
        grids.append(grid(east, north, value, line, 0.1))
    numba.set_num_threads(before)
    assert np.array_equal(*grids)


def test_the_order_of_readings_and_the_numbers_of_lines_change_no_bit():
    east, north, line = walk(step=3.0)
    value = strip(east, north, 20.0, 7.0)
    order = np.random.default_rng(1).permutation(east.size)
    first = grid(east, north, value, line, 0.1)
    mixed = grid(east[order], north[order], value[order], 900 - line[order], 0.1)
    np.testing.assert_allclose(mixed, first, atol=1e-9)


def test_tie_lines_are_gridded_but_nothing_is_carried_from_them():
    east, north, line = walk()
    value = strip(east, north, 20.0, 7.0)
    along = np.arange(0, SIDE, 1.5)
    with_tie = [
        np.concatenate([part, more])
        for part, more in (
            (east, along),
            (north, np.full(along.size, 150.0)),
            (value, strip(along, 150.0, 20.0, 7.0) + 30),
            (line, np.full(along.size, 99)),
        )
    ]
    found = grid(*with_tie, 0.1)
    # The tie line is 30 nT too high: the grid follows it there, and not half a dozen rows off.
    first = grid(east, north, value, line, 0.1)
    at, off = found[37:39, 5:-5] - first[37:39, 5:-5], found[55:, :] - first[55:, :]
    assert np.mean(at) > 8
    assert np.abs(np.mean(off)) < 1


@pytest.mark.parametrize(
    "case", ["one line", "no line is named", "far apart", "ends that never meet", "one place twice"]
)
def test_where_nothing_can_be_carried_it_is_minimum_curvature(case):
    east, north, line = walk(step=4.0)
    value = strip(east, north, 20.0, 7.0)
    if case == "one line":
        line = np.where(line == 3, 3, -1)
    elif case == "no line is named":
        line = np.full(line.size, -1)
    elif case == "far apart":
        used = line % 8 == 0
        east, north, line, value = (part[used] for part in (east, north, line, value))
    elif case == "ends that never meet":
        used = np.where(line % 2, north > 170, north < 150) & (line < 2)
        east, north, line, value = (part[used] for part in (east, north, line, value))
    else:
        used = (line == 0) | (line == 9)
        line = np.where(used, 0, -1)
        east[1], north[1] = east[0], north[0]
    plain, along = (grid(east, north, value, line, strength) for strength in (0.0, 1.0))
    assert np.isfinite(along).all()
    assert np.array_equal(along, plain)


def test_three_points_have_a_grid():
    east, north = np.array([0.0, 300.0, 150.0]), np.array([0.0, 20.0, 300.0])
    found = grid(east, north, np.array([1.0, 2.0, 3.0]), [0, 1, 2], 1.0)
    assert np.isfinite(found).all()


def test_readings_of_two_lines_only_are_joined():
    east, north, line = walk()
    used = (line == 7) | (line == 8)
    east, north, line = east[used], north[used], line[used]
    found = grid(east, north, strip(east, north, 30.0, 7.0), line, 1.0)
    truth = strip(*nodes(), 30.0, 7.0)
    between = (slice(10, -10), slice(36, 40))
    plain = grid(east, north, strip(east, north, 30.0, 7.0), line, 0.0)
    assert np.std((found - truth)[between]) < 0.5 * np.std((plain - truth)[between])


def test_the_lines_must_be_told():
    with pytest.raises(InputError, match="needs to know the lines"):
        grid_readings([0.0, 1, 2], [0.0, 2, 0], [0.0, 1, 2], west_m=0.0, south_m=0.0,
                      spacing_m=0.5, shape=(5, 5), reach_m=5.0, method=ALONG_STRIKE)  # fmt: skip


def test_a_line_for_each_reading():
    with pytest.raises(InputError, match="same length"):
        grid(np.array([0.0, 100, 50]), np.array([0.0, 20, 90]), np.ones(3), [0, 1], 1.0)


@pytest.mark.parametrize(
    ("settings", "rule"),
    [
        ({"line_spacing_m": 0.0}, "line_spacing_m"),
        ({"strength": -1.0}, "strength"),
        ({"strength": np.nan}, "strength"),
        ({"longest_m": 0.0}, "longest_m"),
    ],
)
def test_wrong_settings_are_refused(settings, rule):
    with pytest.raises(InputError, match=rule):
        AlongStrike([0, 1], **({"line_spacing_m": 5.0} | settings))
