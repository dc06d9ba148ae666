import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.heading_error import draw_heading_error
from lodewalk.records.document import Document


def rover(name, stands=8):
    at = 45.0 * np.arange(8)
    value = 3.0 * np.cos(np.radians(at))
    rows = [
        {"heading_deg": int(a), "correction_nT": float(v), "sd_nT": 0.2}
        for a, v in zip(at, value, strict=True)
    ]
    points = [
        {"heading_deg": float(a), "value_nT": float(v) + 0.1, "sd_nT": 0.1}
        for a, v in zip(at[:stands], value, strict=False)
    ]
    return {"instrument": name, "curve": rows, "stands": points}


@pytest.mark.parametrize("names", [("R1",), ("R1", "R2")])
def test_every_text_is_whole_and_apart(look, names):
    look.readable(draw_heading_error(Document({"rovers": [rover(name) for name in names]})))


def test_curve_band_and_points_are_the_numbers():
    figure = draw_heading_error(Document({"rovers": [rover("R1")]}))
    (axes,) = [item for item in figure.axes if item.get_ylabel()]
    curve = next(line for line in axes.lines if len(line.get_xdata()) == 9)
    np.testing.assert_allclose(curve.get_ydata()[[0, 4, 8]], [3.0, -3.0, 3.0])
    (band,) = [item for item in axes.collections if type(item).__name__.startswith("FillBetween")]
    low, high = np.ptp(band.get_paths()[0].vertices[:, 1]), 6.0 + 2 * 1.645 * 0.2
    assert low == pytest.approx(high)
    points = next(line for line in axes.lines if line.get_marker() == "o")
    assert len(points.get_xdata()) == 8


def test_without_stands_there_are_no_points_and_without_rovers_no_figure():
    figure = draw_heading_error(Document({"rovers": [rover("R1", stands=0)]}))
    assert not [line for axes in figure.axes for line in axes.lines if line.get_marker() == "o"]
    with pytest.raises(InputError, match="No rover has walked a line"):
        draw_heading_error(Document({"rovers": []}))
