"""The demo's files from before going, read back by other libraries."""

import csv

import numpy as np
import pyogrio
import pytest
import rasterio
from pyproj import Geod, Transformer

from lodewalk.services.demo import Scenario
from lodewalk.services.demo.before_going import OUTCROPS, write_before_going
from lodewalk.services.demo.field import World


@pytest.fixture(scope="module")
def world():
    return World(Scenario(), 7)


@pytest.fixture(scope="module")
def files(world, tmp_path_factory):
    return write_before_going(tmp_path_factory.mktemp("before"), world=world)


def shapes(path):
    _, _, geometry, fields = pyogrio.raw.read(path)
    names = pyogrio.read_info(path)["fields"].tolist()
    return geometry, dict(zip(names, fields, strict=True))


def corners(geometry):
    """Return the places of a polygon of one ring, or of a line, from little-endian binary."""
    head = 13 if geometry[1] == 3 else 9
    return np.frombuffer(geometry[head:], "<f8").reshape(-1, 2)


def test_the_area_holds_all_lines(files, world):
    geometry, fields = shapes(files["area"])
    assert fields["name"].tolist() == ["Arvelim"]
    place = corners(geometry[0])
    area, _ = Geod(ellps="WGS84").polygon_area_perimeter(*place.T)
    rule = world.scenario
    wide = (rule.line_count - 1) * rule.line_spacing_m + 22.0
    assert area == pytest.approx(rule.line_length_m * wide, rel=2e-3)  # positive: counter-clockwise


def test_fence_and_road_have_their_kinds(files):
    geometry, fields = shapes(files["exclusion"])
    assert fields["kind"].tolist() == ["fence", "road"]
    assert [len(corners(line)) for line in geometry] == [2, 3]


def test_the_terrain_is_the_ground(files, world):
    with rasterio.open(files["terrain"]) as raster:
        assert raster.crs.to_epsg() == 31982
        assert raster.units == ("m",)
        height = raster.read(1)
        for row, column in ((0, 0), (40, 90), (-1, -1)):
            east, north = raster.xy(row % raster.height, column % raster.width)
            ground = world.place.ground(*world.place.from_grid(np.array(east), np.array(north)))
            assert height[row, column] == pytest.approx(float(ground), abs=1e-3)
        # the middle of the scenario lies on it
        rule = world.scenario
        to_grid = Transformer.from_crs("EPSG:4326", rule.crs, always_xy=True)
        east, north = to_grid.transform(rule.longitude_deg, rule.latitude_deg)
        bounds = raster.bounds
    assert bounds.left < east < bounds.right
    assert bounds.bottom < north < bounds.top


def test_hand_meter_rows_are_those_of_the_outcrops(files):
    with files["hand_meter"].open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for part, rock, places, typical, spread in OUTCROPS:
        own = [float(row["k_1e-3_SI"]) / 1000 for row in rows if row["part"] == part]
        assert len(own) == places
        assert {row["rock"] for row in rows if row["part"] == part} == {rock}
        off = np.log(np.array(own) / typical) / spread
        assert np.abs(off).max() < 4
