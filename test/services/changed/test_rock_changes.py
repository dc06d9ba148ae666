"""Lineaments and depths that a run changed."""

import polars as pl

from lodewalk.services.changed.rocks import depth_changes, lineament_changes, same_lineaments

NAMES = (
    "lineament", "kind", "easting_m", "northing_m", "strike_deg", "strike_sd_deg", "length_m",
)  # fmt: skip


def lineaments(*rows):
    types = {name: pl.String if name in NAMES[:2] else pl.Float64 for name in NAMES}
    return pl.DataFrame(rows, schema=types, orient="row")


def told(before, after):
    return lineament_changes(before, after, same_lineaments(before, after))


R1 = ("R1", "ridge", 0.0, 0.0, 30.0, 1.0, 500.0)


def test_the_same_is_no_change():
    assert told(lineaments(R1), lineaments(R1)) == []


def test_one_is_lost_and_the_next_takes_its_name():
    lost = ("R2", "ridge", 400.0, 0.0, 120.0, 1.0, 588.4)
    third = ("R3", "ridge", -300.0, 0.0, 30.0, 1.0, 200.0)
    renamed = ("R2", *third[1:])
    assert told(lineaments(R1, lost, third), lineaments(R1, renamed)) == [
        "R2 (ridge, strike 120°, 588 m) is found no longer.",
        "Names moved: R3 is R2 now.",
    ]


def test_north_is_a_strike_of_both_its_ends():
    before, after = (("R1", "ridge", 0.0, 0.0, turn, 1.0, 500.0) for turn in (179.8, 0.3))
    assert told(lineaments(before), lineaments(after)) == []


def test_a_neighbour_across_the_strike_is_another_one_and_along_it_the_same():
    # strike 90: east is along, north is across
    before = ("R1", "ridge", 0.0, 0.0, 90.0, 1.0, 400.0)
    along = ("R1", "ridge", 180.0, 0.0, 90.0, 1.0, 400.0)
    across = ("R1", "ridge", 0.0, 180.0, 90.0, 1.0, 400.0)
    assert told(lineaments(before), lineaments(along)) == []
    assert told(lineaments(before), lineaments(across)) == [
        "R1 (ridge, strike 90°, 400 m) is found no longer.",
        "R1 (ridge, strike 90°, 400 m) is new.",
    ]


def test_length_and_strike_are_told_beyond_their_error():
    after = ("R1", "ridge", 0.0, 0.0, 33.0, 1.0, 350.0)
    assert told(lineaments(R1), lineaments(after)) == [
        "R1: length 500 m became 350 m.",
        "R1: strike 30.0° became 33.0°.",
    ]
    unsure = ("R1", "ridge", 0.0, 0.0, 30.0, 5.0, 500.0)
    assert told(lineaments(unsure), lineaments(("R1", *after[1:6], 500.0))) == []


def test_a_spot_has_no_strike():
    spot = ("S1", "spot", 10.0, 10.0, None, None, 0.0)
    assert told(lineaments(spot), lineaments(spot)) == []
    assert told(lineaments(), lineaments(spot)) == ["S1 (spot, 0 m) is new."]


def depths(*rows):
    names = ("pick", "method", "depth_m", "depth_low_m", "depth_high_m", "valid")
    types = [pl.String, pl.String, pl.Float64, pl.Float64, pl.Float64, pl.Boolean]
    return pl.DataFrame(rows, schema=dict(zip(names, types, strict=True)), orient="row")


def answer(pick, depth, low, high, *, valid=True, method="answer"):
    return (pick, method, depth, low, high, valid)


def test_depths_move_when_they_leave_a_quarter_of_their_interval():
    before = depths(answer("R1-L01", 24.0, 18.0, 34.0), answer("R1-L02", 20.0, 15.0, 25.0))
    after = depths(answer("R1-L01", 31.0, 22.0, 44.0), answer("R1-L02", 21.0, 15.0, 25.0))
    assert depth_changes(before, after, {"R1": "R1"}) == [
        "R1: one depth moved, at R1-L01 24 m (18 to 34 m) became 31 m (22 to 44 m)."
    ]


def test_a_renamed_lineament_is_compared_with_itself():
    before = depths(answer("R3-L01", 24.0, 18.0, 34.0), answer("R2-L01", 9.0, 5.0, 12.0))
    after = depths(answer("R2-L01", 24.0, 18.0, 34.0))
    assert depth_changes(before, after, {"R3": "R2"}) == []


def test_depths_come_and_go_with_what_was_decided():
    before = depths(answer("R1-L01", 24.0, 18.0, 34.0), answer("R1-L02", 24.0, 18.0, 34.0))
    after = depths(answer("R1-L01", 24.0, 18.0, 34.0, valid=False), answer("P1", 3.0, 2.0, 4.0),
                   answer("R1-L02", 24.0, 18.0, 34.0), answer("R1-L02", 90.0, 1.0, 99.0,
                                                              method="fit"))  # fmt: skip
    assert depth_changes(before, after, {"R1": "R1"}) == [
        "Depths no longer told: R1-L01.",
        "Depths now told: P1.",
    ]
