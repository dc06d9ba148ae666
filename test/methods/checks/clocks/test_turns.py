"""The walks of `test_zigzag`, clocks hours apart; lines of even pace made by hand."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.evidence import MEASURED, NOT_IDENTIFIABLE
from lodewalk.methods.checks.clocks.turns import turns_offset

WALKS = runpy.run_path(str(Path(__file__).with_name("test_zigzag.py")))
Survey, survey, any_survey = WALKS["Survey"], WALKS["survey"], WALKS["any_survey"]
SLIPS_S = [sign * hours * 3600.0 for hours in (1, 2, 5.5, 12, 24) for sign in (1, -1)]


def without_field(parts):
    return {name: part for name, part in parts.items() if name != "field_nT"}


@pytest.mark.parametrize("slip_s", [*SLIPS_S, 0.0, 18.0, 3618.0])
def test_slips_are_found_by_marked_lines(slip_s):
    seed = int(abs(slip_s)) % 97
    found = turns_offset(**without_field(survey(seed, slip_s, any_survey(seed))))
    assert found.state == MEASURED
    assert abs(found.offset_s - slip_s) < 3 * found.sd_s


def test_nearly_all_slips_are_found():
    found = 0
    for seed in range(300, 330):
        slip = SLIPS_S[seed % len(SLIPS_S)]
        item = turns_offset(**without_field(survey(seed, slip, any_survey(seed))))
        known = np.isfinite(item.offset_s)
        assert not known or abs(item.offset_s - slip) < 3 * item.sd_s
        found += known
    assert found >= 28


@pytest.mark.parametrize("slip_s", [-7200.0, 18.0])
def test_pauses_stand_for_marks(slip_s):
    parts = without_field(survey(2, slip_s, Survey(pauses=True)))
    parts["line"] = np.full(parts["line"].size, -1)
    found = turns_offset(**parts)
    assert found.state == MEASURED
    assert abs(found.offset_s - slip_s) < 3 * found.sd_s


def test_stands_are_found_in_the_field_where_there_are_no_marks():
    parts = survey(5, -19800.0, Survey(lines=40, length_m=600.0, stops_per_600_m=1.5))
    parts["line"] = [None] * parts["line"].size
    assert turns_offset(**without_field(parts)).state == NOT_IDENTIFIABLE
    found = turns_offset(**parts)
    assert found.state == MEASURED
    assert found.count > 20
    assert abs(found.offset_s + 19800.0) < 3 * found.sd_s


def test_names_right_from_one_mark_to_the_next_serve_too():
    """A walker who never ends a line but only starts the next."""
    parts = without_field(survey(6, 43200.0))
    line = parts["line"].copy()
    on = np.flatnonzero(line >= 0)
    line = line[on[np.clip(np.searchsorted(on, np.arange(line.size)), 0, on.size - 1)]]
    found = turns_offset(**(parts | {"line": line}))
    assert found.state == MEASURED
    assert abs(found.offset_s - 43200.0) < 3 * found.sd_s + 20.0


def even_lines(count):
    """Return track and lines that all take 200 s, with turns of 20 s."""
    along = np.concatenate([np.arange(200.0), np.full(20, 200.0), 200.0 - np.arange(200.0)])
    along = np.concatenate([along, np.zeros(20)])
    east = np.tile(along, count // 2)
    north = np.cumsum(np.tile(np.repeat([0.0, 1.0], [200, 20]), count))
    line = np.where(np.arange(east.size) % 220 < 200, np.arange(east.size) // 220, -1)
    return np.arange(east.size) + 0.0, east, north, line


def test_a_pattern_that_repeats_itself_says_nothing():
    time, east, north, line = even_lines(20)
    some = (line >= 6) & (line < 13)  # the rover was on for part of the lines
    found = turns_offset(
        time[some], line[some], track_time_s=time, track_easting=east, track_northing=north
    )
    assert found.state == NOT_IDENTIFIABLE


def test_fewer_than_six_starts_and_ends_say_nothing():
    parts = without_field(survey(7, 3600.0, Survey(lines=2)))
    assert turns_offset(**parts).state == NOT_IDENTIFIABLE


def test_marks_and_track_of_different_days_say_nothing():
    parts = without_field(survey(8))
    other = without_field(survey(9, rule=Survey(lines=16, length_m=300.0)))
    mixed = parts | {name: other[name] for name in other if name.startswith("track")}
    assert turns_offset(**mixed).state == NOT_IDENTIFIABLE


def test_the_sd_holds_the_habit_of_the_person():
    """Marks at the very seconds at which the track turns, so that nothing scatters."""
    pace = [1.0, 1.2, 0.9, 1.1, 0.8, 1.3, 1.0, 0.85]
    legs = [np.arange(0.0, 200.0, speed) for speed in pace]
    east = np.concatenate([200 - leg if n % 2 else leg for n, leg in enumerate(legs)])
    north = np.concatenate([np.minimum(leg / 5, 20) + 20 * n for n, leg in enumerate(legs)])
    time = np.arange(east.size) + 0.0
    line = np.repeat(np.arange(8), [leg.size for leg in legs])
    found = turns_offset(time, line, track_time_s=time, track_easting=east, track_northing=north)
    assert 1.0 <= found.sd_s < 2.0


def test_no_readings_and_no_positions_say_nothing():
    parts = without_field(survey(11))
    assert turns_offset(**(parts | {"time_s": [], "line": []})).state == NOT_IDENTIFIABLE
    nowhere = np.full(parts["track_easting"].size, np.nan)
    assert turns_offset(**(parts | {"track_easting": nowhere})).state == NOT_IDENTIFIABLE


def test_bad_input_is_refused():
    parts = survey(12)
    with pytest.raises(InputError, match="same length"):
        turns_offset(**(parts | {"line": parts["line"][1:]}))
    with pytest.raises(InputError, match="same length"):
        turns_offset(**(parts | {"field_nT": parts["field_nT"][1:]}))
    with pytest.raises(InputError, match="pause_s must be above zero"):
        turns_offset(**parts, pause_s=0.0)
