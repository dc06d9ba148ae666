"""Coverage of lines whose gaps are planted, counted by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.walked.coverage import line_coverage, passage_coverage

NORTH = [(0.0, 0.0), (0.0, 200.0)]
#: Two legs of 100 m and one of 50 m, with a corner each.
BENT = [(50.0, 0.0), (50.0, 100.0), (150.0, 100.0), (150.0, 150.0)]


def walked(*spans: tuple[float, float], step: float = 1.0) -> np.ndarray:
    return np.concatenate([np.arange(first, last + step / 2, step) for first, last in spans])


def cover(vertices: list, east: np.ndarray, north: np.ndarray, **changed: object):
    count = np.size(east)
    usual = {
        "line": np.zeros(count, dtype=int),
        "kept": np.ones(count, dtype=bool),
        "off_line_m": 5.0,
        "max_gap_m": 4.0,
    }
    return line_coverage(vertices, east, north, **usual | changed)


def test_whole_line() -> None:
    north = walked((-8, 209))
    found = cover([NORTH], np.zeros(north.size), north)
    assert found.share.tolist() == [1.0]
    assert found.share_of_all == 1.0
    assert len(found.uncovered) == 0


def test_gap_and_both_ends_of_a_line_walked_southward() -> None:
    north = walked((10, 80), (100, 196))[::-1]
    found = cover([NORTH], np.zeros(north.size), north)
    # 196 to 200 is no more than the limit; 0 to 10 and 80 to 100 are.
    assert found.uncovered.start_m.tolist() == [0.0, 80.0]
    assert found.uncovered.end_m.tolist() == [10.0, 100.0]
    assert found.covered_m.tolist() == [170.0]
    assert found.share[0] == pytest.approx(0.85)


def test_spans_end_where_the_line_does() -> None:
    # Readings before the first vertex and past the last, within the limit of 5 m.
    north = walked((-4, -1), (50, 150), (201, 204))
    found = cover([NORTH], np.zeros(north.size), north)
    assert found.uncovered.start_m.tolist() == [0.0, 150.0]
    assert found.uncovered.end_m.tolist() == [50.0, 200.0]


def test_readings_not_kept_or_off_the_line_or_without_a_place_cover_nothing() -> None:
    north = walked((0, 200))
    east, kept = np.zeros(north.size), north != 30
    kept[(north > 20) & (north < 40)] = False
    east[(north > 100) & (north < 120)] = 5.5
    place = np.where((north > 150) & (north < 160), np.nan, north)
    found = cover([NORTH], east, place, kept=kept)
    assert found.uncovered.start_m.tolist() == [20.0, 100.0, 150.0]
    assert found.uncovered.end_m.tolist() == [40.0, 120.0, 160.0]
    assert found.uncovered.length_m.tolist() == [20.0, 20.0, 10.0]
    wider = cover([NORTH], east, place, kept=kept, off_line_m=6.0, max_gap_m=10.0)
    assert wider.uncovered.start_m.tolist() == [20.0]


def test_passages_of_a_line_are_joined() -> None:
    first, second = walked((0, 120)), walked((118, 200))[::-1]
    north = np.concatenate([second, first])
    east = np.concatenate([np.full(second.size, 2.0), np.full(first.size, -2.0)])
    assert cover([NORTH], east, north).share.tolist() == [1.0]
    assert cover([NORTH], east[second.size :], first).share.tolist() == [0.6]


def test_bent_line_goes_by_its_legs() -> None:
    along = walked((0, 90), (110, 215))
    east = np.interp(along, [0, 100, 200, 250], [50, 50, 150, 150])
    north = np.interp(along, [0, 100, 200, 250], [0, 100, 100, 150])
    found = cover([NORTH, BENT], east, north, line=np.ones(along.size, dtype=int))
    assert found.length_m.tolist() == [200.0, 250.0]
    assert found.uncovered.line.tolist() == [0, 1, 1]
    assert found.uncovered.start_m.tolist() == [0.0, 90.0, 215.0]
    assert found.uncovered.end_m.tolist() == [200.0, 110.0, 250.0]
    # The gap around the first corner begins 10 m before it and ends 10 m after it.
    spans = found.uncovered
    np.testing.assert_allclose(
        np.column_stack([spans.start_easting_m, spans.start_northing_m])[1:], [(50, 90), (150, 115)]
    )
    np.testing.assert_allclose(
        np.column_stack([spans.end_easting_m, spans.end_northing_m])[1:], [(60, 100), (150, 150)]
    )
    assert found.share_of_all == pytest.approx((250 - 20 - 35) / 450)


def test_one_reading_covers_nothing_and_none_at_all_neither() -> None:
    alone = cover([NORTH], np.zeros(1), np.array([90.0]))
    assert alone.share.tolist() == [0.0]
    assert alone.uncovered.start_m.tolist() == [0.0]
    assert alone.uncovered.end_m.tolist() == [200.0]
    nothing = cover([NORTH, BENT], np.empty(0), np.empty(0))
    assert nothing.share.tolist() == [0.0, 0.0]
    no_plan = cover([], np.zeros(3), np.zeros(3), line=[-1, -1, -1])
    assert no_plan.share.size == 0
    assert np.isnan(no_plan.share_of_all)


def test_readings_of_other_lines_do_not_count() -> None:
    north = walked((0, 200))
    found = cover([NORTH], np.zeros(north.size), north, line=np.full(north.size, -1))
    assert found.share.tolist() == [0.0]


def test_random_gaps_against_a_count_of_metres() -> None:
    rng = np.random.default_rng(8)
    for _ in range(30):
        north = np.unique(np.round(rng.uniform(0, 200, 60), 2))
        found = cover([NORTH], rng.uniform(-4, 4, north.size), north)
        # Every centimetre: covered where the readings on both sides are near each other.
        place = np.arange(0.005, 200, 0.01)
        edges = np.concatenate(([0.0], north, [200.0]))
        after = np.searchsorted(edges, place)
        expected = np.mean(edges[after] - edges[after - 1] <= 4.0)
        assert found.share[0] == pytest.approx(expected, abs=1e-6)


def test_bad_input() -> None:
    with pytest.raises(InputError, match="line that isn't planned"):
        cover([NORTH], np.zeros(1), np.zeros(1), line=[1])
    with pytest.raises(InputError, match="max_gap_m must be above zero"):
        cover([NORTH], np.zeros(1), np.zeros(1), max_gap_m=0.0)
    with pytest.raises(InputError, match="reach_m must be above zero"):
        cover([NORTH], np.zeros(1), np.zeros(1), off_line_m=-1.0)
    with pytest.raises(InputError, match="same length"):
        cover([NORTH], np.zeros(2), np.zeros(2), kept=[True])


def test_passages_without_a_plan() -> None:
    along = walked((0, 100))
    kept = ~((along > 40) & (along < 60))
    kept[along < 10] = False
    angle = np.deg2rad(30.0)
    east, north = 500 + along * np.sin(angle), 900 + along * np.cos(angle)
    # The second passage goes the same way back and is whole.
    both = [np.concatenate([axis, axis[::-1]]) for axis in (east, north)]
    found = passage_coverage(
        *both,
        passage=np.repeat([0, 2], along.size),
        kept=np.concatenate([kept, np.ones(along.size, dtype=bool)]),
        max_gap_m=5.0,
    )
    np.testing.assert_allclose(found.length_m, [100, 0, 100])
    np.testing.assert_allclose(found.covered_m, [70, 0, 100])
    spans = found.uncovered
    assert spans.line.tolist() == [0, 0]
    np.testing.assert_allclose(spans.start_m, [0, 40])
    np.testing.assert_allclose(spans.end_m, [10, 60])
    np.testing.assert_allclose(spans.start_easting_m, 500 + np.array([0, 40]) * np.sin(angle))
    np.testing.assert_allclose(spans.end_northing_m, 900 + np.array([10, 60]) * np.cos(angle))
    assert np.isnan(found.share[1])
