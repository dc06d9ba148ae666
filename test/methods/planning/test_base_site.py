"""The base's site: rules first, then the least to walk."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.base_site import Candidates, base_sites, turn_spot


def candidates(count=5, **changed):
    plain = {
        "place": np.column_stack([100.0 * np.arange(count), np.zeros(count)]),
        "to_track_m": np.full(count, 500.0),
        "inside_clear_m": np.zeros(count),
        "to_source_m": np.full(count, np.inf),
        "slope_deg": np.full(count, np.nan),
        "to_lines_m": 100.0 * np.arange(count),
        "way_in_m": np.full(count, np.nan),
    }
    return Candidates(**(plain | changed))


def test_the_place_with_least_walking_is_best_and_alternatives_stand_apart():
    found = base_sites(candidates(), track_m=100.0, apart_m=150.0)
    assert [site.number for site in found] == [0, 2, 4]
    # By hand: 0 m to the lines, no way in, no slope, 200 m * 100 / 500 for the track.
    assert found[0].score_m == pytest.approx(40.0)
    assert found[1].to_lines_m == 200.0
    assert all(not site.broken for site in found)


def test_a_rule_goes_before_any_score():
    found = base_sites(
        candidates(
            to_track_m=np.array([99.0, 500, 500, 500, 500]),
            inside_clear_m=np.array([0.0, 3, 0, 0, 0]),
            slope_deg=np.array([0.0, 0, 11, 0, 9]),
        ),
        track_m=100.0,
        apart_m=1.0,
        count=5,
    )
    assert [site.number for site in found] == [3, 4, 0, 2, 1]
    assert found[0].broken == found[1].broken == ()
    assert found[1].slope_m == pytest.approx(180.0)
    assert "99 m from a road" in found[2].broken[0]
    assert "slopes by 11 degrees" in found[3].broken[0]
    assert "3 m inside" in found[4].broken[0]


def test_the_way_in_counts_where_it_is_known():
    found = base_sites(
        candidates(way_in_m=np.array([900.0, 100, 0, 0, 0])), track_m=100.0, apart_m=1.0
    )
    assert found[0].number == 1


def test_without_a_candidate_there_is_an_error():
    with pytest.raises(InputError, match="no place"):
        base_sites(candidates(0), track_m=100.0, apart_m=1.0)


def test_turns_are_made_on_open_gentle_ground_near_the_base():
    place = np.column_stack([100.0 * np.arange(4), np.zeros(4)])
    clearance = np.array([5.0, 30, 30, 30])
    slope = np.array([0.0, 25, 3, 3])
    assert turn_spot(place, clearance, slope, np.zeros(2), open_m=20.0) == 2
    assert turn_spot(place, clearance, slope, np.zeros(2), open_m=90.0) == 2
    assert turn_spot(place, clearance, slope, np.zeros(2), open_m=20.0, apart_m=250.0) == 3
    assert turn_spot(place[:0], clearance[:0], slope[:0], np.zeros(2), open_m=20.0) is None
