"""What to walk again: whole lines and lost parts, in the order of the shortest walk.

Spans are planted by marking readings of the straight lines of `evening_survey`, so that ends and
lengths follow by hand; the shortest walk is found by trying all.
"""

from dataclasses import replace
from itertools import pairwise, permutations, product
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import xmlschema
from pyproj import Transformer

from evening_survey import LENGTH_M, SPACING_M, changed
from lodewalk.formats.gpx.write import write
from lodewalk.steps.rewalk import rewalk, spans_to_walk
from lodewalk.steps.verdicts import passages, reading_marks
from small_survey import CRS, SOUTH, WEST

SCHEMA = Path(__file__).parents[1] / "published" / "gpx11.xsd"
#: A span is led in and out by this much.
LEAD_M = 10.0


class Case:
    """Passages and marks in which only what a test loses is lost."""

    def __init__(self, evening):
        self.inputs = evening.products
        plain = reading_marks(evening.products, evening.tolerances)
        clean = {name: np.zeros(plain.kept.size, dtype=bool) for name in vars(plain)}
        self.marks = replace(plain, **clean | {"kept": np.ones(plain.kept.size, dtype=bool)})
        self.walked = passages(self.inputs, self.marks)
        self.verdict = ["keep"] * len(self.walked)
        self.holes = []

    def lose(self, line, first_m, last_m):
        """Lose readings of a line that lie between two distances north of its south end."""
        positions = self.inputs["rover_positions"]
        north = positions.floats("northing_m") - SOUTH
        rows = self.walked[line - 1].rows
        rows = rows[(north[rows] >= first_m) & (north[rows] <= last_m)]
        self.marks.kept[rows] = False
        self.verdict[line - 1] = "doubt"

    @property
    def verdicts(self):
        return [
            {"line": passage.row["line"], "verdict": word, "reasons": [f"a {word}", "too"]}
            for passage, word in zip(self.walked, self.verdict, strict=True)
        ]

    def hole(self, line, first_m, last_m):
        """Leave a span of a line unwalked, by distances north of its south end."""
        east = WEST + SPACING_M * (line - 1)
        first, last = SOUTH + first_m, SOUTH + last_m
        self.holes.append(
            {
                "line": f"L{line}",
                "share": (last_m - first_m) / LENGTH_M,
                "first_easting_m": east,
                "first_northing_m": first,
                "last_easting_m": east,
                "last_northing_m": last,
            }
        )
        self.verdict[line - 1] = "doubt"

    def spans(self, least_m=15.0):
        return spans_to_walk(self.inputs, self.walked, self.verdicts, self.marks, least_m=least_m)

    def rewalk(self, least_m=15.0):
        return rewalk(
            self.inputs,
            self.walked,
            self.verdicts,
            self.marks,
            self.holes,
            crs=CRS,
            least_m=least_m,
        )


@pytest.fixture
def case(evening):
    return Case(evening)


def north_of(span):
    return [round(end[1] - SOUTH, 3) for end in (span.first, span.last)]


def test_nothing_lost_is_nothing_to_walk(case):
    values, route = case.rewalk()
    assert (values["length_m"], values["minutes"], values["gpx"], values["spans"]) == (
        0,
        0,
        None,
        [],
    )
    assert len(route) == 0


def test_a_line_to_walk_again_is_walked_from_end_to_end(case):
    case.verdict[4] = "re-walk"
    (span,) = case.spans()
    assert (span.line, span.whole, span.why) == ("L5", True, "a re-walk; too")
    assert north_of(span) == [0.0, LENGTH_M]
    assert span.first[0] == pytest.approx(WEST + 4 * SPACING_M)
    assert span.length_m == pytest.approx(LENGTH_M)


def test_the_lost_part_of_a_line_in_doubt_is_walked_with_a_lead_at_both_ends(case):
    case.lose(3, 60.0, 100.0)
    (span,) = case.spans()
    # Good readings stand at 59.5 m and 100.5 m, half a metre beside the lost ones.
    assert north_of(span) == [59.5 - LEAD_M, 100.5 + LEAD_M]
    assert (span.line, span.whole) == ("L3", False)


def test_the_lead_ends_where_the_line_ends(case):
    case.lose(2, 0.0, 30.0)  # L2 is walked from north to south
    (span,) = case.spans()
    assert north_of(span) == [30.5 + LEAD_M, 0.0]


def test_lost_parts_close_together_are_one_and_others_two(case):
    case.lose(3, 20.0, 40.0)
    case.lose(3, 70.0, 90.0)  # 30 m on
    case.lose(3, 140.0, 160.0)  # 50 m on
    found = sorted(north_of(span) for span in case.spans())
    assert found == [[19.5 - LEAD_M, 90.5 + LEAD_M], [139.5 - LEAD_M, 160.5 + LEAD_M]]


