import numpy as np
import polars as pl
import pytest
from matplotlib.collections import PolyCollection

from lodewalk.errors import InputError
from lodewalk.figures.line_profile import draw_line_profile
from lodewalk.records.products import Readings


def words_of(figure, look):
    return " | ".join(text.get_text() for text, _ in look.texts(figure))


@pytest.mark.parametrize("line", ["L1000", "L1075", "L1250", "L1400"])
def test_every_text_is_whole_and_apart(scenario, look, line):
    look.readable(draw_line_profile(scenario.readings, line=line))


def test_the_band_is_1645_standard_deviations_either_way(make):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(anomaly_nT=pl.lit(50.0), sd_nT=pl.lit(2.0), kept=True)
    figure = draw_line_profile(Readings(frame), line="L1000")
    (band,) = [c for c in figure.axes[2].collections if isinstance(c, PolyCollection)]
    edge = np.vstack([path.vertices for path in band.get_paths()])[:, 1]
    # 1.6449 is the 95th percentile of the standard normal distribution (any table).
    assert (edge.min(), edge.max()) == pytest.approx((50 - 3.29, 50 + 3.29), abs=0.001)


@pytest.mark.parametrize("line", ["L1000", "L1025"])
def test_distance_starts_in_the_south_whichever_way_it_was_walked(scenario, make, line):
    figure = draw_line_profile(scenario.readings, line=line)
    distance, _ = figure.axes[2].lines[0].get_data()
    rows = scenario.readings.frame.filter(pl.col("line") == line)
    north = rows["northing_m"].to_numpy() - make.south
    known = distance[np.isfinite(distance)]
    assert known == pytest.approx(north, abs=0.1)


def test_raw_is_less_its_median_and_dropped_readings_have_reasons(scenario, look):
    figure = draw_line_profile(scenario.readings, line="L1075")
    value = np.asarray(figure.axes[0].lines[0].get_ydata())
    assert np.nanmedian(value) == pytest.approx(0.0, abs=1e-6)
    assert "not used: dropout (27)" in words_of(figure, look)


def test_readings_without_correction_are_marked(scenario, look):
    figure = draw_line_profile(scenario.readings, line="L1250")
    assert "no anomaly: outside the base record" in words_of(figure, look)


def test_a_line_without_any_correction_says_so(make, look):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name) for name in ("diurnal_nT", "anomaly_nT", "sd_nT")
    )
    figure = draw_line_profile(Readings(frame), line="L1000")
    look.readable(figure)
    assert "no diurnal correction" in words_of(figure, look)


def test_two_passages_are_told_apart(make, look):
    readings, _ = make.readings(1)
    again = readings.frame.with_columns(
        pl.col("time_utc").dt.offset_by("1d"), pl.col("anomaly_nT") + 4
    )
    figure = draw_line_profile(Readings(pl.concat([readings.frame, again])), line="L1000")
    look.readable(figure)
    assert len(figure.axes[2].lines) == 2
    assert "2 passages" in words_of(figure, look)
    assert "rover 1, 2026-03-10 14:00 UTC" in words_of(figure, look)


def test_a_change_of_a_hundredth_is_not_blown_up(scenario):
    low, high = draw_line_profile(scenario.readings, line="L1075").axes[1].get_ylim()
    assert high - low >= 2.0


def test_a_line_of_one_reading_draws(make, look):
    readings, _ = make.readings(1)
    look.readable(draw_line_profile(Readings(readings.frame[:1]), line="L1000"))


def test_an_unknown_line_is_refused(scenario):
    with pytest.raises(InputError, match=r"belongs to this line.*L9999"):
        draw_line_profile(scenario.readings, line="L9999")
