import io

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from lodewalk.errors import InputError
from lodewalk.figures.anomaly_map import draw_anomaly_map
from lodewalk.figures.furniture import north_angles, spread
from lodewalk.figures.save import png_bytes
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

WORDS = {
    "title": "Total-field anomaly of an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}


def reshaped(grid, values, west=600_000.0, south=7_240_000.0):
    return Grid(np.ascontiguousarray(values), west, south, 6.0, grid.crs, grid.unit, grid.name)


def variants(scenario, make):
    grid = scenario.grid
    one, _ = make.readings(1)
    return {
        "block": (grid, scenario.readings),
        "tall": (reshaped(grid, grid.values.T[:, :30]), scenario.readings),
        "wide": (reshaped(grid, grid.values[:12]), scenario.readings),
        "one line": (make.grid(count=1), one),
        "one cell": (reshaped(grid, np.array([[3.0]]), 234_567.0), one),
        "no readings": (grid, Readings.empty()),
        "small coordinates": (reshaped(grid, grid.values, 1000.0, 0.0), Readings.empty()),
        "small values": (reshaped(grid, grid.values * 1e-3), scenario.readings),
    }


NAMES = [
    "block",
    "tall",
    "wide",
    "one line",
    "one cell",
    "no readings",
    "small coordinates",
    "small values",
]


@pytest.mark.parametrize("name", NAMES)
def test_every_text_is_whole_and_apart(scenario, make, look, name):
    grid, readings = variants(scenario, make)[name]
    look.readable(draw_anomaly_map(grid, readings, **WORDS))


@pytest.mark.parametrize("name", NAMES)
def test_one_scale_both_ways(scenario, make, look, name):
    grid, readings = variants(scenario, make)[name]
    figure = draw_anomaly_map(grid, readings, **WORDS)
    figure.canvas.draw()
    axes = look.axes(figure, "map")
    box = axes.get_window_extent()
    across = box.width / np.ptp(axes.get_xlim())
    along = box.height / np.ptp(axes.get_ylim())
    assert across == pytest.approx(along, rel=1e-9)


def colours_at(figure, axes, east, north):
    """Return the colours at places on the ground, 0 to 1."""
    dpi = 300
    image = np.asarray(Image.open(io.BytesIO(png_bytes(figure, dpi=dpi))).convert("RGB")) / 255
    figure.set_dpi(dpi)
    column, row = axes.transData.transform(np.column_stack((east, north))).astype(int).T
    return image[image.shape[0] - 1 - row, column]


# One node in a hundred stands on a slope so steep that its pixel is not yet its value;
# shading goes a quarter of the way to black or white.
@pytest.mark.parametrize(("shading", "most"), [(False, 0.07), (True, 0.27)])
def test_colours_tell_the_values_and_masked_ground_is_white(scenario, make, look, shading, most):
    grid = scenario.grid
    bare = {**WORDS, "shading": shading, "contours": False}
    figure = draw_anomaly_map(grid, Readings.empty(), **bare)
    low, high = np.nanpercentile(grid.values, [1, 99])
    row, column = np.indices(grid.values.shape)
    east, north = make.west + 6 * column.ravel(), make.south + 6 * row.ravel()
    found = colours_at(figure, look.axes(figure, "map"), east, north)
    known = np.isfinite(grid.values.ravel())
    expected = mpl.colormaps["viridis"]((grid.values.ravel() - low) / (high - low))[:, :3]
    off = np.percentile(np.abs(found - expected)[known].max(axis=1), 99)
    assert off < most
    assert (off > 0.1) == shading
    assert (found[~known] == 1.0).all()


def test_north_is_up_and_east_is_right(look):
    values = np.array([[0.0, 10.0], [20.0, 30.0]])
    grid = Grid(values, 0.0, 0.0, 10.0, "EPSG:32722", "nT", "anomaly")
    plain = {**WORDS, "shading": False, "contours": False}
    figure = draw_anomaly_map(grid, Readings.empty(), **plain)
    axes = look.axes(figure, "map")
    light = colours_at(figure, axes, [-3, 13, -3, 13], [-3, -3, 13, 13]).sum(axis=1)
    assert list(light) == sorted(light)


def test_coordinates_are_written_in_full(scenario, look):
    figure = draw_anomaly_map(scenario.grid, scenario.readings, **WORDS)
    axes = look.axes(figure, "map")
    figure.canvas.draw()
    east = [label.get_text() for label in axes.get_xticklabels()]
    north = [label.get_text() for label in axes.get_yticklabels() if label.get_text()]
    assert "600200" in east
    assert "7240200" in north
    assert all(text.isdigit() for text in east + north)


def test_limits_unit_system_and_angles_are_printed(scenario, look):
    figure = draw_anomaly_map(scenario.grid, scenario.readings, **WORDS)
    words = " | ".join(text.get_text() for text, _ in look.texts(figure))
    low, high = np.nanpercentile(scenario.grid.values, [1, 99])
    for part in (
        f"above {high:.0f} nT: 1 % of cells",
        f"below −{-low:.0f} nT: 1 % of cells",
        "Total-field anomaly [nT]",
        "EPSG:31982",
        "true north: 0.42° E",
        "magnetic north: 19.45° W",
        "Contours each 20 nT, heavy each 100 nT.",
    ):
        assert part in words


def test_scale_bar_is_true(scenario, look):
    figure = draw_anomaly_map(scenario.grid, scenario.readings, **WORDS)
    figure.canvas.draw()
    bar, axes = look.axes(figure, "scale bar"), look.axes(figure, "map")
    length = max(float(text.get_text()) for text in bar.texts if text.get_text() != "m")
    edges = np.array([patch.get_window_extent().extents for patch in bar.patches])
    pixels = edges[:, 2].max() - edges[:, 0].min()
    per_m = axes.get_window_extent().width / np.ptp(axes.get_xlim())
    line = figure.dpi / 72 * 0.5
    assert pixels == pytest.approx(length * per_m, abs=2 * line)


def test_unknown_declination_is_said(scenario, look):
    words = {**WORDS, "declination_deg": None}
    figure = draw_anomaly_map(scenario.grid, scenario.readings, **words)
    assert any("not known" in text.get_text() for text, _ in look.texts(figure))


def test_a_dollar_sign_in_the_title_is_printed(scenario, look):
    figure = draw_anomaly_map(scenario.grid, scenario.readings, **{**WORDS, "title": "A $x^2$ b"})
    assert any(text.get_text() == "A $x^2$ b" for text, _ in look.texts(figure))
    png_bytes(figure, dpi=40)


def test_a_grid_without_value_is_refused(scenario):
    empty = reshaped(scenario.grid, np.full((4, 4), np.nan))
    with pytest.raises(InputError, match="no value to draw"):
        draw_anomaly_map(empty, scenario.readings, **WORDS)


def test_norths_follow_from_convergence_and_declination():
    """Azimuths from grid north: true north is -C, magnetic north is D - C."""
    angles = north_angles(convergence_deg=2.0, declination_deg=-20.0)
    assert angles == {"grid": 0.0, "true": -2.0, "magnetic": -22.0}


@pytest.mark.parametrize("convergence", [-3.0, -0.1, 0.0, 0.1, 3.0])
@pytest.mark.parametrize("declination", [-25.0, -1.0, 0.0, 1.0, 25.0])
def test_arrows_are_drawn_apart_in_their_order(convergence, declination):
    angles = north_angles(convergence_deg=convergence, declination_deg=declination)
    drawn, moved = spread(angles)
    names = sorted(angles, key=lambda name: angles[name])
    gaps = np.diff([drawn[name] for name in names])
    assert drawn["grid"] == 0.0
    assert gaps.min() >= 12
    assert moved == (drawn != angles)
