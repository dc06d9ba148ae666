"""Levelling through the steps: planted errors of lines come back, and nothing is made up."""

import numpy as np
import pytest

from lodewalk.steps.gridded import used_readings
from small_survey import HEIGHT, SOUTH, WEST, bump, diurnal, main_field, stamp

LINES, TIES, SPACING, LENGTH = 8, 3, 20.0, 160.0


def walk():
    """Return number, easting and northing of readings: lines up and down, then tie lines."""
    parts = []
    for n in range(LINES):
        along = np.arange(0, LENGTH + 1, 2.0)
        parts.append((n, np.full(along.size, n * SPACING), along if n % 2 == 0 else along[::-1]))
    for n in range(TIES):
        along = np.arange(-11, SPACING * (LINES - 1) + 12, 2.0)
        parts.append((LINES + n, along, np.full(along.size, 21.0 + 60.0 * n)))
    number = np.concatenate([np.full(part[1].size, part[0]) for part in parts])
    east, north = (np.concatenate([part[k] for part in parts]) for k in (1, 2))
    return number, WEST + east, SOUTH + north


@pytest.fixture
def survey(bench):
    """Return readings of a survey whose lines are off by planted constants [nT]."""

    def make(off, *, ties=TIES, noise=0.05, heading=True, **level):
        number, easting, northing = walk()
        rng = np.random.default_rng(4)
        seconds = 2.0 * np.arange(number.size) + 60.0 * number
        field, longitude, latitude = main_field(easting, northing)
        field = field + bump(easting, northing) + diurnal(seconds) + off[number]
        field += rng.normal(0, noise, field.size)
        kept = number < LINES + ties
        rows = [
            f"{stamp(t)},{lat:.8f},{lon:.8f},{HEIGHT:.1f},{'L' if n < LINES else 'T'}{n},{v:.3f}"
            for t, lat, lon, n, v, use in zip(
                seconds, latitude, longitude, number, field, kept, strict=True
            )
            if use
        ]
        header = "time_utc,latitude,longitude,height_m,line,total_field_nT"
        bench.add("rover.csv", [header, *rows], "rover", "R")
        times = np.arange(-600, seconds[-1] + 601, 10.0)
        base = [f"{stamp(t)},{22_950 + diurnal(t):.3f}" for t in times]
        bench.add("base.csv", ["time_utc,total_field_nT", *base], "base", "B")
        if level:
            bench.set("level", **level)
        bench.set("heading", apply=str(heading).lower())
        bench.run(to="readings")
        return bench.readings(), number[kept]

    return make


def told(bench):
    """Return what the step says."""
    (text,) = bench.product("level_findings").frame["text"].to_list()
    return text


def planted(size, seed=7):
    return np.random.default_rng(seed).normal(0, size, LINES + TIES)


def test_planted_constants_come_back_up_to_a_common_one(survey):
    off = planted(4.0)
    readings, number = survey(off)
    level = readings["level_nT"].to_numpy()
    error = level - (off[number] - off[number].mean())
    error -= error.mean()
    assert np.abs(error).max() < 0.25
    assert abs(level.mean()) < 0.05


def test_the_error_stated_holds_the_truth(survey):
    off = planted(4.0, seed=8)
    # Constants of eight lines by chance also differ between the ways walked; that part would go
    # with the heading.
    readings, number = survey(off, heading=False)
    error = readings["level_nT"].to_numpy() - (off[number] - off[number].mean())
    sd = readings["sd_level_nT"].to_numpy()
    assert (sd > 0).all()
    assert (sd < 0.4).all()
    assert np.mean(np.abs(error) < 3 * sd) > 0.95


def test_the_correction_is_taken_off_and_its_error_is_in_the_sum(survey):
    readings, _ = survey(planted(4.0))
    names = ("raw", "diurnal", "reference", "heading", "level")
    parts = [readings[f"{name}_nT"].to_numpy() for name in names]
    np.testing.assert_array_equal(
        readings["anomaly_nT"].to_numpy(),
        parts[0] - parts[1] - parts[2] - 0 - parts[3] - parts[4] - 0,
    )
    names = ("sensor", "diurnal", "clock", "position", "heading", "level")
    total = sum(readings[f"sd_{name}_nT"].to_numpy() ** 2 for name in names)
    np.testing.assert_allclose(readings["sd_nT"].to_numpy() ** 2, total, rtol=1e-12)


def test_heading_and_level_together_hold_the_truth(survey):
    off = planted(4.0, seed=8)
    readings, number = survey(off)
    found = readings["heading_nT"].to_numpy() + readings["level_nT"].to_numpy()
    error = found - off[number]
    error -= error.mean()
    sd = np.hypot(readings["sd_heading_nT"].to_numpy(), readings["sd_level_nT"].to_numpy())
    assert np.mean(np.abs(error) < 3 * sd) > 0.95
    assert np.abs(error).max() < 0.5


def test_the_heading_comes_off_the_crossings_before_they_are_levelled(survey):
    way = np.where(np.arange(LINES + TIES) % 2, -3.0, 3.0) * (np.arange(LINES + TIES) < LINES)
    readings, number = survey(way)
    assert np.abs(readings["level_nT"].to_numpy()).max() < 0.2
    error = readings["heading_nT"].to_numpy() + readings["level_nT"].to_numpy() - way[number]
    assert np.std(error) < 0.1


def test_lines_that_agree_are_left_alone(survey, bench):
    readings, _ = survey(np.zeros(LINES + TIES))
    assert np.abs(readings["level_nT"].to_numpy()).max() < 0.05
    found = told(bench)
    assert "Misfit of 24 crossings" in found


def test_without_tie_lines_nothing_is_taken_off_and_that_is_told(survey, bench):
    readings, _ = survey(planted(4.0), ties=0)
    assert (readings["level_nT"] == 0).all()
    assert (readings["sd_level_nT"] == 0).all()
    found = told(bench)
    assert "can't be told from geology along it" in found


def test_it_can_be_turned_off(survey, bench):
    readings, _ = survey(planted(4.0), apply="false")
    assert (readings["level_nT"] == 0).all()
    found = told(bench)
    assert "turned off" in found


def test_weights_of_the_grid_leave_out_what_a_line_shares(survey, bench):
    readings, number = survey(planted(4.0))
    used = used_readings(bench.product("readings"), number)
    assert (readings["sd_heading_nT"] > 0.03).all()
    assert (readings["sd_level_nT"] > 0.03).all()
    np.testing.assert_array_equal(used.sd_nT, readings["sd_sensor_nT"].to_numpy())
