from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import LineCollection

from lodewalk.errors import InputError
from lodewalk.figures.error_map import draw_error_map
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

WORDS = {
    "title": "Standard error of the anomaly, an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}


def errors(grid):
    """Return errors that grow eastwards from 1 to 101 nT, masked where the grid is."""
    ramp = np.linspace(1.0, 101.0, grid.values.shape[1])
    values = np.where(np.isnan(grid.values), np.nan, np.broadcast_to(ramp, grid.values.shape))
    return replace(grid, values=values, name="total_field_anomaly_standard_error")


def ground(rows, columns):
    """Return a grid of one metre a node."""
    values = np.linspace(0.2, 3.0, rows * columns).reshape(rows, columns)
    return Grid(values, 600_000.0, 7_240_000.0, 5.0, "EPSG:31982", "nT", "error")


def words_of(figure, look):
    return [text.get_text() for text, _ in look.texts(figure)]


@pytest.mark.parametrize("declination", [-19.87, None])
def test_every_text_is_whole_and_apart(scenario, look, declination):
    words = WORDS | {"declination_deg": declination}
    look.readable(draw_error_map(errors(scenario.grid), scenario.readings, **words))


@pytest.mark.parametrize(
    "shape", [(12, 240), (240, 12), (80, 80), (1, 1), (1, 40), (40, 1)], ids=str
)
def test_a_wide_and_a_tall_map_are_whole_and_at_one_scale(look, shape):
    figure = draw_error_map(ground(*shape), Readings.empty(), **WORDS)
    look.readable(figure)
    panel = look.axes(figure, "map")
    box = panel.get_window_extent()
    width, height = np.ptp(panel.get_xlim()), np.ptp(panel.get_ylim())
    assert box.width / width == pytest.approx(box.height / height, rel=1e-6)


@pytest.mark.parametrize("below_m", [0.1, 2.0, 6.0, 20.0])
def test_a_northing_at_the_top_keeps_clear_of_the_title(look, below_m):
    """The ground reaches 397.5 m north of its first node, the map 12 m more."""
    grid = replace(ground(80, 80), south_m=7_240_500.0 + below_m - 397.5 - 12.0)
    figure = draw_error_map(grid, Readings.empty(), **WORDS)
    north = look.axes(figure, "map").get_ylim()[1]
    assert north == pytest.approx(7_240_500.0 + below_m)
    look.readable(figure)


@pytest.mark.parametrize("shape", [(12, 240), (240, 12), (80, 80)], ids=str)
def test_the_legend_says_what_an_interval_is_and_what_is_not_in_it(look, shape):
    told = " ".join(words_of(draw_error_map(ground(*shape), Readings.empty(), **WORDS), look))
    assert "One standard deviation; 90 % of true values lie within 1.645 of it." in told
    assert "Absolute level: not in it." in told
    assert "Standard error [nT]" in told


def test_colours_end_at_the_percentiles_that_are_printed(look):
    """Of 1000 even steps from 1 to 1000 the 1st percentile is 10.99, the 90th 900.1."""
    values = np.arange(1.0, 1001.0).reshape(25, 40)
    grid = Grid(values, 600_000.0, 7_240_000.0, 5.0, "EPSG:31982", "nT", "error")
    told = words_of(draw_error_map(grid, Readings.empty(), **WORDS), look)
    assert "above 900 nT: 10 % of cells" in told
    assert "below 11 nT: 1 % of cells" in told


def test_contours_above_the_colours_lie_at_round_values(scenario, look):
    """A tenth of the ground has 91 to 400 nT there, so the round values above are 100 and 200."""
    ramp = np.concatenate((np.linspace(1.0, 91.0, 91), np.linspace(100.5, 400.0, 10)))
    grid = Grid(np.tile(ramp, (30, 1)), 600_000.0, 7_240_000.0, 5.0, "EPSG:31982", "nT", "error")
    figure = draw_error_map(grid, Readings.empty(), **WORDS)
    assert "Contours: 100, 200 nT." in " ".join(words_of(figure, look))
    panel = look.axes(figure, "map")
    (drawn,) = (c for c in panel.collections if type(c).__name__ == "QuadContourSet")
    at = [path.vertices[:, 0] for path in drawn.get_paths()]
    expected = np.interp([100.0, 200.0], ramp, grid.eastings)
    for found, east in zip(at, expected, strict=True):
        assert found == pytest.approx(east, abs=0.01)


def test_the_lines_walked_stand_on_it(scenario, look):
    panel = look.axes(draw_error_map(errors(scenario.grid), scenario.readings, **WORDS), "map")
    walked = [c for c in panel.collections if isinstance(c, LineCollection)]
    assert sum(len(c.get_segments()) for c in walked) >= 25


def test_a_map_without_a_value_says_why_not(scenario):
    none = replace(scenario.grid, values=np.full(scenario.grid.values.shape, np.nan))
    with pytest.raises(InputError, match="no value to draw"):
        draw_error_map(none, Readings.empty(), **WORDS)
