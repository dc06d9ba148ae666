"""The writer of GeoPackage: reopened by GDAL and as the SQLite file that the standard describes."""

import sqlite3
import time
from contextlib import closing

import numpy as np
import pyogrio
import pytest
import shapely

from lodewalk.errors import InputError
from lodewalk.formats.geopackage.write import Layer, Shape, write

CRS = "EPSG:31982"
SQUARE = np.array([[6e5, 7e6], [6e5 + 90, 7e6], [6e5 + 90, 7e6 + 70], [6e5, 7e6 + 70], [6e5, 7e6]])
HOLE = SQUARE.mean(axis=0) + 0.2 * (SQUARE - SQUARE.mean(axis=0))
LAYERS = [
    Layer("lines", "line", (Shape("line", (SQUARE[:2],)),),
          {"line": np.array(["L1 é"], dtype=object), "day": np.array([1]),
           "length_m": np.array([90.25])}),
    Layer("area", "polygon", (Shape("polygon", (SQUARE, HOLE)),)),
    Layer("exclusions", "any",
          (Shape("line", (SQUARE[:3],)), Shape("point", (SQUARE[:1],)),
           Shape("polygon", (SQUARE,)))),
    Layer("nothing", "point", ()),
]  # fmt: skip


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "plan.gpkg"
    write(path, LAYERS, crs=CRS)
    return path


def shapes(path, layer):
    _, _, geometry, fields = pyogrio.raw.read(path, layer=layer)
    return shapely.from_wkb(geometry), fields


def test_gdal_gets_layers_shapes_and_columns_back(path):
    assert [name for name, _ in pyogrio.list_layers(path)] == [layer.name for layer in LAYERS]
    info = pyogrio.read_info(path, layer="lines")
    assert info["crs"] == CRS
    assert list(info["fields"]) == ["line", "day", "length_m"]
    found, fields = shapes(path, "lines")
    assert shapely.equals_exact(found[0], shapely.linestrings(SQUARE[:2]))
    assert [column[0] for column in fields] == ["L1 é", 1, 90.25]
    area = shapes(path, "area")[0][0]
    assert area.area == pytest.approx(90 * 70 * (1 - 0.3**2 + 0.3**2 - 0.2**2))
    kinds = [item.geom_type for item in shapes(path, "exclusions")[0]]
    assert kinds == ["LineString", "Point", "Polygon"]
    assert pyogrio.read_info(path, layer="nothing")["features"] == 0


def test_the_file_is_what_the_standard_says(path):
    """Requirements 2, 10, 13 and 21 of OGC 12-128: application id and the three tables."""
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        tables = {row[0] for row in base.execute("SELECT name FROM sqlite_master")}
        assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns"} <= tables
        times = {row[0] for row in base.execute("SELECT last_change FROM gpkg_contents")}
        assert times == {"2000-01-01T00:00:00.000Z"}
        codes = {row[0] for row in base.execute("SELECT srs_id FROM gpkg_geometry_columns")}
        assert codes == {31982}


def test_the_same_layers_give_the_same_bytes(path, tmp_path):
    time.sleep(1.1)
    write(tmp_path / "again.gpkg", LAYERS, crs=CRS)
    assert (tmp_path / "again.gpkg").read_bytes() == path.read_bytes()
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_wrong_layers_are_refused(tmp_path):
    with pytest.raises(InputError, match="at least one layer"):
        write(tmp_path / "a.gpkg", [], crs=CRS)
    bad = Layer("a", "point", (Shape("point", (SQUARE[:1],)),), {"b": np.array([1, 2])})
    with pytest.raises(InputError, match="a value for each shape"):
        write(tmp_path / "a.gpkg", [bad], crs=CRS)
