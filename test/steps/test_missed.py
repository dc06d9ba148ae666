"""What could still hide: a line left out and a noisier sensor must show, by hand arithmetic."""

import json

import numpy as np
import pytest

from lodewalk.steps.missed import NAME
from small_survey import SOUTH, WEST, write_small_survey

FIELD_NT = 22_950.0


def nodes(grid):
    return np.meshgrid(grid.eastings - WEST, grid.northings - SOUTH)


@pytest.fixture
def walked(bench, tmp_path):
    """Return the map of seven lines 20 m apart, those in `without` left out."""

    def walk(without=(), **targets):
        truth = write_small_survey(tmp_path, lines=7)
        rows = truth.rover.read_text().splitlines()
        kept = [rows[0]] + [
            r for r, n in zip(rows[1:], truth.line, strict=True) if n not in without
        ]
        bench.add("base.csv", truth.base.read_text(), "base", "B")
        bench.add("rover.csv", kept, "rover", "R")
        if targets:
            bench.set("targets", **targets)
        bench.run()
        return bench.product("target_grids").named(NAME), bench.product("missed")

    return walk


def test_a_target_is_found_best_below_a_line(walked):
    grid, missed = walked(background_nT=0.0)
    east, north = nodes(grid)
    inner = (north > 30) & (north < 90)
    below = np.abs((east + 10) % 20 - 10) < 1.7
    between = np.abs((east + 10) % 20 - 10) > 8.3
    inside = (east > 20) & (east < 100) & inner
    assert np.median(grid.values[inside & below]) < 0.7 * np.median(grid.values[inside & between])
    assert missed["smallest_radius_m"] <= missed["median_radius_m"] <= missed["radius_95_m"]


def test_a_missing_line_is_ground_where_more_hides(walked):
    grid, _ = walked(without=(3,))
    east, north = nodes(grid)
    middle = (north > 30) & (north < 90)
    gone = grid.values[middle & (np.abs(east - 60) < 3)]
    there = grid.values[middle & (np.abs(east - 100) < 3)]
    assert not np.isnan(gone).any()
    assert np.min(gone) > 1.5 * np.max(there)


def test_ground_ends_half_a_spacing_beyond_the_outer_lines(walked):
    grid, _ = walked()
    east, north = nodes(grid)
    ground = ~np.isnan(grid.values)
    inside = (east > -6) & (east < 126) & (north > 0) & (north < 120)
    outside = (east < -14) | (east > 134) | (north < -14) | (north > 134)
    assert ground[inside].all()
    assert not ground[outside].any()


def test_the_radius_found_below_a_line_has_the_detectors_threshold(walked):
    """Signal and noise summed by hand: the matched filter's threshold is z(0.999) + z(0.9)."""
    grid, _ = walked(depth_m=6.0, susceptibility=0.02, background_nT=3.0)
    # The sensor's 0.05 nT are nothing beside 3 nT shared by the readings within 4 m: 5 of them.
    sd = 3.0 * np.sqrt(5)
    row = int(np.argmin(np.abs(grid.northings - SOUTH - 60)))
    column = int(np.argmin(np.abs(grid.eastings - WEST - 60)))
    place = grid.eastings[column] - WEST, grid.northings[row] - SOUTH
    east, north = (axis.ravel() for axis in np.meshgrid(np.arange(7) * 20.0, np.arange(61) * 2.0))
    near = np.hypot(east - place[0], north - place[1]) <= 4 * 8.0
    # IGRF at the place, from the published model: inclination -38.5, declination -19.5 from grid.
    dip, turn = np.radians([-38.5, -19.5])
    along = np.array([np.cos(dip) * np.cos(turn), np.cos(dip) * np.sin(turn), np.sin(dip)])
    to = np.column_stack([north - place[1], east - place[0], np.full(east.shape, -8.0)])[near]
    square = (to**2).sum(axis=1)
    shape = 100 * (3 * (to @ along) ** 2 / square - 1) / square**1.5
    signal = np.sqrt(((shape - shape.mean()) ** 2).sum()) / sd
    moment = (3.0902 + 1.2816) / signal
    field = 22_950e-9 / (4e-7 * np.pi) * 0.02 / (1 + 0.02 / 3)
    radius = np.cbrt(moment / (field * 4 / 3 * np.pi))
    assert grid.values[row, column] == pytest.approx(radius, rel=0.03)


def test_check_tells_the_share_of_ground(walked, bench):
    grid, missed = walked(radius_m=1.5)
    known = grid.values[~np.isnan(grid.values)]
    assert missed["found_share"] == pytest.approx(np.mean(known <= 1.5), abs=1e-4)
    told = bench.findings("targets")
    assert len(told) == 1
    assert f"on {missed['found_share']:.0%} of the mapped ground" in told[0].text
    check = json.loads((bench.path / "products" / "check.json").read_text())
    assert check["missed"]["radius_m"] == 1.5


def test_without_a_base_nothing_is_told(bench, tmp_path):
    truth = write_small_survey(tmp_path, lines=3)
    bench.add("rover.csv", truth.rover.read_text(), "rover", "R")
    bench.run()
    assert bench.product("target_grids").grids == ()
    assert bench.product("missed")["found_share"] is None
    assert not bench.findings("targets")


def test_a_target_that_no_reading_shows_is_none(walked):
    grid, missed = walked(susceptibility=1e-6)
    known = grid.values[~np.isnan(grid.values)]
    assert np.isinf(known).all()
    assert missed["found_share"] == 0.0
    assert missed["smallest_radius_m"] is None


def test_two_areas_far_apart_have_a_map(bench, tmp_path):
    """At a node between lines everywhere the map would have more nodes than a grid may."""
    truth = write_small_survey(tmp_path, lines=4)
    rows = truth.rover.read_text().splitlines()
    far = []
    for k, row in enumerate(rows[1:]):
        time, latitude, *rest = row.split(",")
        away = k > len(rows) // 2
        far.append(",".join([time, f"{float(latitude) + (0.2 if away else 0):.8f}", *rest]))
    bench.add("base.csv", truth.base.read_text(), "base", "B")
    bench.add("rover.csv", [rows[0], *far], "rover", "R")
    bench.run()
    assert bench.product("missed")["readings"] > 0


def test_readings_of_unknown_noise_show_nothing(bench, tmp_path):
    """Three readings have no fourth difference, so nothing says how well they show a target."""
    truth = write_small_survey(tmp_path, lines=1)
    bench.add("base.csv", truth.base.read_text(), "base", "B")
    bench.add("rover.csv", truth.rover.read_text().splitlines()[:4], "rover", "R")
    bench.run()
    assert bench.product("missed")["found_share"] is None
    assert bench.product("target_grids").grids == ()
