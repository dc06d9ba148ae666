"""Layers and waypoints of an interpretation: written, read back by others, and valid."""

import hashlib
import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import gpxpy
import numpy as np
import polars as pl
import pyogrio
import pytest
import xmlschema
from pyproj import Transformer

from lodewalk.handover.rock_layers import check_points, rock_layers, target_points
from lodewalk.records import Document
from lodewalk.records.interpreted import Picks
from lodewalk.services import rocks_layers
from lodewalk.services.rocks_layers import write_rock_layers
from lodewalk.survey.folder import create_folder, open_folder
from planted_rocks import CRS, DYKES, LINES, WEST, planted_rocks

SCHEMA = Path(__file__).parents[1] / "published" / "gpx11.xsd"
LAYERS = ("bodies", "depths", "lineaments", "picks", "faults", "compact_bodies")
PICKS = len(DYKES) * len(LINES)


def written(path, monkeypatch, records, *, limits=None):
    """Write the layers of some records to a new survey folder; return their folder."""
    monkeypatch.setattr(rocks_layers, "rock_records", lambda _: records)
    values = {"survey": {"name": "Hill", "crs": CRS}, "handheld": limits or {}}
    if not path.exists():
        create_folder(path, values)
    folder = open_folder(path)
    write_rock_layers(folder)
    return folder.products / "rocks"


@pytest.fixture(scope="module")
def records():
    return planted_rocks(magnetisation="along the present field")


