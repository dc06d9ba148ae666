"""The figure of what to expect: its curves, body and words."""

import numpy as np
import pytest

from lodewalk.figures.expected_anomaly import draw_expected_anomaly
from lodewalk.records.grid import Grid

MIDDLE = {"easting_m": 600000.0, "northing_m": 7240000.0}
RING = [[-20.0, -60.0], [20.0, -60.0], [20.0, 60.0], [-20.0, 60.0], [-20.0, -60.0]]
WORDS = {
    "title": "Expected anomaly of the dyke, an invented hill",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
}


def curve(name, azimuth, size):
    distance = np.linspace(-100.0, 100.0, 201)
    values = size * np.exp(-0.5 * (distance / 15.0) ** 2)
    return {
        "name": name,
        "azimuth_deg": azimuth,
        "distance_m": distance.tolist(),
        "anomaly_nT": values.tolist(),
    }


def document(kind="dyke", *, curves=2, level=0.0):
    profiles = [curve("across the strike", 90.0, 40.0), curve("along a line", 45.0, 25.0)][:curves]
    profiles[0]["anomaly_nT"] = [value + level for value in profiles[0]["anomaly_nT"]]
    return {
        "profiles": profiles,
        "noise": {"reading_nT": 2.0},
        "summary": "Doubtful: this survey finds the dyke with a probability of 61%; 90% is wanted.",
        "middle": MIDDLE,
        "outline_m": [RING],
        "site": {"declination_deg": -19.87, "inclination_deg": -37.6},
        "body": {"kind": kind},
        "plan": {"line_azimuth_deg": 45.0, "line_spacing_m": 40.0},
    }


def grid():
    axis = np.linspace(-100.0, 100.0, 41)
    east, north = np.meshgrid(axis, axis)
    values = 40.0 * np.exp(-0.5 * (east / 15.0) ** 2 - 0.5 * (north / 50.0) ** 2) - east / 20.0
    return Grid(values, 599900.0, 7239900.0, 5.0, "EPSG:31982", "nT", "expected_anomaly")


@pytest.mark.parametrize("kind", ["dyke", "contact", "folded bed", "sphere"])
@pytest.mark.parametrize("curves", [1, 2])
def test_every_text_is_whole_and_apart(look, kind, curves):
    look.readable(draw_expected_anomaly(grid(), document(kind, curves=curves), **WORDS))


def test_band_is_ninety_percent_of_one_readings_noise(look):
    figure = draw_expected_anomaly(grid(), document(), **WORDS)
    band = look.axes(figure, "profile").patches[0].get_extents()
    transform = look.axes(figure, "profile").transData.inverted()
    low, high = transform.transform([(0, band.y0), (0, band.y1)])[:, 1]
    assert (low, high) == pytest.approx((-3.29, 3.29), abs=0.01)


def test_band_of_a_contact_lies_between_its_two_levels(look):
    figure = draw_expected_anomaly(grid(), document("contact", level=10.0), **WORDS)
    band = look.axes(figure, "profile").patches[0].get_extents()
    transform = look.axes(figure, "profile").transData.inverted()
    middle = transform.transform([(0, 0.5 * (band.y0 + band.y1))])[0, 1]
    assert middle == pytest.approx(10.0, abs=0.01)


def test_body_stands_at_its_middle_and_the_map_is_square(look):
    figure = draw_expected_anomaly(grid(), document(), **WORDS)
    axes = look.axes(figure, "map")
    outline = next(line for line in axes.lines if len(line.get_xdata()) == len(RING))
    east, north = outline.get_data()
    assert (min(east), max(east)) == (599980.0, 600020.0)
    assert (min(north), max(north)) == (7239940.0, 7240060.0)
    box = axes.get_window_extent()
    width, height = np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())
    assert box.width / width == pytest.approx(box.height / height, rel=1e-6)


def test_units_stand_at_every_axis(look):
    figure = draw_expected_anomaly(grid(), document(), **WORDS)
    profile = look.axes(figure, "profile")
    assert profile.get_ylabel() == "Expected anomaly [nT]"
    assert profile.get_xlabel().endswith("[m]")
    texts = [text.get_text() for text, _ in look.texts(figure)]
    assert "Expected anomaly [nT]" in texts
    assert any("lines 40 m apart, towards 45°" in " ".join(texts[i : i + 2])
               for i in range(len(texts)))  # fmt: skip
