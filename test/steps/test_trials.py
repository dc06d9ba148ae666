"""Tests of set-up and cleanliness, marked by the file, by notes and by decisions.

A rover stands at the base's side; what each test should give is planted.
"""

from datetime import timedelta

import numpy as np
import pytest

from lodewalk.services.check import check
from lodewalk.services.decide import decide
from lodewalk.steps.set_up import read_mark
from lodewalk.survey.folder import open_folder
from small_survey import SOUTH, START, WEST, stamp

RADIO_NT, HEADING_NT = 2.6, 1.5


def field(seconds):
    return 22_900.0 + 0.004 * np.asarray(seconds)


def base_text():
    times = np.arange(-900.0, 2400.0, 10.0)
    return ["time_utc,total_field_nT", *(f"{stamp(t)},{field(t):.3f}" for t in times)]


def rover_text(marks=True):
    """Stands of two minutes: static, turn-around, check, without and with the radio, check."""
    rng = np.random.default_rng(4)
    seconds = np.arange(0.0, 720.0)
    names = np.repeat(["static", "turn-around", "check", "without", "with", "check"], 120)
    value = field(seconds) + rng.normal(0.0, 0.1, seconds.size)
    turning = names == "turn-around"
    value[turning] += HEADING_NT * np.cos(np.radians(np.repeat(np.arange(0, 360, 45), 15)))
    value[names == "with"] += RADIO_NT
    value[600:] += 0.8  # the check station reads higher in the end
    rows = [
        f"{stamp(t)},{WEST:.2f},{SOUTH:.2f},{name if marks else ''},{v:.3f}"
        for t, name, v in zip(seconds, names, value, strict=True)
    ]
    return ["time_utc,easting,northing,line,total_field_nT", *rows]


def note(seconds, text, name="R1"):
    return f"{stamp(seconds)},{name},{text}"


def results_of(bench):
    return {(t.test, t.item): t for t in check(open_folder(bench.path)).tests}


@pytest.fixture
def standing(bench):
    bench.add("base.csv", base_text(), "base", "B1")
    return bench


def test_marks_of_the_file_make_tests_with_figure_and_result(standing):
    standing.add("rover.csv", rover_text(), "rover", "R1")
    found = results_of(standing)
    assert found["static", ""].figure_nT == pytest.approx(0.1, abs=0.02)
    assert found["static", ""].passed is True
    assert found["turn-around", ""].figure_nT == pytest.approx(2 * HEADING_NT, abs=0.25)
    assert found["turn-around", ""].passed is False
    assert found["check-station", ""].figure_nT == pytest.approx(0.8, abs=0.1)
    assert found["check-station", ""].passed is True
    # A bare "with" may be any word: with and without an item are marked by notes.
    assert {line.line for line in standing.lines()} == {"with", "without"}


WAYS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def test_a_mark_for_each_way_that_was_faced_is_one_test(standing):
    rows = rover_text()
    for place, way in enumerate(WAYS):
        for row in range(121 + 15 * place, 121 + 15 * (place + 1)):
            rows[row] = rows[row].replace("turn-around", f"turn-around {way}")
    standing.add("rover.csv", rows, "rover", "R1")
    turns = [test for test in check(open_folder(standing.path)).tests if test.test == "turn-around"]
    (turn,) = turns
    assert turn.figure_nT == pytest.approx(2 * HEADING_NT, abs=0.25)
    assert {line.line for line in standing.lines()} == {"with", "without"}


def test_notes_of_the_ways_faced_stand_beside_the_mark_of_the_whole(standing):
    standing.add("rover.csv", rover_text(), "rover", "R1")
    notes = [note(120 + 15 * n, f"test: turn-around {way}") for n, way in enumerate(WAYS)]
    notes.append(note(239, "test: turn-around end"))
    standing.add("notes.csv", ["time,name,text", *notes], "notes")
    found = [test for test in check(open_folder(standing.path)).tests if test.test == "turn-around"]
    assert len(found) == 2
    for turn in found:
        assert turn.figure_nT == pytest.approx(2 * HEADING_NT, abs=0.35)


def test_notes_mark_an_item_taken_along_and_left_away(standing):
    standing.add("rover.csv", rover_text(marks=False), "rover", "R1")
    notes = [
        "time,name,text",
        note(360, "test: without radio start"),
        note(479, "test: without radio end"),
        note(480, "test: with radio start"),
        note(599, "test: with radio end"),
        note(100, "walked with care"),
    ]
    standing.add("notes.csv", notes, "notes")
    found = results_of(standing)
    assert set(found) == {("with", "radio")}
    (test,) = found.values()
    assert test.figure_nT == pytest.approx(RADIO_NT, abs=4 * test.sd_nT)
    assert test.sd_nT < 0.1
    assert test.passed is False
    told = [f for f in standing.findings("test") if f.severity == "doubt"]
    assert len(told) == 1
    assert "radio changes 2.6" in told[0].text


def test_a_decision_marks_a_span_afterwards(standing):
    standing.add("rover.csv", rover_text(marks=False), "rover", "R1")
    ends = [(START + timedelta(seconds=s)).strftime("%Y-%m-%dT%H:%M:%S") for s in (0, 119)]
    decide(
        open_folder(standing.path), kind="test", instrument="R1", start=ends[0], end=ends[1],
        test="static", reason="stood beside the base", who="AB",
    )  # fmt: skip
    (test,) = results_of(standing).values()
    assert (test.test, test.passed) == ("static", True)


def test_without_a_base_the_text_says_what_is_still_in_the_figure(bench):
    bench.add("rover.csv", rover_text(), "rover", "R1")
    found = results_of(bench)
    assert "variation of the field still in it" in found["check-station", ""].text
    assert found["static", ""].passed is True


@pytest.mark.parametrize(
    ("text", "test", "item"),
    [
        ("Check Station", "check-station", ""),
        ("SIDE BY SIDE", "side-by-side", ""),
        ("test: with handheld 2 min", "with", "handheld"),
        ("test without companion end", "without", "companion"),
        ("static run", "static", ""),
        ("turn-around NE", "turn-around", "ne"),
        ("test: turn-around N, NE, E", "turn-around", "n, ne, e"),
    ],
)
def test_words_that_people_use_are_understood(text, test, item):
    mark = read_mark(text)
    assert (mark.test, mark.item) == (test, item)


@pytest.mark.parametrize(
    "text", ["", None, "L12", "with care", "Static Ridge", "checkered rock", "turn-around hill"]
)
def test_other_words_mark_no_test(text):
    assert read_mark(text) is None
