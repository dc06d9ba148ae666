"""Clocks of a survey, day by day: slips and drifts planted in the files, found against them.

The walks, the field and the clocks are made here; none of it by lodewalk's own formulas.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pytest
from pyproj import Transformer

from lodewalk.services.check import check
from lodewalk.services.decide import decide
from lodewalk.steps.proposed import Proposal
from lodewalk.survey.folder import open_folder
from planted_survey import red_noise
from small_survey import CRS, SOUTH, START, WEST

TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
DAY_S, HOUR_S = 86_400.0, 3600.0
LINE_M, SPACING_M, LINES = 300.0, 20.0, 12


@dataclass(frozen=True)
class Walk:
    """A walk of one day: seconds since the start of the survey, place, line mark."""

    time: np.ndarray
    east: np.ndarray
    north: np.ndarray
    mark: list


def stamp(seconds):
    moment = START + timedelta(seconds=float(seconds))
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def walked(day, rng):
    """Walk the lines there and back, each at its own pace, with 15 s to each turn."""
    east, north, mark = [], [], []
    for n in range(LINES):
        along = np.arange(0.0, LINE_M, rng.uniform(0.8, 1.3))
        x = (LINES * day + n) * SPACING_M
        east += [np.full(along.size, x), x + np.linspace(0.0, SPACING_M, 15)]
        end = LINE_M if n % 2 == 0 else 0.0
        north += [along if n % 2 == 0 else LINE_M - along, np.full(15, end)]
        mark += [f"L{LINES * day + n + 1}"] * along.size + [""] * 15
    east, north = np.concatenate(east), np.concatenate(north)
    return Walk(day * DAY_S + np.arange(east.size), east, north, mark)


def dykes(east, north):
    """Return the field of two oblique dykes, Lorentz curves across their strike [nT]."""
    return sum(
        size / (1 + ((north - place - slope * east) / width) ** 2)
        for size, place, slope, width in ((60.0, 90.0, 0.3, 12.0), (-40.0, 220.0, -0.2, 18.0))
    )


def diurnal(seconds):
    """Return a smooth daily curve [nT]."""
    return 20 * np.sin(2 * np.pi * np.asarray(seconds) / DAY_S + 0.5)


def add_walks(bench, offsets_s, *, seed=1):
    """Add a base, and a rover and its track with a day for each clock offset."""
    rng = np.random.default_rng(seed)
    walks = [walked(day, rng) for day in range(len(offsets_s))]
    rover, points = ["time_utc,line,total_field_nT"], []
    base = ["time_utc,total_field_nT"]
    for walk, offset in zip(walks, offsets_s, strict=True):
        field = 22_900 + diurnal(walk.time) + dykes(walk.east, walk.north)
        field = field + rng.normal(0, 0.1, field.size)
        rover += [
            f"{stamp(t + offset)},{mark},{value:.3f}"
            for t, mark, value in zip(walk.time, walk.mark, field, strict=True)
        ]
        error = rng.normal(0, 1.0, 2)  # of the receiver that day
        longitude, latitude = TO_DEGREES.transform(
            WEST + walk.east + error[0], SOUTH + walk.north + error[1]
        )
        points += [
            f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><ele>800</ele><time>{stamp(t)}</time></trkpt>'
            for lat, lon, t in zip(latitude, longitude, walk.time, strict=True)
        ]
        times = np.arange(walk.time[0] - 2 * HOUR_S, walk.time[-1] + 2 * HOUR_S, 10.0)
        base += [f"{stamp(t)},{22_950 + diurnal(t):.3f}" for t in times]
    bench.add("base.csv", base, "base", "B1")
    bench.add("rover.csv", rover, "rover", "R1")
    gpx = (
        '<?xml version="1.0"?>\n<gpx version="1.1" creator="test" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        + "\n".join(points)
        + "</trkseg></trk></gpx>"
    )
    bench.add("R1.gpx", gpx, "track", "R1")


def clock_of(result, name="R1"):
    return next(row for row in result.clock if row.instrument == name)


def doubts(result, *kinds):
    return [f for f in result.findings if f.severity != "information" and f.kind in kinds]


def days_of(row):
    return {day.day: day for day in row.days}


def test_a_clock_an_hour_off_on_one_day_only_is_told_with_that_day(bench):
    add_walks(bench, [0.0, HOUR_S, 0.0])
    result = check(open_folder(bench.path))
    row = clock_of(result)
    days = days_of(row)
    assert list(days) == ["2026-03-10", "2026-03-11", "2026-03-12"]
    for day, offset in zip(days.values(), (0.0, HOUR_S, 0.0), strict=True):
        assert day.state == "measured"
        assert day.offset_s == pytest.approx(offset, abs=3 * day.sd_s)
        assert day.sd_s < 2.0
    assert row.offset_s == days["2026-03-11"].offset_s
    assert "only on 2026-03-11" in row.method
    (told,) = doubts(result, "clock")
    assert "2026-03-11" in told.text
    assert "--start 2026-03-11T15:00:00" in told.text
    assert told.start_utc.startswith("2026-03-11T15:00")
    assert any(
        f.kind == "clock" and f.severity == "information" and "2026-03-10" in f.text
        for f in result.findings
    )


def test_the_zigzag_measures_again_about_a_gross_slip(bench):
    add_walks(bench, [0.0, HOUR_S])
    check(open_folder(bench.path))
    links = bench.product("clock_evidence")["links"]
    for day, offset in (("2026-03-10", 0.0), ("2026-03-11", HOUR_S)):
        (zigzag,) = [li for li in links if li["method"].startswith("zigzag") and li["day"] == day]
        assert zigzag["state"] == "measured"
        assert zigzag["offset_s"] == pytest.approx(offset, abs=3 * zigzag["sd_s"])


def test_the_decision_that_is_advised_settles_the_day_and_leaves_the_evidence(bench):
    add_walks(bench, [0.0, HOUR_S])
    folder = open_folder(bench.path)
    before = check(folder)
    (told,) = doubts(before, "clock")
    words = told.text.split("To confirm: ")[1].rstrip(".").split()
    given = {key.lstrip("-"): value for key, value in zip(words[2::2], words[3::2], strict=True)}
    assert words[:2] == ["decide", "clock"]
    offset = float(given["offset"])
    assert told.proposal == Proposal("clock", "R1", given["start"], given["end"], offset)
    decide(
        folder,
        kind="clock",
        reason="set an hour wrong that morning",
        who="AB",
        instrument=given["instrument"],
        start=given["start"],
        end=given["end"],
        offset_s=float(given["offset"]),
    )
    evidence = bench.product("clock_evidence")["links"]
    after = check(folder)
    assert bench.product("clock_evidence")["links"] == evidence
    assert not doubts(after, "clock")
    for one, other in zip(clock_of(before).days, clock_of(after).days, strict=True):
        assert (one.offset_s, one.sd_s, one.state) == (other.offset_s, other.sd_s, other.state)
    decided = [day.decided_s for day in clock_of(after).days]
    assert decided == [None, float(given["offset"])]


def test_days_with_one_setting_have_one_estimate(bench):
    add_walks(bench, [18.0, 18.0])
    result = check(open_folder(bench.path))
    row = clock_of(result)
    assert row.offset_s == pytest.approx(18.0, abs=3 * row.sd_s)
    assert {day.offset_s for day in row.days} == {row.offset_s}
    (told,) = doubts(result, "clock")
    assert "GPS time" in told.text
    assert "--start" not in told.text


def test_a_clean_survey_claims_nothing(bench):
    add_walks(bench, [0.0, 0.0])
    result = check(open_folder(bench.path))
    assert not doubts(result, "clock", "clock drift", "lag")
    for row in result.clock:
        assert row.state == "not identifiable" or abs(row.offset_s) < 3 * row.sd_s


def add_runs(bench, rate_s_per_h, *, starts_h=(0.0, 5.0), seed=3):
    """Add a base each second, and a rover beside it for ten minutes at some times of a day."""
    rng = np.random.default_rng(seed)
    lead = 1800
    seconds = int(starts_h[-1] * HOUR_S) + 600 + 2 * lead
    change = red_noise(rng, seconds, exponent=2.0, sd=10.0)
    base = 22_950 + change + rng.normal(0, 0.05, seconds)
    rows = [f"{stamp(n - lead)},{value:.3f}" for n, value in enumerate(base)]
    bench.add("base.csv", ["time_utc,total_field_nT", *rows], "base", "B1")
    longitude, latitude = TO_DEGREES.transform(WEST, SOUTH)
    rover = ["time_utc,latitude,longitude,height_m,line,total_field_nT"]
    for start in starts_h:
        for t in int(start * HOUR_S) + np.arange(600):
            value = 22_930 + change[lead + t] + rng.normal(0, 0.1)
            clock = t + rate_s_per_h * t / HOUR_S
            rover.append(
                f"{stamp(clock)},{latitude:.8f},{longitude:.8f},800.0,side-by-side,{value:.3f}"
            )
    bench.add("rover.csv", rover, "rover", "R1")


def test_a_drift_between_two_side_by_side_runs_is_told_with_what_it_amounts_to(bench):
    add_runs(bench, 2.0)
    result = check(open_folder(bench.path))
    row = clock_of(result)
    assert row.drift_s_per_h == pytest.approx(2.0, abs=3 * row.drift_sd_s_per_h)
    assert row.drift_sd_s_per_h < 0.2
    (told,) = doubts(result, "clock drift")
    assert "R1 against B1" in told.text
    assert "+10." in told.text  # 2 s/h over the 5.2 h of its readings
    # at the middle of the day, by its own clock
    assert row.offset_s == pytest.approx(2.0 * 5.17 / 2, abs=3 * row.sd_s)


def test_two_runs_without_drift_give_one_clock(bench):
    add_runs(bench, 0.0)
    result = check(open_folder(bench.path))
    row = clock_of(result)
    assert abs(row.drift_s_per_h) < 3 * row.drift_sd_s_per_h
    assert not doubts(result, "clock drift", "clock")
    assert [f.severity for f in result.findings if f.kind == "clock drift"] == ["information"]


def test_one_run_knows_no_drift(bench):
    add_runs(bench, 2.0, starts_h=(0.0,))
    row = clock_of(check(open_folder(bench.path)))
    assert row.drift_s_per_h is None
    assert row.drift_sd_s_per_h is None


def test_decisions_that_follow_a_drift_settle_it(bench):
    add_runs(bench, 2.0)
    folder = open_folder(bench.path)
    before = clock_of(check(folder))
    for hour in range(6):  # by its own clock; the offset is that of the middle of the hour
        decide(
            folder,
            kind="clock",
            reason="follows the drift",
            who="AB",
            instrument="R1",
            start=f"2026-03-10T{14 + hour}:00:00",
            end=f"2026-03-10T{14 + hour}:59:59.999",
            offset_s=2.0 * (hour + 0.5),
        )
    after = check(folder)
    assert not doubts(after, "clock drift", "clock")
    row = clock_of(after)
    assert (row.drift_s_per_h, row.offset_s) == (before.drift_s_per_h, before.offset_s)


def add_crossed_walks(bench, offsets_s, *, seed=2):
    """Add a base, and a rover with own positions that walks lines and tie lines each day."""
    rng = np.random.default_rng(seed)
    lines = [((20.0 * n, 0.0), (20.0 * n, 300.0)) for n in range(10)]
    ties = [((0.0, north), (180.0, north)) for north in (20.0, 150.0, 280.0)]
    rover, base = [], []
    for day, offset in enumerate(offsets_s):
        change = red_noise(rng, int(12 * HOUR_S), exponent=2.0, sd=15.0)
        t = 4 * HOUR_S
        for n, (start, end) in enumerate(lines + ties):
            way = np.linspace(start, end, int(np.hypot(*np.subtract(end, start)) / 2) + 1)
            for east, north in way if n % 2 == 0 else way[::-1]:  # a reading each 2 m and 4 s
                east = east + 500.0 * day
                longitude, latitude = TO_DEGREES.transform(WEST + east, SOUTH + north)
                value = 22_900 + change[int(t)] + 0.05 * north + rng.normal(0, 0.1)
                rover.append(
                    f"{stamp(day * DAY_S + t + offset)},{latitude:.8f},{longitude:.8f},800.0,"
                    f"D{day}{n},{value:.3f}"
                )
                t += 4.0
            t += 60.0
        base += [f"{stamp(day * DAY_S + n)},{22_950 + change[n]:.3f}" for n in range(0, 43_200, 20)]
    head = "time_utc,latitude,longitude,height_m,line,total_field_nT"
    bench.add("rover.csv", [head, *rover], "rover", "R1")
    bench.add("base.csv", ["time_utc,total_field_nT", *base], "base", "B1")


def test_places_read_twice_tell_the_day_that_was_an_hour_off(bench):
    add_crossed_walks(bench, [0.0, -HOUR_S])
    row = clock_of(check(open_folder(bench.path)))
    days = days_of(row)
    assert days["2026-03-11"].state == "detected"
    assert days["2026-03-11"].offset_s == pytest.approx(-HOUR_S, abs=3 * days["2026-03-11"].sd_s)
    first = days["2026-03-10"]
    assert first.offset_s is None or abs(first.offset_s) < 3 * first.sd_s
    links = bench.product("clock_evidence")["links"]
    assert {link["day"] for link in links} == {"2026-03-10", "2026-03-11"}


def test_places_read_twice_accuse_no_clock_that_is_right(bench):
    add_crossed_walks(bench, [0.0, 0.0])
    result = check(open_folder(bench.path))
    assert not doubts(result, "clock", "clock drift", "lag")
    assert clock_of(result).state == "not identifiable"


def add_two_bases(bench, rate_s_per_h, *, hours=6, seed=4):
    """Add two bases with a reading each second, the second one's clock running away."""
    rng = np.random.default_rng(seed)
    seconds = int(hours * HOUR_S)
    change = red_noise(rng, seconds, exponent=2.0, sd=10.0)
    for name, rate in (("B1", 0.0), ("B2", rate_s_per_h)):
        noise = rng.normal(0, 0.05, seconds)
        rows = [
            f"{stamp(n + rate * n / HOUR_S)},{22_950 + value:.3f}"
            for n, value in enumerate(change + noise)
        ]
        bench.add(f"{name}.csv", ["time_utc,total_field_nT", *rows], "base", name)


def test_a_base_that_runs_away_from_another_is_told(bench):
    add_two_bases(bench, 0.5)
    result = check(open_folder(bench.path))
    row = clock_of(result, "B2")
    assert row.drift_s_per_h == pytest.approx(0.5, abs=3 * row.drift_sd_s_per_h)
    (told,) = doubts(result, "clock drift")
    assert "B2 against B1" in told.text


def test_bases_that_keep_together_are_not_accused(bench):
    add_two_bases(bench, 0.0)
    result = check(open_folder(bench.path))
    assert not doubts(result, "clock drift", "clock")
    row = clock_of(result, "B2")
    assert abs(row.drift_s_per_h) < 3 * row.drift_sd_s_per_h
