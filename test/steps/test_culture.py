"""Culture: the planted fence and drum of `evening_survey`, and how each is told."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from pyproj import Transformer

from evening_survey import DRUM_M, FENCE_M, LINES, SPACING_M, changed
from small_survey import CRS, SOUTH, START, WEST

FENCE = "fence or power line"


@pytest.fixture(scope="module")
def events(evening):
    return evening.again("culture")["rover_culture"].frame


def told(evening, kind, **inputs):
    found = evening.again("culture", **inputs)["culture_findings"].frame
    return found.filter(kind=kind).to_dicts()


def test_the_fence_is_one_feature_across_all_lines(events):
    fence = events.filter(pl.col("feature") >= 0)
    assert set(fence["cause"]) == {FENCE}
    assert fence["feature"].n_unique() == 1
    assert sorted(fence["line"]) == [f"L{n}" for n in range(1, LINES + 1)]
    assert np.abs(fence["northing_m"].to_numpy() - SOUTH - FENCE_M).max() <= 1.5
    east = WEST + SPACING_M * (fence["line"].str.slice(1).cast(pl.Int64).to_numpy() - 1)
    assert np.abs(fence["easting_m"].to_numpy() - east).max() < 0.01
    assert set(fence["instrument"]) == {"R1"}


def test_events_lie_where_and_when_they_were_crossed(events):
    """Peaks of 90 nT, less where the field swings; crossed 150 m from the south at 1 m/s."""
    fence = events.filter((pl.col("feature") >= 0) & pl.col("line").is_in(["L1", "L3", "L6"]))
    assert fence["peak_nT"].to_numpy() == pytest.approx(90.0, rel=0.05)
    crossed = {"L1": 150.0, "L3": 420 + 150.0, "L6": 1050 + 50.0}
    for row in fence.iter_rows(named=True):
        at = START + timedelta(seconds=crossed[row["line"]])
        assert row["start_utc"] <= at <= row["end_utc"]
        assert (row["end_utc"] - row["start_utc"]).total_seconds() < 6.0


def test_the_fence_is_told_once_with_its_ends_its_lines_and_the_note(evening, events):
    (fence,) = told(evening, FENCE)
    ends = [f"{WEST + SPACING_M * n:.0f} E" for n in (0, LINES - 1)]
    assert f"on {LINES} lines from {ends[0]}" in fence["text"]
    assert f"to {ends[1]}" in fence["text"]
    assert "the notes say fence" in fence["text"]
    assert (fence["severity"], fence["instrument"]) == ("information", "R1")
    assert fence["start_utc"] < START + timedelta(seconds=150) < fence["end_utc"]
    last = START + timedelta(seconds=4470 + 50)  # L8 from the north
    assert fence["start_utc"] < last < fence["end_utc"]
    peak = int(fence["text"].split("up to ")[1].split(" nT")[0])
    # On L7 and L8 a swing of up to 20 nT to either side adds to it, or takes away from it.
    assert peak == round(events.filter(feature=0)["peak_nT"].max())
    assert 90 <= peak <= 90 + 2 * 20


def test_the_drum_is_told_once_with_line_size_and_probability(evening, events):
    (drum,) = told(evening, "compact source")
    assert drum["text"].startswith("R1: probably compact source on line L6, +4")
    (row,) = events.filter(feature=-1).to_dicts()
    assert row["peak_nT"] == pytest.approx(400.0, rel=0.05)
    assert row["northing_m"] == pytest.approx(SOUTH + DRUM_M, abs=1.0)
    assert row["line"] == "L6"
    # Half of the maximum of (2 - u) / 2 (1 + u)^2.5 lies at u = 0.25: as wide as it is deep, 3 m.
    assert row["width_m"] == pytest.approx(3.0, rel=0.5)
    assert f"{row['width_m']:.1f} m wide" in drum["text"]
    assert f"(probability {row['probability']:.0%})" in drum["text"]
    assert drum["severity"] == "information"
    assert drum["start_utc"] <= START + timedelta(seconds=1050 + 150) <= drum["end_utc"]


def test_without_the_note_it_is_not_named(evening):
    notes = evening.products["notes_recorded"]
    silent = changed(notes, name=pl.lit("walked on"), text=pl.lit(""))
    (fence,) = told(evening, FENCE, notes_recorded=silent)
    assert "the notes say" not in fence["text"]


def test_a_note_far_away_names_nothing(evening):
    """A kilometre off, and an hour away in time."""
    longitude, latitude = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        WEST + 1000.0, SOUTH + FENCE_M
    )
    notes = changed(
        evening.products["notes_recorded"],
        longitude_deg=pl.lit(longitude), latitude_deg=pl.lit(latitude),
    )  # fmt: skip
    times = changed(
        evening.products["notes_times"], time_utc=pl.col("time_utc") + pl.duration(hours=5)
    )
    (fence,) = told(evening, FENCE, notes_recorded=notes, notes_times=times)
    assert "the notes say" not in fence["text"]


def test_readings_dropped_by_the_first_checks_make_no_event(evening):
    positions = evening.products["rover_positions"]
    north, east = positions.floats("northing_m") - SOUTH, positions.floats("easting_m") - WEST
    drum = (np.abs(north - DRUM_M) < 12) & (np.abs(east - 5 * SPACING_M) < 1)
    checks = evening.products["rover_checks"]
    kept = changed(checks, kept=pl.Series(checks.booleans("kept") & ~drum))
    assert told(evening, "compact source", rover_checks=kept) == []


def test_an_event_names_its_own_line_where_readings_before_it_were_dropped(evening):
    checks = evening.products["rover_checks"]
    lines = np.array(evening.products["rover_lines"].strings("line"), dtype=object)
    rest = changed(checks, kept=pl.Series(checks.booleans("kept") & (lines != "L1")))
    made = evening.again("culture", rover_checks=rest)["rover_culture"].frame
    (drum,) = made.filter(feature=-1).to_dicts()
    assert (drum["line"], drum["easting_m"]) == ("L6", pytest.approx(WEST + 5 * SPACING_M))
    assert drum["northing_m"] == pytest.approx(SOUTH + DRUM_M, abs=1.0)


def test_spikes_are_left_to_the_first_checks(evening):
    recorded = evening.products["rover_recorded"]
    raw = recorded.floats("raw_nT").copy()
    raw[100] += 300.0
    made = evening.again("culture", rover_recorded=changed(recorded, raw_nT=pl.Series(raw)))
    assert set(made["rover_culture"].strings("cause")) == {FENCE, "compact source"}
    assert "isolated spike" not in made["culture_findings"].strings("kind")


def test_too_few_readings_tell_nothing(evening):
    checks = evening.products["rover_checks"]
    few = changed(checks, kept=pl.Series(np.arange(len(checks)) < 9))
    made = evening.again("culture", rover_checks=few)
    assert len(made["rover_culture"]) == len(made["culture_findings"]) == 0


def test_many_events_of_one_cause_are_counted_and_the_strongest_told(evening):
    """Twelve drums on L1 and L3, 30 m apart, from 105 nT up in steps of 10 nT."""
    recorded, positions = evening.products["rover_recorded"], evening.products["rover_positions"]
    north, east = positions.floats("northing_m") - SOUTH, positions.floats("easting_m") - WEST
    raw = recorded.floats("raw_nT").copy()
    raw -= 90 * shape((north - FENCE_M) / 1.4)
    raw -= np.where(np.abs(east - 5 * SPACING_M) < 1, 400 * shape((north - DRUM_M) / 3.0), 0.0)
    sizes = 105.0 + 10 * np.arange(12)
    places = [(line, 20.0 + 30 * n + line) for line in (0, 2) for n in range(6)]
    for size, (line, at) in zip(sizes, places, strict=True):
        on = np.abs(east - line * SPACING_M) < 1
        raw += np.where(on, size * shape((north - at) / 2.5), 0.0)
    made = told(evening, "compact source", rover_recorded=changed(recorded, raw_nT=pl.Series(raw)))
    assert len(made) == 10
    assert all(row["text"].endswith(", one of 12.") for row in made)
    found = sorted(float(row["text"].split("nT")[0].split("+")[1]) for row in made)
    assert found == pytest.approx(sizes[2:], rel=0.05)
    assert [row["start_utc"] for row in made] == sorted(row["start_utc"] for row in made)


def shape(ratio):
    """Return the form of the anomaly of an upright dipole at the pole, 1 at its middle."""
    return (2 - ratio**2) / (2 * (1 + ratio**2) ** 2.5)


@pytest.mark.parametrize("wild_nT", [0.0, 300.0])
def test_lost_lock_is_a_doubt(evening, wild_nT):
    """Half a minute of low quality on L2, with wild readings or without."""
    recorded = evening.products["rover_recorded"]
    time = evening.products["rover_times"].seconds("time_utc") - START.timestamp()
    bad = (time > 345) & (time < 375)
    raw, quality = recorded.floats("raw_nT").copy(), np.full(time.size, 99.0)
    raw[bad] += np.random.default_rng(2).normal(0.0, wild_nT, bad.sum())
    quality[bad] = 5.0
    spoilt = changed(recorded, raw_nT=pl.Series(raw), quality=pl.Series(quality))
    made = evening.again("culture", rover_recorded=spoilt)["culture_findings"].frame
    doubts = made.filter(severity="doubt").to_dicts()
    assert doubts
    assert {row["kind"] for row in doubts} <= {"loss of lock", "dead zone"}
    assert min(row["start_utc"] for row in doubts) >= START + timedelta(seconds=340)
    assert max(row["end_utc"] for row in doubts) <= START + timedelta(seconds=380)
