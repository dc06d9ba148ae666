"""The demo's raw files against its truth, and the truth against formulas it was not made with."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import gpxpy
import numpy as np
import pytest
import xmlschema

from lodewalk.adapters.projection import to_geographic, to_projected
from lodewalk.errors import InputError
from lodewalk.formats.delimited import ColumnMap, propose
from lodewalk.formats.registry import recognise
from lodewalk.methods.bodies import dyke_anomaly, profile_distance
from lodewalk.methods.geomagnetic.reference import igrf_field, total_field
from lodewalk.methods.planning.rocks import rock_named
from lodewalk.services.demo import Scenario, write_demo
from lodewalk.survey.settings import check_settings

SEED = 5
CRS = "EPSG:31982"


def table(path):
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def floats(column):
    return np.array([float(text) if text else np.nan for text in column])


def unix(texts):
    return (
        np.array([text.rstrip("Z") for text in texts], dtype="datetime64[ms]").astype(float) / 1e3
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("demo"), seed=SEED)


@pytest.fixture(scope="module")
def incoming(demo):
    return demo.truth.parent / "incoming"


@pytest.fixture(scope="module")
def readings(demo):
    return table(demo.truth / "readings.csv")


@pytest.fixture(scope="module")
def faults(demo):
    return table(demo.truth / "faults.csv")


@pytest.fixture(scope="module")
def bodies(demo):
    return json.loads((demo.truth / "bodies.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def summary(demo):
    return json.loads((demo.truth / "summary.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def recorded(demo):
    """The rows of every rover file by name: UTC and field, read with the csv module alone."""
    found = {}
    for file in demo.files:
        if file.role != "rover":
            continue
        lines = file.path.read_text(encoding="utf-8").splitlines()
        if file.column_map is None:
            cells = [line.split(",") for line in lines[1:]]
            found[file.path.name] = (unix([row[0] for row in cells]), [row[7] for row in cells])
        else:
            cells = [line.split(";") for line in lines[2:]]
            stamps = [f"{d[6:]}-{d[3:5]}-{d[:2]}T{t}" for d, t, *_ in cells]
            found[file.path.name] = (
                unix(stamps) + 3 * 3600.0,
                [row[3].replace(",", ".") for row in cells],
            )
    return found


def contents(folder):
    return {path.name: path.read_bytes() for path in sorted(folder.rglob("*.*"))}


def test_same_seed_same_bytes_other_seed_other_bytes(demo, tmp_path_factory):
    first = contents(demo.truth.parent)
    assert len(first) == 22
    assert contents(write_demo(tmp_path_factory.mktemp("b"), seed=SEED).truth.parent) == first
    other = contents(write_demo(tmp_path_factory.mktemp("c"), seed=SEED + 1).truth.parent)
    assert {name for name in first if first[name] == other[name]} == {
        "clocks.csv", "dyke_crossings.csv", "planned_lines.gpx", "semicolon_columns.toml",
        "area.geojson", "kept_clear.geojson", "terrain.tif",
    }  # fmt: skip


def test_size_and_lines(demo, readings, summary):
    count = len(readings["file"])
    assert 20_000 <= count <= 40_000
    assert summary["rover_readings"] == count
    walked = set(readings["line"]) - {"", "check", "item"}
    assert walked == {f"L{n:02d}" for n in range(1, 41)} | {"T1", "T2", "T3"}
    days = {text[:10] for text in readings["time_utc"][readings["line"] == "L28"]}
    assert days == {"2026-03-10", "2026-03-11"}
    roles = [file.role for file in demo.files]
    assert {role: roles.count(role) for role in set(roles)} == {
        "plan": 1, "base": 2, "rover": 4, "track": 2, "notes": 1,
    }  # fmt: skip


def test_settings_are_valid(demo):
    settings = check_settings(demo.settings)
    assert settings.survey.crs == CRS
    assert settings.instrument("R2").sensor_height_m == 1.8


def test_truth_rows_are_the_file_rows(readings, recorded):
    for name, (time, field) in recorded.items():
        rows = readings["file"] == name
        assert rows.sum() == len(field)
        ahead = Scenario().rover(name[:2]).clock_offset_s
        np.testing.assert_array_equal(unix(readings["time_utc"][rows]), np.asarray(time) - ahead)
        first = 2 if name.startswith("R1") else 3
        np.testing.assert_array_equal(
            readings["line_in_file"][rows].astype(int), first + np.arange(len(field))
        )


def test_raw_is_the_sum_of_its_parts_but_for_faults(readings, recorded):
    parts = ("reference_nT", "anomaly_nT", "external_nT", "noise_nT")
    total = sum(floats(readings[name]) for name in parts)
    sizes = {}
    for name, (_, field) in recorded.items():
        rows = readings["file"] == name
        departure = np.array(field, dtype=float) - total[rows]
        clean = ~np.isin(readings["fault"][rows], ["spike", "dropout"])
        step = 0.01 if name.startswith("R1") else 0.1
        # half a step of the file and of four numbers with three decimals
        assert np.abs(departure[clean]).max() <= step / 2 + 0.002 + 1e-9
        sizes[name] = np.abs(departure[readings["fault"][rows] == "spike"])
    assert all(len(size) == 7 and size.min() > 17.9 for size in sizes.values())


def test_reference_is_the_igrf(readings, summary):
    rows = slice(None, None, 997)
    longitude, latitude = to_geographic(
        floats(readings["easting_m"][rows]), floats(readings["northing_m"][rows]), crs=CRS
    )
    height = floats(readings["height_m"][rows])
    expected = total_field(latitude, longitude, height, decimal_year=2026.19)
    np.testing.assert_allclose(floats(readings["reference_nT"][rows]), expected, atol=1e-3)
    assert 22_000 < expected.min() < expected.max() < 23_000
    assert summary["reference_epoch_year"] == 2026.19


def test_bodies_stand_in_the_grid_not_in_true_north(bodies):
    """The field's direction in the grid is its declination less the convergence."""
    north, east, down = bodies["ambient_north_east_down_nT"]
    true_north, true_east, true_down = igrf_field(-24.9, -50.4, 884.0, decimal_year=2026.19)
    # convergence of a transverse Mercator grid near its central meridian, 51 W: 0.6 sin(-24.9)
    convergence = 0.6 * np.sin(np.radians(-24.9))
    expected = np.degrees(np.arctan2(true_east, true_north)) - convergence
    assert np.degrees(np.arctan2(east, north)) == pytest.approx(float(expected), abs=1e-3)
    assert down == pytest.approx(float(true_down), abs=1e-3)


