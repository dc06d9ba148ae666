"""Minimum curvature is held against a plane, the thin-plate spline and the signs of the theory."""

import numba
import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from lodewalk.errors import InputError
from lodewalk.methods.gridding import minimum_curvature as engine
from lodewalk.methods.gridding.block_means import BlockMeans, block_means
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature


def at(column, row, value):
    return block_means(column, row, value, weight=np.ones(np.size(value)))


def surface(blocks, shape, **options):
    return minimum_curvature(blocks, np.ones(shape, dtype=bool), **options).reshape(shape)


def scattered(seed, count, size):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, size - 1, count), rng.uniform(0, size - 1, count)


def test_a_plane_comes_out_exact():
    """Smith and Wessel 1990: without tension a plane has no curvature, so nothing changes it."""
    column, row = scattered(1, 60, 33)
    found = surface(at(column, row, 0.3 + 0.01 * column - 0.02 * row), (33, 33), tolerance=1e-9)
    expected = 0.3 + 0.01 * np.arange(33) - 0.02 * np.arange(33)[:, None]
    np.testing.assert_allclose(found, expected, atol=1e-5)


def test_it_is_the_thin_plate_spline():
    """The minimum of the bending energy over the plane is the thin-plate spline (Duchon 1977).

    The spline is scipy's. Its plane has no edge, so the readings lie in the middle of the grid.
    """
    column, row = (32 + place for place in scattered(2, 120, 49))
    value = np.sin(column / 11) + np.cos(row / 9)
    blocks = at(column, row, value)
    found = surface(blocks, (113, 113), damping=1e-5, tolerance=1e-7)
    places = np.column_stack([blocks.column, blocks.row])
    nodes = np.column_stack([axis.ravel() for axis in np.meshgrid(*[np.arange(44, 69.0)] * 2)])
    spline = RBFInterpolator(places, blocks.value)(nodes).reshape(25, 25)
    assert np.ptp(spline) > 0.5
    np.testing.assert_allclose(found[44:69, 44:69], spline, atol=0.005)


def test_readings_on_nodes_are_honoured_and_those_beside_too():
    column, row = scattered(3, 50, 41)
    blocks = at(column, row, np.sin(column / 6) * np.cos(row / 5))
    found = surface(blocks, (41, 41), damping=1e-5, tolerance=1e-8)
    from scipy.ndimage import map_coordinates

    there = map_coordinates(found, [blocks.row, blocks.column], order=3)
    assert np.abs(there - blocks.value).max() < 0.01


def step():
    column, row = (
        axis.ravel() for axis in np.meshgrid(np.arange(0, 41, 4.0), np.arange(0, 41, 4.0))
    )
    return at(column, row, (column >= 20).astype(float))


def test_it_overshoots_a_step_without_tension_and_not_with():
    """Smith and Wessel 1990: tension takes the overshoot away."""
    bent = surface(step(), (41, 41), tension=0.0, damping=1e-4)
    taut = surface(step(), (41, 41), tension=1.0, damping=1e-4)
    assert bent.max() > 1.03
    assert bent.min() < -0.03
    assert taut.max() < 1.001
    assert taut.min() > -0.001


def test_damping_leaves_noise_out():
    rng = np.random.default_rng(4)
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(0.0, 40), np.arange(0.0, 40)))
    truth = np.sin(column / 12)
    blocks = at(column, row, truth + rng.normal(0, 0.2, truth.size))
    through, damped = (
        surface(blocks, (40, 40), damping=damping) - truth.reshape(40, 40)
        for damping in (1e-4, 50.0)
    )
    assert np.std(through) == pytest.approx(0.2, rel=0.1)
    assert np.std(damped) < 0.4 * np.std(through)


def test_a_better_reading_weighs_more():
    blocks = BlockMeans(
        np.array([0.0, 20.0, 10.0, 0.0, 20.0]),
        np.array([0.0, 0.0, 10.0, 20.0, 20.0]),
        np.array([0.0, 0.0, 1.0, 0.0, 0.0]),
        np.array([1.0, 1.0, 1.0, 1.0, 1.0]),
    )
    poor = blocks._replace(weight=np.array([1.0, 1.0, 0.01, 1.0, 1.0]))
    heights = [surface(b, (21, 21), damping=1.0)[10, 10] for b in (blocks, poor)]
    assert heights[0] > 0.9
    assert heights[1] < 0.5 * heights[0]


