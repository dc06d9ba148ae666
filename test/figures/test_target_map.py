import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.target_map import draw_target_map
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

TARGET = {"radius_m": 2.0, "depth_m": 5.0, "susceptibility": 0.05, "detection": 0.9}
WORDS = {
    "title": "What could still hide, an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}


def radii(grid, *, nowhere=False):
    east = np.linspace(0, 6 * np.pi, grid.values.shape[1])
    values = np.broadcast_to(2 + np.sin(east), grid.values.shape).copy()
    if nowhere:
        values[5:9, 5:12] = np.inf
    return Grid(values, grid.west_m, grid.south_m, grid.spacing_m, grid.crs, "m", "radius")


def texts(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


@pytest.mark.parametrize("nowhere", [False, True])
@pytest.mark.parametrize("declination", [-19.87, None])
def test_every_text_is_whole_and_apart(scenario, look, nowhere, declination):
    grid = radii(scenario.grid, nowhere=nowhere)
    words = WORDS | {"declination_deg": declination}
    look.readable(draw_target_map(grid, scenario.readings, target=TARGET, **words))


def lines_of(figure):
    """Return the vertices of the contours on the map."""
    panel = next(axes for axes in figure.axes if axes.get_gid() == "map")
    sets = [c for c in panel.collections if type(c).__name__ == "QuadContourSet"]
    return [part.vertices for one in sets for part in one.get_paths()]


def test_the_heavy_line_lies_at_the_radius_sought(scenario):
    grid = radii(scenario.grid)
    figure = draw_target_map(grid, Readings.empty(), target=TARGET, **WORDS)
    east = np.concatenate(lines_of(figure))[:, 0] - grid.west_m
    phase = east / (grid.spacing_m * (grid.values.shape[1] - 1)) * 6 * np.pi
    assert east.size
    assert np.abs(np.sin(phase)).max() < 0.02


def test_no_heavy_line_where_the_target_is_found_everywhere(scenario):
    figure = draw_target_map(
        radii(scenario.grid), Readings.empty(), target=TARGET | {"radius_m": 9.0}, **WORDS
    )
    assert not lines_of(figure)


def test_one_scale_both_ways(scenario):
    figure = draw_target_map(radii(scenario.grid), Readings.empty(), target=TARGET, **WORDS)
    panel = next(axes for axes in figure.axes if axes.get_gid() == "map")
    box = panel.get_window_extent()
    width, height = np.ptp(panel.get_xlim()), np.ptp(panel.get_ylim())
    assert box.width / width == pytest.approx(box.height / height, rel=1e-6)


def test_a_map_without_any_target_found_says_so(scenario):
    grid = radii(scenario.grid)
    none = Grid(np.full(grid.values.shape, np.inf), 0.0, 0.0, 5.0, grid.crs, "m", "radius")
    with pytest.raises(InputError, match="no value to draw"):
        draw_target_map(none, Readings.empty(), target=TARGET, **WORDS)
