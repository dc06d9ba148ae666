"""Minutes: where the planted field leaves a line between base readings, and what is bearable.

The error that counts is worked out apart: the planted curve each tenth of a second less the
straight line between the base's readings.
"""

import numpy as np
import polars as pl
import pytest

from evening_survey import FAST_S, SILENT_S, base_times, changed, field
from lodewalk.steps.minutes import bearable_error
from small_survey import START, WEST

#: What the minutes near a change of the field's kind say is left open [s].
MARGIN_S = 600.0


def frame(evening, **settings):
    return evening.again("minutes", settings=settings)["base_minutes"].frame


def begin(table):
    return table["start_utc"].dt.epoch("us").to_numpy() / 1e6 - START.timestamp()


def true_worst(minutes):
    """Return the largest error of the straight line in each minute [nT]."""
    base = base_times()
    fine = np.arange(base[0], base[-1], 0.1)
    error = np.abs(np.interp(fine, base, field(base)) - field(fine))
    return np.array([error[(fine >= at) & (fine < at + 60)].max(initial=0.0) for at in minutes])


@pytest.fixture(scope="module")
def judged(evening):
    return frame(evening)


def test_each_minute_of_the_record_is_judged_once(judged):
    start = begin(judged)
    assert (np.diff(start) == 60).all()
    assert start[0] == -900.0
    assert start[-1] <= base_times()[-1] < start[-1] + 120
    assert set(judged["instrument"]) == {"B1"}


def test_minutes_over_the_tolerance_are_those_of_the_planted_swings(judged):
    """The default bearable error is twice 1 nT."""
    start, verdict = begin(judged), judged["verdict"].to_numpy()
    worst = true_worst(start)
    known = (start + 60 <= SILENT_S[0]) | (start >= SILENT_S[1])
    far = known & (np.abs(start - FAST_S) > MARGIN_S) & (start + 60 <= base_times()[-1])
    over, under = far & (worst > 2.0), far & (worst < 2.0)
    assert over.sum() > 5
    assert under.sum() > 50
    assert set(verdict[over]) == {"re-walk"}
    assert set(verdict[under]) == {"keep"}
    assert (judged["worst_nT"].to_numpy()[over] > worst[over]).all()


def test_a_minute_without_a_base_is_unknown(judged):
    start = begin(judged)
    silent = (start + 60 > SILENT_S[0]) & (start < SILENT_S[1])
    assert set(judged["verdict"].to_numpy()[silent]) == {"unknown"}
    assert judged.filter(pl.Series(silent))["sd_nT"].null_count() == silent.sum() == 6
    assert "unknown" not in judged["verdict"].to_numpy()[(start > -800) & ~silent][:-1]


def test_a_longer_gap_that_counts_as_bridged_is_judged(evening):
    wide = frame(evening, diurnal={"max_gap_s": 400.0})
    start = begin(wide)
    inside = (start > SILENT_S[0]) & (start + 60 < SILENT_S[1])
    assert wide.filter(pl.Series(inside))["sd_nT"].null_count() == 0


@pytest.mark.parametrize("tolerance", [0.05, 20.0])
def test_the_tolerance_moves_the_verdict_not_the_error(evening, judged, tolerance):
    """Base noise alone is 0.03 nT; the swings leave 4.7 nT at most."""
    other = frame(evening, tolerances={"diurnal_nT": tolerance})
    assert other["sd_nT"].equals(judged["sd_nT"])
    word = "keep" if tolerance > 10 else "re-walk"
    assert set(other["verdict"]) - {"unknown"} == {word}


def test_a_rover_that_walked_on_after_the_base_makes_minutes_without_one(evening):
    later = pl.when(pl.col("time_utc") > pl.lit(START).dt.offset_by("4470s"))
    later = later.then(pl.col("time_utc").dt.offset_by("2h")).otherwise(pl.col("time_utc"))
    times = changed(evening.products["rover_times"], time_utc=later)
    found = evening.again("minutes", rover_times=times)["base_minutes"].frame
    start = begin(found)
    assert start[-1] == pytest.approx(4470 + 200 + 7200, abs=60)
    assert set(found["verdict"].to_numpy()[start > base_times()[-1]]) == {"unknown"}


