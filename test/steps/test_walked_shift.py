"""A walk off its plan by a constant shift is told, and one on its plan isn't, quick look or not."""

import numpy as np
import pytest
from pyproj import Transformer

from small_survey import CRS, SOUTH, WEST, stamp

TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
LENGTH_M, SPACING_M, LINES = 300.0, 40.0, 8
TIES = (30.0, 270.0)


def planned(ties):
    """Return the two ends of each planned line, tie lines last [m]."""
    lines = {f"L{n + 1}": [(SPACING_M * n, 0.0), (SPACING_M * n, LENGTH_M)] for n in range(LINES)}
    across = {
        f"T{n + 1}": [(0.0, north), (SPACING_M * (LINES - 1), north)]
        for n, north in enumerate(TIES[:ties])
    }
    return lines | across


def degrees(east, north):
    longitude, latitude = TO_DEGREES.transform(WEST + east, SOUTH + north)
    return latitude, longitude


def add_walk(bench, *, ties=2, east_m=0.0, north_m=0.0, marks=True):
    """Add a plan and a rover that walked it to and fro, its positions shifted."""
    routes, rows, time = [], [], 0.0
    for number, (name, (start, end)) in enumerate(planned(ties).items()):
        points = [degrees(*place) for place in (start, end)]
        routes.append(
            f"<rte><name>{name}</name>"
            + "".join(f'<rtept lat="{lat:.9f}" lon="{lon:.9f}"/>' for lat, lon in points)
            + "</rte>"
        )
        way = np.linspace(start, end, int(np.hypot(*np.subtract(end, start))) + 1)
        for east, north in way if number % 2 == 0 else way[::-1]:
            latitude, longitude = degrees(east + east_m, north + north_m)
            mark = name if marks else ""
            rows.append(f"{stamp(time)},{latitude:.8f},{longitude:.8f},800.0,{mark},22900.0")
            time += 1.0
        time += 20.0
    gpx = (
        '<?xml version="1.0"?>\n<gpx version="1.1" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{"".join(routes)}</gpx>'
    )
    bench.add("plan.gpx", gpx, "plan")
    head = "time_utc,latitude,longitude,height_m,line,total_field_nT"
    bench.add("rover.csv", [head, *rows], "rover", "R1")


def told(bench):
    bench.run()
    found = bench.product("walked_findings").frame.filter(kind="position shift")
    return found["text"].to_list()


@pytest.mark.parametrize("marks", [True, False])
@pytest.mark.parametrize("ties", [0, 2])
def test_a_walk_on_its_plan_has_no_shift(bench, ties, marks):
    add_walk(bench, ties=ties, marks=marks)
    assert told(bench) == []


@pytest.mark.parametrize("marks", [True, False])
def test_a_shift_in_both_axes_is_told(bench, marks):
    add_walk(bench, east_m=52.0, north_m=-31.0, marks=marks)
    (text,) = told(bench)
    assert "+52 m east and -31 m north" in text


def test_a_shift_along_the_lines_is_seen_on_the_tie_lines(bench):
    """All eight lines lie on their plan; only the two lines across them are off, by 60 m."""
    add_walk(bench, north_m=60.0)
    (text,) = told(bench)
    assert "+60 m north" in text


def test_a_shift_along_lines_without_tie_lines_is_still_looked_for(bench):
    """The ends of the lines tell that there is one; how far along is left open."""
    add_walk(bench, ties=0, north_m=120.0)
    (text,) = told(bench)
    assert "+0 m east" in text
    assert "sd inf m" in text
