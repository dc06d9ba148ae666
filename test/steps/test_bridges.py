"""Bridges over the gap of a base: built where a person decided so, told to everyone.

The truth is the planted field of `evening_survey`: silent from t = 680 s to 1000 s.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from evening_survey import SILENT_S, changed, field
from lodewalk.methods.corrections.bridging import bridge_gaps
from lodewalk.records import Document
from lodewalk.records.products import Crossings
from lodewalk.records.recorded import Observatory
from lodewalk.steps import bridges
from lodewalk.steps.bridges import total_field
from lodewalk.steps.proposed import Proposal
from small_survey import START

DECIDED = {"kind": "bridge", "target": {"instrument": "B1"}, "value": None}


def decided(start=None, end=None, name="B1"):
    """Return a decision on a span as recorded, given in seconds since the start."""
    ends = {
        key: None if at is None else f"2026-03-10T14:{at // 60:02d}:{at % 60:02d}"
        for key, at in (("start", start), ("end", end))
    }
    return DECIDED | {"target": {"instrument": name, "readings": [], **ends}}


@pytest.fixture(scope="module")
def time(evening):
    return evening.products["rover_times"].seconds("time_utc") - START.timestamp()


@pytest.fixture(scope="module")
def silent(time):
    return (time > SILENT_S[0]) & (time < SILENT_S[1])


@pytest.fixture(scope="module")
def built(evening):
    return evening.again("diurnal", decisions=[decided()])


def test_without_a_decision_the_gap_stays_empty_and_the_bridge_is_proposed(evening, silent):
    plain = evening.products["rover_diurnal"]
    assert silent.sum() > 500
    assert (np.isnan(plain.floats("diurnal_nT")) == silent).all()
    assert np.isnan(plain.floats("sd_diurnal_nT")[silent]).all()
    assert (np.isfinite(plain.floats("bridge_sd_nT")) == silent).all()
    (told,) = [f for f in evening.result.findings if f.kind == "bridge over a gap"]
    assert f"the gap of 5 min with {silent.sum()} readings can be bridged" in told.text
    assert "the record on both sides" in told.text
    assert "to do so: decide bridge --instrument B1" in told.text
    assert (told.start_utc, told.end_utc) == (
        "2026-03-10T14:11:20.000Z",
        "2026-03-10T14:16:40.000Z",
    )
    worst = 1.96 * np.nanmax(plain.floats("bridge_sd_nT"))
    assert f"error up to {worst:.1f} nT (95 %)" in told.text
    # The base writes UTC, so that its gap as recorded is that of the finding.
    ends = ("2026-03-10T14:11:20", "2026-03-10T14:16:40")
    error = told.proposal.error_95_nT
    assert told.proposal == Proposal("bridge", "B1", *ends, source="sides", error_95_nT=error)
    assert error == pytest.approx(worst, abs=0.01)
    # A refusal holds while it changes by less than a fifth, so it isn't rounded as the text is.
    assert error != round(error, 1)
    assert all(
        f"--{name} {end}" in told.text for name, end in zip(("start", "end"), ends, strict=True)
    )


def test_a_decided_bridge_fills_the_gap_with_true_values(built, evening, time, silent):
    bridged, plain = built["rover_diurnal"], evening.products["rover_diurnal"]
    value, sd = bridged.floats("diurnal_nT"), bridged.floats("sd_diurnal_nT")
    assert np.isfinite(value).all()
    assert (sd > 0).all()
    expected = 22_950 + field(time) - built["datum"]["datum_nT"]
    error = (value - expected)[silent]
    assert np.abs(error).max() < 0.2
    assert np.mean(np.abs(error) < 1.645 * sd[silent]) > 0.8
    assert {b for b, s in zip(bridged.strings("base"), silent, strict=True) if s} == {"bridge"}
    assert (value[~silent] == plain.floats("diurnal_nT")[~silent]).all()
    assert (sd[~silent] == plain.floats("sd_diurnal_nT")[~silent]).all()
    (told,) = built["diurnal_findings"].frame.filter(kind="bridge over a gap")["text"]
    assert "; decided so" in told


def test_the_middle_of_the_gap_is_surer_than_nothing_and_less_sure_than_its_ends(built, time):
    sd = built["rover_diurnal"].floats("sd_diurnal_nT")
    at = [np.argmin(np.abs(time - second)) for second in (682.0, 845.0, 998.0)]
    assert sd[at[1]] > 1.5 * max(sd[at[0]], sd[at[2]])


@pytest.mark.parametrize(
    ("start", "end", "name", "fills"),
    [
        (None, None, "B1", True),
        (None, None, "B2", False),
        (700, 900, "B1", True),
        (None, 681, "B1", True),
        (999, None, "B1", True),
        (None, 600, "B1", False),
        (1100, None, "B1", False),
        (1100, 1200, "B1", False),
    ],
)
def test_a_decision_counts_for_the_gaps_of_its_base_that_its_span_touches(
    evening, silent, start, end, name, fills
):
    made = evening.again("diurnal", decisions=[decided(start, end, name)])["rover_diurnal"]
    assert np.isfinite(made.floats("diurnal_nT")[silent]).all() == fills
    assert np.isnan(made.floats("diurnal_nT")[silent]).all() != fills


def test_another_kind_of_decision_builds_no_bridge(evening, silent):
    made = evening.again("diurnal", decisions=[decided() | {"kind": "drop"}])["rover_diurnal"]
    assert np.isnan(made.floats("diurnal_nT")[silent]).all()


def test_a_longer_gap_setting_leaves_nothing_to_bridge(evening, silent):
    made = evening.again("diurnal", settings={"diurnal": {"max_gap_s": 400.0}})
    assert np.isfinite(made["rover_diurnal"].floats("diurnal_nT")[silent]).all()
    assert "bridge over a gap" not in made["diurnal_findings"].strings("kind")


def test_readings_of_another_day_far_from_the_record_get_no_bridge(evening, time):
    """A base that stopped in the morning is not made up for the next day."""
    later = pl.when(pl.Series(time) > 1100).then(pl.col("time_utc") + pl.duration(hours=7))
    times = changed(evening.products["rover_times"], time_utc=later.otherwise(pl.col("time_utc")))
    made = evening.again("diurnal", decisions=[decided()], rover_times=times)["rover_diurnal"]
    late = time > 1100
    assert np.isnan(made.floats("diurnal_nT")[late]).all()
    assert np.isnan(made.floats("bridge_sd_nT")[late]).all()


def test_a_dead_base_with_nothing_else_to_follow_is_told_not_bridged(evening, time):
    """Readings an hour after the last of the base: nothing tells the field there."""
    later = pl.when(pl.Series(time) > 4200).then(pl.col("time_utc") + pl.duration(hours=1))
    times = changed(evening.products["rover_times"], time_utc=later.otherwise(pl.col("time_utc")))
    made = evening.again("diurnal", decisions=[decided()], rover_times=times)
    late = time > 4200
    assert np.isnan(made["rover_diurnal"].floats("diurnal_nT")[late]).all()
    served = np.array(made["rover_diurnal"].strings("base"), dtype=object)
    assert set(served[late]) == {None}
    told = made["diurnal_findings"].frame.filter(kind="bridge over a gap")["text"].to_list()
    assert any("can't be bridged: nothing tells the field there" in text for text in told)


def with_observatory(evening, seconds, value):
    """Return the inputs of an observatory that recorded its total field [s since the start, nT]."""
    stamps = [START + timedelta(seconds=float(second)) for second in seconds]
    count = len(stamps)
    rows = observatory(total_field=0.0).frame.clear().select("line_in_file")
    frame = pl.DataFrame(
        {
            "line_in_file": pl.Series(range(1, count + 1), dtype=rows["line_in_file"].dtype),
            "recorded_time": [stamp.replace(tzinfo=None) for stamp in stamps],
            **{name: pl.Series([None] * count, dtype=pl.Float64) for name in COMPONENTS},
            "total_field_nT": value,
        }
    )
    (about,) = evening.products["base_files"]["files"]
    files = Document({"files": [about | {"instrument": "OBS", "name": "obs.min", "rows": count}]})
    times = type(evening.products["base_times"])(
        pl.DataFrame({"time_utc": pl.Series(stamps).cast(pl.Datetime("us", "UTC"))})
    )
    return {
        "observatory_recorded": Observatory(frame), "observatory_times": times,
        "observatory_files": files,
    }  # fmt: skip


def test_an_observatory_carries_the_field_where_the_base_is_dead(evening, time):
    """The last readings come after the base: only another record tells the field there."""
    seconds = np.arange(-900.0, 8000.0, 10.0)
    record = with_observatory(evening, seconds, 23_500.0 + field(seconds))
    moved = time > 4200
    later = pl.when(pl.Series(moved)).then(pl.col("time_utc") + pl.duration(seconds=3000))
    times = changed(evening.products["rover_times"], time_utc=later.otherwise(pl.col("time_utc")))
    made = evening.again("diurnal", decisions=[decided()], rover_times=times, **record)
    truth = 22_950 + field(time + 3000.0) - made["datum"]["datum_nT"]
    late = moved & (time + 3000 < 7990)
    # Between readings of the observatory ten seconds apart, straight lines miss the swings by
    # their curvature: 20 nT (2 pi / 23 s)^2 (10 s)^2 / 8 = 18.7 nT, less a little.
    error = (made["rover_diurnal"].floats("diurnal_nT") - truth)[late]
    assert np.isfinite(error).all()
    assert np.abs(error).max() < 20.0
    at_readings = np.isclose((time[late] % 10.0), 0.0)
    assert np.abs(error[at_readings]).max() < 2.0
    told = made["diurnal_findings"].frame.filter(kind="bridge over a gap")["text"].to_list()
    assert any("can be bridged by another record" in text for text in told)


@pytest.mark.parametrize(("hours", "served"), [(5, True), (7, False)])
def test_not_even_another_record_makes_up_for_a_base_that_died_long_ago(
    evening, time, hours, served
):
    """Six hours are the longest bridge; the base ends at t = 6080 s."""
    seconds = np.arange(-900.0, 40_000.0, 30.0)
    record = with_observatory(evening, seconds, 23_500.0 + 12 * np.sin(seconds / 900.0))
    late = time > 4200
    later = pl.when(pl.Series(late)).then(pl.col("time_utc") + pl.duration(hours=hours))
    times = changed(evening.products["rover_times"], time_utc=later.otherwise(pl.col("time_utc")))
    made = evening.again("diurnal", rover_times=times, **record)["rover_diurnal"]
    assert np.isfinite(made.floats("bridge_sd_nT")[late]).all() == served


def with_second_base(evening):
    """Return the inputs with a second base that is silent when the first one is."""
    inputs = {
        name: replace(evening.products[name], frame=pl.concat([evening.products[name].frame] * 2))
        for name in ("base_times", "base_recorded", "base_checks")
    }
    (about,) = evening.products["base_files"]["files"]
    both = [about, about | {"instrument": "B2", "name": "two.csv"}]
    inputs["base_files"] = Document({"files": both})
    return inputs | {"datum_network": evening.again("ties", **inputs)["datum_network"]}


def test_a_gap_that_two_bases_share_is_bridged_once(evening, silent):
    made = evening.again("diurnal", **with_second_base(evening))
    told = made["diurnal_findings"].frame.filter(kind="bridge over a gap")
    assert told["instrument"].to_list() == ["B1"]


def test_what_a_bridge_may_hear_is_other_days_and_places_read_twice_by_one_rover(
    evening, monkeypatch
):
    heard = []

    def listening(*args, **kwargs):
        heard.append((args, kwargs))
        return bridge_gaps(*args, **kwargs)

    monkeypatch.setattr(bridges, "bridge_gaps", listening)
    other_day = with_second_base(evening)
    (about,) = evening.products["base_files"]["files"]
    other_day["base_files"] = Document({"files": [about, about | {"name": "two.csv"}]})
    count = len(evening.products["base_times"])
    day_later = pl.when(pl.Series(np.arange(2 * count) < count)).then(pl.col("time_utc"))
    day_later = day_later.otherwise(pl.col("time_utc") + pl.duration(days=1))
    other_day["base_times"] = changed(other_day["base_times"], time_utc=day_later)
    crossings = Crossings(pl.DataFrame(crossing(name) for name in ("R1", "R2")))
    evening.again("diurnal", crossings=crossings, **other_day)
    ((args, kwargs),) = heard
    assert len(args[0]) == count
    assert kwargs["quiet_days"].time_s.min() == args[0].min() + 86_400
    assert kwargs["revisits"].difference_nT.tolist() == [1.5]


def crossing(second):
    """Return a place that R1 read at 14:10 and another reading of it in the gap."""
    values = {column.name: 0.0 if column.dtype.is_numeric() else "" for column in Crossings.SCHEMA}
    stamps = {f"{which}_utc": START + timedelta(seconds=s) for which, s in
              (("first", 600), ("second", 800))}  # fmt: skip
    words = {"first_instrument": "R1", "second_instrument": second}
    lines = {"first_passage": 0, "second_passage": 1}
    sizes = {"difference_nT": 1.5 if second == "R1" else 9.0, "sd_nT": 0.1}
    return values | stamps | words | lines | sizes


COMPONENTS = (
    "north_nT", "east_nT", "down_nT", "horizontal_nT", "sensor_east_nT", "declination_deg",
)  # fmt: skip


def observatory(**columns):
    """Return rows of an observatory; components in nT."""
    names = ("north_nT", "east_nT", "down_nT", "horizontal_nT", "sensor_east_nT", "total_field_nT")
    empty = {name: [None] for name in names}
    frame = pl.DataFrame(
        {"line_in_file": [1], "recorded_time": [START.replace(tzinfo=None)]}
        | empty | {f"{name}_nT": [value] for name, value in columns.items()}
        | {"declination_deg": [None]},
        schema_overrides=dict.fromkeys([*names, "declination_deg"], pl.Float64),
    )  # fmt: skip
    return Observatory(frame)


@pytest.mark.parametrize(
    ("columns", "total"),
    [
        ({"north": 3.0, "east": 4.0, "down": 12.0}, 13.0),  # 3-4-5 and 5-12-13
        ({"horizontal": 3.0, "sensor_east": 4.0, "down": -12.0}, 13.0),
        ({"horizontal": 5.0, "down": 12.0}, 13.0),
        ({"horizontal": 5.0, "down": 12.0, "total_field": 13.5}, 13.5),
        ({"north": 3.0, "east": 4.0, "horizontal": 99.0, "down": 12.0}, 13.0),
        ({"down": 12.0}, np.nan),
    ],
)
def test_total_field_of_an_observatory_from_whatever_it_gives(columns, total):
    assert total_field(observatory(**columns))[0] == pytest.approx(total, nan_ok=True)
