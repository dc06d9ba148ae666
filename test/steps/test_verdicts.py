"""Verdicts by hand from the written rules: shares of a line's readings against the tolerances.

A line is walked again when more than half of its readings can't be used, doubted when more than
one in twenty breaks a tolerance; a reading without a base is never taken lightly.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from evening_survey import SILENT_S, changed
from lodewalk.steps.verdicts import (
    Passage,
    day_verdict,
    line_verdict,
    minute_of_readings,
    passages,
    reading_marks,
    same,
    to_walk_again,
)
from small_survey import START

CLEAN = {
    "kept": 1.0, "no_position": 0.0, "no_base": 0.0, "bridgeable": 0.0, "uncertain": 0.0,
    "likely_off": 0.0, "untold": 0.0, "unknown": 0.0,
}  # fmt: skip
TOLERANCES = {
    "diurnal_nT": None, "smallest_anomaly_nT": None, "diurnal_share": 0.1, "diurnal_sd_nT": 1.0,
    "noise_nT": 1.0, "kept_share": 0.95, "covered_share": 0.95,
}  # fmt: skip


def passage(line="L1", length_m=200.0, middle=(0.0, 100.0), noise_nT=0.1, **share):
    row = {
        "line": line, "instrument": "R1", "start_utc": START + timedelta(milliseconds=250),
        "noise_nT": noise_nT, "length_m": length_m,
    }  # fmt: skip
    return Passage(row, np.arange(3), CLEAN | share, middle)


@pytest.mark.parametrize(
    ("share", "verdict", "reason"),
    [
        ({}, "keep", None),
        ({"no_base": 0.01}, "doubt", "1.0% of the readings have no base"),
        ({"no_base": 0.5}, "doubt", "50% of the readings have no base"),
        ({"no_base": 0.51}, "re-walk", "51% of the readings have no base"),
        ({"no_base": 1.0, "bridgeable": 1.0}, "doubt", "100% of the readings have no base; a bridge"
         " would serve within 2 nT"),
        ({"no_position": 0.05}, "keep", None),
        ({"no_position": 0.06}, "doubt", "6.0% of the readings have no position"),
        ({"no_position": 0.6}, "re-walk", "60% of the readings have no position"),
        ({"likely_off": 0.04, "uncertain": 0.04}, "keep", None),
        ({"likely_off": 0.2, "uncertain": 0.2}, "doubt", "20% of the readings probably err by over"
         " 2 nT"),
        ({"likely_off": 0.6, "uncertain": 0.6}, "re-walk", "60% of the readings probably err"),
        ({"uncertain": 1.0}, "doubt", "100% of the readings may err by over 2 nT"),
        ({"unknown": 0.06}, "doubt", "6.0% of the readings have an unknown error"),
        ({"unknown": 0.51}, "re-walk", "51% of the readings have an unknown error"),
        ({"kept": 0.95}, "keep", None),
        ({"kept": 0.94}, "doubt", "6.0% of the readings were dropped"),
        ({"kept": 0.4}, "re-walk", "60% of the readings were dropped"),
        ({"noise_nT": 1.0}, "keep", None),
        ({"noise_nT": 1.24}, "doubt", "noise 1.24 nT above 1 nT"),
        ({"noise_nT": None}, "keep", None),
    ],
)  # fmt: skip
def test_a_line_is_judged_by_the_worst_of_its_shares(share, verdict, reason):
    found = line_verdict(passage(**share), TOLERANCES)
    assert found["verdict"] == verdict
    if reason is None:
        assert found["reasons"] == []
    else:
        (told,) = found["reasons"]
        assert told.startswith(reason)


def test_what_a_bridge_would_serve_is_not_lost_but_the_rest_is():
    found = line_verdict(passage(no_base=0.9, bridgeable=0.3), TOLERANCES)
    assert found["verdict"] == "re-walk"
    assert found["reasons"] == [
        "60% of the readings have no base",
        "30% of the readings have no base; a bridge would serve within 2 nT",
    ]
    assert line_verdict(passage(no_base=0.9, bridgeable=0.5), TOLERANCES)["verdict"] == "doubt"


def test_what_loses_a_line_is_told_before_what_makes_it_doubtful():
    found = line_verdict(passage(no_base=0.6, kept=0.9, noise_nT=2.0), TOLERANCES)
    assert found["verdict"] == "re-walk"
    assert [text.split(" of the readings ")[-1] for text in found["reasons"]] == [
        "have no base", "were dropped", "noise 2.00 nT above 1 nT",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "value", "share", "verdict"),
    [
        ("kept_share", 0.8, {"kept": 0.85}, "keep"),
        ("noise_nT", 0.05, {}, "doubt"),
        ("noise_nT", 2.0, {"noise_nT": 1.9}, "keep"),
    ],
)
def test_the_tolerances_decide(name, value, share, verdict):
    assert line_verdict(passage(**share), TOLERANCES | {name: value})["verdict"] == verdict


def test_the_limit_that_is_told_is_what_the_survey_can_bear():
    found = line_verdict(passage(uncertain=0.3), TOLERANCES | {"diurnal_nT": 0.75})
    assert found["reasons"] == ["30% of the readings may err by over 0.75 nT"]


@pytest.mark.parametrize(
    ("share", "least", "verdict"), [(0.04, 0.95, "keep"), (0.06, 0.95, "doubt"), (0.2, 0.7, "keep")]
)
def test_a_line_that_was_not_walked_whole_is_doubted(share, least, verdict):
    found = line_verdict(passage(), TOLERANCES | {"covered_share": least}, not_walked=share)
    assert found["verdict"] == verdict


def test_time_and_length_of_a_line_are_told():
    found = line_verdict(passage(length_m=123.456), TOLERANCES)
    assert (found["start_utc"], found["length_m"]) == ("2026-03-10T14:00:00.250Z", 123.5)
    assert line_verdict(passage(length_m=None), TOLERANCES)["length_m"] == 0.0


def line(verdict, length_m=100.0):
    return {"verdict": verdict, "length_m": length_m}


@pytest.mark.parametrize(
    ("lines", "verdict", "reasons"),
    [
        ([], "keep", []),
        ([line("keep")], "keep", []),
        ([line("keep"), line("doubt")], "doubt", ["1 of 2 lines in doubt, 100 m"]),
        ([line("keep"), line("re-walk")], "doubt", ["1 of 2 lines to walk again, 100 m"]),
        ([line("keep"), line("re-walk", 101.0)], "re-walk", ["1 of 2 lines to walk again, 101 m"]),
        # Length counts, not the number of lines; a doubt is no loss.
        ([line("keep", 900.0), line("re-walk"), line("re-walk"), line("doubt", 30.0)], "doubt",
         ["2 of 4 lines to walk again, 200 m", "1 of 4 lines in doubt, 30 m"]),
        ([line("doubt", 1000.0)], "doubt", ["1 of 1 lines in doubt, 1000 m"]),
        ([line("keep", 0.0), line("re-walk", 0.0), line("re-walk", 0.0)], "re-walk",
         ["2 of 3 lines to walk again, 0 m"]),
    ],
)  # fmt: skip
def test_a_day_is_walked_again_when_over_half_its_length_is(lines, verdict, reasons):
    assert day_verdict(lines) == (verdict, reasons)


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        ({}, True),
        ({"line": "L2"}, False),
        ({"middle": (0.0, 149.0)}, True),  # a quarter of 200 m
        ({"middle": (0.0, 151.0)}, False),
        ({"length_m": 151.0}, True),  # three quarters
        ({"length_m": 149.0}, False),
        ({"length_m": 400.0}, True),
        ({"length_m": None}, False),
    ],
)
def test_when_another_passage_went_over_the_same_stretch(other, alike):
    assert same(passage(), passage(**other)) is alike


def test_a_lost_line_is_walked_again_once_and_not_when_another_passage_saved_it():
    lost, again, saved = passage(), passage(), passage()
    other = passage(line="L2")
    lose, keep = {"verdict": "re-walk"}, {"verdict": "doubt"}
    assert to_walk_again([lost, other], [lose, lose]) == [lost, other]
    (once,) = to_walk_again([lost, again], [lose, lose])
    assert once is lost
    assert to_walk_again([lost, saved], [lose, keep]) == []
    assert to_walk_again([saved], [keep]) == []


# Marks of readings, on the planted survey.


@pytest.fixture(scope="module")
def time(evening):
    return evening.products["rover_times"].seconds("time_utc") - START.timestamp()


@pytest.fixture(scope="module")
def silent(time):
    return (time > SILENT_S[0]) & (time < SILENT_S[1])


def marks(evening, tolerances=None, **inputs):
    return reading_marks(evening.products | inputs, evening.tolerances | (tolerances or {}))


def test_readings_in_the_silent_base_have_no_base_and_a_bridge_would_serve(evening, silent):
    found = marks(evening)
    assert (found.no_base == silent).all()
    assert (found.bridgeable == silent).all()
    assert not (found.lost & silent).any()
    assert not (found.unknown & silent).any()


def test_a_bridge_that_errs_too_much_doesn_t_serve(evening, silent):
    sd = evening.products["rover_diurnal"].floats("bridge_sd_nT")[silent].max()
    found = marks(evening, {"diurnal_nT": float(1.9 * sd)})
    assert 0 < found.bridgeable.sum() < silent.sum()
    assert (found.lost & silent).sum() == silent.sum() - found.bridgeable.sum()
    assert not marks(evening, {"diurnal_nT": 1e-3}).bridgeable.any()
    assert marks(evening, {"diurnal_nT": float(2.0 * sd)}).bridgeable.sum() == silent.sum()


def test_readings_in_the_swings_are_likely_off_and_lost(evening, time):
    found = marks(evening)
    swings = time > 4200
    assert (found.likely_off == swings).all()
    assert (found.uncertain == swings).all()
    assert (found.lost == swings).all()


def test_a_doubtful_minute_makes_its_readings_uncertain_not_lost(evening, time):
    minutes = evening.products["base_minutes"]
    early = minutes.seconds("start_utc") - START.timestamp() == 240
    word = pl.when(pl.Series(early)).then(pl.lit("doubt")).otherwise(pl.col("verdict"))
    found = marks(evening, base_minutes=changed(minutes, verdict=word))
    inside = (time >= 240) & (time < 300)
    assert (found.uncertain == (inside | (time > 4200))).all()
    assert not (found.lost & inside).any()


def test_the_minute_of_a_reading_is_that_of_the_base_that_served_it(evening, time, silent):
    words = minute_of_readings(evening.products)
    assert set(words[silent]) == {""}
    assert set(words[time > 4200]) == {"re-walk"}
    minutes = evening.products["base_minutes"]
    other = changed(minutes, instrument=pl.lit("B2"))
    assert set(minute_of_readings(evening.products | {"base_minutes": other})) == {""}
    both = replace(minutes, frame=pl.concat([
        other.frame.with_columns(verdict=pl.lit("unknown")), minutes.frame]))  # fmt: skip
    assert (minute_of_readings(evening.products | {"base_minutes": both}) == words).all()


def test_a_reading_after_the_last_minute_has_no_minute(evening, time):
    minutes = evening.products["base_minutes"]
    first = minutes.seconds("start_utc") - START.timestamp() < 120
    short = replace(minutes, frame=minutes.frame.filter(pl.Series(first)))
    words = minute_of_readings(evening.products | {"base_minutes": short})
    assert set(words[time < 120]) == {"keep"}
    assert set(words[time >= 120]) == {""}


def test_a_bridged_reading_is_judged_by_its_own_error(evening, silent):
    made = evening.again(
        "diurnal",
        decisions=[{"kind": "bridge", "target": {"instrument": "B1", "start": None, "end": None}}],
    )["rover_diurnal"]
    found = marks(evening, rover_diurnal=made)
    assert not (found.no_base | found.uncertain)[silent].any()
    # The 95 % size counts: 1.96 sd, of which the largest lies above 1.5 sd.
    limit = 1.5 * float(made.floats("sd_diurnal_nT")[silent].max())
    some = marks(evening, {"diurnal_nT": limit}, rover_diurnal=made).uncertain[silent]
    assert 0 < some.sum() < some.size
    strict = marks(evening, {"diurnal_nT": 1e-3}, rover_diurnal=made)
    assert strict.uncertain[silent].all()
    assert not strict.likely_off[silent].any()


def test_copies_count_as_kept_and_other_drops_don_t(evening):
    checks = evening.products["rover_checks"]
    dropped = np.arange(len(checks)) < 10
    for reason, kept in (("duplicate", True), ("spike", False)):
        why = pl.when(pl.Series(dropped)).then(pl.lit(reason)).otherwise(pl.col("reason"))
        own = changed(checks, kept=pl.Series(checks.booleans("kept") & ~dropped), reason=why)
        assert (marks(evening, rover_checks=own).kept[:10] == kept).all()
        assert (marks(evening, rover_checks=own).lost[:10] != kept).all()


@pytest.mark.parametrize(
    ("table", "column", "mark"),
    [
        ("rover_positions", "easting_m", "no_position"),
        ("rover_diurnal", "sd_diurnal_nT", "unknown"),
        ("rover_noise", "sd_sensor_nT", "unknown"),
    ],
)
def test_what_isn_t_known_is_marked(evening, table, column, mark):
    given = evening.products[table]
    some = pl.Series(np.arange(len(given)) < 7)
    gone = changed(given, **{column: pl.when(some).then(None).otherwise(pl.col(column))})
    found = getattr(marks(evening, **{table: gone}), mark)
    assert found[:7].all()
    assert not found[7:600].any()
    assert marks(evening, **{table: gone}).lost[:7].all() == (mark == "no_position")


def test_passages_know_their_readings_and_shares(evening):
    walked = passages(evening.products, marks(evening))
    names = np.array(evening.products["rover_lines"].strings("line"), dtype=object)
    assert [p.row["line"] for p in walked] == [f"L{n}" for n in range(1, 9)]
    for p in walked:
        assert (np.sort(p.rows) == np.flatnonzero(names == p.row["line"])).all()
    # L4 is in the silence from t = 680.5 s on: 300 of its 401 readings.
    assert walked[3].share["no_base"] == pytest.approx(300 / 401, abs=0.003)
    assert walked[3].middle == pytest.approx((560_060.0, 7_245_100.0), abs=0.1)


def test_the_whole_check_says_what_the_rules_say(evening):
    lines = {row.line: row for day in evening.result.days for row in day.lines}
    assert {name: row.verdict for name, row in lines.items()} == {
        "L1": "keep", "L2": "doubt", "L3": "keep", "L4": "doubt", "L5": "doubt", "L6": "keep",
        "L7": "re-walk", "L8": "re-walk",
    }  # fmt: skip
    (day,) = evening.result.days
    assert day.verdict == "doubt"
    assert day.reasons == ["2 of 8 lines to walk again, 400 m", "3 of 8 lines in doubt, 600 m"]
    again = evening.result.rewalk
    # The hole of L2, 30 m of its 200 m, is more than a twentieth of it.
    assert lines["L2"].reasons == ["15% of the line has no reading with a position"]
    assert sorted(span.line for span in again.spans) == ["L2", "L7", "L8"]
    # Two lines of 200 m and 20 m between them; from their end the hole is 80 m or 90 m up L2 and
    # 100 m across: hypot(100, 80) m. All at 1 m/s.
    assert (again.length_m, again.minutes) == (430.0, 10)
    assert again.between_m == pytest.approx(20 + np.hypot(100, 80), abs=0.2)
