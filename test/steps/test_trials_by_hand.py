"""Tests of set-up on the planted survey: walked headings, items, repeat lines, by hand.

The fence is taken off the raw readings, so that what a test finds is what is planted here.
"""

import numpy as np
import polars as pl
import pytest

from evening_survey import FENCE_M, changed
from lodewalk.records.products import Lines
from small_survey import SOUTH, START, WEST


@pytest.fixture(scope="module")
def time(evening):
    return evening.products["rover_times"].seconds("time_utc") - START.timestamp()


@pytest.fixture(scope="module")
def north(evening):
    return evening.products["rover_positions"].floats("northing_m") - SOUTH


@pytest.fixture(scope="module")
def raw(evening, north):
    square = ((north - FENCE_M) / 1.4) ** 2
    fence = 90 * (2 - square) / (2 * (1 + square) ** 2.5)
    return evening.products["rover_recorded"].floats("raw_nT") - fence


def marked(test, start, end, item=""):
    """Return a decision on a span as recorded, in seconds since the start."""
    ends = {
        name: f"2026-03-10T14:{at // 60:02d}:{at % 60:02d}"
        for name, at in (("start", start), ("end", end))
    }
    target = {"instrument": "R1", "readings": [], **ends}
    return {"kind": "test", "target": target, "value": {"test": test, "item": item}}


def results(evening, value, *decisions, **inputs):
    recorded = changed(evening.products["rover_recorded"], raw_nT=pl.Series(value))
    made = evening.again("trials", decisions=decisions, rover_recorded=recorded, **inputs)
    return made["trials"]["tests"]


def test_headings_of_a_walk_are_told_by_the_walk_not_by_steps_of_the_field(
    evening, raw, time, north
):
    """L1 northward, L2 southward 1.2 nT higher; both have steps of 2.5 nT up, down and up.

    Where L2 isn't read the steps leave it 0.15 nT high: 50 m up and 40 m down in 170 m.
    """
    steps = 2.5 * (((north > 40) & (north < 100)).astype(float) - ((north > 100) & (north < 160)))
    value = raw + steps + np.where(time > 205, 1.2, 0.0)
    (found,) = results(evening, value, marked("turn-around", 0, 410))
    assert found["figure_nT"] == pytest.approx(1.2 + 0.15, abs=0.2)


def test_an_item_that_lowers_the_field_too_much_fails(evening, raw, time):
    value = raw - np.where(time > 205, 2.0, 0.0)
    spans = marked("without", 0, 100, "belt"), marked("with", 210, 280, "belt")
    (found,) = results(evening, value, *spans)
    assert found["figure_nT"] == pytest.approx(-2.0, abs=0.1)
    assert found["passed"] is False
    assert found["text"].startswith("belt changes -")


@pytest.mark.parametrize(
    ("name", "spans"),
    [
        ("static_nT", [("static", 0, 100)]),
        ("heading_nT", [("turn-around", 0, 410)]),
        ("item_nT", [("without", 0, 49), ("with", 51, 99)]),
        ("check_station_nT", [("check-station", 0, 49), ("check-station", 51, 99)]),
    ],
)
def test_each_test_has_the_tolerance_of_its_own(evening, raw, name, spans):
    recorded = changed(evening.products["rover_recorded"], raw_nT=pl.Series(raw))
    made = evening.again(
        "trials", decisions=[marked(*span) for span in spans], rover_recorded=recorded,
        settings={"tolerances": {name: 7.25}},
    )  # fmt: skip
    (found,) = made["trials"]["tests"]
    assert found["tolerance_nT"] == 7.25


def test_an_item_is_compared_on_one_day_only(evening, raw, time):
    """With it on one day and without it on the next says nothing."""
    later = pl.when(pl.Series(time > 50)).then(pl.col("time_utc") + pl.duration(days=1))
    times = changed(evening.products["rover_times"], time_utc=later.otherwise(pl.col("time_utc")))
    spans = marked("without", 0, 49, "belt"), marked("with", 51, 99, "belt")
    found = results(evening, raw, *spans, rover_times=times)
    assert [test["figure_nT"] for test in found] == [None, None]


def test_items_are_compared_each_with_itself(evening, raw, time):
    value = raw + np.where((time > 50) & (time < 100), 3.0, 0.0)
    found = results(
        evening, value, marked("without", 0, 49, "belt"), marked("with", 51, 99, "belt"),
        marked("without", 210, 240, "hat"), marked("with", 242, 280, "hat"),
    )  # fmt: skip
    figures = {test["item"]: test["figure_nT"] for test in found}
    assert figures == {"belt": pytest.approx(3.0, abs=0.1), "hat": pytest.approx(0.0, abs=0.1)}


