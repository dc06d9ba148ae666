"""Days that went wrong: each gives a finding or a clear error, never a silent number."""

import numpy as np
import pytest

from lodewalk.services.check import check
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


def test_two_bases_that_disagree_are_told(bench):
    bench.add("one.csv", base_text(), "base", "B1")
    bench.add("two.csv", base_text(level=6.0), "base", "B2")
    bench.add("rover.csv", rover_text(), "rover", "R1")
    assert "bases disagree" in doubts(checked(bench))


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


def test_an_empty_survey_is_checked(bench):
    result = checked(bench)
    assert result.days == []
    assert result.rewalk.spans == []
