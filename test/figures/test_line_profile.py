import numpy as np
import polars as pl
import pytest
from matplotlib.collections import PolyCollection

from lodewalk.errors import InputError
from lodewalk.figures.line_profile import draw_line_profile, draw_line_profiles
from lodewalk.figures.save import png_bytes
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


def curve_called(figure, label):
    """Return the values of the one curve of the raw panel with a label."""
    (found,) = [line for line in figure.axes[0].lines if line.get_label() == label]
    return np.asarray(found.get_ydata(), dtype=float)


@pytest.fixture
def gappy(make):
    """Return 364 readings of which the first 14 have a base; one spike, one dropout, one left out.

    The field falls by 1 nT a reading, from 23000 nT on.
    """
    readings, _ = make.readings(1)
    row = pl.int_range(pl.len())
    reason = pl.when(row == 50).then(pl.lit("spike")).when(row == 60).then(pl.lit("dropout"))
    reason = reason.when(row == 70).then(pl.lit("dropped by decision"))
    reason = reason.when(row >= 14).then(pl.lit("inside a gap of the base record"))
    raw = pl.when(row == 50).then(60_000.0).when(row == 60).then(None).otherwise(23_000.0 - row)
    frame = readings.frame.with_columns(
        raw_nT=raw,
        reason=reason,
        kept=row < 14,
        diurnal_nT=pl.when(row < 14).then(1.0),
        anomaly_nT=pl.when(row < 14).then(5.0),
    )
    return Readings(frame)


def test_a_line_that_the_base_missed_is_scaled_by_all_its_readings(gappy, look):
    figure = draw_line_profile(gappy, line="L1000")
    look.readable(figure)
    low, high = figure.axes[0].get_ylim()
    # The field spans 363 nT; the spike is some 37 000 nT above it.
    assert 363 <= high - low <= 1.2 * 363
    grey = curve_called(figure, "no base (347)")  # 364 less 14 kept and 3 marked
    assert np.isfinite(grey).sum() == 347
    assert low < np.nanmin(grey)
    assert np.nanmax(grey) < high
    kept = np.asarray(figure.axes[0].lines[0].get_ydata())
    assert np.isfinite(kept).sum() == 14
    assert np.nanmax(kept) < high


def test_readings_without_a_base_get_no_cross(gappy, look):
    figure = draw_line_profile(gappy, line="L1000")
    words = words_of(figure, look)
    for reason in ("spike (1)", "dropout (1)", "dropped by decision (1)"):
        assert f"not used: {reason}" in words
    assert "not used: inside" not in words
    marks = [line for line in figure.axes[0].lines if line.get_label().startswith("not used")]
    assert sum(len(line.get_xdata()) for line in marks) == 3


@pytest.mark.parametrize(
    "reason",
    ["no base record", "outside the base record", "inside a gap of the base record"],
)
def test_every_way_to_lack_a_base_is_grey(make, reason):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(
        pl.lit(None, dtype=pl.Float64).alias("diurnal_nT"),
        kept=pl.lit(False),
        reason=pl.lit(reason),
    )
    figure = draw_line_profile(Readings(frame), line="L1000")
    assert np.isfinite(curve_called(figure, "no base (364)")).sum() == 364


def test_a_reading_that_is_kept_is_never_beyond_the_frame(make):
    readings, _ = make.readings(1)
    iron = pl.when(pl.int_range(pl.len()) == 100).then(48_000.0).otherwise(23_000.0)
    frame = readings.frame.with_columns(raw_nT=iron, kept=True)
    low, high = draw_line_profile(Readings(frame), line="L1000").axes[0].get_ylim()
    assert (low < 0, high > 25_000) == (True, True)


@pytest.mark.parametrize(("left_out", "scaled"), [(4, False), (360, True)])
def test_readings_left_out_set_the_scale_when_they_are_many(make, left_out, scaled):
    readings, _ = make.readings(1)
    out = pl.int_range(pl.len()) < left_out  # 4 of 364 lie beyond the 2nd percentile
    frame = readings.frame.with_columns(
        raw_nT=pl.when(out).then(23_900.0).otherwise(23_000.0),
        reason=pl.when(out).then(pl.lit("dropped by decision")),
        kept=~out,
    )
    low, high = draw_line_profile(Readings(frame), line="L1000").axes[0].get_ylim()
    assert (high - low > 900) == scaled


def test_a_line_of_nothing_but_spikes_is_drawn(make, look):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(kept=pl.lit(False), reason=pl.lit("spike"))
    for size in (364, 1):
        look.readable(draw_line_profile(Readings(frame[:size]), line="L1000"))


def test_a_line_without_any_field_value_is_drawn(make, look):
    readings, _ = make.readings(1)
    empty = [pl.lit(None, dtype=pl.Float64).alias(name) for name in ("raw_nT", "anomaly_nT")]
    frame = readings.frame.with_columns(*empty, kept=pl.lit(False), reason=pl.lit("no field value"))
    look.readable(draw_line_profile(Readings(frame), line="L1000"))


def test_readings_without_reference_are_marked_in_the_panel_of_the_anomaly(make, look):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(
        pl.lit(None, dtype=pl.Float64).alias("anomaly_nT"), reason=pl.lit("no anomaly"), kept=True
    )
    figure = draw_line_profile(Readings(frame), line="L1000")
    assert "no anomaly: no anomaly (364)" in words_of(figure, look)


def test_a_line_without_any_correction_says_so(make, look):
    readings, _ = make.readings(1)
    frame = readings.frame.with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name) for name in ("diurnal_nT", "anomaly_nT", "sd_nT")
    )
    figure = draw_line_profile(Readings(frame), line="L1000")
    look.readable(figure)
    assert "no diurnal correction" in words_of(figure, look)
    assert "90 % band" not in words_of(figure, look)


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


def test_all_lines_are_drawn_in_order_of_name_each_as_by_itself(make):
    readings, _ = make.readings(3)
    names = ["L1000", "L1025", "L1050"]
    upside_down = Readings(readings.frame.reverse())
    drawn = draw_line_profiles(upside_down)
    for name, figure in zip(names, drawn, strict=True):
        alone = draw_line_profile(upside_down, line=name)
        assert png_bytes(figure, dpi=60) == png_bytes(alone, dpi=60)


def test_no_lines_no_profiles():
    assert not list(draw_line_profiles(Readings.empty()))
