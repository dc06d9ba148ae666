"""Areas, exclusions, terrain and hand-meter readings: what add says of them, and what run keeps."""

import json
import re

import numpy as np
import polars as pl
import pyogrio.raw
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

WEST, SOUTH, EAST, NORTH = -50.40, -24.90, -50.39, -24.89


def geojson(rings, geometry="Polygon", **properties):
    feature = {"type": "Feature", "properties": properties,
               "geometry": {"type": geometry, "coordinates": rings}}  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def box(west=WEST, south=SOUTH, east=EAST, north=NORTH):
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


AREA = geojson([box()], name="North")
FENCE = geojson([[WEST, -24.895], [EAST, -24.895]], "LineString", kind="fence")


@pytest.fixture
def adding(empty, tmp_path, lodewalk):
    def add(name, content, role, *options):
        path = tmp_path / name
        if content is not None:
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
        shown = lodewalk("add", empty, path, "--role", role, *options)
        assert shown.code == 0, shown
        return shown.out

    return add


@pytest.fixture
def add_bad(empty, tmp_path, refused):
    def call(name, content, role, *options):
        path = tmp_path / name
        if content is not None:
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return refused(empty, "add", empty, path, "--role", role, *options, but=())

    return call


@pytest.fixture
def dem(tmp_path):
    def write(crs="EPSG:31982", west=560_000.0, north=7_246_500.0, cell=30.0):
        path = tmp_path / "dem.tif"
        with rasterio.open(
            path, "w", driver="GTiff", count=1, height=40, width=50, dtype="float32", crs=crs,
            transform=Affine(cell, 0.0, west, 0.0, -cell, north),
        ) as dataset:  # fmt: skip
            dataset.write(np.linspace(800, 850, 2000, dtype="f4").reshape(1, 40, 50))
            dataset.units = ["m"]
        return path

    return write


def recorded(folder, role):
    (path,) = folder.glob(f"products/**/{role}_recorded*.parquet")
    return pl.read_parquet(path)


def test_an_area_is_told_in_hectares(adding):
    out = adding("area.geojson", AREA, "area")
    # 0.01 degrees are 1010.3 m by 1107.8 m here on WGS84, 111.92 ha; the scale of the map, half a
    # degree from the middle of its zone, is 0.99965, and its square leaves 111.84 ha.
    assert "Area: 1 polygon, 111.84 ha on the map" in out
    assert "GeoJSON: 1 polygon; 5 corners in WGS 84 (EPSG:4326)." in out
    assert "times in" not in out


def test_an_area_a_little_outside_its_zone_is_told(adding):
    # Zone 22 ends at 48 W.
    out = adding("area.geojson", geojson([box(-47.6, SOUTH, -47.5, NORTH)]), "area")
    assert "WGS 84 / UTM zone 23S (EPSG:32723) may fit better." in out
    assert "may fit better" not in adding("north.geojson", AREA, "area")


def test_exclusions_are_told_by_kind_and_buffer(adding):
    out = adding("fence.geojson", FENCE, "exclusion")
    assert "Kept clear of: fence: 1, kept clear by 10 m; 2.05 ha in all." in out


def test_buffers_come_from_the_settings(adding, empty):
    settings = empty / "survey.toml"
    text = re.sub(r"(?m)^#? ?fence_m = .*$", "fence_m = 25.0", settings.read_text())
    settings.write_text(text)
    assert "kept clear by 25 m" in adding("fence.geojson", FENCE, "exclusion")


def test_a_terrain_model_is_told_by_size_and_spacing(adding, dem):
    dem()
    out = adding("dem.tif", None, "terrain")
    assert "Terrain: 1500 m by 1200 m, cells 30.0 m by 30.0 m." in out
    assert "GeoTIFF: 40 rows of 50 cells" in out


def test_a_terrain_model_in_degrees_is_told_in_metres(adding, dem):
    # As above, a tenth: 101.03 m by 110.78 m on the ground, times 0.99965.
    dem("EPSG:4326", WEST, NORTH, 0.001)
    assert "cells 101.0 m by 110.7 m." in adding("dem.tif", None, "terrain")


def test_hand_meter_readings_are_told_part_by_part(adding):
    text = "rock,part,k_1e-3_SI,n\na,target,30,10\nb,target,50,5\nc,host,0.3,5\n"
    assert (
        "Susceptibility of target: 15 readings at 2 places, 0.03 to 0.05 SI, median 0.04; host: 5 "
        "readings at 1 place, 0.0003 SI." in adding("k.csv", text, "hand_meter")
    )


def test_shapes_of_several_files_stay_apart(adding, empty, lodewalk):
    adding("one.geojson", FENCE, "exclusion")
    adding("two.geojson", FENCE.replace("fence", "road"), "exclusion")
    assert lodewalk("run", empty, "--to", "ingest_exclusion").code == 0
    frame = recorded(empty, "exclusion")
    assert frame["shape"].to_list() == [0, 0, 1, 1]
    assert set(frame.filter(pl.col("shape") == 0)["kind"]) != set(
        frame.filter(pl.col("shape") == 1)["kind"]
    )


def test_known_facts_are_told(adding):
    text = "what,latitude,longitude,value\ndepth,-24.9,-50.4,12\nwidth,-24.9,-50.4,8\n"
    assert "Known: 2 rows (1 of depth, 1 of width)." in adding("f.csv", text, "known")


