"""Where readings are: wild and lost fixes, stations without GPS, lines without a position."""

import numpy as np
import pytest
from pyproj import Transformer

from lodewalk.errors import InputError
from lodewalk.formats.delimited import ColumnMap
from lodewalk.services.decide import decide
from lodewalk.services.report import report
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from small_survey import CRS, SOUTH, WEST, stamp

TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def walk(count=200, *, wild=(), nowhere=(), no_fix=()):
    """A rover that walks north at 1 m/s; some fixes spoilt."""
    seconds = np.arange(float(count))
    easting, northing = np.full(count, WEST), SOUTH + seconds
    easting[list(wild)] += 5_000
    longitude, latitude = TO_DEGREES.transform(easting, northing)
    longitude[list(nowhere)] = latitude[list(nowhere)] = 0.0
    fix = ["none" if n in no_fix else "3d" for n in range(count)]
    rows = [
        f"{stamp(t)},{lat:.9f},{lon:.9f},800,{f},L1,{22_900 + np.sin(t):.3f}"
        for t, lat, lon, f in zip(seconds, latitude, longitude, fix, strict=True)
    ]
    return ["time_utc,latitude,longitude,height_m,fix,line,total_field_nT", *rows]


def base(count=400):
    rows = [f"{stamp(t)},{22_950 + 0.001 * t:.3f}" for t in np.arange(-100.0, count)]
    return ["time_utc,total_field_nT", *rows]


@pytest.mark.parametrize("spoilt", ["wild", "nowhere", "no_fix"])
def test_a_spoilt_fix_is_bridged_from_its_neighbours(bench, spoilt):
    bench.add("base.csv", base(), "base")
    bench.add("rover.csv", walk(**{spoilt: (50, 51, 52)}), "rover", "R1")
    bench.run()
    frame = bench.readings()
    np.testing.assert_allclose(frame["easting_m"], WEST, atol=0.01)
    np.testing.assert_allclose(frame["northing_m"], SOUTH + np.arange(200), atol=0.01)
    (line,) = bench.lines()
    assert line.length_m == pytest.approx(199, abs=0.5)


def test_a_long_loss_of_the_fix_gives_no_position_and_a_doubt(bench):
    bench.add("base.csv", base(), "base")
    bench.add("rover.csv", walk(no_fix=range(60, 120)), "rover", "R1")
    bench.run()
    frame = bench.readings()
    lost = frame[60:120]
    assert lost["anomaly_nT"].null_count() == 60
    assert set(lost["reason"]) == {"no position"}
    assert not lost["kept"].any()
    (line,) = bench.lines()
    assert line.verdict == "doubt"
    assert "30% of the readings have no position" in line.reasons


def test_a_line_without_any_position_is_walked_again_and_the_report_still_comes(bench):
    bench.add("base.csv", base(), "base")
    text = [",".join([*row.split(",")[:1], *row.split(",")[5:]]) for row in walk()]
    bench.add("rover.csv", text, "rover", "R1")
    bench.run()
    (line,) = bench.lines()
    assert line.verdict == "re-walk"
    assert report(open_folder(bench.path)).profiles is None


MAP = """
[columns]
time = "time"
field = "field"
line = "line"
station = "station"
[time]
zone = "UTC"
[position]
local_grid = true
pegs = [
  {line = "0", station = 0, easting = 560000, northing = 7245000},
  {line = "100", station = 0, easting = 560000, northing = 7244900},
  {line = "0", station = 100, easting = 560100, northing = 7245000},
]
"""


def add_local_grid(bench, tmp_path):
    """Add a base and stations of two lines on a local grid."""
    (tmp_path / "map.toml").write_text(MAP)
    ColumnMap.from_toml(tmp_path / "map.toml")
    rows = [
        f"{stamp(10.0 * n)},{100 * (n // 10)},{10 * (n % 10)},{22_900 + n:.1f}" for n in range(20)
    ]
    bench.add(
        "grid.csv", ["time,line,station,field", *rows], "rover", "R1", columns=tmp_path / "map.toml"
    )
    bench.add("base.csv", base(), "base")


def test_neither_lag_nor_arm_moves_a_local_grid(bench, tmp_path):
    add_local_grid(bench, tmp_path)
    bench.set("instruments.R1", ahead_m=2.0)
    decide(open_folder(bench.path), kind="lag", instrument="R1", lag_s=1.0, reason="x", who="AB")
    run(open_folder(bench.path), to="position")
    positions = bench.product("rover_positions")
    assert positions.frame.equals(bench.product("rover_recorded_positions").frame)
    texts = bench.product("position_findings").frame["text"].to_list()
    assert any("kind lag meets no position by a receiver: instrument R1" in text for text in texts)


