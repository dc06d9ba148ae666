"""GPX as area and exclusion: outlines, lines and points, written by another library."""

import gpxpy.gpx
import pytest

from lodewalk.errors import InputError
from lodewalk.formats import gpx
from lodewalk.records.recorded import Shapes

#: Corners of a field of about 1 km by 1 km.
FIELD = [(-24.90, -50.40), (-24.90, -50.39), (-24.89, -50.39), (-24.89, -50.40)]


@pytest.fixture
def reading(tmp_path):
    def read(*, role="area", tracks=(), routes=(), waypoints=()):
        document = gpxpy.gpx.GPX()
        for places in tracks:
            segment = gpxpy.gpx.GPXTrackSegment()
            segment.points = [gpxpy.gpx.GPXTrackPoint(*place) for place in places]
            document.tracks.append(gpxpy.gpx.GPXTrack())
            document.tracks[-1].segments.append(segment)
        for name, places in routes:
            document.routes.append(gpxpy.gpx.GPXRoute(name=name))
            document.routes[-1].points = [gpxpy.gpx.GPXRoutePoint(*place) for place in places]
        for name, place in waypoints:
            document.waypoints.append(gpxpy.gpx.GPXWaypoint(*place, name=name))
        path = tmp_path / "area.gpx"
        path.write_text(document.to_xml())
        return gpx.read(path, role=role, column_map=None)

    return read


def places(content):
    frame = content.table.frame
    return list(zip(frame["second"], frame["first"], strict=True))


def test_a_closed_track_is_an_outline(reading):
    content = reading(tracks=[[*FIELD, FIELD[0]]], waypoints=[("camp", FIELD[1])])
    assert isinstance(content.table, Shapes)
    assert places(content) == [*FIELD, FIELD[0]]
    assert set(content.table.frame["geometry"]) == {"polygon"}
    assert content.understood[1:] == (
        "The track segment of line 8 is taken as an outline.",
        "1 waypoint left aside.",
    )


def test_a_track_that_ends_near_its_start_is_closed_and_told(reading):
    near = (FIELD[0][0] + 0.0002, FIELD[0][1])  # 0.0002 degrees of latitude are 22 m
    content = reading(tracks=[[*FIELD, near]])
    assert places(content)[-1] == FIELD[0]
    assert "taken as an outline, closed over 22 m." in content.understood[1]


def test_a_track_that_is_not_closed_is_refused(reading):
    # Three sides of 1011, 1108 and 1011 m: the ends lie 1108 m apart.
    with pytest.raises(InputError, match=r"track segment lie 1108 m apart on a length of 31\d\d m"):
        reading(tracks=[FIELD])


def test_a_route_is_an_outline_with_its_name(reading):
    content = reading(routes=[("North", [*FIELD, FIELD[0]])])
    assert set(content.table.frame["name"]) == {"North"}
    assert "The route of line" in content.understood[1]


def test_waypoints_alone_are_the_corners_in_their_order(reading):
    content = reading(waypoints=[(f"A{n}", place) for n, place in enumerate(FIELD)])
    assert places(content) == [*FIELD, FIELD[0]]
    assert content.understood[1] == ("4 waypoints taken as the corners of one polygon, in order.")


def test_two_waypoints_are_no_area(reading):
    with pytest.raises(InputError, match=r"polygon needs at least 3 different places. Found '2'"):
        reading(waypoints=[("A", FIELD[0]), ("B", FIELD[1])])


def test_exclusions_are_lines_and_points_with_kinds_of_their_names(reading):
    content = reading(
        role="exclusion",
        tracks=[[*FIELD, FIELD[0]], [FIELD[0], FIELD[0]]],
        routes=[("FENCE 2", FIELD[:2])],
        waypoints=[("House 1", FIELD[0]), ("Water", FIELD[1])],
    )
    frame = content.table.frame
    assert frame["geometry"].to_list() == ["line"] * 7 + ["point"] * 2
    assert frame["kind"].to_list() == [None] * 5 + ["fence"] * 2 + [None, "water"]
    assert frame["shape"].to_list() == [0] * 5 + [1] * 2 + [2, 3]
    assert content.understood[1:] == (
        "Tracks and routes are taken as lines: what a closed one encloses stays in.",
        "Tracks and routes of one place, left aside: 1.",
        "2 waypoints taken as points to keep clear of.",
        "Kinds are taken from names that begin with one, such as fence 2.",
    )


def test_a_file_without_points_is_refused(reading):
    for role in ("area", "exclusion"):
        with pytest.raises(InputError, match="The file holds no points at all"):
            reading(role=role)