def test_all_four_roles_are_kept_as_records(adding, empty, dem, lodewalk):
    dem()
    adding("area.geojson", AREA, "area")
    adding("dem.tif", None, "terrain")
    adding("k.csv", "part,k_SI\nhost,0.001\n", "hand_meter")
    for role, rows in (("area", 5), ("terrain", 2000), ("hand_meter", 1)):
        assert lodewalk("run", empty, "--to", f"ingest_{role}").code == 0
        assert len(recorded(empty, role)) == rows


def test_add_as_json(adding):
    (item,) = json.loads(adding("area.geojson", AREA, "area", "--json"))["files"]
    assert item["role"] == "area"
    assert item["format"] == "GeoJSON"
    assert any(said.startswith("Area: 1 polygon") for said in item["understood"])


def test_a_plan_may_be_geojson(adding):
    plan = geojson([[WEST, SOUTH], [EAST, SOUTH]], "LineString", name="L1")
    assert "GeoJSON: 1 line; 2 corners" in adding("plan.geojson", plan, "plan")


BOW = [[WEST, SOUTH], [EAST, SOUTH], [WEST, NORTH], [EAST, NORTH], [WEST, SOUTH]]


def test_a_self_crossing_area_is_mended_and_told(adding):
    out = adding("area.geojson", geojson([BOW]), "area")
    assert "The outline crosses or touches itself at easting 561" in out
    assert "split there into 2 polygons; 55.9" in out


@pytest.mark.parametrize(
    ("name", "content", "role", "words"),
    [
        ("a.geojson", geojson([box(-24.90, -50.40, -24.89, -50.39)]), "area",
         "Latitude and longitude are swapped"),
        ("a.geojson", geojson([box(WEST, 24.89, EAST, 24.90)]), "area",
         "The latitude has the wrong sign (hemisphere)"),
        ("a.geojson", geojson([box(-38.5, SOUTH, -38.4, NORTH)]), "area",
         "set crs to WGS 84 / UTM zone 24S (EPSG:32724)"),
        ("a.geojson", geojson([[*box(), [WEST, 24.9], box()[0]]]), "area",
         "a.geojson, line 1: A polygon lies outside the area of EPSG:31982. Found (24.9, -50.4)"),
        ("a.geojson", geojson([box(560_000, 7_245_000, 561_000, 7_246_000)]), "area",
         "These look like metres"),
        ("a.geojson", geojson([box(EAST, SOUTH, EAST, NORTH)]), "area",
         "needs at least 3 different places. Found '2'"),
        ("a.geojson", FENCE.replace("fence", "a"), "area", "The file holds no polygon"),
        ("f.geojson", geojson([[10, 50], [11, 50]], "LineString"), "exclusion",
         "f.geojson, line 1: Every shape lies outside the area of EPSG:31982"),
        ("a.kmz", b"PK\x03\x04" + bytes(50), "area", "The file is an archive. Unpack it"),
        ("a.txt", "hello\nworld\n", "area",
         "A file of role area must be one of: GeoJSON, KML 2.2, GeoPackage, GPX 1.1"),
        ("a.txt", "hello\nworld\n", "terrain", "A file of role terrain must be one of: GeoTIFF"),
        ("a.txt", b"\x01\x00\x02", "area", "The file is binary, not text"),
        ("a.geojson", AREA, "terrain", "A file of role terrain can't be GeoJSON"),
        ("a.geojson", AREA, "rover", "A file of role rover can't be GeoJSON"),
        ("k.csv", "rock,part,k\na,host,3\n", "hand_meter", "must tell the unit of susceptibility"),
        ("k.csv", "rock,what,n\na,host,3\n", "hand_meter", "must name a column part"),
        ("k.csv", "", "hand_meter", "The file is empty"),
        ("f.csv", "what,value\ndepth,3\n", "known", "must name the place"),
        ("f.csv", "what,easting,northing,value\nage,1,2,3\n", "known", "must be one of depth"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(name, content, role, words, add_bad):
    assert words in add_bad(name, content, role)


def test_terrain_in_a_wrong_zone_is_named(add_bad, dem):
    dem("EPSG:32632")
    told = add_bad("dem.tif", None, "terrain")
    assert "dem.tif, line 1: The terrain model lies outside the area of EPSG:31982" in told
    assert "UTM zone 32N" in told


def test_a_geopackage_of_another_zone_is_placed_by_its_own_system(adding, tmp_path):
    # The square lies at 51 W, so by zone 21 it has an easting of some 1,107 km.
    ring = [(1_107_000 + e, 7_235_000 + n) for e, n in [(0, 0), (1000, 0), (1000, 1000)]]
    pyogrio.raw.write(
        tmp_path / "a.gpkg", shapely.to_wkb(np.array([shapely.Polygon(ring)])), [], [],
        layer="a", geometry_type="Polygon", crs="EPSG:31981", driver="GPKG",
    )  # fmt: skip
    out = adding("a.gpkg", None, "area")
    # Half a square kilometre on that map, whose scale is 1.0042 six degrees from its middle.
    assert "Area: 1 polygon, 49." in out


def test_a_column_map_does_not_serve_an_area(add_bad, tmp_path):
    columns = tmp_path / "map.toml"
    columns.write_text('[columns]\ntime = "time"\n')
    told = add_bad("a.geojson", AREA, "area", "--columns", columns)
    assert "A column map is for delimited text, which serves as base" in told
