"""Days that went wrong: each gives a finding or a clear error, never a silent number."""

from datetime import datetime

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.services.check import check
from lodewalk.services.decide import decide
from lodewalk.survey.folder import open_folder
from small_survey import SOUTH, WEST, stamp


def field(seconds):
    return 22_900.0 + 3.0 * np.sin(np.asarray(seconds) / 900.0)


def base_text(start=-900.0, stop=1500.0, step=10.0, level=0.0, shift_s=0.0):
    times = np.arange(start, stop, step)
    rows = [
        f"{stamp(t + shift_s)},{v:.2f}" for t, v in zip(times, field(times) + level, strict=True)
    ]
    return ["time_utc,total_field_nT", *rows]


def rover_text(count=600, shift_s=0.0, position=True):
    rng = np.random.default_rng(1)
    seconds = np.arange(float(count))
    north = SOUTH + np.abs((seconds % 240) - 120)
    east = WEST + 20 * np.floor(seconds / 120)
    value = field(seconds) + 60 * np.exp(-(((north - SOUTH - 60) / 15) ** 2))
    value += rng.normal(0, 0.2, seconds.size)
    head = "time_utc,easting,northing,total_field_nT" if position else "time_utc,total_field_nT"
    rows = [
        f"{stamp(t + shift_s)},{f'{e:.2f},{n:.2f},' if position else ''}{v:.2f}"
        for t, e, n, v in zip(seconds, east, north, value, strict=True)
    ]
    return [head, *rows]


def checked(bench):
    return check(open_folder(bench.path))


def doubts(result):
    return {f.kind for f in result.findings if f.severity != "information"}


