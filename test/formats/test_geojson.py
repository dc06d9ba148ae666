"""GeoJSON: the example of the standard, what is refused, and what is understood."""

import json

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import geojson
from lodewalk.records.recorded import Route, Shapes, Waypoints

#: RFC 7946 (2016), section 1.5, retyped: a feature collection with a point, a line and a polygon.
EXAMPLE = """\
{
    "type": "FeatureCollection",
    "features": [{
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [102.0, 0.5]
        },
        "properties": {
            "prop0": "value0"
        }
    }, {
        "type": "Feature",
        "geometry": {
            "type": "LineString",
            "coordinates": [
                [102.0, 0.0],
                [103.0, 1.0],
                [104.0, 0.0],
                [105.0, 1.0]
            ]
        },
        "properties": {
            "prop0": "value0",
            "prop1": 0.0
        }
    }, {
        "type": "Feature",
        "geometry": {
            "type": "Polygon",
            "coordinates": [
                [
                    [100.0, 0.0],
                    [101.0, 0.0],
                    [101.0, 1.0],
                    [100.0, 1.0],
                    [100.0, 0.0]
                ]
            ]
        },
        "properties": {
            "prop0": "value0",
            "prop1": {
                "this": "that"
            }
        }
    }]
}
"""
#: RFC 7946, appendix A.3, retyped: a polygon with a hole.
WITH_HOLE = """\
{"type": "Polygon", "coordinates": [
 [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
 [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]]}
"""
#: RFC 7946, section 3.1.9, retyped: a polygon cut in two at the antimeridian.
CUT_IN_TWO = """\
{"type": "MultiPolygon", "coordinates": [
 [[[180.0, 40.0], [180.0, 50.0], [170.0, 50.0], [170.0, 40.0], [180.0, 40.0]]],
 [[[-170.0, 40.0], [-170.0, 50.0], [-180.0, 50.0], [-180.0, 40.0], [-170.0, 40.0]]]]}
"""


@pytest.fixture
def reading(tmp_path):
    def read(text, *, role="area"):
        path = tmp_path / "area.geojson"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return geojson.read(path, role=role, column_map=None)

    return read


def places(table):
    return list(zip(table.frame["first"], table.frame["second"], strict=True))


def test_the_example_of_the_standard_as_an_area(reading):
    content = reading(EXAMPLE)
    assert isinstance(content.table, Shapes)
    assert places(content.table) == [(100, 0), (101, 0), (101, 1), (100, 1), (100, 0)]
    frame = content.table.frame
    assert frame["line_in_file"].to_list() == [33, 34, 35, 36, 37]
    assert set(frame["geometry"]) == {"polygon"}
    assert set(frame["crs"]) == {"EPSG:4326"}
    assert content.understood == (
        "GeoJSON: 1 polygon; 5 corners in WGS 84 (EPSG:4326); left aside: 1 line, 1 point.",
    )


def test_the_example_of_the_standard_as_exclusions_plan_and_notes(reading):
    frame = reading(EXAMPLE, role="exclusion").table.frame
    assert frame["geometry"].to_list() == ["point", *["line"] * 4, *["polygon"] * 5]
    assert frame["shape"].to_list() == [0, *[1] * 4, *[2] * 5]
    plan = reading(EXAMPLE, role="plan").table
    assert isinstance(plan, Route)
    assert plan.frame["longitude_deg"].to_list() == [102, 103, 104, 105]
    assert plan.frame["latitude_deg"].to_list() == [0, 1, 0, 1]
    assert plan.frame["line"].unique().to_list() == ["line 1"]
    notes = reading(EXAMPLE, role="notes").table
    assert isinstance(notes, Waypoints)
    assert notes.frame["latitude_deg"].to_list() == [0.5]


def test_a_hole_is_a_ring_of_its_own(reading):
    content = reading(WITH_HOLE)
    assert content.table.frame["ring"].to_list() == [0] * 5 + [1] * 5
    assert "1 polygon with 1 hole; 10 corners" in content.understood[0]


def test_polygons_of_one_feature_are_parts(reading):
    frame = reading(CUT_IN_TWO).table.frame
    assert frame["part"].to_list() == [0] * 5 + [1] * 5
    assert frame["shape"].to_list() == [0] * 10


@pytest.mark.parametrize("names", [("name", "kind", "buffer_m"), ("NAME", "Kind", "Buffer_M")])
def test_properties_are_read_whatever_their_letters(names, reading):
    values = dict(zip(names, ["North", "fence", 12.5], strict=True))
    line = {"type": "LineString", "coordinates": [[1, 2], [3, 4]]}
    text = json.dumps({"type": "Feature", "properties": values, "geometry": line})
    row = reading(text, role="exclusion").table.frame.row(0, named=True)
    assert (row["name"], row["kind"], row["buffer_m"]) == ("North", "fence", 12.5)


def test_collections_within_collections(reading):
    inner = {"type": "GeometryCollection", "geometries": [json.loads(WITH_HOLE)]}
    text = json.dumps({"type": "GeometryCollection", "geometries": [inner, inner]})
    assert "2 polygons with 2 holes" in reading(text).understood[0]


