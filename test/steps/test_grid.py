"""The grid through the steps: engines, their choice by left-out lines, heights and bad surveys."""

import numpy as np
import pytest

from small_survey import SOUTH, WEST, bump, write_small_survey

NAME = "total_field_anomaly"


@pytest.fixture
def gridded(bench, tmp_path):
    """Return grid and notes of the small survey with some settings of the grid."""

    def make(lines=8, **grid):
        truth = write_small_survey(tmp_path, lines=lines, noise=0.2)
        bench.add("base.csv", truth.base.read_text(), "base", "B")
        bench.add("rover.csv", truth.rover.read_text(), "rover", "R")
        if grid:
            bench.set("grid", **grid)
        bench.run()
        return bench.product("grids").named(NAME), bench.product("grid_notes").values

    return make


def error(grid):
    """Misfit against the planted bump inside the lines, a constant taken off [nT]."""
    east, north = np.meshgrid(grid.eastings, grid.northings)
    inside = (east > WEST) & (east < WEST + 140) & (north > SOUTH) & (north < SOUTH + 120)
    rest = (grid.values - bump(east, north))[inside]
    return rest - np.median(rest)


@pytest.mark.parametrize(
    ("method", "bound"), [("minimum curvature", 6.0), ("equivalent sources", 5.0), ("cubic", 6.0)]
)
def test_each_engine_finds_the_planted_bump(gridded, method, bound):
    """A dipole 20 m down midway between lines 20 m apart, 120 nT at its peak: the hardest place.

    A layer of sources knows that the field is harmonic, so it may miss less of the peak.
    """
    grid, notes = gridded(method=f'"{method}"')
    assert notes["problem"] is None
    assert np.sqrt(np.mean(error(grid) ** 2)) < bound


def test_what_was_chosen_stands_with_what_was_tried(gridded, bench):
    gridded()
    surface = bench.product("surface").values
    by_lines = {t["tension"]: t["rms_nT"] for t in surface["trials"] if t["left_out"] == "lines"}
    assert surface["tension"] == min(by_lines, key=by_lines.get)
    assert surface["left_out_rms_nT"] == min(by_lines.values())
    by_pieces = {
        t["damping_m2"]: t["rms_nT"] for t in surface["trials"] if t["left_out"] == "pieces"
    }
    assert surface["damping_m2"] == min(by_pieces, key=by_pieces.get)


def test_a_setting_goes_before_the_choice(gridded, bench):
    gridded(tension=0.4, damping_m2=7.0)
    surface = bench.product("surface").values
    assert (surface["tension"], surface["damping_m2"], surface["trials"]) == (0.4, 7.0, [])


def test_a_grid_higher_up_is_that_of_a_deeper_dipole(gridded, bench):
    """20 m up the planted dipole is 40 m down, and an eighth as high."""
    low, _ = gridded(method='"equivalent sources"')
    bench.set("grid", height_m=20.0)
    bench.run()
    high = bench.product("grids").named(NAME)
    assert bench.product("grid_notes")["height_m"] == 20.0
    share = np.nanmax(high.values - np.nanmedian(high.values)) / np.nanmax(
        low.values - np.nanmedian(low.values)
    )
    assert share == pytest.approx(1 / 8, abs=0.06)


@pytest.mark.parametrize("method", ["minimum curvature", "equivalent sources"])
def test_one_line_is_a_problem_that_is_told(gridded, method):
    grid, notes = gridded(lines=1, method=f'"{method}"')
    assert grid is None
    assert "line" in notes["problem"]