def test_a_base_that_never_overlaps_gives_no_anomaly_and_says_so(bench):
    bench.add("base.csv", base_text(shift_s=-7 * 86_400), "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    result = checked(bench)
    assert "base and rover never overlap" in doubts(result)
    assert {line.verdict for day in result.days for line in day.lines} == {"re-walk"}
    bench.run()
    assert bench.readings()["anomaly_nT"].null_count() == 600


def test_a_rover_without_gps_has_no_position_and_says_so(bench):
    bench.add("base.csv", base_text(), "base", "B1")
    bench.add("rover.csv", rover_text(position=False), "rover", "R1")
    result = checked(bench)
    assert "no position" in doubts(result)
    assert [day.verdict for day in result.days] == ["re-walk"]
    assert result.rewalk.gpx is None


@pytest.mark.parametrize("role", ["rover", "base"])
def test_a_single_reading_is_no_day(bench, role):
    if role == "rover":
        bench.add("base.csv", base_text(), "base", "B1")
        bench.add("rover.csv", rover_text(count=1), "rover", "R1")
    else:
        bench.add("base.csv", base_text(start=0.0, stop=1.0), "base", "B1")
        bench.add("rover.csv", rover_text(), "rover", "R1")
    result = checked(bench)
    assert all(row.state == "not identifiable" for row in result.clock)
    assert all(day.verdict != "keep" for day in result.days)


def test_base_and_rover_swapped_are_told(bench):
    bench.add("base.csv", rover_text(), "base", "B1")
    bench.add("rover.csv", base_text(step=1.0), "rover", "R1")
    assert "base walks" in doubts(checked(bench))


def test_a_base_walked_east_and_west_is_told_as_well(bench):
    rows = [row.split(",") for row in rover_text()]
    turned = [[t, f"{WEST + float(n) - SOUTH:.2f}", f"{SOUTH + float(e) - WEST:.2f}", v]
              for t, e, n, v in rows[1:200]]  # fmt: skip
    bench.add("base.csv", [",".join(row) for row in [rows[0], *turned]], "base", "B1")
    assert "base walks" in doubts(checked(bench))


def test_a_base_that_hangs_is_told(bench):
    rows = base_text(start=-3600.0)
    stuck = rows[200].split(",")[1]
    rows[200:300] = [f"{row.split(',')[0]},{stuck}" for row in rows[200:300]]
    bench.add("base.csv", rows, "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    (told,) = bench.findings("base stuck")
    assert told.severity == "doubt"
    assert "in 100 readings over 16 min" in told.text
    first, last = (rows[place].split(",")[0].removesuffix("Z") for place in (200, 299))
    assert told.proposal is not None
    given = [datetime.fromisoformat(end) for end in (told.proposal.start, told.proposal.end)]
    assert (told.proposal.kind, told.proposal.instrument) == ("drop", "B1")
    assert given == [datetime.fromisoformat(end) for end in (first, last)]


def test_two_bases_whose_site_ties_disagree_with_their_records_are_told(bench):
    """Without a site tie the second is brought to the first; a person's word is held against it."""
    bench.add("one.csv", base_text(), "base", "B1")
    bench.add("two.csv", base_text(level=6.0), "base", "B2")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    assert not {kind for kind in doubts(checked(bench)) if "tie" in kind or "base" in kind}
    bench.set("instruments.B2", site_tie_nT=0.0)
    assert "site tie doubted" in doubts(checked(bench))


def test_a_day_across_midnight_utc_is_one_field_day(bench):
    nine = 9.75 * 3600.0  # the small survey starts at 14 UTC
    bench.set("survey", time_zone='"+10:00"')
    bench.add("base.csv", base_text(shift_s=nine), "base", "B1")
    bench.add("rover.csv", rover_text(count=1200, shift_s=nine), "rover", "R1")
    result = checked(bench)
    assert [day.date for day in result.days] == ["2026-03-11"]
    starts = {line.start_utc[:10] for line in result.days[0].lines}
    assert starts == {"2026-03-10", "2026-03-11"}


def test_gps_time_after_the_last_known_leap_second_is_still_told(bench):
    """The table of leap seconds ends in 2017; later dates keep its last value, 18 s."""
    bench.add("base.csv", base_text(), "base", "B1")
    text = [row.replace("Z,", ",") for row in rover_text(shift_s=18.0)]
    text[0] = text[0].replace("time_utc", "time")
    bench.add("rover.csv", text, "rover", "R1", time_zone="GPS")
    bench.run()
    first = bench.readings()["time_utc"].min()
    assert first.strftime("%H:%M:%S") == "14:00:00"
    assert "clock" not in doubts(checked(bench))


def gps_files(shift_s):
    rover = [row.replace("Z,", ",") for row in rover_text(shift_s=18.0 + shift_s)]
    rover[0] = rover[0].replace("time_utc", "time")
    return base_text(shift_s=shift_s), rover


def test_gps_time_beyond_the_table_of_leap_seconds_is_told(bench):
    base, rover = gps_files(700 * 86_400.0)  # 2028-02-08, the table is known until June 2027
    bench.add("base.csv", base, "base", "B1")
    bench.add("rover.csv", rover, "rover", "R1", time_zone="GPS")
    (told,) = (f for f in checked(bench).findings if f.kind == "leap seconds unknown")
    assert (told.instrument, told.severity) == ("R1", "doubt")
    assert "600 later readings" in told.text


def test_a_date_before_gps_is_refused_with_its_line(bench):
    _, rover = gps_files(-17_000 * 86_400.0)
    with pytest.raises(InputError, match=r"rover.csv, line 2: GPS time begins.*Found '1979-08"):
        bench.add("rover.csv", rover, "rover", "R1", time_zone="GPS")


def test_the_range_of_one_base_reading_is_no_number(bench):
    bench.add("base.csv", base_text(start=0.0, stop=1.0), "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    result = checked(bench)
    assert [day.base.range_nT for day in result.days] == [None]
    assert not any("nan" in finding.text for finding in result.findings)


def test_a_base_that_never_rests_is_judged_whole(bench):
    days = 45.0  # more than the forty days that one span of minutes may have
    base = base_text(start=-days * 86_400, stop=1500.0, step=300.0)
    bench.add("base.csv", base, "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    assert checked(bench).days
    start = bench.product("base_minutes").seconds("start_utc")
    assert set(np.diff(start)) == {60.0}


def test_a_base_too_short_to_judge_leaves_its_lines_in_doubt(bench):
    """Four readings in five minutes: nothing tells how rough the field is between them."""
    bench.add("base.csv", base_text(start=-100.0, stop=300.0, step=100.0), "base", "B1")
    bench.add("rover.csv", rover_text(count=200), "rover", "R1")
    result = checked(bench)
    assert set(result.days[0].minutes) == {"unknown"}
    lines = result.days[0].lines
    assert {line.verdict for line in lines} == {"doubt"}
    assert all("too short or too sparse" in line.reasons[0] for line in lines)


def test_a_minute_that_the_base_began_in_is_judged_as_the_next(bench):
    bench.add("base.csv", base_text(start=20.0), "base", "B1")
    bench.add("rover.csv", rover_text(shift_s=30.0), "rover", "R1")
    (day,) = checked(bench).days
    assert day.minutes["unknown"] >= 1  # the first, of which the base has two thirds
    assert {line.verdict for line in day.lines} == {"keep"}


def test_minutes_are_counted_once_however_many_bases(bench):
    bench.add("one.csv", base_text(), "base", "B1")
    one = checked(bench).days[0].minutes
    bench.add("two.csv", base_text(stop=0.0), "base", "B2")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    assert checked(bench).days[0].minutes == one


def test_what_was_dropped_by_decision_is_told_once(bench):
    bench.add("base.csv", base_text(), "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    decide(open_folder(bench.path), kind="drop", reason="x", who="AB", instrument="R1", whole=True)
    reasons = {reason for line in bench.lines() for reason in line.reasons}
    assert reasons == {"100% of the readings were dropped"}


def test_a_rover_none_of_whose_readings_lies_on_a_line_is_told(bench):
    """One rover marks its lines; the other's lie in the same field, its positions are lost."""
    bench.add("base.csv", base_text(), "base", "B1")
    marked = rover_text()
    rows = [f"{row},{'line' if not n else 'L1'}" for n, row in enumerate(marked)]
    bench.add("one.csv", rows, "rover", "R1")
    bench.add("two.csv", rover_text(position=False), "rover", "R2")
    (told,) = bench.findings("no line")
    assert (told.instrument, told.severity) == ("R2", "doubt")


IDLE = {
    "a test outside the record": (
        "test",
        {"instrument": "R1", "start": "2026-03-11T14:00:00", "test": "static"},
        "fewer than two readings",
    ),
    "a bridge where there is no gap": ("bridge", {"instrument": "B1"}, "no gap of a base"),
    "a reading that isn't there": ("drop", {"readings": ("1:2",)}, "meets no reading"),
}


@pytest.mark.parametrize(("kind", "about", "told"), IDLE.values(), ids=IDLE)
def test_a_decision_that_meets_nothing_is_told(bench, kind, about, told):
    bench.add("base.csv", base_text(), "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    decide(open_folder(bench.path), kind=kind, reason="seen", who="AB", **about)
    (finding,) = bench.findings("decision without effect")
    assert told in finding.text
    assert finding.severity == "doubt"


def test_a_decision_on_readings_of_which_some_are_not_there_is_told(bench):
    bench.add("base.csv", base_text(), "base", "B1")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    bench.run()
    known = bench.readings()["reading_id"][0]
    readings = (known, "1:2")
    decide(open_folder(bench.path), kind="drop", reason="x", who="AB", readings=readings)
    (finding,) = bench.findings("decision without effect")
    assert "only 1 reading: 2 reading ids" in finding.text


def test_an_empty_survey_is_checked(bench):
    result = checked(bench)
    assert result.days == []
    assert result.rewalk.spans == []
