import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.field import refined, relief, stretch_of
from lodewalk.records.grid import Grid


def grid_of(values):
    return Grid(
        np.asarray(values, dtype=float), 600_000.0, 7_240_000.0, 10.0, "EPSG:32722", "nT", "anomaly"
    )


def test_stretch_runs_from_the_1st_to_the_99th_percentile():
    stretch = stretch_of(grid_of(np.arange(101.0).reshape(1, -1)))
    assert (stretch.low, stretch.high) == (1.0, 99.0)


def test_stretch_passes_over_masked_nodes():
    values = np.r_[np.arange(101.0), np.full(50, np.nan)].reshape(1, -1)
    assert stretch_of(grid_of(values)).high == 99.0


def test_a_level_grid_gets_a_stretch_of_one_and_no_percentile():
    stretch = stretch_of(grid_of([[7.0, 7.0]]))
    assert (stretch.low, stretch.high) == (6.5, 7.5)
    assert (stretch.low_percentile, stretch.high_percentile) == (0.0, 100.0)


def test_a_grid_without_value_is_refused():
    with pytest.raises(InputError, match="no value to draw"):
        stretch_of(grid_of(np.full((3, 3), np.nan)))


def test_refined_reproduces_a_plane_between_nodes():
    north, east = np.mgrid[0:6, 0:8].astype(float)
    fine = refined(2 * east - 3 * north, 4)
    at_north = (np.arange(24) + 0.5) / 4 - 0.5
    at_east = (np.arange(32) + 0.5) / 4 - 0.5
    expected = 2 * at_east[None, :] - 3 * at_north[:, None]
    inner = (slice(2, -2), slice(2, -2))
    assert fine[inner] == pytest.approx(expected[inner], abs=1e-12)


def test_refined_masks_just_the_cell_of_a_masked_node():
    values = np.ones((5, 5))
    values[2, 3] = np.nan
    fine = refined(values, 4)
    masked = np.isnan(fine)
    assert masked.sum() == 16
    assert masked[8:12, 12:16].all()
    assert fine[~masked] == pytest.approx(1.0)


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1)])
def test_refined_and_relief_work_on_the_smallest_grids(shape):
    values = np.full(shape, 3.0)
    assert refined(values, 3) == pytest.approx(3.0)
    assert relief(values, spacing_m=1.0) == pytest.approx(0.0)


@pytest.mark.parametrize(("slope", "light"), [(-1.0, 1.0), (1.0, 0.0)])
def test_relief_obeys_lamberts_law(slope, light):
    """A slope of 45 degrees towards a light at 45 degrees gets all of it, away from it none."""
    east = np.tile(np.arange(6.0), (5, 1))
    shade = relief(slope * east, spacing_m=1.0, light_azimuth_deg=90.0, light_height_deg=45.0)
    assert shade == pytest.approx(light - np.sin(np.pi / 4), abs=1e-12)


def test_relief_does_not_depend_on_the_unit():
    values = np.random.default_rng(1).normal(size=(9, 9))
    assert relief(values, spacing_m=2.0) == pytest.approx(relief(1e6 * values, spacing_m=2.0))
