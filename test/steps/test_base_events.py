"""What disturbed the base: planted on the quiet record of `evening_survey` before its gap."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from evening_survey import changed
from lodewalk.records import Document
from small_survey import START

CAR = (200.0, 240.0)


@pytest.fixture(scope="module")
def time(evening):
    return evening.products["base_times"].seconds("time_utc") - START.timestamp()


def car(time, size_nT=40.0):
    """Return what a car makes that passes and stops for some seconds [nT]."""
    middle = sum(CAR) / 2
    return size_nT * np.exp(-(((time - middle) / 12.0) ** 2))


def checked(evening, value, **inputs):
    recorded = changed(evening.products["base_recorded"], raw_nT=pl.Series(value))
    return evening.again("first_checks", **{"base_recorded": recorded} | inputs)


def events(made):
    found = made["first_findings"].frame.filter(pl.col("kind").str.starts_with("base "))
    return found.filter(pl.col("kind").is_in([f"base {k}" for k in KINDS])).to_dicts()


KINDS = ("passage", "step", "parked", "noisier", "creep")


def test_a_quiet_base_has_no_events(evening, time):
    early = pl.Series(time < 4000)
    rows = {name: keep(evening.products[name], early) for name in ("base_recorded", "base_times")}
    (about,) = evening.products["base_files"]["files"]
    files = Document({"files": [about | {"rows": int(early.sum())}]})
    made = evening.again("first_checks", base_files=files, **rows)
    assert events(made) == []


def keep(table, rows):
    return replace(table, frame=table.frame.filter(rows))


def test_a_car_at_the_base_is_told_and_its_readings_dropped(evening, time):
    value = evening.products["base_recorded"].floats("raw_nT") + car(time)
    made = checked(evening, value)
    near = [e for e in events(made) if e["start_utc"].timestamp() - START.timestamp() < 300]
    (found,) = near
    assert found["instrument"] == "B1"
    assert found["severity"] == "doubt"
    assert "no other record tells whether the field did it" in found["text"]
    start, end = (found[f"{e}_utc"].timestamp() - START.timestamp() for e in ("start", "end"))
    middle = sum(CAR) / 2
    assert middle - 60 < start < middle < end < middle + 60
    kept = made["base_checks"].booleans("kept")
    assert not kept[np.abs(time - middle) < 6].any()
    assert kept[(np.abs(time - middle) > 90) & (time < 600)].all()
    reasons = np.array(made["base_checks"].strings("reason"), dtype=object)
    assert set(reasons[np.abs(time - middle) < 6]) == {"disturbed base"}


@pytest.mark.parametrize("seen", [True, False])
def test_another_base_tells_whether_the_field_did_it(evening, time, seen):
    """A second base nearby, with noise of its own, that has the bump as well or hasn't."""
    value = evening.products["base_recorded"].floats("raw_nT")
    other = value + np.random.default_rng(8).normal(0.0, 0.03, time.size) + 4.0
    both = np.concatenate([value + car(time), other + (car(time) if seen else 0.0)])
    twice = {
        name: replace(evening.products[name], frame=pl.concat([evening.products[name].frame] * 2))
        for name in ("base_recorded", "base_times")
    }
    (about,) = evening.products["base_files"]["files"]
    files = Document({"files": [about, about | {"instrument": "B2", "name": "two.csv"}]})
    made = evening.again(
        "first_checks", base_files=files, base_times=twice["base_times"],
        base_recorded=changed(twice["base_recorded"], raw_nT=pl.Series(both)),
    )  # fmt: skip
    near = [e for e in events(made) if e["start_utc"].timestamp() - START.timestamp() < 300]
    kept = made["base_checks"].booleans("kept")[: time.size]
    inside = np.abs(time - sum(CAR) / 2) < 6
    if seen:
        assert near == []
        assert kept[inside].all()
    else:
        assert {e["instrument"] for e in near} == {"B1"}
        assert all("the other record didn't see it" in e["text"] for e in near)
        assert not kept[inside].any()


@pytest.mark.parametrize(("moved_m", "told"), [(30.0, False), (60.0, True)])
def test_a_base_that_walks_is_told(evening, time, moved_m, told):
    """Fixes from one end to the other, evenly: the middle 90 % of them span 0.9 of the way."""
    recorded = evening.products["base_recorded"]
    north = pl.Series(7_245_000.0 + moved_m * np.linspace(0.0, 1.0, time.size))
    walking = replace(recorded, frame=recorded.frame.with_columns(northing_m=north))
    made = evening.again("first_checks", base_recorded=walking)["first_findings"].frame
    found = made.filter(kind="base walks").to_dicts()
    assert len(found) == told
    for finding in found:
        assert f"move by {0.9 * moved_m:.0f} m" in finding["text"]
        assert (finding["severity"], finding["instrument"]) == ("loss", "B1")


def test_a_base_that_walks_is_told_by_its_latitude_as_well(evening, time):
    """A minute of arc is a nautical mile, 1852 m: 60 m are 60 / 1852 / 60 degrees."""
    recorded = evening.products["base_recorded"]
    way = 60.0 / 1852 / 60 * np.linspace(0.0, 1.0, time.size)
    frame = recorded.frame.with_columns(
        latitude_deg=pl.Series(-24.9 + way), longitude_deg=pl.lit(-50.4)
    )
    made = evening.again("first_checks", base_recorded=replace(recorded, frame=frame))
    (found,) = made["first_findings"].frame.filter(kind="base walks").to_dicts()
    assert "move by 54 m" in found["text"]
