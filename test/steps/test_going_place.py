"""Where a survey will be: the polygon that the odds are of, and the day's field."""

import json

import numpy as np
import pytest

from lodewalk.errors import SettingsError
from lodewalk.formats.geojson import read
from lodewalk.steps.going_place import going_epoch, going_place, ring_area

CRS = "EPSG:31982"
PLAN = {"first_day": None, "latitude_deg": None, "longitude_deg": None}
#: 0.001 degrees are about 100 m here.
SQUARE = [(-50.400, -24.900), (-50.395, -24.900), (-50.395, -24.895), (-50.400, -24.895)]
SLIVER = [(-50.392, -24.900), (-50.3915, -24.900), (-50.380, -24.888), (-50.3805, -24.888)]


def shapes(path, *rings):
    polygons = [[[*ring, ring[0]]] for ring in rings]
    path.write_text(json.dumps({"type": "MultiPolygon", "coordinates": polygons}))
    return read(path, role="area", column_map=None).table


def test_the_odds_are_of_the_largest_polygon_not_of_the_widest(tmp_path):
    place = going_place(shapes(tmp_path / "a.geojson", SQUARE, SLIVER), PLAN, crs=CRS)
    # 0.005 degrees both ways at 24.9 degrees south, on the sphere
    assert ring_area(place.outline_m) == pytest.approx(
        (0.005 * 111_195) ** 2 * np.cos(np.radians(24.9)), rel=0.01
    )
    assert any("largest of the polygons" in text for text in place.notes)


def test_one_polygon_needs_no_note(tmp_path):
    place = going_place(shapes(tmp_path / "a.geojson", SQUARE), PLAN, crs=CRS)
    assert not any("largest" in text for text in place.notes)


def test_a_day_outside_the_model_names_the_setting():
    with pytest.raises(SettingsError, match=r"plan\.first_day must lie within IGRF-14.*2031-01-01"):
        going_epoch("2031-01-01")
    assert going_epoch("2026-01-01") == 2026.0