@pytest.mark.parametrize(("least_m", "count"), [(10.9, 1), (11.1, 0)])
def test_a_hole_shorter_than_the_tolerance_is_left(case, least_m, count):
    case.lose(3, 60.0, 70.0)  # between good readings 11 m apart
    assert len(case.spans(least_m=least_m)) == count


@pytest.mark.parametrize("mark", ["no_position", "no_base", "likely_off"])
def test_each_loss_counts_alike(case, mark):
    case.lose(3, 60.0, 100.0)
    lost = ~case.marks.kept
    case.marks.kept[:] = True
    getattr(case.marks, mark)[lost] = True
    (span,) = case.spans()
    assert north_of(span) == [59.5 - LEAD_M, 100.5 + LEAD_M]


@pytest.mark.parametrize("mark", ["uncertain", "unknown"])
def test_what_is_only_unsure_is_not_walked_again(case, mark):
    case.lose(3, 60.0, 100.0)
    getattr(case.marks, mark)[:] = ~case.marks.kept
    case.marks.kept[:] = True
    assert case.spans() == []


def test_what_a_bridge_would_serve_is_not_walked_again(case):
    case.lose(3, 60.0, 100.0)
    for mark in (case.marks.no_base, case.marks.bridgeable):
        mark[:] = ~case.marks.kept
    case.marks.kept[:] = True
    assert case.spans() == []


def test_a_line_that_is_kept_is_not_walked_again_for_a_few_losses(case):
    case.lose(3, 60.0, 100.0)
    case.verdict[2] = "keep"
    assert case.spans() == []


def shortest(spans):
    """Return the least way between spans over all orders and directions."""
    ends = [(np.array(span.first), np.array(span.last)) for span in spans]
    ways = []
    for order in permutations(range(len(ends))):
        for turned in product((False, True), repeat=len(ends)):
            path = [
                ends[n][::-1] if back else ends[n] for n, back in zip(order, turned, strict=True)
            ]
            ways.append(sum(np.hypot(*(b[0] - a[1])) for a, b in pairwise(path)))
    return min(ways)


def lost_evening(case):
    """Lose two whole lines and parts of two others, far from the order in which they lie."""
    case.verdict[6] = case.verdict[0] = "re-walk"
    case.lose(4, 120.0, 170.0)
    case.lose(5, 20.0, 50.0)
    return case


def test_four_spans_are_walked_in_the_shortest_order(case):
    spans = lost_evening(case).spans()
    assert len(spans) == 4
    values, _ = case.rewalk()
    assert values["between_m"] == pytest.approx(shortest(spans), abs=0.1)
    # Two lines of 200 m; 51 m and 31 m between good readings, with 10 m more at both ends.
    assert values["length_m"] == pytest.approx(200 + 200 + 71 + 51)
    listed = values["spans"]
    ends = [
        [[span[f"{end}_{axis}_m"] for axis in ("easting", "northing")] for end in ("first", "last")]
        for span in listed
    ]
    between = sum(np.hypot(*np.subtract(b[0], a[1])) for a, b in pairwise(ends))
    assert between == pytest.approx(values["between_m"], abs=0.1)
    assert {s["line"]: s["whole"] for s in listed} == {
        "L1": True, "L4": False, "L5": False, "L7": True,
    }  # fmt: skip
    assert [s["length_m"] for s in listed] == [
        pytest.approx(np.hypot(*np.subtract(*pair))) for pair in ends
    ]


def test_the_time_to_walk_it_is_by_the_pace_of_the_survey(case):
    """All lines were walked at 1 m/s; twice that pace halves the time."""
    values, _ = lost_evening(case).rewalk()
    way = values["length_m"] + values["between_m"]
    assert values["minutes"] == np.ceil(way / 1.0 / 60)
    rows = [(p, p.row["start_utc"], p.row["end_utc"]) for p in case.walked]
    case.walked = [
        replace(p, row=p.row | {"end_utc": begin + (end - begin) / 2}) for p, begin, end in rows
    ]
    assert case.rewalk()[0]["minutes"] == np.ceil(way / 2.0 / 60)


def test_the_route_for_the_handheld_is_numbered_valid_and_in_place(case, tmp_path):
    values, route = lost_evening(case).rewalk()
    write(tmp_path / "rewalk.gpx", routes=route)
    assert xmlschema.XMLSchema(SCHEMA).is_valid(tmp_path / "rewalk.gpx")
    names = route.strings("line")
    assert names == [f"{n:02d} {s['line']}" for n, s in enumerate(values["spans"], 1) for _ in "ab"]
    place = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(
        route.floats("longitude_deg"), route.floats("latitude_deg")
    )
    expected = [
        [s[f"{end}_{axis}_m"] for s in values["spans"] for end in ("first", "last")]
        for axis in ("easting", "northing")
    ]
    assert np.abs(np.subtract(place, expected)).max() < 0.02


