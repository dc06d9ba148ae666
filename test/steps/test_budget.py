"""The error budget through the steps: each part against what was planted."""

import numpy as np
import pytest

from lodewalk.services.why import why_reading
from lodewalk.survey.folder import open_folder
from small_survey import SOUTH, WEST, bump, diurnal, write_small_survey

PARTS = ("sensor", "diurnal", "clock", "position", "heading", "level")


@pytest.fixture
def surveyed(bench, tmp_path):
    """Return the small survey's truth and readings, made with some sections of settings."""

    def make(noise=0.2, **sections):
        truth = write_small_survey(tmp_path, lines=8, noise=noise)
        bench.add("base.csv", truth.base.read_text(), "base", "B")
        bench.add("rover.csv", truth.rover.read_text(), "rover", "R")
        for section, values in sections.items():
            bench.set(section, **values)
        bench.run(to="readings")
        return truth, bench.readings()

    return make


def test_the_parts_make_the_whole_and_each_is_told(surveyed, bench):
    _, readings = surveyed()
    squares = sum(readings[f"sd_{name}_nT"].to_numpy() ** 2 for name in PARTS)
    np.testing.assert_allclose(readings["sd_nT"].to_numpy(), np.sqrt(squares), rtol=1e-12)
    told = bench.product("budget")["parts"]
    assert [row["part"] for row in told] == list(PARTS)
    assert sum(row["share_of_variance"] for row in told) == pytest.approx(1.0, abs=1e-3)
    assert {row["shared_by"] for row in told} == {"reading", "line", "day", "survey"}


def test_a_clock_set_by_hand_counts_by_the_rate_of_the_field(surveyed):
    """The base's clock is known to 9 s: times 12 nT/h less 6 nT/h^2 t, by hand."""
    truth, readings = surveyed(clocks={"by_hand_s": 9.0, "by_satellite_s": 0.001})
    rate = np.abs(diurnal(truth.time + 20) - diurnal(truth.time - 20)) / 40
    np.testing.assert_allclose(readings["sd_clock_nT"].to_numpy(), 9.0 * rate, rtol=0.02)


def test_the_position_part_is_the_fixes_error_times_the_slope(surveyed):
    """Fixes of unknown kind are taken to 3 m on each axis; no line crosses to tell better.

    The bump peaks midway between two lines, as far from them as it is wide: what it does across
    the lines can't be told in full, what it does along them can.
    """
    truth, readings = surveyed()
    east, north = truth.easting, truth.northing
    along = np.abs(bump(east, north + 0.5) - bump(east, north - 0.5))
    across = np.abs(bump(east + 0.5, north) - bump(east - 0.5, north))
    stated = readings["sd_position_nT"].to_numpy()
    steep = along > np.quantile(along, 0.8)
    size = np.sqrt(np.mean(stated[steep] ** 2)) / 3.0
    assert size > 1.1 * np.sqrt(np.mean(along[steep] ** 2))
    assert size < 1.2 * np.sqrt(np.mean(along[steep] ** 2 + across[steep] ** 2))


def test_a_distant_base_counts_where_its_place_is_told(surveyed, bench):
    _, near = surveyed()
    before = near["sd_diurnal_nT"].to_numpy()
    bench.set("instruments.B", easting_m=WEST + 100_000.0, northing_m=SOUTH)
    bench.run(to="readings")
    assert np.median(bench.readings()["sd_diurnal_nT"].to_numpy()) > 1.5 * np.median(before)


def test_a_clock_that_nobody_told_of_is_no_silent_nothing(surveyed):
    _, readings = surveyed()
    assert (readings["sd_clock_nT"].to_numpy() > 0).mean() > 0.95


def test_why_names_all_parts_and_the_largest(surveyed, bench):
    _, readings = surveyed(noise=2.0)
    row = readings.row(200, named=True)
    told = why_reading(open_folder(bench.path), row["reading_id"]).sentences
    (parts,) = (text for text in told if text.startswith("Its parts: "))
    words = ("sensor", "diurnal", "clock", "position", "heading", "levelling with the rover's")
    for name, word in zip(PARTS, words, strict=True):
        value = row[f"sd_{name}_nT"]
        offset = " offset" if name == "level" else ""
        assert f"{word}{offset} {value:.3f}" in parts
    largest = max(PARTS, key=lambda name: row[f"sd_{name}_nT"])
    assert f"the largest is {words[PARTS.index(largest)]}" in parts
    assert any(text.startswith("Rover's offset 0.00, heading") for text in told)


def test_why_tells_no_parts_where_there_is_no_anomaly(surveyed, bench):
    _, readings = surveyed(diurnal={"max_gap_s": 0.5})
    without = readings.filter(readings["sd_nT"].is_null())
    told = why_reading(open_folder(bench.path), without["reading_id"][0]).sentences
    assert any(text.startswith("Anomaly none nT") for text in told)
    assert not any(text.startswith("Its parts") for text in told)


def test_the_summary_holds_every_part_and_both_grids(surveyed, bench):
    _, readings = surveyed()
    bench.run()
    told = bench.product("summary").values
    kept = readings.filter("kept")
    for name in PARTS:
        column = f"sd_{name}_nT"
        assert told["columns"][column]["median"] == pytest.approx(kept[column].median(), rel=1e-12)
    assert told["budget"] == bench.product("budget")["parts"]
    assert told["standard_error"] == bench.product("error_notes").values
    grids = {grid.name: grid for grid in bench.product("grids").grids}
    assert [row["name"] for row in told["grids"]] == list(grids)
    assert list(grids) == ["total_field_anomaly", "total_field_anomaly_standard_error"]
    for row in told["grids"]:
        values = grids[row["name"]].values
        assert row["unit"] == "nT"
        assert (row["rows"], row["columns"]) == values.shape
        assert row["nodes"] == np.isfinite(values).sum()
        assert row["min"] <= row["median"] <= row["max"]
        assert row["median"] == np.nanmedian(values)
