from dataclasses import replace

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.transform_map import MEANING, draw_transform_map
from lodewalk.records.products import Readings

WORDS = {
    "title": "Transform of the anomaly, an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}


@pytest.mark.parametrize("name", ["tilt_angle", "pseudo_gravity", "tilt_horizontal_derivative"])
def test_every_text_is_whole_and_says_what_is_shown(scenario, look, name):
    grid = replace(scenario.grid, name=name, unit="deg")
    figure = draw_transform_map(grid, scenario.readings, **WORDS)
    look.readable(figure)
    told = " ".join(text.get_text() for text, _ in look.texts(figure))
    assert MEANING[name] in told
    assert "deg" in told


@pytest.mark.parametrize("shape", [(12, 240), (240, 12), (80, 80)], ids=str)
def test_a_wide_and_a_tall_map_are_whole(scenario, look, shape):
    values = np.linspace(-3.0, 3.0, shape[0] * shape[1]).reshape(shape)
    grid = replace(scenario.grid, values=values, name="residual")
    look.readable(draw_transform_map(grid, Readings.empty(), **WORDS))


def test_a_map_without_a_value_says_why_not(scenario):
    none = replace(scenario.grid, values=np.full(scenario.grid.values.shape, np.nan))
    with pytest.raises(InputError, match="no value to draw"):
        draw_transform_map(none, Readings.empty(), **WORDS)
