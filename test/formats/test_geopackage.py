"""GeoPackage: files written by the library itself, and what is refused."""

import sqlite3

import numpy as np
import pyogrio.raw
import pytest
import shapely

from lodewalk.adapters.projection import WGS84
from lodewalk.errors import InputError
from lodewalk.formats import geopackage
from lodewalk.records.recorded import Shapes

HOLE = [(10, 10), (10, 20), (20, 20), (20, 10)]
FIELD = shapely.Polygon([(0, 0), (100, 0), (100, 50), (0, 50)], [HOLE])
FENCE = shapely.LineString([(0, 0), (30, 40)])
WELL = shapely.Point(5, 6)


@pytest.fixture
def writing(tmp_path):
    """Write layers; each is its geometry's name, shapes and columns."""
    path = tmp_path / "area.gpkg"

    def write(*layers, crs="EPSG:31982"):
        for number, (name, kind, shapes, columns) in enumerate(layers):
            pyogrio.raw.write(
                path,
                shapely.to_wkb(np.array(shapes, dtype=object)),
                [np.array(values, dtype=object) for values in columns.values()],
                list(columns),
                layer=name,
                geometry_type=kind,
                crs=crs,
                driver="GPKG",
                append=number > 0,
            )
        return path

    return write


def read(path, role="area"):
    return geopackage.read(path, role=role, column_map=None)


def test_a_polygon_with_a_hole(writing):
    content = read(writing(("fields", "Polygon", [FIELD], {"Name": ["North"]})))
    assert isinstance(content.table, Shapes)
    frame = content.table.frame
    assert list(zip(frame["first"], frame["second"], strict=True)) == [
        *map(tuple, shapely.get_coordinates(FIELD))
    ]
    assert frame["ring"].to_list() == [0] * 5 + [1] * 5
    assert set(frame["name"]) == {"North"}
    assert set(frame["crs"]) == {"EPSG:31982"}
    assert content.understood == (
        "GeoPackage: 1 polygon with 1 hole; 10 corners in SIRGAS 2000 / UTM zone 22S (EPSG:31982).",
        "Layer fields.",
    )