def test_main_dyke_looks_like_the_two_dimensional_formula(readings, bodies, demo):
    """Along one line the long dyke alone must explain the highest gradient."""
    north, east, down = bodies["ambient_north_east_down_nT"]
    strength = float(np.sqrt(north**2 + east**2 + down**2))
    rock = next(item for item in bodies["rocks"] if item["name"] == "D1")
    crossings = table(demo.truth / "dyke_crossings.csv")
    row = np.flatnonzero((crossings["body"] == "D1") & (crossings["line"] == "L05"))[0]
    point = [float(crossings[name][row]) for name in ("easting_m", "northing_m")]
    near = (readings["line"] == "L05") & (readings["fault"] == "")
    distance = profile_distance(
        floats(readings["easting_m"][near]),
        floats(readings["northing_m"][near]),
        point=point,
        strike_deg=rock["strike_deg"],
    )
    model = dyke_anomaly(
        distance,
        depth_m=float(crossings["depth_below_ground_m"][row]) + 1.8,
        bottom_depth_m=float(crossings["depth_below_ground_m"][row]) + 1.8 + 500.0,
        half_width_m=rock["width_m"] / 2.0,
        dip_deg=rock["dip_deg"],
        susceptibility=rock["susceptibility"],
        strength_nT=strength,
        inclination_deg=float(np.degrees(np.arcsin(down / strength))),
        profile_azimuth_deg=rock["strike_deg"] + 90.0 - float(np.degrees(np.arctan2(east, north))),
    )
    close = np.abs(distance) < 45.0
    rest = (floats(readings["anomaly_nT"][near]) - model)[close]
    assert np.ptp(model[close]) > 100.0
    # other bodies are smooth here; boulders, slope of the ground and the wander remain
    assert np.ptp(rest) < 12.0