def test_heights_and_features_without_geometry_are_told(reading):
    line = {"type": "LineString", "coordinates": [[1, 2, 800], [3, 4, 801]]}
    features = [
        {"type": "Feature", "properties": None, "geometry": geometry} for geometry in (line, None)
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features})
    told = reading(text, role="exclusion").understood
    assert told[1:] == (
        "Heights of 2 places are left aside.",
        "Features without geometry, left aside: 1.",
    )


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326"])
def test_an_old_crs_that_says_the_same_is_told(name, reading):
    crs = f'"crs": {{"type": "name", "properties": {{"name": "{name}"}}}}, '
    content = reading(WITH_HOLE.replace("{", "{" + crs, 1))
    assert content.understood[1] == (
        f"The file names its system {name} in the way of 2008: taken as WGS 84."
    )


def polygon(ring):
    return json.dumps({"type": "Polygon", "coordinates": [ring]})


SQUARE = [[1, 2], [3, 2], [3, 4], [1, 2]]
OLD_CRS = '{"crs": {"type": "name", "properties": {"name": "EPSG:31982"}},'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (EXAMPLE[: EXAMPLE.index("101.0, 1.0") + 7], "line 35: .* must be valid JSON .*cut short"),
        (EXAMPLE.replace("[104.0, 0.0],", "[104.0, 0.0]"), "line 20: The file must be valid JSON"),
        ('{"type": "Polygon", "coordinates": [[[NaN, 1]]]}', "NaN is no number of JSON"),
        ("[" * 100_000, "nested too deeply"),
        ("[1, 2]", "type of a GeoJSON file must be one of .* Found 'Array'"),
        ('{"type": "Topology"}', "type of a GeoJSON file must be one of .* Found 'Topology'"),
        ('{"type": "FeatureCollection"}', "must have an array of features"),
        ('{"type": "FeatureCollection", "features": []}', "no polygon. It holds no shapes at all"),
        ('{"type": "FeatureCollection", "features": [1]}', "must be of type Feature"),
        ('{"type": "Feature", "geometry": {"type": "Circle"}}', "geometry must be .*'Circle'"),
        ('{"type": "Polygon"}', "Coordinates must be arrays"),
        ('{"type": "Polygon", "coordinates": []}', "at least 3 different places. Found '0'"),
        ('{"type": "Point", "coordinates": [1, 2]}', r"no polygon. It holds 1 point\. Draw"),
        (EXAMPLE.replace("Polygon", "MultiPoint"), "line 32: A position must be longitude"),
        (polygon([[1, 2], [3, 2], [1, 2]]), "at least 3 different places. Found '2'"),
        (polygon([[1, 2], [True, 2], [3, 4], [1, 2]]), "longitude and latitude as numbers"),
        (polygon([[1, 2], [3], [3, 4], [1, 2]]), "longitude and latitude as numbers"),
        (polygon([*SQUARE, [10**400, 2]]), "longitude and latitude as numbers"),
        (EXAMPLE.replace("100.0, 1.0", "100.0, 91.0"), r"line 36: Latitude must lie in -90 to 90"),
        (polygon([[-27, -148], *SQUARE]), "Latitude must .*swapped. Longitude comes first"),
        (polygon([[361, 2], *SQUARE]), "Longitude must lie in -180 to 180"),
        (polygon([[561000, 7245000], *SQUARE]), r"Found \(561000.0, 7245000.0\).*look like metres"),
        (WITH_HOLE.replace("{", OLD_CRS, 1), "member crs of 2008 names another .*31982"),
        (WITH_HOLE.replace("{", '{"crs": 7,', 1), "member crs of 2008 .* Found 7"),
        (b'{"type": "\xff"}', "line 1: GeoJSON must be UTF-8"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(text, message, reading):
    with pytest.raises(InputError, match=message):
        reading(text)


@pytest.mark.parametrize("buffer", ["wide", -1, True, "nan", "inf"])
def test_a_buffer_that_is_no_distance_is_refused(buffer, reading):
    line = {"type": "LineString", "coordinates": [[1, 2], [3, 4]]}
    feature = {"type": "Feature", "properties": {"buffer_m": buffer}, "geometry": line}
    with pytest.raises(InputError, match="line 1: buffer_m must be a number of metres, 0 or more"):
        reading(json.dumps(feature), role="exclusion")


def test_another_role_is_refused(reading):
    with pytest.raises(InputError, match="GeoJSON serves as area, exclusion, plan or notes"):
        reading(EXAMPLE, role="base")


def test_too_large_a_file_is_refused(reading, monkeypatch):
    monkeypatch.setattr("lodewalk.formats.geojson.located.MAX_FILE_BYTES", 100)
    with pytest.raises(InputError, match="at most 64 MiB"):
        reading(EXAMPLE)
    monkeypatch.undo()
    monkeypatch.setattr("lodewalk.formats.shapes.content.MAX_CORNERS", 3)
    with pytest.raises(InputError, match=r"3 corners at most. Found 5. Cut it"):
        reading(EXAMPLE)


def test_recognises_by_the_type():
    assert geojson.recognise(EXAMPLE.encode()) == 1.0
    assert geojson.recognise(b"\xef\xbb\xbf" + WITH_HOLE.encode()) == 1.0
    assert geojson.recognise(b'{"anything": 1}') == 0.6
    assert geojson.recognise(b"[1]") == 0.0