def test_the_name_of_the_file_does_not_matter(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    assert len(read(path.rename(path.with_name("area of the north: 1.raw"))).table) == 10


def test_kind_and_buffer_of_any_column_type(writing):
    columns = {"KIND": ["fence", None], "buffer_m": [12.5, np.nan]}
    kinds = {"KIND": columns["KIND"], "buffer_m": np.array(columns["buffer_m"])}
    path = writing(("things", "Unknown", [FENCE, WELL], kinds))
    frame = read(path, "exclusion").table.frame
    assert frame["kind"].to_list() == ["fence", "fence", None]
    assert frame["buffer_m"].to_list() == [12.5, 12.5, None]
    assert frame["line_in_file"].to_list() == [1, 1, 2]


def test_the_first_layer_that_serves_is_taken_and_told(writing):
    path = writing(
        ("fences", "LineString", [FENCE], {}),
        ("fields", "MultiPolygon", [shapely.MultiPolygon([FIELD])], {}),
        ("more fields", "Polygon", [FIELD], {}),
    )
    assert read(path).understood[-1] == (
        "Layer fields is taken, the first of 3 that serves; others: fences, more fields. Export "
        "one by itself to take it."
    )
    assert "Layer fences is taken" in read(path, "exclusion").understood[-1]
    with pytest.raises(InputError, match=r"holds no point. It holds 1 line"):
        read(path, "notes")


def test_degrees_of_another_datum_are_kept_for_an_area_and_turned_for_a_plan(writing):
    line = shapely.LineString([(-50.4, -24.9), (-50.3, -24.9)])
    path = writing(("lines", "LineString", [line], {}), crs="EPSG:4674")
    assert set(read(path, "exclusion").table.frame["crs"]) == {"EPSG:4674"}
    frame = read(path, "plan").table.frame
    assert frame["longitude_deg"].to_list() == pytest.approx([-50.4, -50.3], abs=1e-7)


def test_metres_become_degrees_for_notes(writing):
    place = shapely.Point(500_000, 7_000_000)
    frame = read(writing(("p", "Point", [place], {"name": ["C1"]})), "notes").table.frame
    assert frame["longitude_deg"].to_list() == pytest.approx([-51.0], abs=1e-9)
    assert frame["name"].to_list() == ["C1"]


def test_a_row_without_shape_and_an_empty_shape_are_passed_over(writing):
    path = writing(("fields", "Polygon", [FIELD, None, shapely.Polygon()], {}))
    assert len(read(path).table) == 10


def test_heights_are_left_aside(writing):
    line = shapely.LineString([(0, 0, 5), (30, 40, 6)])
    frame = read(writing(("a", "LineString Z", [line], {})), "exclusion").table.frame
    assert frame["second"].to_list() == [0, 40]


def test_a_file_cut_short_is_refused(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    whole = path.read_bytes()
    for size in (50, 5000, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:size])
        with pytest.raises(InputError, match=r"area\.gpkg: .*cut short"):
            read(path)


def test_a_file_cut_between_pages_is_told_by_its_own_header(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    whole = path.read_bytes()
    path.write_bytes(whole[:-8192])
    found = f"{len(whole) - 8192} of {len(whole)} bytes"
    with pytest.raises(InputError, match=f"shorter than it says itself. Found '{found}'"):
        read(path)


def test_a_damaged_file_is_refused(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    whole = bytearray(path.read_bytes())
    whole[100:5000] = b"\xaa" * 4900
    path.write_bytes(whole)
    with pytest.raises(InputError, match=r"area\.gpkg: The GeoPackage can't be read"):
        read(path)


def test_a_database_without_layers_is_refused(tmp_path):
    path = tmp_path / "plain.gpkg"
    with sqlite3.connect(path) as database:
        database.execute("create table a (b)")
    database.close()
    with pytest.raises(InputError, match=r"plain\.gpkg: The GeoPackage"):
        read(path)


def test_a_table_without_shapes_is_refused(tmp_path):
    path = tmp_path / "area.gpkg"
    names = np.array(["a"], dtype=object)
    pyogrio.raw.write(path, None, [names], ["name"], layer="words", driver="GPKG", crs=None,
                      geometry_type=None)  # fmt: skip
    with pytest.raises(InputError, match=r"must have a layer with shapes. Found .'words'"):
        read(path)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_layer_without_a_reference_system_is_refused(writing):
    path = writing(("fields", "Polygon", [FIELD], {}), crs=None)
    with pytest.raises(InputError, match="The layer must have a reference system"):
        read(path)


def test_degrees_out_of_range_are_refused(writing):
    path = writing(("fields", "Polygon", [FIELD], {}), crs=WGS84)
    assert len(read(path).table) == 10  # its corners fit degrees
    far = shapely.Polygon([(0, 0), (1, 0), (1, 95)])
    path.unlink()
    path = writing(("far", "Polygon", [far], {}), crs=WGS84)
    with pytest.raises(InputError, match="line 1: Latitude must lie in -90 to 90"):
        read(path)


def test_curves_are_refused_in_one_line(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    with sqlite3.connect(path) as database:
        (blob,) = database.execute("select geom from fields").fetchone()
        # A circular string (ISO type 8) of three points in place of the polygon.
        curve = bytes([1]) + (8).to_bytes(4, "little") + (3).to_bytes(4, "little")
        curve += np.array([0, 0, 1, 1, 2, 0], dtype="<f8").tobytes()
        for (name,) in database.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            database.execute(f'drop trigger "{name}"')
        flags = blob[3] >> 1 & 7
        head = 8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[flags]
        database.execute("update fields set geom = ?", (blob[:head] + curve,))
    database.close()
    with pytest.raises(InputError, match=r"area\.gpkg"):
        read(path)


def test_another_role_is_refused(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    with pytest.raises(InputError, match="GeoPackage serves as area, exclusion, plan or notes"):
        read(path, "rover")


def test_recognises_the_header(writing):
    path = writing(("fields", "Polygon", [FIELD], {}))
    assert geopackage.recognise(path.read_bytes()[:200]) == 1.0
    assert geopackage.recognise(b"SQLite format 3\x00" + bytes(84)) == 0.8
    assert geopackage.recognise(b"SQLite") == 0.0
