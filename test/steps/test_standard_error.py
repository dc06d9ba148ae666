"""The map of the standard error through the steps, against a planted field."""

import numpy as np
import pytest

from lodewalk.formats.netcdf import read_grids
from small_survey import SOUTH, WEST, bump, write_small_survey

FIELD, ERROR = "total_field_anomaly", "total_field_anomaly_standard_error"


@pytest.fixture
def mapped(bench, tmp_path):
    """Return the grids of the small survey with some settings of the grid."""

    def make(lines=8, **grid):
        truth = write_small_survey(tmp_path, lines=lines, noise=0.2)
        bench.add("base.csv", truth.base.read_text(), "base", "B")
        bench.add("rover.csv", truth.rover.read_text(), "rover", "R")
        if grid:
            bench.set("grid", **grid)
        bench.run()
        return bench.product("grids")

    return make


@pytest.mark.parametrize("method", ["minimum curvature", "equivalent sources", "cubic"])
def test_each_engine_has_its_map_and_lies_inside_it(mapped, method):
    """Between lines 20 m apart over a dipole 20 m down; the bump is the hardest ground there is."""
    grids = mapped(method=f'"{method}"')
    field, error = grids.named(FIELD), grids.named(ERROR)
    assert np.isnan(error.values).tolist() == np.isnan(field.values).tolist()
    east, north = np.meshgrid(field.eastings, field.northings)
    inside = (east > WEST) & (east < WEST + 140) & (north > SOUTH + 5) & (north < SOUTH + 115)
    off = (field.values - bump(east, north))[inside]
    off -= np.median(off)
    sd = error.values[inside]
    assert 0.75 < np.mean(np.abs(off) < 1.645 * sd) <= 1.0
    # Not by stating far too much: over the bump it is of the size of the misfit.
    assert np.sqrt(np.mean(sd**2)) < 3.0 * np.sqrt(np.mean(off**2))


def test_it_is_large_where_the_field_is_steep_and_beyond_the_lines(mapped):
    """Positions to 3 m count on the flanks of the bump; beyond the lines nothing is known."""
    error = mapped().named(ERROR)
    east, north = np.meshgrid(error.eastings, error.northings)
    quiet = np.nanmedian(error.values[(east > WEST + 90) & (east < WEST + 130)])
    flank = np.hypot(east - WEST - 50, north - SOUTH - 60) - 10 < 5
    assert np.nanmedian(error.values[flank]) > 10 * quiet
    assert np.nanmedian(error.values[east > WEST + 155]) > 1.15 * quiet


def test_it_stands_beside_the_grid_in_one_file_and_another_spacing_makes_none_anew(mapped, bench):
    mapped()
    names = [grid.name for grid in read_grids(bench.path / "products" / "grids.nc")]
    assert names == [FIELD, ERROR]
    bench.set("grid", spacing_m=3.0)
    ran = {step.step for step in bench.run().steps if step.ran}
    assert "grid" in ran
    assert not ran & {"standard_error", "surface", "readings"}
    assert bench.product("grids").named(ERROR).spacing_m == 3.0


def test_one_line_has_a_stated_reason(mapped, bench):
    grids = mapped(lines=1)
    notes = bench.product("error_notes").values
    assert (grids.named(ERROR) is None) == (notes["problem"] is not None)
    assert notes["judged"] in (0, None)
