import numpy as np
import polars as pl
import pytest
from matplotlib.collections import LineCollection, PolyCollection

from lodewalk.errors import InputError
from lodewalk.figures.stacked_profiles import draw_stacked_profiles
from lodewalk.records.products import Lines, Readings


def collections(figure, look):
    axes = look.axes(figure, "map")
    fills = next(c for c in axes.collections if isinstance(c, PolyCollection))
    lines, curves = (c for c in axes.collections if isinstance(c, LineCollection))
    return fills, lines, curves


def area(points):
    """Return the area of a polygon (shoelace formula)."""
    x, y = points.T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def with_anomaly(make, function):
    """Return one line from south to north with a given anomaly along it."""
    readings, lines = make.readings(1)
    north = readings.floats("northing_m") - make.south
    frame = readings.frame.with_columns(
        easting_m=pl.lit(make.west),
        anomaly_nT=pl.Series(function(north)),
        kept=pl.lit(True),
    )
    return Readings(frame), lines


def test_the_curve_stands_off_by_anomaly_over_scale(make, look):
    """Sine of 100 nT over 400 m at 2 nT/m: 50 m east at 100 m, 50 m west at 300 m."""
    readings, lines = with_anomaly(make, lambda n: 100 * np.sin(2 * np.pi * n / 400))
    figure = draw_stacked_profiles(readings, lines, scale_nT_per_m=2.0)
    fills, _, curves = collections(figure, look)
    curve = curves.get_segments()[0]
    assert curve[np.argmax(curve[:, 0])] - [make.west, make.south] == pytest.approx(
        [50.0, 100.0], abs=0.8
    )
    assert curve[np.argmin(curve[:, 0])] - [make.west, make.south] == pytest.approx(
        [-50.0, 300.0], abs=0.8
    )
    # Half a wave above zero: amplitude times length over pi.
    (fill,) = [path.vertices for path in fills.get_paths()]
    assert area(fill - [make.west, make.south]) == pytest.approx(50 * 400 / np.pi, rel=0.01)
    assert fill[:, 0].min() >= make.west - 1e-6


def test_a_gap_breaks_curve_and_fill(make, look):
    def gapped(north):
        return np.where((north > 150) & (north < 200), np.nan, 10.0 + north)

    readings, lines = with_anomaly(make, gapped)
    fills, _, curves = collections(draw_stacked_profiles(readings, lines), look)
    curve = curves.get_paths()[0].vertices
    assert np.isnan(curve[:, 0]).sum() == 1
    inside = (curve[:, 1] > make.south + 151) & (curve[:, 1] < make.south + 199)
    assert not inside.any()
    assert len(fills.get_paths()) == 2


@pytest.mark.parametrize("east_west", [False, True])
@pytest.mark.parametrize("count", [1, 25])
def test_texts_and_scale(make, look, east_west, count):
    readings, lines = make.readings(count)
    if east_west:
        frame = readings.frame.with_columns(
            easting_m=pl.col("northing_m") - make.south + make.west,
            northing_m=pl.col("easting_m") - make.west + make.south,
        )
        readings = Readings(frame)
    figure = draw_stacked_profiles(readings, lines, crs_title="WGS 84 / UTM zone 22S")
    look.readable(figure)
    axes = look.axes(figure, "map")
    box = axes.get_window_extent()
    across, along = box.width / np.ptp(axes.get_xlim()), box.height / np.ptp(axes.get_ylim())
    assert across == pytest.approx(along, rel=1e-9)


def test_tie_lines_carry_no_profile(make, look):
    readings, lines = make.readings(3)
    tied = Lines(lines.frame.with_columns(tie=pl.col("line") == "L1025"))
    figure = draw_stacked_profiles(readings, tied)
    _, bases, curves = collections(figure, look)
    assert len(curves.get_segments()) == 2
    assert len(bases.get_segments()) == 3
    assert any("Tie lines" in text.get_text() for text, _ in look.texts(figure))


def test_nothing_to_draw_is_refused():
    with pytest.raises(InputError, match="No line has two readings with an anomaly"):
        draw_stacked_profiles(Readings.empty(), Lines.empty())


def test_a_negative_scale_is_refused(make):
    readings, lines = make.readings(2)
    with pytest.raises(InputError, match="scale of the profiles"):
        draw_stacked_profiles(readings, lines, scale_nT_per_m=-1.0)