def twice(case, line, *, verdict):
    """Walk a line a second time: the same readings again, with a verdict of its own."""
    case.walked.append(replace(case.walked[line - 1]))
    case.verdict.append(verdict)


def test_a_line_that_another_passage_saved_is_not_walked_a_third_time(case):
    case.verdict[4] = "re-walk"
    twice(case, 5, verdict="keep")
    assert case.spans() == []


def test_a_line_that_failed_twice_is_walked_once(case):
    case.verdict[4] = "re-walk"
    twice(case, 5, verdict="re-walk")
    assert [span.line for span in case.spans()] == ["L5"]


def test_a_line_without_positions_gives_no_span(case):
    case.verdict[4] = "re-walk"
    lost = np.zeros(case.marks.kept.size, dtype=bool)
    lost[case.walked[4].rows] = True
    gone = {
        name: pl.when(pl.Series(lost)).then(None).otherwise(pl.col(name))
        for name in ("easting_m", "northing_m")
    }
    positions = changed(case.inputs["rover_positions"], **gone)
    case.inputs = case.inputs | {"rover_positions": positions}
    assert case.spans() == []


def test_a_loss_without_positions_is_placed_between_those_known(case):
    case.lose(3, 60.0, 100.0)
    gone = {
        name: pl.when(pl.Series(~case.marks.kept)).then(None).otherwise(pl.col(name))
        for name in ("easting_m", "northing_m")
    }
    positions = changed(case.inputs["rover_positions"], **gone)
    case.inputs = case.inputs | {"rover_positions": positions}
    (span,) = case.spans()
    assert north_of(span) == [59.5 - LEAD_M, 100.5 + LEAD_M]


@pytest.mark.parametrize("also_lost", [False, True])
def test_a_lost_part_is_left_where_another_passage_read_all_of_it(case, also_lost):
    """The other passage of L3 is played by the readings of L1."""
    case.lose(3, 60.0, 100.0)
    other = replace(case.walked[2], rows=case.walked[0].rows)
    case.walked.append(other)
    case.verdict.append("keep")
    case.marks.kept[other.rows[:1]] = not also_lost
    assert [span.line for span in case.spans()] == (["L3"] if also_lost else [])


def test_a_span_runs_as_it_was_walked_whatever_the_order_of_the_rows(case):
    case.verdict[4] = "re-walk"
    case.walked[4] = replace(case.walked[4], rows=case.walked[4].rows[::-1])
    (span,) = case.spans()
    assert north_of(span) == [0.0, LENGTH_M]


def test_one_slow_line_does_not_set_the_pace(case):
    usual = lost_evening(case).rewalk()[0]["minutes"]
    row = case.walked[1].row
    slow = row | {"end_utc": row["start_utc"] + 5 * (row["end_utc"] - row["start_utc"])}
    case.walked[1] = replace(case.walked[1], row=slow)
    assert case.rewalk()[0]["minutes"] == usual


def test_without_a_pace_of_its_own_a_metre_a_second_is_taken(case):
    case.verdict[4] = "re-walk"
    case.walked = [replace(p, row=p.row | {"length_m": None}) for p in case.walked]
    assert case.rewalk()[0]["minutes"] == np.ceil(LENGTH_M / 60)


def test_a_line_of_one_known_place_gives_no_span(case):
    case.verdict[4] = "re-walk"
    lost = np.zeros(case.marks.kept.size, dtype=bool)
    lost[case.walked[4].rows[1:]] = True
    gone = {
        name: pl.when(pl.Series(lost)).then(None).otherwise(pl.col(name))
        for name in ("easting_m", "northing_m")
    }
    positions = changed(case.inputs["rover_positions"], **gone)
    case.inputs = case.inputs | {"rover_positions": positions}
    assert case.spans() == []


def test_a_hole_that_nobody_walked_is_walked_from_end_to_end(case):
    case.hole(2, 80.0, 110.0)
    values, _ = case.rewalk()
    (span,) = values["spans"]
    assert span["line"] == "L2"
    assert not span["whole"]
    assert sorted([span["first_northing_m"], span["last_northing_m"]]) == pytest.approx(
        [SOUTH + 80, SOUTH + 110]
    )
    assert values["length_m"] == pytest.approx(30.0)


def test_a_hole_inside_a_lost_part_is_walked_once(case):
    case.lose(2, 70.0, 120.0)
    case.hole(2, 80.0, 110.0)
    assert len(case.rewalk()[0]["spans"]) == 1


def test_a_hole_of_a_line_that_is_kept_is_left(case):
    case.hole(2, 80.0, 85.0)
    case.verdict[1] = "keep"
    assert case.rewalk()[0]["spans"] == []
