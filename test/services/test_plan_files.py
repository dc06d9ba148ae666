"""The files of a plan in its folder: all there, the same bytes each time, old ones gone."""

import csv
import hashlib
import re
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

import gpxpy
import numpy as np
import polars as pl
import ppigrf
import pyogrio
import pytest
import xmlschema
from pyproj import Geod, Transformer

from lodewalk.errors import FolderError, InputError
from lodewalk.records import Document
from lodewalk.records.planning import PlannedLines
from lodewalk.records.recorded import Shapes
from lodewalk.services.plan_files import planned_survey, write_plan, write_plan_files
from lodewalk.survey.folder import create_folder, open_folder
from lodewalk.survey.store import product_path, write_product
from planned_sample import CRS, SOUTH, WEST, planned

SCHEMA = Path(__file__).parents[1] / "published" / "gpx11.xsd"


def shapes(*parts):
    """Return shapes from (geometry, kind, name, corners)."""
    rows = [
        {"line_in_file": 1, "shape": index, "part": 0, "ring": 0, "geometry": geometry,
         "name": name, "kind": kind, "buffer_m": None, "first": float(east),
         "second": float(north), "crs": CRS}
        for index, (geometry, kind, name, corners) in enumerate(parts)
        for east, north in corners
    ]  # fmt: skip
    return Shapes(pl.DataFrame(rows, schema={c.name: c.dtype for c in Shapes.SCHEMA}))


def plan_of(survey, *, dated):
    """Return what a plan says of days and site, by an independent IGRF and by two places."""
    to_wgs84 = Transformer.from_crs(survey.crs, "EPSG:4326", always_xy=True)
    back = Transformer.from_crs("EPSG:4326", survey.crs, always_xy=True)
    row = survey.lines.frame.row(0, named=True)
    longitude, latitude = to_wgs84.transform(row["easting_1_m"], row["northing_1_m"])
    east, north, up = (
        float(part.item()) for part in ppigrf.igrf(longitude, latitude, 0, datetime(2026, 3, 9))
    )
    a, b = (np.array(back.transform(longitude, latitude + step)) for step in (0.0, 1e-3))
    site = {
        "declination_deg": float(np.degrees(np.arctan2(east, north))),
        "inclination_deg": float(np.degrees(np.arctan2(-up, np.hypot(east, north)))),
        "total_field_nT": float(np.sqrt(east**2 + north**2 + up**2)),
        "convergence_deg": float(-np.degrees(np.arctan2(*(b - a)))),
    }
    days = [{"day": day, "rovers": [], "date": f"2026-03-{8 + day:02d}" if dated else None}
            for day in survey.days]  # fmt: skip
    return Document(
        {"site": site, "days": days, "azimuth_deg": 0.0, "base": {"broken": [], "not_checked": []}}
    )


