"""Surveys at the edges: of the Earth, of the day, and of what there is to work with."""

import json
from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest
from pyproj import Transformer

import small_survey
from small_survey import write_small_survey

NOISE_NT = 0.05


def easting(longitude, latitude, crs):
    """Return the easting of a place by the projection library itself [m]."""
    to_grid = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    return round(to_grid.transform(longitude, latitude)[0])


@pytest.fixture
def run_all(lodewalk, tmp_path):
    """Make a survey of these files, run it, and return readings and verdicts."""

    def call(*files, crs=small_survey.CRS, settings="", decisions=()):
        path = tmp_path / "survey"
        assert lodewalk("new", path, "--name", "Edge", "--crs", crs).code == 0
        with (path / "survey.toml").open("a") as stream:
            stream.write(settings)
        for file, role, *options in files:
            shown = lodewalk("add", path, file, "--role", role, *options)
            assert shown.code == 0, shown.err
        rows = "".join(json.dumps(row) + "\n" for row in decisions)
        (path / "decisions" / "decisions.jsonl").write_text(rows)
        shown = lodewalk("run", path)
        assert shown.code == 0, shown.err
        checked = lodewalk("check", path, "--json")
        assert checked.code == 0, checked.err
        readings = pl.read_parquet(path / "products" / "readings.parquet").sort("time_utc")
        return readings, json.loads(checked.out)

    return call


def misfit(readings, truth):
    """Return anomaly minus truth, about its median [nT]."""
    left = readings["anomaly_nT"].to_numpy() - truth.anomaly
    return left - np.median(left)


def verdicts(checked):
    return {day["date"]: [line["verdict"] for line in day["lines"]] for day in checked["days"]}


@pytest.mark.parametrize(
    ("crs", "west", "south"),
    [
        ("EPSG:32633", 500_000, 5_300_000),
        ("EPSG:32622", 500_000, -60),
        ("EPSG:32722", 500_000, 9_999_940),
        ("EPSG:32760", easting(179.9995, -18, "EPSG:32760"), 8_009_000),
        ("EPSG:32701", easting(-180.0005, -18, "EPSG:32701"), 8_009_000),
        ("EPSG:3460", 2_000_000, 4_000_000),
        ("EPSG:32742", 500_000, 2_300_000),
        ("EPSG:32742", 500_000, 1_230_000),
        ("EPSG:32633", 500_000, 9_210_000),
        ("EPSG:2193", 1_600_000, 5_400_000),
    ],
    ids=[
        "northern", "across the equator, north", "across the equator, south",
        "across the date line from the west", "across the date line from the east",
        "a national grid across the date line", "Antarctica, 69 S", "Antarctica, 79 S",
        "Arctic, 83 N", "a grid that names northing first",
    ],
)  # fmt: skip
def test_any_place_on_earth(crs, west, south, monkeypatch, tmp_path, run_all):
    # Fields of the truth come from an independent IGRF library, see small_survey.
    monkeypatch.setattr(small_survey, "CRS", crs)
    monkeypatch.setattr(small_survey, "WEST", float(west))
    monkeypatch.setattr(small_survey, "SOUTH", float(south))
    truth = write_small_survey(tmp_path, lines=3, noise=NOISE_NT)
    readings, checked = run_all((truth.base, "base"), (truth.rover, "rover"), crs=crs)
    assert readings["kept"].all()
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT
    assert np.allclose(readings["easting_m"], truth.easting, atol=0.01)
    assert np.allclose(readings["northing_m"], truth.northing, atol=0.01)
    assert verdicts(checked) == {"2026-03-10": ["keep"] * 3}


def test_longitudes_from_0_to_360(tmp_path, run_all):
    truth = write_small_survey(tmp_path, lines=2)
    rows = [row.split(",") for row in truth.rover.read_text().splitlines()]
    text = [rows[0], *([r[0], r[1], f"{float(r[2]) + 360:.8f}", *r[3:]] for r in rows[1:])]
    truth.rover.write_text("".join(",".join(row) + "\n" for row in text))
    readings, _ = run_all((truth.base, "base"), (truth.rover, "rover"))
    assert np.allclose(readings["easting_m"], truth.easting, atol=0.01)


@pytest.mark.parametrize(
    "day", [datetime(2026, 3, 10, tzinfo=UTC), datetime(2025, 12, 31, tzinfo=UTC)]
)
def test_a_survey_across_midnight(day, monkeypatch, tmp_path, run_all):
    monkeypatch.setattr(small_survey, "START", day.replace(hour=23, minute=54))
    truth = write_small_survey(tmp_path)
    readings, checked = run_all((truth.base, "base"), (truth.rover, "rover"))
    assert readings["kept"].all()
    # The main field of the truth belongs to another moment; only its constant differs.
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT
    assert [len(lines) for lines in verdicts(checked).values()] == [3, 3]