def test_spikes_repeats_and_dropout_stand_where_the_list_says(faults, incoming, recorded):
    kinds = faults["kind"]
    for i in np.flatnonzero(np.isin(kinds, ["spike", "duplicate", "dropout", "position gap"])):
        lines = (incoming / faults["file"][i]).read_text(encoding="utf-8").splitlines()
        first, last = (int(faults[name][i]) for name in ("first_line_in_file", "last_line_in_file"))
        rows = lines[first - 1 : last]
        if kinds[i] == "duplicate":
            assert rows == [lines[first - 2]]
        elif kinds[i] == "spike":
            head = 1 if faults["file"][i].startswith("R1") else 2
            field = np.array(recorded[faults["file"][i]][1], dtype=float)
            at = first - 1 - head
            jump = field[at] - (field[at - 1] + field[at + 1]) / 2.0
            # the field itself bends by less than 5 nT between readings away from steel
            assert jump == pytest.approx(float(faults["size_nT"][i]), abs=5.0)
        elif kinds[i] == "dropout":
            assert sum(row.split(";")[3] == "0,0" for row in rows) >= 15
        else:
            assert all(row.split(",")[1:6] == ["", "", "", "none", "0"] for row in rows)
    counted = {kind: int((kinds == kind).sum()) for kind in set(kinds)}
    assert counted["steel"] >= 40
    del counted["steel"]
    assert counted == {
        "spike": 28, "duplicate": 12, "dropout": 1, "position gap": 1, "base gap": 1,
        "track gap": 1, "item": 1,
    }  # fmt: skip


def test_gaps_hold_no_rows_and_readings_go_on(faults, incoming, readings):
    for kind, least in (("base gap", 1000), ("track gap", 80)):
        i = np.flatnonzero(faults["kind"] == kind)[0]
        start, end = (unix([faults[name][i]])[0] for name in ("start_utc", "end_utc"))
        path = incoming / faults["file"][i]
        if kind == "base gap":
            rows = [line.split("\t") for line in path.read_text().splitlines()[2:]]
            time = unix([f"{day}T{clock}" for day, clock, _ in rows]) + 3 * 3600.0
            assert np.diff(time).max() == 1320.0
        else:
            points = gpxpy.parse(path.read_text()).tracks[0].segments[0].points
            time = np.array([point.time.timestamp() for point in points])
        assert not ((time >= start) & (time <= end)).any()
        walked = unix(readings["time_utc"])
        assert ((walked >= start) & (walked <= end)).sum() >= least


def test_base_reads_site_and_change(demo, incoming, summary):
    truth = table(demo.truth / "base.csv")
    change = dict(zip(unix(truth["time_utc"]), floats(truth["external_nT"]), strict=True))
    noise = []
    for day in ("2026-03-10", "2026-03-11"):
        lines = (incoming / f"base_{day}.txt").read_text(encoding="utf-8").splitlines()[2:]
        for date, clock, field in (line.split("\t") for line in lines):
            time = unix([f"{date}T{clock}"])[0] + 3 * 3600.0
            noise.append(float(field) - summary["base"]["steady_total_field_nT"] - change[time])
    assert np.std(noise) == pytest.approx(0.07, rel=0.15)
    assert abs(np.mean(noise)) < 0.01


def test_recorded_positions_are_off_by_metres(readings):
    for name, sd in (("R1", 1.0), ("R2", 1.7)):
        rows = (readings["instrument"] == name) & (readings["recorded_easting_m"] != "")
        off = [
            floats(readings[f"recorded_{part}"][rows]) - floats(readings[part][rows])
            for part in ("easting_m", "northing_m")
        ]
        # some 170 independent errors of 90 s in two days
        assert np.std(off) == pytest.approx(sd, rel=0.25)


def test_recorded_positions_are_those_of_the_file(readings, incoming):
    name = "R1_2026-03-10.csv"
    rows = readings["file"] == name
    cells = table(incoming / name)
    east, north = to_projected(floats(cells["longitude"]), floats(cells["latitude"]), crs=CRS)
    # seven decimals of a degree are about 1 cm
    np.testing.assert_allclose(east, floats(readings["recorded_easting_m"][rows]), atol=0.012)
    np.testing.assert_allclose(north, floats(readings["recorded_northing_m"][rows]), atol=0.012)