def make(path, survey, *, values=None, name="North hill"):
    """Make a survey folder with the products of a plan."""
    about = {"survey": {"name": name, "crs": survey.crs}, "plan": {"first_day": "2026-03-09"}}
    folder = create_folder(path, {**about, **(values or {})})
    east, north = WEST - 20, SOUTH - 20
    box = [(east, north), (east + 1600, north), (east + 1600, north + 700), (east, north + 700)]
    local = survey.crs == CRS
    area = shapes(("polygon", None, "block", [*box, box[0]])) if local else Shapes.empty()
    fence = [(east, north + 300), (east + 1600, north + 360)]
    exclusion = shapes(("line", "fence", "wire", fence)) if local else Shapes.empty()
    write_product(folder, "area_recorded", area)
    write_product(folder, "exclusion_recorded", exclusion)
    write_product(folder, "planned_lines", survey.lines)
    write_product(folder, "planned_points", survey.points)
    write_product(folder, "plan", plan_of(survey, dated="plan" not in (values or {})))
    return open_folder(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = make(tmp_path_factory.mktemp("plan") / "hill", planned(24, 3))
    write_plan(folder)
    return folder


@pytest.fixture(scope="module")
def place(folder):
    return product_path(folder, "plan").parent


def test_every_file_is_there(place):
    days = [f"day-{day}" for day in (1, 2, 3)]
    wanted = {"plan.gpx", "plan.kml", "plan.gpkg", "plan.pdf", "lines.csv", "waypoints.csv"}
    wanted |= {"map.png", *(f"{day}.gpx" for day in days), *(f"{day}-walk.gpx" for day in days)}
    wanted |= {f"field-sheet-{day}.{kind}" for day in days for kind in ("pdf", "html")}
    made = {"plan.json", "lines.parquet", "points.parquet"}
    assert {path.name for path in place.iterdir()} == wanted | made


def test_every_gpx_is_valid(place):
    schema = xmlschema.XMLSchema(SCHEMA)
    for path in place.glob("*.gpx"):
        schema.validate(path)
        gpxpy.parse(path.read_text(encoding="utf-8"))


def test_csv_is_read_back_and_bearings_follow_from_the_ends(place):
    """True bearings are those of the geodesic; magnetic ones by an independent IGRF."""
    with (place / "lines.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    assert {row["date"] for row in rows} == {"2026-03-09", "2026-03-10", "2026-03-11"}
    for row in rows:
        ends = [float(row[f"{end}_{axis}_m"]) for end in ("start", "end")
                for axis in ("easting", "northing")]  # fmt: skip
        first, second = to_wgs84.transform(*ends[:2]), to_wgs84.transform(*ends[2:])
        forward, _, length = Geod(ellps="WGS84").inv(*first, *second)
        assert abs((float(row["bearing_true_deg"]) - forward + 180) % 360 - 180) < 0.02
        assert length == pytest.approx(float(row["length_m"]), rel=1e-3)
        east, north, _ = (
            float(part.item()) for part in ppigrf.igrf(*first, 0, datetime(2026, 3, 9))
        )
        declination = np.degrees(np.arctan2(east, north))
        turn = float(row["bearing_true_deg"]) - float(row["bearing_magnetic_deg"])
        assert (turn - declination + 180) % 360 - 180 == pytest.approx(0.0, abs=0.03)


def test_layers_hold_every_line_point_area_and_exclusion(place):
    info = {name: pyogrio.read_info(place / "plan.gpkg", layer=name)["features"]
            for name, _ in pyogrio.list_layers(place / "plan.gpkg")}  # fmt: skip
    lines = pl.read_csv(place / "lines.csv")
    points = pl.read_csv(place / "waypoints.csv")
    assert info == {"lines": lines.height, "points": points.height, "area": 1, "exclusions": 2}
    with closing(sqlite3.connect(place / "plan.gpkg")) as base:
        roles = base.execute("SELECT role, kind, buffer_m FROM exclusions ORDER BY 1").fetchall()
    assert roles == [("exclusion", "fence", 10.0), ("kept clear", "fence", None)]


def test_the_same_plan_gives_the_same_bytes(folder, place):
    def digests():
        return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in place.iterdir()}

    before = digests()
    write_plan(folder)
    assert digests() == before


def test_files_of_a_former_plan_go_and_others_stay(tmp_path):
    folder = make(tmp_path / "hill", planned(6, 3))
    place = product_path(folder, "plan").parent
    first = write_plan(folder)
    (place / "notes of mine.txt").write_text("stay")
    write_product(folder, "planned_lines", planned(6, 1).lines)
    second = write_plan(folder)
    assert {path.name for path in first} > {path.name for path in second}
    assert not (place / "day-2.gpx").exists()
    assert not (place / "field-sheet-day-3.html").exists()
    assert (place / "notes of mine.txt").read_text() == "stay"
    assert "DRAFT" not in (place / "field-sheet-day-1.html").read_text()
    write_plan(folder, draft=True)
    assert "DRAFT" in (place / "draft" / "field-sheet-day-1.html").read_text()
    assert "DRAFT" not in (place / "field-sheet-day-1.html").read_text()
    assert not list(place.rglob(".*"))


def test_what_was_split_or_shortened_is_told(tmp_path):
    values = {"handheld": {"most_waypoints": 20, "name_length": 6, "most_route_points": 4}}
    folder = make(tmp_path / "hill", planned(12, 1), values=values)
    found = write_plan_files(folder)
    names = {path.name for path in found.paths}
    assert {"day-1-part-1.gpx", "day-1-part-2.gpx"} <= names
    assert "day-1.gpx" not in names
    assert any("more waypoints than the 20" in note for note in found.notes)
    assert any("load the files of the days" in note for note in found.notes)
    assert any("shortened" in note for note in found.notes)
    place = product_path(folder, "plan").parent
    for path in place.glob("day-1-part-*.gpx"):
        assert len(gpxpy.parse(path.read_text()).waypoints) <= 20
    walk = gpxpy.parse((place / "day-1-walk.gpx").read_text())
    assert max(len(route.points) for route in walk.routes) == 4


def test_a_plan_without_lines_or_no_plan_is_refused(tmp_path):
    folder = make(tmp_path / "hill", planned(3, 1))
    write_product(folder, "planned_lines", PlannedLines.empty())
    with pytest.raises(InputError, match="no line"):
        write_plan(folder)
    bare = create_folder(tmp_path / "bare", {"survey": {"name": "A", "crs": CRS}})
    with pytest.raises(FolderError):
        write_plan(bare)


def test_no_first_day_leaves_dates_out(tmp_path):
    folder = make(tmp_path / "hill", planned(3, 1), values={"plan": {}})
    survey, _, _ = planned_survey(folder)
    assert survey.dates == ()
    write_plan(folder)
    page = (product_path(folder, "plan").parent / "field-sheet-day-1.html").read_text()
    assert re.search(r"<h1>Day 1: North hill\s*</h1>", page)


@pytest.mark.parametrize(
    ("crs", "west", "south"),
    [("EPSG:32633", 500_000.0, 6_900_000.0), ("EPSG:32760", 833_000.0, 5_300_000.0)],
)
def test_other_hemispheres_and_the_antimeridian(tmp_path, crs, west, south):
    survey = planned(4, 1, crs=crs, west=west, south=south)
    folder = make(tmp_path / "hill", survey)
    write_plan(folder)
    place = product_path(folder, "plan").parent
    xmlschema.XMLSchema(SCHEMA).validate(place / "plan.gpx")
    made, _, _ = planned_survey(folder)
    back = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    frame = made.points.frame
    east, _ = back.transform(frame["longitude_deg"], frame["latitude_deg"])
    assert np.allclose(east, frame["easting_m"], atol=1e-4)