def test_stations_of_a_local_grid_are_placed_by_its_pegs(bench, tmp_path):
    """Local north points east here: a turn by 90 degrees, told by the pegs."""
    add_local_grid(bench, tmp_path)
    bench.run()
    frame = bench.readings()
    number = np.arange(20)
    np.testing.assert_allclose(frame["easting_m"], 560_000 + 10 * (number % 10), atol=1e-6)
    np.testing.assert_allclose(frame["northing_m"], 7_245_000 - 100 * (number // 10), atol=1e-6)
    (found,) = bench.findings("local grid")
    assert (
        "scale 1.0000, local north at azimuth 90.0 degrees, largest residual 0.00 m" in found.text
    )
    assert frame["line"].unique(maintain_order=True).to_list() == ["0", "100"]


def test_a_rock_under_widely_spaced_stations_is_no_spike(bench):
    """A dipole 5 m below a 2 m sensor peaks at one 10 m station; it is not cut."""
    distance = 10.0 * np.arange(-10, 11)
    peak = 150 * 5**3 * (2 * 25 - distance**2) / (2 * (distance**2 + 25) ** 2.5)
    longitude, latitude = TO_DEGREES.transform(np.full(21, WEST), SOUTH + distance)
    rows = [
        f"{stamp(20.0 * n)},{lat:.9f},{lon:.9f},L1,{22_900 + value:.2f}"
        for n, (lat, lon, value) in enumerate(zip(latitude, longitude, peak, strict=True))
    ]
    bench.add("R1.csv", ["time_utc,latitude,longitude,line,total_field_nT", *rows], "rover", "R1")
    bench.add("base.csv", base(500), "base")
    bench.run()
    assert bench.readings()["kept"].all()
    assert len(bench.findings("spikes not judged")) == 1


def test_a_rounding_instrument_has_an_error_of_at_least_its_step(bench):
    bench.add("base.csv", base(), "base")
    text = walk()
    rounded = [text[0]] + [
        ",".join([*row.split(",")[:-1], f"{round(float(row.split(',')[-1]))}"]) for row in text[1:]
    ]
    bench.add("rover.csv", rounded, "rover", "R1")
    bench.run()
    # Rounding to 1 nT leaves an even error of 1 nT width: sd 1 / sqrt(12).
    assert bench.readings()["sd_sensor_nT"].min() >= 1 / np.sqrt(12) - 1e-12


def test_heights_above_sea_level_are_lifted_by_the_geoid(bench):
    bench.add("rover.csv", walk(), "rover", "R1")
    bench.set("instruments.R1", geoid_m=-12.5)
    bench.run()
    np.testing.assert_allclose(bench.product("rover_heights").floats("height_m"), 787.5)


def test_a_day_whose_readings_lie_on_no_line_is_walked_again(bench):
    from lodewalk.services.check import check

    bench.add("base.csv", base(), "base")
    text = [",".join([*row.split(",")[:1], row.split(",")[-1]]) for row in walk()]
    bench.add("rover.csv", text, "rover", "R1")
    (day,) = check(open_folder(bench.path)).days
    assert day.verdict == "re-walk"
    assert day.reasons == ["200 readings, none of them on a line"]


@pytest.mark.parametrize(("scale", "order"), [(0.001, (0, 1)), (1.0, (1, 0))])
def test_projected_positions_far_off_are_refused(bench, scale, order):
    places = [(scale * WEST, scale * SOUTH)[n] for n in order]
    rows = [f"{stamp(t)},{places[0]},{places[1]},22900.0" for t in range(5)]
    with pytest.raises(InputError, match=r"outside the area of EPSG:31982|can hold"):
        bench.add("r.csv", ["time_utc,easting,northing,field", *rows], "rover", "R1")


@pytest.mark.parametrize(("source", "why"), [("plan", "no planned lines"), ("marks", "names its")])
def test_a_source_of_lines_that_is_not_there_is_refused(bench, source, why):
    text = [",".join([*row.split(",")[:5], row.split(",")[-1]]) for row in walk()]
    bench.add("rover.csv", text, "rover", "R1")
    bench.set("lines", source=f'"{source}"')
    with pytest.raises(
        InputError, match=rf"survey\.toml: Setting lines\.source is {source}.*{why}"
    ):
        bench.run()


def test_the_same_readings_in_two_files_lower_no_verdict(bench):
    bench.add("base.csv", base(), "base")
    bench.add("rover.csv", walk(), "rover", "R1")
    bench.add("again.csv", [*walk(), ""], "rover", "R1")
    bench.run()
    assert {line.verdict for line in bench.lines()} == {"keep"}
    assert bench.readings()["kept"].sum() == 200


def test_angles_in_a_projected_system_are_refused(bench, tmp_path):
    columns = "time = 1\nlatitude = 2\nlongitude = 3\nfield = 7"
    text = f'[columns]\n{columns}\n[position]\ncrs = "EPSG:31982"\n'
    (tmp_path / "map.toml").write_text(text)
    with pytest.raises(InputError, match="Latitude and longitude need a geographic"):
        bench.add("rover.csv", walk(), "rover", "R1", columns=tmp_path / "map.toml")


def test_a_reading_of_a_changed_raw_file_is_not_explained(bench):
    from lodewalk.services.why import why

    bench.add("base.csv", base(), "base")
    bench.add("rover.csv", walk(), "rover", "R1")
    bench.run()
    copy = bench.path / "raw" / "rover.csv"
    copy.chmod(0o644)
    copy.write_text(copy.read_text() + "\n")
    with pytest.raises(InputError, match="no longer the one that was added"):
        why(open_folder(bench.path), "rover.csv:5")


@pytest.mark.parametrize("name", ["a\nb", "", "a/b", "x" * 41])
def test_a_name_that_can_t_stand_in_a_table_is_refused(bench, name):
    with pytest.raises(InputError, match="name of an instrument"):
        bench.add("rover.csv", walk(), "rover", name)
