"""Waypoints and files for the handheld: every limit is kept, nothing is lost, nothing is alike."""

import itertools
import re
from dataclasses import replace
from pathlib import Path

import gpxpy
import polars as pl
import pytest
import xmlschema

from lodewalk.formats import gpx
from lodewalk.handover.device import (
    device_files,
    named_for_device,
    routes_of,
    walk_of,
    waypoints_of,
)
from lodewalk.handover.plan_layers import line_table
from lodewalk.records.planning import PlannedLines
from planned_sample import planned

SCHEMA = Path(__file__).parents[1] / "published" / "gpx11.xsd"


def whole(*, each=100.0, letters=10, **options):
    survey = planned(each=each, **options)
    points, renamed = named_for_device(survey.points, name_length=letters)
    return replace(survey, points=points), renamed


@pytest.mark.parametrize("letters", [6, 10, 30])
def test_names_change_and_nothing_else(letters):
    survey, renamed = whole(letters=letters)
    before, after = planned().points.frame, survey.points.frame
    assert before.drop("name").equals(after.drop("name"))
    names = after["name"].to_list()
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(rf"[A-Z0-9-]{{1,{letters}}}", name) for name in names)
    changed = {a: b for a, b in zip(before["name"], names, strict=True) if a != b}
    assert changed == renamed
    assert bool(renamed) == (letters < 11)


def test_names_for_the_device_stay_when_named_again():
    survey, _ = whole()
    again, more = named_for_device(survey.points, name_length=10)
    assert not more
    assert again.frame.equals(survey.points.frame)


@pytest.mark.parametrize(("most", "rovers"), [(1000, 1), (60, 1), (60, 2), (9, 1), (3, 1), (2, 1)])
def test_files_keep_the_limit_and_lose_nothing(most, rovers):
    survey, _ = whole(rovers=rovers)
    files = device_files(survey, most=most)
    assert max(file.points.height for file in files) <= most
    assert len({file.stem for file in files}) == len(files)
    for day, rover in survey.parties:
        own = [file for file in files if (file.day, file.rover) == (day, rover)]
        names = set(pl.concat([file.points for file in own])["name"])
        assert names == set(survey.points_of(day, rover)["name"])
        assert [file.part for file in own] == list(range(1, own[0].parts + 1))
        if most >= 9:
            lines = [name for file in own for name in file.lines["line"]]
            assert set(lines) == set(survey.lines_of(day, rover)["line"])


def test_common_points_stand_in_each_part_while_they_are_few():
    survey, _ = whole()
    for file in device_files(survey, most=60):
        assert {"BASE", "CHECK", "TURNS"} <= set(file.points["name"])


@pytest.mark.parametrize("most", [2, 3, 20, 1000])
def test_the_walk_is_unbroken_and_keeps_the_limit(most):
    survey, _ = whole()
    lines = survey.lines_of(1, 1)
    walk = walk_of(survey, lines, stem="DAY-1", most=most).frame
    routes = walk.partition_by("line", maintain_order=True)
    assert max(route.height for route in routes) <= most
    assert len(routes) == walk["line"].n_unique()
    for before, after in itertools.pairwise(routes):
        assert before.row(-1)[2:5] == after.row(0)[2:5]
    points = [routes[0], *(route[1:] for route in routes[1:])]
    assert pl.concat(points)["name"].to_list() == [
        name for row in routes_of(survey, lines).frame.iter_rows() for name in [row[4]]
    ]
    assert walk.height >= 2 * lines.height


def test_gpx_is_valid_and_read_back_without_loss(tmp_path):
    survey, _ = whole(name="Böhn & <co>")
    path = tmp_path / "plan.gpx"
    unique = survey.lines.frame.unique("line", maintain_order=True)
    gpx.write(path, routes=routes_of(survey, unique), waypoints=waypoints_of(survey.points.frame))
    xmlschema.XMLSchema(SCHEMA).validate(path)
    found = gpxpy.parse(path.read_text(encoding="utf-8"))
    rows = list(survey.points.frame.iter_rows(named=True))
    assert len(found.waypoints) == len(rows)
    for point, row in zip(found.waypoints, rows, strict=True):
        assert (point.name, point.description) == (row["name"], row["text"])
        assert point.latitude == pytest.approx(row["latitude_deg"], abs=1e-7)
        assert point.longitude == pytest.approx(row["longitude_deg"], abs=1e-7)
    assert [route.name for route in found.routes] == unique["line"].to_list()
    places = {row["name"]: (row["latitude_deg"], row["longitude_deg"]) for row in rows}
    for route in found.routes:
        assert len(route.points) == 2
        for point in route.points:
            assert (point.latitude, point.longitude) == pytest.approx(places[point.name], abs=1e-7)


def test_a_plan_is_read_back_as_the_plan_of_the_lines(tmp_path):
    survey, _ = whole()
    path = tmp_path / "plan.gpx"
    unique = survey.lines.frame.unique("line", maintain_order=True)
    gpx.write(path, routes=routes_of(survey, unique))
    table = gpx.read(path, role="plan", column_map=None).table
    assert table.frame["line"].unique(maintain_order=True).to_list() == unique["line"].to_list()


def test_a_line_walked_twice_a_day_is_walked_twice_but_one_route():
    plan = planned(12, 2)
    again = plan.lines.frame.filter(pl.col("kind") == "repeat")
    frame = pl.concat([again, plan.lines.frame]).sort("day", maintain_order=True)
    plan = replace(plan, lines=PlannedLines(frame))
    own = frame.filter(day=1)["line"].to_list()
    assert own.count("R1") == 2
    walk = walk_of(plan, plan.lines_of(1, 1), stem="DAY-1", most=1000)
    assert len(walk.frame) == 2 * len(own)
    part = device_files(plan, most=1000)[0]
    assert part.lines["line"].to_list().count("R1") == 1
    assert line_table(plan).filter(day=1)["line"].to_list() == own
