import polars as pl

from lodewalk.figures.passages import drawable_lines
from lodewalk.records.products import Readings


def without(readings, column, condition):
    return Readings(
        readings.frame.with_columns(pl.when(~condition).then(pl.col(column)).alias(column))
    )


def test_lines_without_time_or_position_can_not_be_drawn(make):
    readings, _ = make.readings(4)
    assert drawable_lines(readings) == ["L1000", "L1025", "L1050", "L1075"]
    readings = without(readings, "easting_m", pl.col("line") == "L1025")
    readings = without(readings, "northing_m", pl.col("line") == "L1000")
    readings = without(readings, "time_utc", pl.col("line") == "L1075")
    assert drawable_lines(readings) == ["L1050"]


def test_one_reading_is_enough_to_draw(make):
    readings, _ = make.readings(1)
    assert drawable_lines(without(readings, "easting_m", pl.int_range(pl.len()) > 0)) == ["L1000"]


def test_readings_off_the_lines_belong_to_no_line(make):
    readings, _ = make.readings(2)
    assert drawable_lines(without(readings, "line", pl.col("line") == "L1000")) == ["L1025"]
    assert drawable_lines(Readings.empty()) == []
