"""The map of lineaments and the rose: every text whole, kinds told apart, petals as stated."""

import numpy as np
import polars as pl
import pytest
from matplotlib.patches import Wedge

from lodewalk.figures.lineament_map import draw_lineament_map
from lodewalk.figures.rose import draw_rose
from lodewalk.records.interpreted import Faults, LineamentPoints, Lineaments

WORDS = {
    "title": "Lineaments, an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}
ROSE = {
    "edges_deg": np.arange(0.0, 181.0, 10.0).tolist(),
    "length_m": [0.0] * 11 + [400.0, 800.0, 200.0] + [0.0] * 4,
    "mean_deg": 124.0,
    "sd_deg": 3.0,
    "number": 7,
}


def traced(grid):
    """Return two pieces of a ridge with an offset, an edge and a spot on a grid's ground."""
    west, south = float(grid.eastings[0]), float(grid.northings[0])
    wide, high = float(np.ptp(grid.eastings)), float(np.ptp(grid.northings))
    ways = {
        "R1": [(0.1, 0.6), (0.25, 0.6), (0.4, 0.6)],
        "R2": [(0.45, 0.4), (0.6, 0.4), (0.9, 0.4)],
        "E1": [(0.1, 0.9), (0.9, 0.8)],
        "S1": [(0.7, 0.15)],
    }
    kinds = {"R": "ridge", "E": "edge", "S": "spot"}
    corners = [
        (name, k + 1, west + e * wide, south + n * high, 1.0)
        for name, way in ways.items()
        for k, (e, n) in enumerate(way)
    ]
    points = LineamentPoints(
        pl.DataFrame(
            corners, schema=["lineament", "number", "easting_m", "northing_m", "strength"],
            orient="row",
        )
    )  # fmt: skip
    rows = {
        "lineament": list(ways),
        "kind": [kinds[name[0]] for name in ways],
        "group": ["R1", "R1", None, None],
        "strike_deg": [90.0, 90.0, 95.0, None],
        "strike_sd_deg": [1.0, 1.0, 1.0, None],
        "length_m": [200.0, 300.0, 500.0, 0.0],
        "lines": [8, 9, 20, 0],
        "alike": [0.9, 0.9, 0.8, None],
        **{name: [0.0] * 4 for name in ("easting_m", "northing_m", "evidence", "strength")},
    }
    fault = {
        "first": ["R1"], "second": ["R2"], "easting_m": [west + 0.42 * wide],
        "northing_m": [south + 0.5 * high], "offset_m": [0.2 * high], "sd_m": [6.0], "gap_m": [9.0],
    }  # fmt: skip
    return Lineaments(pl.DataFrame(rows)), points, Faults(pl.DataFrame(fault))


@pytest.mark.parametrize("declination", [-19.87, None])
def test_every_text_is_whole_and_apart(scenario, look, declination):
    words = WORDS | {"declination_deg": declination}
    look.readable(draw_lineament_map(scenario.grid, *traced(scenario.grid), **words))


def test_kinds_differ_without_colour_and_names_stand_by_them(scenario):
    figure = draw_lineament_map(scenario.grid, *traced(scenario.grid), **WORDS)
    panel = next(axes for axes in figure.axes if axes.get_gid() == "map")
    lines = {line.get_gid(): line for line in panel.lines if line.get_gid()}
    assert set(lines) == {"R1", "R2", "E1", "S1"}
    assert lines["R1"].get_linestyle() != lines["E1"].get_linestyle()
    assert lines["S1"].get_marker() == "o"
    texts = [text.get_text() for text in panel.texts]
    assert {"R1", "R2", "E1", "S1"} <= set(texts)
    assert any(text.endswith("± 10 m right") for text in texts)


def test_a_refused_lineament_is_grey_and_the_legend_says_so(scenario, look):
    figure = draw_lineament_map(
        scenario.grid, *traced(scenario.grid), refused=["E1", "S1"], **WORDS
    )
    panel = next(axes for axes in figure.axes if axes.get_gid() == "map")
    lines = {line.get_gid(): line for line in panel.lines if line.get_gid()}
    assert lines["E1"].get_linestyle() == ":"
    assert lines["E1"].get_color() == lines["S1"].get_color() != lines["R1"].get_color()
    words = " ".join(text.get_text() for text in figure.texts)
    assert "refused by a decision" in words
    assert "Dashed blue" not in words
    look.readable(figure)


def test_a_map_without_lineaments_says_so(scenario, look):
    empty = Lineaments.empty(), LineamentPoints.empty(), Faults.empty()
    figure = draw_lineament_map(scenario.grid, *empty, **WORDS)
    assert "No lineament was traced." in [text.get_text() for text in figure.texts]
    look.readable(figure)


def test_the_area_of_a_petal_is_as_its_length():
    figure = draw_rose(ROSE, title="Strikes")
    petals = [patch for patch in figure.axes[0].patches if isinstance(patch, Wedge)]
    radius = {round(90 - p.theta2) % 180: p.r for p in petals if p.r > 0}
    assert radius[120] ** 2 / radius[110] ** 2 == pytest.approx(2.0)
    assert radius[120] ** 2 / radius[130] ** 2 == pytest.approx(4.0)


@pytest.mark.parametrize("mean", [124.0, None])
def test_every_text_of_the_rose_is_whole(look, mean):
    look.readable(draw_rose(ROSE | {"mean_deg": mean}, title="Strikes, an invented block"))


def test_an_empty_rose_is_drawn():
    empty = ROSE | {"length_m": [0.0] * 18, "number": 0, "mean_deg": None, "sd_deg": None}
    assert draw_rose(empty, title="Strikes").texts
