"""Decisions: what a line may hold, what counts, and what is taken back."""

import json

import pytest

from lodewalk.errors import InputError
from lodewalk.services.add import add_files
from lodewalk.services.decide import checklists, decide, decisions_in_force, tick, withdraw
from lodewalk.survey.decisions import append_decision, in_force, read_decisions
from lodewalk.survey.folder import create_folder

SETTINGS = {"survey": {"name": "North hill", "crs": "EPSG:31982"}}
WHO = {"reason": "seen in the field", "who": "AB"}


@pytest.fixture
def folder(tmp_path):
    return create_folder(tmp_path / "survey", SETTINGS)


@pytest.fixture
def survey(folder, tmp_path):
    """A survey with a base B1 and a rover R1 of two readings each."""
    for role, name, level in (("base", "B1", 22_950), ("rover", "R1", 22_960)):
        file = tmp_path / f"{role}.csv"
        rows = "".join(f"2026-03-10T14:00:{s:02d}Z,{level + s}.1\n" for s in (0, 10))
        file.write_text(f"time_utc,total_field_nT\n{rows}")
        add_files(folder, [file], role=role, instrument=name)
    return folder


def line(**more):
    """Return one line of the file as a person could write it."""
    row = {
        "id": "a1", "kind": "drop", "target": {"instrument": "R1"}, "reason": "a car", "who": "AB",
        "when_utc": "2026-03-10T20:00:00Z",
    }  # fmt: skip
    return json.dumps(row | more)