@pytest.fixture(scope="module")
def place(records, tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        return written(tmp_path_factory.mktemp("rocks") / "hill", patch, records)


def features(place, name):
    return json.loads((place / f"{name}.geojson").read_text(encoding="utf-8"))["features"]


def waypoints(path):
    return gpxpy.parse(path.read_text(encoding="utf-8")).waypoints


def test_every_file_is_there(place):
    wanted = {"rocks.gpkg", "targets.gpx", "check-points.gpx"}
    assert {p.name for p in place.iterdir()} == wanted | {f"{name}.geojson" for name in LAYERS}


def test_the_geopackage_is_read_back_by_another_reader(place, records):
    path = place / "rocks.gpkg"
    counts = {name: pyogrio.read_info(path, layer=name)["features"]
              for name, _ in pyogrio.list_layers(path)}  # fmt: skip
    assert counts == {"bodies": PICKS + 2, "depths": 6 * PICKS, "lineaments": 3, "picks": PICKS,
                      "faults": 1, "compact_bodies": 0}  # fmt: skip
    meta, _, shapes, values = pyogrio.raw.read(path, layer="bodies")
    assert meta["crs"] == CRS
    told = dict(zip(meta["fields"], values, strict=True))
    frame = records.told_bodies
    for name in ("depth_m", "depth_low_m", "depth_high_m", "dip_deg", "index_angle_sd_deg"):
        assert np.asarray(told[name], dtype=float) == pytest.approx(
            frame[name].to_numpy(), abs=1e-6
        )
    # well-known binary of a point: byte order, kind, easting, northing
    place_of = np.frombuffer(shapes[0][5:21], dtype="<f8")
    assert place_of == pytest.approx(frame.select("easting_m", "northing_m").row(0), abs=1e-6)


def test_missing_numbers_are_null_and_units_stand_in_the_names(place):
    with closing(sqlite3.connect(place / "rocks.gpkg")) as base:
        rows = base.execute(
            "SELECT kind, width_m, width_high_m, width_resolved FROM bodies ORDER BY body"
        ).fetchall()
        columns = [row[1] for row in base.execute("PRAGMA table_info(lineaments)")]
    thin = [row for row in rows if row[0] == "thin sheet"]
    assert thin
    assert all(row[1:] == (None, 11.2, 0) for row in thin)
    assert {"strike_deg", "strike_sd_deg", "length_m", "strength_nT_per_m"} <= set(columns)
    assert "strength" not in columns


def test_geojson_keeps_the_standard(place, records):
    """RFC 7946: longitude before latitude on WGS84, no crs member, null for what is missing."""
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    for name in LAYERS:
        text = (place / f"{name}.geojson").read_text(encoding="utf-8")
        assert '"crs"' not in text
        assert "NaN" not in text
    bodies = features(place, "bodies")
    for feature, row in zip(bodies, records.bodies.frame.iter_rows(named=True), strict=True):
        longitude, latitude = to_wgs84.transform(row["easting_m"], row["northing_m"])
        assert feature["geometry"]["coordinates"] == pytest.approx([longitude, latitude], abs=1e-7)
        assert feature["properties"]["depth_high_m"] == pytest.approx(row["depth_high_m"])
        assert feature["properties"]["width_m"] == row["width_m"]
    kinds = {
        f["properties"]["lineament"]: f["geometry"]["type"] for f in features(place, "lineaments")
    }
    assert kinds == {"R1": "LineString", "R2": "LineString", "S1": "Point"}
    lengths = [len(f["geometry"]["coordinates"]) for f in features(place, "lineaments")[:2]]
    assert lengths == [len(LINES)] * 2


def test_every_gpx_is_valid(place):
    schema = xmlschema.XMLSchema(SCHEMA)
    for path in place.glob("*.gpx"):
        schema.validate(path)


def test_targets_tell_depth_and_interval(place):
    """R1: 14 m, sd 2 % of it: 13.5 to 14.5; it stands at its best resolved pick, on line L01."""
    first, second = waypoints(place / "targets.gpx")
    assert (first.name, second.name) == ("R1", "R2")
    assert "dyke, joint fit of 7 lines: top 14.0 m (13.5 to 14.5) below ground" in first.description
    assert "7.0 m (6.8 to 7.2)" in second.description
    east, _ = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(
        first.longitude, first.latitude
    )
    assert east == pytest.approx(WEST + DYKES[0].east, abs=0.02)


def test_check_points_are_the_crossings(place):
    points = waypoints(place / "check-points.gpx")
    assert len(points) == PICKS == len({point.name for point in points})
    assert all(re.fullmatch(r"[A-Z0-9-]{1,10}", point.name) for point in points)
    assert points[0].description.startswith(
        "R1 on line L01: top 14.0 m (12.8 to 15.2) below ground"
    )


def test_the_handhelds_limits_are_kept(tmp_path, monkeypatch, records):
    limits = {"most_waypoints": 5, "name_length": 4}
    place = written(tmp_path / "hill", monkeypatch, records, limits=limits)
    parts = sorted(place.glob("check-points-part-*.gpx"))
    assert [len(waypoints(path)) for path in parts] == [5, 5, 4]
    names = [point.name for path in parts for point in waypoints(path)]
    assert len(set(names)) == PICKS
    assert max(map(len, names)) <= 4


def test_a_pick_without_a_depth_is_a_check_point_but_no_target(records):
    problem = "The profile is too short."
    own = pl.col("pick") == "R1-L03"
    picks = records.picks.frame.with_columns(problem=pl.when(own).then(pl.lit(problem)))
    bodies = type(records.bodies)(records.bodies.frame.filter(pl.col("pick").ne_missing("R1-L03")))
    without = replace(records, picks=Picks(picks), bodies=bodies)
    (text,) = check_points(without).filter(pl.col("name") == "R1-L03")["text"]
    assert text.startswith("R1 on line L03: no depth. The profile is too short.")
    assert target_points(without)["name"].to_list() == ["R1", "R2"]


def test_what_a_person_refused_is_no_check_point(records):
    refused = pl.when(pl.col("pick") == "R1-L03").then(pl.lit("It was refused by a decision."))
    picks = Picks(records.picks.frame.with_columns(problem=refused.otherwise("problem")))
    names = check_points(replace(records, picks=picks))["name"]
    assert "R1-L03" not in names
    assert len(names) == PICKS - 1


def test_the_same_records_give_the_same_bytes_and_old_files_go(tmp_path, monkeypatch, records):
    def digests(place):
        return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in place.iterdir()}

    place = written(tmp_path / "hill", monkeypatch, records)
    (place / "notes.txt").write_text("mine")
    before = digests(place)
    assert digests(written(tmp_path / "hill", monkeypatch, records)) == before
    empty = {name: type(getattr(records, name)).empty() for name in
             ("lineaments", "points", "faults", "picks", "depths", "bodies")}  # fmt: skip
    place = written(tmp_path / "hill", monkeypatch, replace(records, **empty))
    assert [p.name for p in place.iterdir()] == ["notes.txt"]


def test_a_refused_lineament_is_marked_and_no_fault_is_of_it(records):
    told = replace(records, pick_notes=Document({"refused_lineaments": ["R1"]}))
    layers = {layer.name: layer for layer in rock_layers(told)}
    marked = layers["lineaments"].columns
    assert dict(zip(marked["lineament"], marked["refused"], strict=True)) == {
        "R1": True, "R2": False, "S1": False,
    }  # fmt: skip
    assert not layers["faults"].shapes
    assert (
        not {layer.name: layer for layer in rock_layers(records)}["lineaments"]
        .columns["refused"]
        .any()
    )