@pytest.fixture
def swept(monkeypatch):
    """Solve only the coarsest of some grids at once, and sweep the finer ones."""
    monkeypatch.setattr(engine, "DIRECT", 500)


@pytest.mark.parametrize("tension", [0.0, 0.5])
def test_sweeps_come_to_what_is_solved_at_once(monkeypatch, tension):
    column, row = scattered(6, 900, 81)
    blocks = at(column, row, np.sin(column / 9) * np.cos(row / 7))
    options = {"tension": tension, "damping": 0.01, "tolerance": 1e-6}
    at_once = surface(blocks, (81, 81), **options)
    monkeypatch.setattr(engine, "DIRECT", 500)
    monkeypatch.setattr(engine, "SWEEPS", ((10**9, 2000),))
    # Beyond the readings the free edge is slow to settle.
    inner = (slice(8, -8), slice(8, -8))
    found = surface(blocks, (81, 81), **options)
    np.testing.assert_allclose(found[inner], at_once[inner], atol=5e-4)


def test_the_sweeps_that_are_made_are_enough(swept):
    """Readings each 1.5 nodes on lines 12 nodes apart, as a survey has them."""
    along = np.arange(0, 200, 1.5)
    column = np.repeat(np.arange(0, 200, 12.0), along.size)
    row = np.tile(along, 17)
    blocks = at(column, row, np.sin(column / 25) + np.cos(row / 19))
    found = surface(blocks, (200, 200), damping=1e-3)
    truth = np.sin(np.arange(200) / 25) + np.cos(np.arange(200) / 19)[:, None]
    assert np.abs(found - truth)[10:185, 10:185].max() < 0.01


def test_a_plane_is_swept_to_itself(swept):
    column, row = scattered(1, 600, 70)
    found = surface(at(column, row, 0.3 + 0.01 * column - 0.004 * row), (70, 70), tolerance=1e-9)
    expected = 0.3 + 0.01 * np.arange(70) - 0.004 * np.arange(70)[:, None]
    np.testing.assert_allclose(found[8:-8, 8:-8], expected[8:-8, 8:-8], atol=1e-3)


def test_threads_change_no_bit(swept):
    column, row = scattered(5, 200, 60)
    blocks = at(column, row, np.sin(column / 6))
    before = numba.get_num_threads()
    grids = []
    for threads in (1, 2):
        numba.set_num_threads(min(threads, numba.config.NUMBA_NUM_THREADS))
        grids.append(surface(blocks, (60, 60)))
    numba.set_num_threads(before)
    assert np.array_equal(*grids)


@pytest.mark.parametrize("shape", [(1, 900), (900, 1), (2, 2), (5, 200)])
def test_narrow_grids_are_finite(shape, swept):
    column, row = np.array([0.0, 1.0, shape[1] - 1.0]), np.array([0.0, shape[0] - 1.0, 0.5])
    assert np.isfinite(surface(at(column, row, [0.1, 0.2, 0.3]), shape)).all()


@pytest.mark.parametrize(
    ("options", "rule"),
    [
        ({"tension": 1.5}, "tension"),
        ({"tension": -0.1}, "tension"),
        ({"damping": 0.0}, "damping"),
        ({"tension_length": 0.0}, "tension_length"),
        ({"tolerance": 0.0}, "tolerance"),
    ],
)
def test_wrong_options_are_refused(options, rule):
    with pytest.raises(InputError, match=rule):
        surface(at([0.0, 1.0, 2.0], [0.0, 2.0, 1.0], [0.0, 0.0, 1.0]), (3, 3), **options)


def test_readings_off_the_grid_alone_are_refused():
    with pytest.raises(InputError, match="No reading lies on the grid"):
        surface(at([900.0, 950.0], [900.0, 910.0], [1.0, 1.0]), (5, 5))


@pytest.mark.parametrize("places", [[(3.0, 4.0)], [(2.0, 3.0), (7.0, 3.0), (8.5, 3.0)]])
def test_readings_in_one_place_or_along_one_line_have_a_surface(places):
    column, row = np.array(places).T
    found = surface(at(column, row, 0.2 + 0.05 * column), (9, 12))
    assert np.isfinite(found).all()
    assert found[int(row[0]), int(column[0])] == pytest.approx(0.2 + 0.05 * column[0], abs=0.01)
