"""Shapes: any bytes give content or one clear error, and what another library writes is read."""

import json
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyogrio.raw
import pytest
import rasterio
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from rasterio.transform import Affine

from lodewalk.adapters.geometry import area_polygons
from lodewalk.errors import InputError
from lodewalk.formats import geojson, geopackage, geotiff, gpx, hand_meter, kml

READERS = [
    (geojson, "area"), (geojson, "exclusion"), (geojson, "plan"), (geojson, "notes"),
    (kml, "area"), (kml, "exclusion"), (gpx, "area"), (gpx, "exclusion"),
    (geopackage, "exclusion"), (geotiff, "terrain"), (hand_meter, "hand_meter"),
]  # fmt: skip


def packed():
    """Return a GeoPackage and a GeoTIFF as bytes."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "a.gpkg")
        shapes = shapely.to_wkb(np.array([shapely.box(0, 0, 9, 9)]))
        pyogrio.raw.write(path, shapes, [], [], layer="a", geometry_type="Polygon",
                          crs="EPSG:31982", driver="GPKG")  # fmt: skip
        tif = Path(folder, "a.tif")
        place = Affine(30.0, 0.0, 5e5, 0.0, -30.0, 7e6)
        with rasterio.open(tif, "w", driver="GTiff", count=1, height=3, width=4, dtype="float32",
                           crs="EPSG:31982", transform=place) as dataset:  # fmt: skip
            dataset.write(np.full((1, 3, 4), 800, dtype="f4"))
        return path.read_bytes(), tif.read_bytes()


GPKG, TIFF = packed()
GOOD = [
    b'{"type": "Feature", "properties": {"kind": "fence", "buffer_m": 3}, "geometry": {"type": '
    b'"GeometryCollection", "geometries": [{"type": "Polygon", "coordinates": [[[1, 2], [3, 2],'
    b' [3, 4], [1, 2]]]}, {"type": "Point", "coordinates": [1, 2, 3]}]}}',
    b'<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>a</name><Polygon>'
    b"<outerBoundaryIs><LinearRing><coordinates>1,2 3,2 3,4,5 1,2</coordinates></LinearRing>"
    b"</outerBoundaryIs></Polygon></Placemark></kml>",
    b'<gpx version="1.1"><wpt lat="1" lon="2"/><wpt lat="1" lon="3"/><wpt lat="2" lon="3"/></gpx>',
    b"rock,part,k_1e-3_SI,n,sd\na,host,3.5,10,\n",
    GPKG,
    TIFF,
]


@st.composite
def damaged(draw):
    """Return a good file with a piece replaced."""
    good = draw(st.sampled_from(GOOD))
    start = draw(st.integers(0, min(len(good), 9000)))
    end = draw(st.integers(start, min(len(good), start + 30)))
    return good[:start] + draw(st.binary(max_size=30)) + good[end:]


@pytest.mark.parametrize(("module", "role"), READERS)
@settings(max_examples=150, deadline=None)
@given(raw=st.one_of(st.binary(max_size=300), damaged()))
@example(raw=b"")
@example(raw=GOOD[0])
@example(raw=GOOD[1])
@example(raw=GOOD[2])
@example(raw=GOOD[3])
@example(raw=GPKG)
@example(raw=TIFF)
def test_any_bytes_give_content_or_one_error(module, role, raw):
    assert 0.0 <= module.recognise(raw) <= 1.0
    with TemporaryDirectory() as folder:
        path = Path(folder, "file")
        path.write_bytes(raw)
        try:
            content = module.read(path, role=role, column_map=None)
        except InputError as error:
            assert str(error).startswith("file")  # noqa: PT017
            return
    assert len(content.table) > 0
    assert content.understood


DEGREES = st.tuples(
    st.integers(-1_790_000_000, 1_790_000_000).map(lambda n: n / 1e7),
    st.integers(-850_000_000, 850_000_000).map(lambda n: n / 1e7),
)
LINES = st.lists(DEGREES, min_size=2, max_size=6, unique=True).map(shapely.LineString)
POINTS = DEGREES.map(shapely.Point)


@st.composite
def polygons(draw):
    """Return a star-shaped polygon, perhaps with a hole in it."""
    west, south = draw(DEGREES)
    angles = np.sort(draw(st.lists(st.floats(0, 6.2), min_size=3, max_size=8, unique=True)))
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    rings = [np.round([west, south] + 0.5 * circle, 7)]
    if draw(st.booleans()):
        rings.append(np.round([west, south] + 0.1 * circle, 7))
    assume(all(len(np.unique(ring, axis=0)) >= 3 for ring in rings))
    return shapely.Polygon(rings[0], rings[1:])


DRIVERS = [("GeoJSON", geojson), ("GPKG", geopackage), ("KML", kml)]


@pytest.mark.parametrize(("driver", "module"), DRIVERS)
@settings(max_examples=40, deadline=None)
@given(shapes=st.lists(st.one_of(LINES, POINTS, polygons()), min_size=1, max_size=4))
def test_what_another_library_writes_is_read(driver, module, shapes):
    with TemporaryDirectory() as folder:
        path = Path(folder, f"shapes.{driver.lower()}")
        more = {"COORDINATE_PRECISION": "7", "RFC7946": "NO"} if driver == "GeoJSON" else {}
        kinds = np.array([f"kind {n}" for n in range(len(shapes))], dtype=object)
        pyogrio.raw.write(
            path, shapely.to_wkb(np.array(shapes, dtype=object)), [kinds], ["kind"], layer="a",
            geometry_type="Unknown", crs="EPSG:4326", driver=driver, **more,
        )  # fmt: skip
        frame = module.read(path, role="exclusion", column_map=None).table.frame
    for number, shape in enumerate(shapes):
        mine = frame.filter(frame["shape"] == number)
        expected = shapely.get_coordinates(shape)
        np.testing.assert_allclose(mine.select("first", "second").to_numpy(), expected, atol=1e-9)
        assert set(mine["kind"]) == {f"kind {number}"}
        assert mine["ring"].max() == len(getattr(shape, "interiors", ()))


@settings(max_examples=40, deadline=None)
@given(
    centre=st.tuples(st.floats(-53.0, -49.0), st.floats(-60.0, -5.0)),
    places=st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=3, max_size=8),
)
def test_any_polygon_gives_a_valid_area_or_one_error(centre, places):
    ring = [[centre[0] + 0.01 * a, centre[1] + 0.01 * b] for a, b in places]
    text = json.dumps({"type": "Polygon", "coordinates": [[*ring, ring[0]]]})
    with TemporaryDirectory() as folder:
        path = Path(folder, "area.geojson")
        path.write_text(text)
        try:
            region = area_polygons(
                geojson.read(path, role="area", column_map=None).table, crs="EPSG:31982"
            )
        except InputError:
            return
    assert shapely.is_valid(region.outline)
    assert region.outline.geom_type in ("Polygon", "MultiPolygon")
    assert region.area_m2 == pytest.approx(region.outline.area)
    # The parts that an outline encloses can't be more than its hull.
    hull = shapely.MultiPoint(shapely.get_coordinates(region.outline)).convex_hull
    assert region.area_m2 <= hull.area * (1 + 1e-9)
