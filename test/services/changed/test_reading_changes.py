"""Readings that a run changed."""

import polars as pl
import pytest

from lodewalk.services.changed.map import reading_changes


def readings(anomaly, *, kept=None, sd=0.5, first=0):
    count = len(anomaly)
    return pl.DataFrame(
        {
            "reading_id": [f"r{first + number}" for number in range(count)],
            "kept": [True] * count if kept is None else kept,
            "anomaly_nT": anomaly,
            "sd_nT": [sd] * count,
        },
        schema_overrides={"anomaly_nT": pl.Float64},
    )


def test_the_same_is_no_change():
    assert reading_changes(readings([1.0, None, 3.0]), readings([1.0, None, 3.0])) == []


def test_a_datum_moves_all_by_one_amount():
    assert reading_changes(readings([1.0, 2.0, 3.0]), readings([-2.5, -1.5, -0.5])) == [
        "All anomalies moved by -3.50 nT."
    ]


def test_the_largest_and_the_usual_move_are_told():
    found = reading_changes(readings([0.0, 0.0, 0.0, 0.0]), readings([0.1, 0.2, -4.0, 0.0]))
    assert found == [
        "Anomaly of 3 kept readings: moved by up to -4.00 nT, half of them by less than 0.20 nT."
    ]


def test_readings_pair_by_name_not_by_row():
    before, after = readings([1.0, 2.0]), readings([7.0, 1.0, 2.0], first=-1)
    assert reading_changes(before, after) == [
        "Readings: 2 became 3.", "Kept readings: 2 became 3."]  # fmt: skip


def test_kept_readings_and_their_error_are_counted():
    before = readings([1.0, 2.0, 3.0], kept=[True, False, False], sd=0.5)
    after = readings([1.0, 2.0, 3.0], kept=[True, True, False], sd=0.6)
    assert reading_changes(before, after) == [
        "Kept readings: 1 became 2.",
        "Standard error of a reading, median: 0.50 nT became 0.60 nT.",
    ]


@pytest.mark.parametrize("missing", [None, float("nan")])
def test_what_has_no_anomaly_has_not_moved(missing):
    assert reading_changes(readings([missing, 1.0]), readings([5.0, 1.0])) == []
