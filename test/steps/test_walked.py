"""Walked: coverage by hand on the planted lines, and walks too fast to be walked.

L2 isn't read from 80 m to 110 m, and the base is silent on 150 m of L4 and 160 m of L5.
"""

import numpy as np
import polars as pl
import pytest

from evening_survey import LENGTH_M, SPACING_M, changed
from lodewalk.records.recorded import Route
from small_survey import SOUTH, START, WEST


def rows_of(made):
    return {row["line"]: row for row in made["walked"]["lines"]}


def texts(made, kind):
    return made["walked_findings"].frame.filter(kind=kind)["text"].to_list()


@pytest.fixture(scope="module")
def made(evening):
    return evening.again("walked")


@pytest.fixture(scope="module")
def place(evening):
    positions = evening.products["rover_positions"]
    return positions.floats("easting_m") - WEST, positions.floats("northing_m") - SOUTH


def moved(evening, which, *, east=0.0, north=0.0):
    """Return positions with some readings moved [m]."""
    shift = {"easting_m": east, "northing_m": north}
    columns = {
        name: pl.when(pl.Series(which)).then(pl.col(name) + by).otherwise(pl.col(name))
        for name, by in shift.items()
    }
    return changed(evening.products["rover_positions"], **columns)


@pytest.mark.parametrize(
    ("line", "share", "longest_m"),
    [
        ("L1", 1.0, 0.0),
        ("L2", 0.85, 30.0),  # 170 m of 200 m
        ("L4", 0.25, 150.0),  # 50 m of 200 m before the base fell silent
        ("L5", 0.20, 160.0),
    ],
)
def test_covered_share_and_longest_gap(made, line, share, longest_m):
    row = rows_of(made)[line]
    assert row["length_m"] == pytest.approx(LENGTH_M, abs=0.05)
    assert row["covered_share"] == pytest.approx(share, abs=0.001)
    assert row["longest_gap_m"] == pytest.approx(longest_m, abs=0.2)


def test_coverage_is_told_with_the_lines_that_fall_short(made):
    """170, 50 and 160 - 120 = 40 m of three lines and 200 m of five: 1260 m of 1600 m."""
    (text,) = texts(made, "coverage")
    assert text.startswith("78.8% of the 1.60 km of planned lines begun so far is covered")
    assert "under 95%: L2, L4, L5." in text


def test_the_tolerances_set_what_counts(evening):
    wide = evening.again("walked", settings={"tolerances": {"gap_m": 30.5}})
    assert rows_of(wide)["L2"]["covered_share"] == 1.0
    low = evening.again("walked", settings={"tolerances": {"covered_share": 0.85}})
    assert "under 85%: L4, L5." in texts(low, "coverage")[0]
    low = evening.again("walked", settings={"tolerances": {"covered_share": 0.24}})
    assert "under 24%: L5." in texts(low, "coverage")[0]
    low = evening.again("walked", settings={"tolerances": {"covered_share": 0.1}})
    assert "under" not in texts(low, "coverage")[0]


def test_dropped_readings_cover_nothing(evening, place):
    east, north = place
    hole = (east < 1) & (north > 40) & (north < 80)
    checks = evening.products["rover_checks"]
    kept = changed(checks, kept=pl.Series(checks.booleans("kept") & ~hole))
    row = rows_of(evening.again("walked", rover_checks=kept))["L1"]
    assert row["covered_share"] == pytest.approx(0.8)
    assert row["longest_gap_m"] == pytest.approx(40.0)


def test_two_holes_add_up_and_the_longer_one_is_told(evening, place):
    """L2 misses 30 m; twenty metres more leave 150 m of 200 m."""
    east, north = place
    hole = (np.abs(east - SPACING_M) < 1) & (north > 20) & (north < 40)
    checks = evening.products["rover_checks"]
    kept = changed(checks, kept=pl.Series(checks.booleans("kept") & ~hole))
    row = rows_of(evening.again("walked", rover_checks=kept))["L2"]
    assert row["covered_share"] == pytest.approx(0.75)
    assert row["longest_gap_m"] == pytest.approx(30.0)


@pytest.mark.parametrize(("away_m", "share"), [(9.0, 1.0), (11.0, 0.75)])
def test_readings_too_far_off_their_line_cover_nothing(evening, place, away_m, share):
    east, north = place
    aside = (east < 1) & (north >= 100) & (north <= 149.75)
    positions = moved(evening, aside, east=-away_m)
    row = rows_of(evening.again("walked", rover_positions=positions))["L1"]
    assert row["covered_share"] == pytest.approx(share, abs=0.006)


def test_distance_off_the_line_is_told(evening, place):
    east, _ = place
    positions = moved(evening, east < 1, east=-3.0)
    rows = rows_of(evening.again("walked", rover_positions=positions))
    assert rows["L1"]["off_line_m"] == pytest.approx(3.0, abs=0.05)
    assert rows["L3"]["off_line_m"] == pytest.approx(0.0, abs=0.05)


def test_a_planned_line_that_was_not_begun_is_not_in_the_list(evening):
    lines = evening.products["rover_lines"]
    gone = pl.when(pl.col("line") == "L8").then(None).otherwise(pl.col("line"))
    made = evening.again("walked", rover_lines=changed(lines, line=gone))
    assert list(rows_of(made)) == [f"L{n}" for n in range(1, 8)]


def test_without_a_plan_each_passage_is_measured_between_its_readings(evening):
    made = evening.again("walked", plan_recorded=Route.empty())
    rows = rows_of(made)
    assert rows["L2"]["covered_share"] == pytest.approx(0.85)
    assert rows["L4"]["covered_share"] == pytest.approx(0.25, abs=0.003)
    assert rows["L1"]["off_line_m"] is None
    assert "of lines walked is covered" in texts(made, "coverage")[0]


def fast(evening, line, pace):
    """Return times with one line walked at another pace; it was 1 m/s."""
    time = evening.products["rover_times"]
    seconds = time.seconds("time_utc") - START.timestamp()
    own = np.array(evening.products["rover_lines"].strings("line"), dtype=object) == line
    begin = seconds[own].min()
    quick = np.where(own, begin + (seconds - begin) / pace, seconds)
    stamps = pl.Series(((quick + START.timestamp()) * 1e6).round().astype(np.int64))
    return changed(time, time_utc=stamps.cast(pl.Datetime("us", "UTC")))


@pytest.mark.parametrize(("pace", "count"), [(2.3, 0), (2.8, 1)])
def test_a_line_walked_faster_than_a_walk_is_a_doubt(evening, pace, count):
    made = evening.again("walked", rover_times=fast(evening, "L3", pace))
    found = made["walked_findings"].frame.filter(kind="speed").to_dicts()
    assert len(found) == count
    for row in found:
        assert row["severity"] == "doubt"
        assert row["text"].startswith(f"R1: up to {pace:.1f} m/s on line L3")
        assert (row["start_utc"] - START).total_seconds() == pytest.approx(420.0)


def test_at_an_ordinary_pace_and_on_the_plan_nothing_else_is_told(made):
    assert set(made["walked_findings"].strings("kind")) == {"coverage"}


def test_lines_lie_apart_as_planned(place):
    """The ground of the hand arithmetic above: eight lines, twenty metres apart."""
    assert sorted(set(np.round(place[0]).tolist())) == [SPACING_M * n for n in range(8)]