def test_a_test_partly_without_a_base_says_so(evening, raw):
    """The base falls silent at t = 680 s."""
    spans = marked("without", 635, 675, "belt"), marked("with", 690, 730, "belt")
    (found,) = results(evening, raw, *spans)
    assert "the variation of the field still in it" in found["text"]
    (found,) = results(evening, raw, marked("without", 0, 49, "a"), marked("with", 51, 99, "a"))
    assert "variation" not in found["text"]


def test_side_by_side_tells_the_spread_and_has_no_tolerance(evening, raw, time):
    """Block means half of which lie 1 nT higher have the sd sqrt(n / (n - 1)) / 2."""
    value = raw + np.where(time >= 50, 1.0, 0.0)
    (found,) = results(evening, value, marked("side-by-side", 0, 99))
    assert found["figure_nT"] == pytest.approx(0.5 * np.sqrt(10 / 9), abs=0.03)
    assert found["passed"] is None
    (found,) = results(evening, raw, marked("side-by-side", 690, 790))
    assert found["figure_nT"] is None


def test_static_noise_does_not_count_a_drift(evening, raw, time):
    value = raw + 0.02 * time  # 2 nT over the run, 0.01 nT from reading to reading
    (found,) = results(evening, value, marked("static", 0, 100))
    # Rover noise 0.05 nT; a base between readings adds next to nothing between neighbours.
    assert found["figure_nT"] == pytest.approx(0.05, rel=0.2)
    assert found["passed"] is True


def test_a_dropped_reading_is_in_no_test(evening, raw, time):
    value = raw + np.where(np.abs(time - 50) < 0.1, 500.0, 0.0)
    checks = evening.products["rover_checks"]
    kept = changed(checks, kept=pl.Series(checks.booleans("kept") & (np.abs(time - 50) > 0.1)))
    (found,) = results(evening, value, marked("static", 0, 100), rover_checks=kept)
    assert found["figure_nT"] < 0.1


def repeated(evening, number, *, instrument="R1"):
    """Return the inputs in which L3 bears the name of L1, walked by an instrument."""
    lines = evening.products["lines"]
    third = pl.Series(np.arange(len(lines)) == number)
    return {
        "lines": Lines(
            lines.frame.with_columns(
                line=pl.when(third).then(pl.lit("L1")).otherwise(pl.col("line")),
                instrument=pl.when(third).then(pl.lit(instrument)).otherwise(pl.col("instrument")),
            )
        )
    }


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize(("level_nT", "passed"), [(1.5, True), (2.5, False)])
def test_a_line_walked_again_either_way_tells_mean_and_noise(
    evening, raw, time, north, number, level_nT, passed
):
    """A hill of 10 nT on all lines: read the wrong way round it would not fit itself."""
    hill = 10 * np.exp(-(((north - 60) / 25) ** 2))
    begin = 210.0 * number
    value = raw + hill + np.where((time >= begin) & (time < begin + 205), level_nT, 0.0)
    found = results(evening, value, **repeated(evening, number))
    (repeat,) = [test for test in found if test["test"] == "repeat-line"]
    assert repeat["figure_nT"] == pytest.approx(-level_nT, abs=0.1)
    assert repeat["passed"] is passed
    assert repeat["item"] == "L1"


def test_noise_is_told_where_it_is_more_than_the_mean_difference(evening, raw, time):
    rng = np.random.default_rng(9)
    value = raw + np.where(time < 630, rng.normal(0.0, 0.8, time.size), 0.0)
    found = results(evening, value, **repeated(evening, 2))
    (repeat,) = [test for test in found if test["test"] == "repeat-line"]
    assert repeat["figure_nT"] == pytest.approx(0.8, rel=0.15)


def test_a_line_that_another_rover_walked_is_no_repeat(evening, raw):
    found = results(evening, raw, **repeated(evening, 2, instrument="R2"))
    assert [test for test in found if test["test"] == "repeat-line"] == []


def test_lines_lie_where_the_hand_arithmetic_has_them(evening):
    east = evening.products["rover_positions"].floats("easting_m") - WEST
    assert east.min() == pytest.approx(0.0, abs=0.01)