@pytest.fixture
def parts(tmp_path):
    """The small survey with its rows taken apart."""
    truth = write_small_survey(tmp_path)
    head, *rows = truth.rover.read_text().splitlines()

    def write(name, chosen, *, first=head):
        path = tmp_path / name
        path.write_text("\n".join([first, *chosen]) + "\n")
        return path

    return truth, rows, write


def test_two_rovers(parts, run_all):
    truth, rows, write = parts
    some = [row for row in rows if row.split(",")[4] in ("L1", "L3", "L5")]
    others = [row for row in rows if row not in some]
    readings, checked = run_all(
        (truth.base, "base"),
        (write("a.csv", some), "rover", "--instrument", "R1"),
        (write("b.csv", others), "rover", "--instrument", "R2"),
    )
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT
    assert verdicts(checked) == {"2026-03-10": ["keep"] * 6}


@pytest.mark.parametrize("tied", [True, False])
def test_two_bases_at_different_sites(tied, parts, run_all):
    truth, _, write = parts
    head, *rows = truth.base.read_text().splitlines()
    split = [row.split(",") for row in rows]
    moved = [f"{time},{float(value) + 37.5:.3f}" for time, value in split]
    readings, checked = run_all(
        (write("first.csv", rows[:140], first=head), "base", "--instrument", "B1"),
        (write("second.csv", moved[120:], first=head), "base", "--instrument", "B2"),
        (truth.rover, "rover"),
        settings="[instruments.B2]\nsite_tie_nT = -37.5\n" if tied else "",
    )
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT
    told = [item for item in checked["findings"] if "37.50 nT" in item["text"]]
    assert [item["severity"] for item in told] == ([] if tied else ["information"])


def test_a_rover_without_gps_and_a_track(parts, run_all):
    truth, rows, write = parts
    split = [row.split(",") for row in rows]
    plain = [f"{row[0]},{row[4]},{row[5]}" for row in split]
    points = [f"{row[0]},{row[1]},{row[2]},{row[3]}" for row in split]
    readings, _ = run_all(
        (truth.base, "base"),
        (write("plain.csv", plain, first="time_utc,line,total_field_nT"), "rover"),
        (write("track.csv", points, first="time_utc,latitude,longitude,height_m"), "track"),
    )
    assert np.allclose(readings["easting_m"], truth.easting, atol=0.01)
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT


PEGS = ((0, 0), (100, 0), (100, 120), (0, 120))


def test_a_local_grid_with_pegs(parts, tmp_path, run_all):
    truth, rows, write = parts
    west, south = small_survey.WEST, small_survey.SOUTH
    split = [row.split(",") for row in rows]
    local = [
        f"{row[0]},{e - west:.0f},{n - south:.1f},{row[5]}"
        for row, e, n in zip(split, truth.easting, truth.northing, strict=True)
    ]
    pegs = ", ".join(
        f'{{line = "{x}", station = {y}, easting = {west + x}, northing = {south + y}}}'
        for x, y in PEGS
    )
    (tmp_path / "map.toml").write_text(
        '[columns]\ntime = "t"\nfield = "f"\nline = "l"\nstation = "s"\n[time]\nzone = "UTC"\n'
        f"[position]\nlocal_grid = true\npegs = [{pegs}]\n"
    )
    readings, checked = run_all(
        (truth.base, "base"),
        (write("local.csv", local, first="t,l,s,f"), "rover", "--columns", tmp_path / "map.toml"),
    )
    assert np.allclose(readings["easting_m"], truth.easting, atol=0.01)
    assert np.allclose(readings["northing_m"], truth.northing, atol=0.01)
    assert verdicts(checked) == {"2026-03-10": ["keep"] * 6}


@pytest.mark.parametrize("source", ["plan", "track"])
def test_lines_without_marks(source, parts, tmp_path, run_all):
    truth, rows, write = parts
    split = [row.split(",") for row in rows]
    unmarked = [",".join([*row[:4], row[5]]) for row in split]
    head = "time_utc,latitude,longitude,height_m,total_field_nT"
    files = [(truth.base, "base"), (write("unmarked.csv", unmarked, first=head), "rover")]
    if source == "plan":
        ends = [[r for r in split if r[4] == f"L{n}"] for n in range(1, 7)]
        routes = "".join(
            f"<rte><name>P{n}</name>"
            + "".join(f'<rtept lat="{r[1]}" lon="{r[2]}"/>' for r in (line[0], line[-1]))
            + "</rte>"
            for n, line in enumerate(ends, 1)
        )
        (tmp_path / "plan.gpx").write_text(f'<gpx version="1.1">{routes}</gpx>')
        files.append((tmp_path / "plan.gpx", "plan"))
    readings, _ = run_all(*files)
    named = readings.filter(pl.col("line").is_not_null())
    # Each reading on a line stands at the easting of that line; turns may stand on none.
    spread = named.group_by("line").agg(pl.col("easting_m").max() - pl.col("easting_m").min())
    assert spread.height == 6
    assert spread["easting_m"].max() < 1.0
    assert named.height > 0.85 * readings.height