def write(folder, *lines, end="\n"):
    folder.decisions_file.parent.mkdir(parents=True, exist_ok=True)
    folder.decisions_file.write_text("\n".join(lines) + end)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"target": {}}, "either readings or an instrument"),
        ({"target": {"instrument": "R1", "readings": ["1:2"]}}, "either readings or an instrument"),
        ({"target": {"readings": ["1:2"], "start": "2026-03-10T14:00:00"}}, "a span goes with"),
        ({"target": {"instrument": "R1", "start": "2026-03-10T14:00:00+01:00"}}, "as recorded"),
        ({"target": {"instrument": "R1", "end": "2026-03-10T14:00:00Z"}}, "as recorded"),
        ({"target": {"instrument": "R1", "end": "14 o'clock"}}, "YYYY-MM-DDTHH:MM:SS"),
        ({"target": {"readings": ["1:2"]}, "kind": "bridge"}, "is about an instrument"),
        ({"target": {"readings": ["1:2"]}, "kind": "clock", "value": {"offset_s": 1}},
         "is about an instrument"),
        ({"kind": "clock"}, "a clock decision has the value"),
        ({"kind": "clock", "value": {"offset_s": 4e8}}, "less than or equal to 320000000"),
        ({"kind": "clock", "value": {"offset_s": -4e8}}, "greater than or equal to -320000000"),
        ({"kind": "clock", "value": {"test": "static"}}, "value.offset_s: Field required"),
        ({"kind": "drop", "value": {"offset_s": 1}}, "a drop decision has the value null"),
        ({"kind": "tick", "value": {"item": ""}}, "value.item"),
        ({"kind": "test", "value": {"test": "jump"}}, "value.test"),
        ({"reason": "  "}, "reason"),
        ({"who": " "}, "who"),
        ({"who": ""}, "who"),
        ({"id": ""}, "id"),
        ({"when_utc": "2026-03-10T20:00:00"}, "when_utc"),
        ({"mood": "bad"}, "mood"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_decision_is_refused_with_its_number(folder, more, told):
    write(folder, line(id="a0"), "", line(**more))
    with pytest.raises(InputError, match="no decision") as caught:
        read_decisions(folder)
    assert told in str(caught.value)
    assert caught.value.line == 3


@pytest.mark.parametrize("kind", ["drop", "keep"])
def test_readings_may_be_dropped_or_kept_one_by_one(folder, kind):
    write(folder, line(kind=kind, target={"readings": ["1:2", "1:3"]}))
    (found,) = read_decisions(folder)
    assert found.target.readings == ("1:2", "1:3")


def test_blank_lines_count_but_hold_nothing(folder):
    write(folder, "", line(), "   ", line(id="a2"), "")
    assert [item.id for item in read_decisions(folder)] == ["a1", "a2"]


@pytest.mark.parametrize(
    "lines",
    [
        (line(), line()),  # one id twice
        (line(withdraws="a0"),),  # nothing of that id above
        (line(id="a2", withdraws="a1"), line()),  # it stands below
        (line(), line(id="a2", withdraws="a1"), line(id="a3", withdraws="a2")),
    ],
)
def test_lines_that_don_t_fit_together_are_refused(folder, lines):
    write(folder, *lines)
    with pytest.raises(InputError) as caught:
        read_decisions(folder)
    assert caught.value.line == (1 if lines[0] != line() else len(lines))


def test_what_counts_is_neither_withdrawn_nor_a_withdrawal_nor_of_another_kind(folder):
    write(
        folder, line(), line(id="a2", kind="keep"), line(id="a3"), line(id="a4", withdraws="a1"),
        line(id="a5"),
    )  # fmt: skip
    found = read_decisions(folder)
    assert [item.id for item in in_force(found, ("drop",))] == ["a3", "a5"]
    assert [item.id for item in in_force(found, ("drop", "keep"))] == ["a2", "a3", "a5"]


def test_a_product_depends_on_what_was_decided_not_on_who_when_or_why(folder):
    write(folder, line(), line(id="a2", who="CD", reason="x", when_utc="2026-03-11T20:00:00Z"))
    one, other = read_decisions(folder)
    assert one.effect() == other.effect()
    assert set(one.effect()) == {"kind", "target", "value"}


def test_a_line_without_its_end_is_not_run_into_by_the_next(folder):
    write(folder, line(), end="")
    append_decision(folder, kind="keep", target={"instrument": "R1"}, value=None, **WHO)
    assert [item.kind for item in read_decisions(folder)] == ["drop", "keep"]


def test_a_decision_that_is_refused_leaves_no_line(folder):
    with pytest.raises(InputError):
        append_decision(folder, kind="drop", target={}, value=None, **WHO)
    assert not folder.decisions_file.exists()


def test_what_was_decided_is_what_is_written(survey):
    span = {"start": "2026-03-10T14:00:00", "end": "2026-03-10T14:01:00"}
    made = decide(
        survey, kind="test", instrument="R1", test="with", item="radio", **span, **WHO
    )  # fmt: skip
    (found,) = read_decisions(survey)
    assert found.id == made.id
    assert found.target.model_dump() == {"readings": (), "instrument": "R1", **span}
    assert (found.value.test, found.value.item) == ("with", "radio")
    assert (found.reason, found.who) == ("seen in the field", "AB")
    assert decide(survey, kind="drop", readings=("1:2",), **WHO).target["readings"] == ["1:2"]


def test_an_offset_of_nought_is_an_offset(survey):
    made = decide(survey, kind="clock", instrument="R1", offset_s=0.0, **WHO)
    assert made.value == {"offset_s": 0.0}


def test_a_decision_is_taken_back_once_by_the_beginning_of_its_id(survey):
    write(survey, line(id="abc1"), line(id="abd2"), line(id="xab3"))
    with pytest.raises(InputError, match="abc1, abd2, xab3"):
        withdraw(survey, "ab", **WHO)  # two begin so
    taken = withdraw(survey, "abc", **WHO)
    assert (taken.withdraws, taken.kind, taken.target["instrument"]) == ("abc1", "drop", "R1")
    assert [item.id for item in decisions_in_force(survey)] == ["abd2", "xab3"]
    with pytest.raises(InputError, match="abd2, xab3"):
        withdraw(survey, "abc1", **WHO)  # it is taken back already
    assert withdraw(survey, "ab", **WHO).withdraws == "abd2"  # now only one begins so


def test_the_list_holds_every_kind_but_ticks(survey):
    decide(survey, kind="clock", instrument="R1", offset_s=18.0, **WHO)
    decide(survey, kind="test", instrument="R1", test="static", **WHO)
    decide(survey, kind="bridge", instrument="B1", **WHO)
    tick(survey, ("clock",), instrument="B1", day="2026-03-10", who="AB")
    found = decisions_in_force(survey)
    assert [item.kind for item in found] == ["clock", "test", "bridge"]


def test_ticks_are_of_an_instrument_a_day_and_an_item(survey):
    tick(survey, ("clock", "power"), instrument="B1", day="2026-03-10", who="AB")
    tick(survey, ("clock",), instrument="R1", day="2026-03-11", who="CD")
    days = tuple((f"2026-03-{day}", name) for day in (10, 11) for name in ("B1", "R1"))
    done = {
        (row.day, row.instrument, row.item): row.who
        for row in checklists(survey, days=days).items
        if row.who
    }
    assert done == {
        ("2026-03-10", "B1", "clock"): "AB",
        ("2026-03-10", "B1", "power"): "AB",
        ("2026-03-11", "R1", "clock"): "CD",
    }


def test_a_base_and_a_rover_have_checklists_of_their_own(survey):
    items = {
        name: {row.item for row in checklists(survey, days=(("2026-03-10", name),)).items}
        for name in ("B1", "R1")
    }
    assert "cables" in items["B1"] - items["R1"]
    assert "clean" in items["R1"] - items["B1"]


def test_an_unknown_item_ticks_nothing(survey):
    with pytest.raises(InputError, match="no such item"):
        tick(survey, ("clock", "wings"), instrument="B1", day="2026-03-10", who="AB")
    assert read_decisions(survey) == []


def test_the_span_of_a_tick_is_its_day(survey):
    tick(survey, ("clock",), instrument="B1", day="2026-03-10", who="AB")
    (found,) = read_decisions(survey)
    assert (found.target.start, found.target.end) == ("2026-03-10T00:00:00", "2026-03-10T23:59:59")
