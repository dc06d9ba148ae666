"""What holds the interpretation of the demo against its truth, tried on planted bodies."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lodewalk.services.demo import write_demo
from planted_rocks import estimate
from rocks_truth import dykes_of, rows_of

BLANK = {
    "width_m": None, "width_resolved": False, "kind": "dyke", "pick": None, "lineament": None,
}  # fmt: skip


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    place = tmp_path_factory.mktemp("truth")
    write_demo(place, seed=2)
    return Path(place, "truth", "dyke_crossings.csv")


def bodies(crossings, **changes):
    """Return a body at each crossing, told with its true depth and an sd of 1 m."""
    return pl.DataFrame(
        [
            {
                **BLANK, "body": f"{row['body']}-{row['line']}", "easting_m": row["easting_m"],
                "northing_m": row["northing_m"], "position_sd_m": 1.0,
                **estimate("depth", "m", row["depth_below_ground_m"], 1.0),
                "width_low_m": None, "width_high_m": None, "width_sd_m": None,
            }
            | {name: change(row) for name, change in changes.items()}
            for row in crossings.iter_rows(named=True)
        ],
        infer_schema_length=None,
    )  # fmt: skip


NO_ANSWERS = pl.DataFrame(schema={"easting_m": pl.Float64, "northing_m": pl.Float64})


def test_bodies_at_the_truth_are_inside(path):
    crossings = pl.read_csv(path)
    rows = rows_of(dykes_of(path), bodies(crossings), NO_ANSWERS)
    assert rows["inside"].all()
    assert rows.height == 2 * crossings.height
    names = rows["body"].str.split("-").list.first()
    assert (names == rows["dyke"]).all()
    assert rows["error"].abs().max() < 0.2


def test_strikes_are_held_whichever_way_they_look(path):
    crossings = pl.read_csv(path)
    told = bodies(
        crossings, pick=lambda row: row["body"], strike_sd_deg=lambda row: 1.0,
        strike_deg=lambda row: row["strike_deg"] + (181.0 if row["body"] == "D1" else 2.0),
    )  # fmt: skip
    rows = rows_of(dykes_of(path), told, NO_ANSWERS).filter(pl.col("quantity") == "strike")
    assert (rows["inside"] == (rows["dyke"] == "D1")).all()
    assert rows["error"].round(6).unique().sort().to_list() == [1.0, 2.0]


def test_bodies_off_the_truth_are_outside(path):
    """2 m too deep at an sd of 1 m; and 3 m to the right of the strike."""
    crossings = pl.read_csv(path)
    turn = np.radians(crossings["strike_deg"].to_numpy())
    moved = crossings.with_columns(
        pl.col("depth_below_ground_m") + 2.0,
        pl.col("easting_m") + pl.Series(3 * np.cos(turn)),
        pl.col("northing_m") - pl.Series(3 * np.sin(turn)),
    )
    rows = rows_of(dykes_of(path), bodies(moved), NO_ANSWERS)
    for quantity, error in (("depth", 2.0), ("position", 3.0)):
        own = rows.filter(pl.col("quantity") == quantity)
        assert not own["inside"].any()
        assert own["error"].to_numpy() == pytest.approx(error, abs=0.2)


def test_a_gross_miss_counts_as_one(path):
    """18 m to the right of the strike, though the dykes' tops are less deep and wide than that."""
    crossings = pl.read_csv(path)
    turn = np.radians(crossings["strike_deg"].to_numpy())
    moved = crossings.with_columns(
        pl.col("easting_m") + pl.Series(18 * np.cos(turn)),
        pl.col("northing_m") - pl.Series(18 * np.sin(turn)),
    )
    rows = rows_of(dykes_of(path), bodies(moved), NO_ANSWERS)
    own = rows.filter(pl.col("quantity") == "position")
    assert own.height == crossings.height
    assert not own["inside"].any()


def test_a_decided_kind_is_right_for_a_strip_and_wrong_for_a_contact(path):
    told = bodies(pl.read_csv(path)).with_columns(
        decidable=pl.lit(True), kind=pl.Series(["contact", "dyke", "thin sheet"]).extend_constant(
            "dyke", pl.read_csv(path).height - 3
        ),
    )  # fmt: skip
    rows = rows_of(dykes_of(path), told, NO_ANSWERS).filter(pl.col("quantity") == "kind")
    assert rows["inside"].to_list() == [False, *[True] * (told.height - 1)]
    undecided = told.with_columns(decidable=pl.lit(False))
    rows = rows_of(dykes_of(path), undecided, NO_ANSWERS)
    assert "kind" not in rows["quantity"].to_list()


def test_a_body_on_no_dyke_is_told_as_such(path):
    far = pl.read_csv(path).head(1).with_columns(pl.col("easting_m") - 500)
    rows = rows_of(dykes_of(path), bodies(far), NO_ANSWERS)
    assert rows["scope"].to_list() == ["none"]