def test_one_line(parts, run_all):
    truth, rows, write = parts
    one = write("one.csv", [row for row in rows if row.split(",")[4] == "L1"])
    readings, checked = run_all((truth.base, "base"), (one, "rover"))
    assert readings["kept"].all()
    assert verdicts(checked) == {"2026-03-10": ["keep"]}


def test_one_reading(parts, run_all):
    truth, rows, write = parts
    readings, _ = run_all((truth.base, "base"), (write("one.csv", rows[:1]), "rover"))
    assert readings.height == 1
    assert abs(readings["diurnal_nT"][0]) < 20


def test_a_base_that_never_overlaps(parts, run_all):
    truth, _, write = parts
    head, *rows = truth.base.read_text().splitlines()
    before = write("before.csv", rows[:80], first=head)
    readings, checked = run_all((before, "base"), (truth.rover, "rover"))
    assert not readings["kept"].any()
    assert readings["anomaly_nT"].null_count() == readings.height
    assert set(readings["reason"]) == {"outside the base record"}
    assert verdicts(checked) == {"2026-03-10": ["re-walk"] * 6}


@pytest.mark.parametrize("field", ["99999.00", "0", "22950.000"])
def test_readings_that_are_all_worthless(field, parts, run_all):
    truth, rows, write = parts
    spoilt = write("spoilt.csv", [row.rpartition(",")[0] + f",{field}" for row in rows])
    readings, checked = run_all((truth.base, "base"), (spoilt, "rover"))
    assert not readings["kept"].any()
    assert readings["reason"].null_count() == 0
    assert verdicts(checked) == {"2026-03-10": ["re-walk"] * 6}


def test_all_readings_dropped_by_decision(parts, run_all):
    truth, _, _ = parts
    drop = {
        "id": "1", "kind": "drop", "target": {"instrument": "rover"}, "value": None,
        "reason": "carried beside a bicycle", "who": "AB", "when_utc": "2026-03-10T20:00:00Z",
        "withdraws": None,
    }  # fmt: skip
    readings, checked = run_all((truth.base, "base"), (truth.rover, "rover"), decisions=[drop])
    assert set(readings["reason"]) == {"dropped by decision"}
    assert verdicts(checked) == {"2026-03-10": ["re-walk"] * 6}


def test_times_that_run_back_are_found_and_sorted(parts, run_all):
    truth, rows, write = parts
    turned = write("turned.csv", [*rows[200:], *rows[:200]])
    readings, checked = run_all((truth.base, "base"), (turned, "rover"))
    assert np.std(misfit(readings, truth)) < 1.5 * NOISE_NT
    told = [item["text"] for item in checked["findings"] if item["kind"] == "time runs back"]
    assert len(told) == 1
    assert f"turned.csv, line {len(rows) - 200 + 2}: " in told[0]


@pytest.mark.parametrize("place", ["swapped", "0.0,0.0", "24.9,129.6"])
def test_one_fix_far_away(place, parts, run_all):
    truth, rows, write = parts
    spoilt = rows[150].split(",")
    spoilt[1:3] = spoilt[2:0:-1] if place == "swapped" else place.split(",")
    strayed = write("strayed.csv", [*rows[:150], ",".join(spoilt), *rows[151:]])
    readings, checked = run_all((truth.base, "base"), (strayed, "rover"))
    away = np.hypot(readings["easting_m"] - truth.easting, readings["northing_m"] - truth.northing)
    assert np.nanmax(away) < 3.0  # bridged between its neighbours, 2 m apart
    lengths = [line["length_m"] for day in checked["days"] for line in day["lines"]]
    assert max(lengths) < 130


@pytest.mark.parametrize("what", ["nothing", "base", "rover"])
def test_a_survey_that_is_not_whole(what, parts, run_all, lodewalk, tmp_path):
    truth, _, _ = parts
    files = {"nothing": [], "base": [(truth.base, "base")], "rover": [(truth.rover, "rover")]}
    readings, _ = run_all(*files[what])
    assert not readings["kept"].any()
    shown = lodewalk("report", tmp_path / "survey", "--json")
    assert shown.code == 0, shown.err
    assert json.loads(shown.out)["map"] is None