def test_walkers_keep_to_the_plan(readings, incoming):
    plan = gpxpy.parse((incoming / "planned_lines.gpx").read_text(encoding="utf-8"))
    assert len(plan.routes) == 43
    for route in plan.routes:
        ends = [(point.longitude, point.latitude) for point in route.points]
        east, north = to_projected(*np.array(ends).T, crs=CRS)
        along = np.array([east[1] - east[0], north[1] - north[0]])
        length = float(np.hypot(*along))
        rows = readings["line"] == route.name
        off = [
            floats(readings["easting_m"][rows]) - east[0],
            floats(readings["northing_m"][rows]) - north[0],
        ]
        side = (along[0] * off[1] - along[1] * off[0]) / length
        assert np.abs(side).max() < 5.0
        assert (along @ off / length).max() == pytest.approx(length, abs=1.5)


def test_tracks_are_sparse_and_in_order(demo):
    for file in demo.files:
        if file.role == "track":
            gpx = gpxpy.parse(file.path.read_text(encoding="utf-8"))
            assert gpx.waypoints[0].name == "B1"
            time = [p.time.timestamp() for p in gpx.tracks[0].segments[0].points]
            steps = np.diff(time)
            assert set(steps[steps < 60.0]) == {2.0, 3.0, 4.0, 5.0}


def test_gpx_files_keep_to_the_schema(incoming):
    """The schema of GPX 1.1, topografix.com."""
    schema = xmlschema.XMLSchema(Path(__file__).parents[2] / "published" / "gpx11.xsd")
    paths = sorted(incoming.glob("*.gpx"))
    assert len(paths) == 3
    for path in paths:
        schema.validate(path)


def test_every_raw_file_can_be_read(demo, readings):
    """Only the semicolon files need their map: their day and month can be taken either way."""
    for file in demo.files:
        form = recognise(file.path, role=file.role)
        column_map = None
        if form.name == "delimited":
            proposal = propose(file.path, role=file.role)
            assert (proposal.confidence >= 0.8) == (file.column_map is None)
            column_map = proposal.column_map
        if file.column_map:
            column_map = ColumnMap.from_toml(file.column_map)
        content = form.reader().read(file.path, role=file.role, column_map=column_map)
        assert (content.zone is None) == (file.time_zone is not None)
        if file.role == "rover":
            assert len(content.table) == (readings["file"] == file.path.name).sum()
            assert not np.isnan(content.table.seconds("recorded_time")).any()


def test_clock_offset_moves_the_file_and_not_the_truth(tmp_path, readings):
    usual = Scenario()
    late = replace(usual.rovers[0], clock_offset_s=7.5)
    early = replace(usual.rovers[1], clock_offset_s=-3.0)
    demo = write_demo(tmp_path, seed=SEED, scenario=replace(usual, rovers=(late, early)))
    moved = table(demo.truth / "readings.csv")
    np.testing.assert_array_equal(moved["time_utc"], readings["time_utc"])
    first = table(tmp_path / "incoming" / "R1_2026-03-10.csv")["time_utc"][0]
    assert first == "2026-03-10T12:00:07.500Z"
    lines = (tmp_path / "incoming" / "R2_2026-03-10.csv").read_text(encoding="utf-8").splitlines()
    assert lines[2].startswith("10/03/2026;09:05:57;")
    assert (demo.truth / "clocks.csv").read_text().splitlines()[1:] == [
        "R1,7.500", "R2,-3.000", "B1,0.000",
    ]  # fmt: skip


def test_the_survey_seeks_the_main_dyke_as_the_truth_has_it(demo, bodies):
    """Where odds are told they are of a body that is there, and of the day of the walk."""
    main = next(body for body in bodies["rocks"] if body["name"] == "D1")
    sought = demo.settings["body"]
    sizes = ("depth_m", "width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg")
    assert [sought[size] for size in sizes] == [main[size] for size in sizes]
    assert rock_named(sought["rock"]).low < main["susceptibility"] < rock_named("diabase").high
    assert demo.settings["plan"]["first_day"] == "2026-03-10"


def test_a_seed_below_zero_is_refused(tmp_path):
    with pytest.raises(InputError, match="can't be below zero"):
        write_demo(tmp_path, seed=-1)
    assert list(Path(tmp_path).iterdir()) == []
