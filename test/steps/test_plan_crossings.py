"""Ways under power lines, on a walk whose legs can be counted by hand."""

import numpy as np
import polars as pl
import shapely

from lodewalk.records.planning import PlannedLines
from lodewalk.steps.plan_crossings import crossing_words, power_crossings
from planned_sample import piece, schema

BASE = np.array([0.0, -10.0])
POWER = shapely.LineString([(-500, 0), (500, 0)]).buffer(0.5)


def walk(*ends):
    rows = [piece(f"L{n}", "line", n, 1, 1, 1, pair) for n, pair in enumerate(ends, 1)]
    return pl.DataFrame(rows, schema=schema(PlannedLines))


def test_the_ways_out_and_back_count_as_those_between_lines():
    north, south = ((0, 10), (50, 10)), ((50, -20), (0, -20))
    assert power_crossings(walk(north), BASE, POWER) == ["BASE to L1", "L1 to BASE"]
    assert power_crossings(walk(north, south), BASE, POWER) == ["BASE to L1", "L1 to L2"]
    assert power_crossings(walk(south), BASE, POWER) == []
    assert power_crossings(walk(((0, -20), (0, 20))), BASE, POWER) == ["L1", "L1 to BASE"]
    assert power_crossings(walk(north), BASE, shapely.Polygon()) == []


def test_a_warning_names_them_and_counts_the_rest():
    def days(count):
        return [{"day": 1, "rovers": [{"rover": 2, "power_crossings": ["A to B"] * count}]}]

    assert crossing_words(days(0)) == []
    assert "once (day 1, rover 2: A to B)" in crossing_words(days(1))[0]
    assert "11 times" in crossing_words(days(11))[0]
    assert "and 3 more" in crossing_words(days(11))[0]
