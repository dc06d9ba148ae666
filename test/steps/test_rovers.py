"""Offsets between rovers in the main job: planted ones, by check stations and by crossings."""

from types import SimpleNamespace

import numpy as np
import pytest

from small_survey import SOUTH, WEST, main_field, stamp
from tied_survey import HEAD, HOUR, base, grid_walk

OFFSET_NT = 12.5


def told(bench, kind):
    """Findings of the step itself: the check doesn't wait for it."""
    frame = bench.product("rover_findings").frame.filter(kind=kind)
    return [SimpleNamespace(**row) for row in frame.iter_rows(named=True)]


@pytest.fixture
def two(bench):
    """R1 walks six lines, R2 four tie lines across them, 12.5 nT higher."""
    base(bench, "B1", (HOUR, 22_950.0))
    lines = grid_walk(0.0, along=6, crossed=False)
    crossing = grid_walk(1200.0, along=4, crossed=True, level=OFFSET_NT, seed=5)
    bench.add("a.csv", [HEAD, *lines], "rover", "R1")
    bench.add("b.csv", [HEAD, *crossing], "rover", "R2")
    return bench


def offsets(bench):
    return {row["node"]: row for row in bench.product("rover_network")["nodes"]}


def by_rover(bench, column):
    frame = bench.readings()
    return {
        name: frame.filter(frame["instrument"] == name)[column].to_numpy() for name in ("R1", "R2")
    }


def test_crossings_tell_what_a_rover_reads_above_the_other(two):
    two.run()
    row = offsets(two)["R2"]
    assert row["level_nT"] == pytest.approx(OFFSET_NT, abs=0.1)
    # No crossing of a rover with itself tells how lines scatter: 5 nT each by the settings.
    assert row["sd_nT"] == pytest.approx(5 * np.sqrt(1 / 6 + 1 / 4), rel=0.05)
    taken, sd = by_rover(two, "instrument_nT"), by_rover(two, "sd_level_nT")
    assert (taken["R1"] == 0).all()
    assert (taken["R2"] == row["level_nT"]).all()
    assert (sd["R2"] >= row["sd_nT"]).all()
    (found,) = told(two, "rover offset")
    assert "R2 reads +12.4" in found.text or "R2 reads +12.5" in found.text
    # Nothing is left for the levelling to do.
    assert two.product("level")["misfit_before_nT"] < 0.3


def test_the_offset_can_be_turned_off(two):
    two.set("rovers", apply="false")
    two.run()
    assert (by_rover(two, "instrument_nT")["R2"] == 0).all()
    assert two.product("level")["misfit_before_nT"] == pytest.approx(OFFSET_NT, abs=0.3)
    (found,) = told(two, "rovers not compared")
    assert found.severity == "doubt"


def stand_rows(start_s, level, seed):
    """Two minutes at the check station, marked by the file."""
    rng = np.random.default_rng(seed)
    time = start_s + np.arange(0.0, 120.0, 2.0)
    main, longitude, latitude = main_field(np.array([WEST - 40.0]), np.array([SOUTH - 40.0]))
    value = main[0] + 8 * np.sin(time / 2400.0) + level + rng.normal(0, 0.05, time.size)
    return [
        f"{stamp(t)},{latitude[0]:.8f},{longitude[0]:.8f},800.0,check station,{v:.3f}"
        for t, v in zip(time, value, strict=True)
    ]


def test_visits_to_a_check_station_tie_rovers(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    for name, level, shift in (("R1", 0.0, 0.0), ("R2", OFFSET_NT, 130.0)):
        rows = stand_rows(shift, level, 6)
        rows += [*grid_walk(400.0 + shift, along=3, crossed=False, level=level)]
        rows += stand_rows(2600.0 + shift, level, 8)
        bench.add(f"{name}.csv", [HEAD, *rows], "rover", name)
    bench.run()
    (tie,) = [t for t in bench.product("rover_network")["ties"] if t["kind"] == "check station"]
    assert tie["difference_nT"] == pytest.approx(OFFSET_NT, abs=0.1)
    # Visits agree to hundredths, so the floor of a fifth of a nanotesla holds, of 2 and 2 visits.
    assert tie["sd_nT"] == pytest.approx(0.2, abs=0.02)
    assert offsets(bench)["R2"]["level_nT"] == pytest.approx(OFFSET_NT, abs=0.3)


def test_rovers_that_share_nothing_are_a_doubt(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    bench.add("a.csv", [HEAD, *grid_walk(0.0, along=3, crossed=False)], "rover", "R1")
    far = [row.replace("L", "M") for row in grid_walk(600.0, along=3, crossed=False, level=9.0)]
    bench.add("b.csv", [HEAD, *far], "rover", "R2")
    bench.run()
    (found,) = told(bench, "rovers not tied")
    assert (found.severity, found.instrument) == ("doubt", "R2")
    assert (by_rover(bench, "instrument_nT")["R2"] == 0).all()


def test_one_rover_has_no_offset_and_no_finding(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    bench.add("a.csv", [HEAD, *grid_walk(0.0, along=3, crossed=False)], "rover", "R1")
    bench.run()
    assert offsets(bench)["R1"]["level_nT"] == 0.0
    assert not len(bench.product("rover_findings"))
