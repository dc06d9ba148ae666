"""A run says what it changed."""

import json


def told(lodewalk, survey):
    done = lodewalk("run", survey.path, "--json")
    assert done.code == 0
    return json.loads(done.out)["changes"]


def decide(lodewalk, survey, *words):
    assert lodewalk("decide", survey.path, *words, "--reason", "gate", "--who", "A. B.").code == 0


def first_readings(survey, count):
    import polars as pl

    frame = pl.read_parquet(survey.path / "products" / "readings.parquet")
    return frame.filter("kept")["reading_id"].head(count).to_list(), int(frame["kept"].sum())


def test_a_decision_changes_what_it_is_about_and_taking_it_back_changes_it_back(lodewalk, small):
    names, kept = first_readings(small, 5)
    assert told(lodewalk, small) == [], "nothing had to run"
    decide(lodewalk, small, "drop", *(part for name in names for part in ("--reading", name)))
    dropped = [one["text"] for one in told(lodewalk, small) if one["about"] == "readings"]
    assert f"Kept readings: {kept:,} became {kept - 5:,}." in dropped
    listed = json.loads(lodewalk("decide", small.path, "list", "--json").out)["decisions"]
    lodewalk(
        "decide", small.path, "withdraw", "--id", listed[0]["id"], "--reason", "no", "--who", "A"
    )
    printed = lodewalk("run", small.path).out
    assert f"changed: Kept readings: {kept - 5:,} became {kept:,}." in printed


def test_a_first_run_changes_nothing(lodewalk, small):
    for file in ("readings.parquet", "check.json", "lineaments.parquet", "depths.parquet"):
        (small.path / "products" / file).unlink()
    assert told(lodewalk, small) == []


def test_a_product_that_cannot_be_read_stops_no_run(lodewalk, small):
    (small.path / "products" / "readings.parquet").write_bytes(b"no table")
    assert told(lodewalk, small) == []