def test_a_night_is_not_judged(evening):
    later = pl.when(pl.col("time_utc") > pl.lit(START).dt.offset_by("4470s"))
    later = later.then(pl.col("time_utc").dt.offset_by("24h")).otherwise(pl.col("time_utc"))
    times = changed(evening.products["rover_times"], time_utc=later)
    start = begin(evening.again("minutes", rover_times=times)["base_minutes"].frame)
    assert not ((start > base_times()[-1]) & (start < 86_400)).any()
    assert (start > 86_400).sum() >= 3


@pytest.mark.parametrize("away_km", [0.0, 100.0])
def test_a_base_far_away_makes_it_less_sure(evening, judged, away_km):
    place = {
        "instruments.*.easting_m": {"B1": WEST + 1000 * away_km},
        "instruments.*.northing_m": {"B1": 7_245_000.0},
    }
    found = evening.again("minutes", settings=place)["base_minutes"].frame
    known = judged["sd_nT"].is_not_null()
    ratio = (found["sd_nT"] / judged["sd_nT"]).filter(known).to_numpy()
    if away_km:
        assert ratio.min() > 1.5
    else:
        assert np.abs(ratio - 1).max() < 0.1


def test_an_hour_without_base_and_rover_is_no_night(evening):
    """Nobody walks from t = 1250 s to 4260 s; the base is taken to be silent then as well."""
    checks = evening.products["base_checks"]
    time = evening.products["base_times"].seconds("time_utc") - START.timestamp()
    kept = pl.Series(checks.booleans("kept") & ~((time > 1300) & (time < 4200)))
    found = evening.again("minutes", base_checks=changed(checks, kept=kept))["base_minutes"].frame
    start = begin(found)
    assert (np.diff(start) == 60).all()
    inside = (start > 1300) & (start + 60 < 4200)
    assert inside.sum() == 47
    assert set(found["verdict"].to_numpy()[inside]) == {"unknown"}


def test_the_error_of_distance_shrinks_with_its_scale(evening):
    def judged_at(scale_km):
        settings = {
            "instruments.*.easting_m": {"B1": WEST + 100_000.0},
            "instruments.*.northing_m": {"B1": 7_245_000.0},
            "diurnal": {"scale_km": scale_km},
        }
        return evening.again("minutes", settings=settings)["base_minutes"].frame["sd_nT"]

    assert (judged_at(50.0) / judged_at(500.0)).drop_nulls().min() > 1.2


def test_the_farthest_readings_count(evening, judged):
    """One line in eight, more than one reading in twenty, lies a hundred kilometres away."""
    lines = np.array(evening.products["rover_lines"].strings("line"), dtype=object)
    far = pl.when(pl.Series(lines == "L1")).then(pl.col("easting_m") + 1e5)
    positions = changed(
        evening.products["rover_positions"], easting_m=far.otherwise(pl.col("easting_m"))
    )
    place = {
        "instruments.*.easting_m": {"B1": WEST},
        "instruments.*.northing_m": {"B1": 7_245_000.0},
    }
    found = evening.again("minutes", settings=place, rover_positions=positions)["base_minutes"]
    assert (found.frame["sd_nT"] / judged["sd_nT"]).drop_nulls().min() > 1.5


@pytest.mark.parametrize("place", [20, 90])
def test_the_size_that_is_told_is_passed_in_one_minute_of_twenty(evening, judged, place):
    size = judged["worst_nT"][place]
    found = frame(evening, tolerances={"diurnal_nT": size})
    assert found["chance"][place] == pytest.approx(0.05, abs=0.002)


USUAL = {
    "diurnal_nT": None,
    "smallest_anomaly_nT": None,
    "diurnal_share": 0.1,
    "diurnal_sd_nT": 1.5,
}


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, 3.0),  # twice the sd
        ({"diurnal_nT": 0.7}, 0.7),
        ({"smallest_anomaly_nT": 20.0}, 2.0),  # a tenth of it
        ({"smallest_anomaly_nT": 20.0, "diurnal_share": 0.25}, 5.0),
        ({"smallest_anomaly_nT": 20.0, "diurnal_nT": 0.7}, 0.7),  # said outright
    ],
)
def test_what_the_survey_can_bear(values, expected):
    assert bearable_error(USUAL | values) == pytest.approx(expected)
