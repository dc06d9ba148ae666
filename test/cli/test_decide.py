"""Decisions and checklists from the command line."""

import json
from dataclasses import asdict

import pytest

from lodewalk.services.check import CheckResult, Missed, Rewalk
from lodewalk.steps.proposed import Proposal
from small_survey import write_small_survey

WHO = ("--reason", "seen in the field", "--who", "AB")
R1 = ("--instrument", "R1")


def spanned(start, end):
    return ("--start", f"2026-03-10T{start}", "--end", f"2026-03-10T{end}")


@pytest.fixture
def folder(lodewalk, tmp_path):
    truth = write_small_survey(tmp_path)
    path = tmp_path / "survey"
    lodewalk("new", path, "--name", "Small", "--crs", "EPSG:31982")
    lodewalk("add", path, truth.base, "--role", "base", "--instrument", "B1")
    lodewalk("add", path, truth.rover, "--role", "rover", "--instrument", "R1")
    return path


def test_a_decision_is_written_shown_and_taken_back(lodewalk, folder):
    words = ("--instrument", "R1", "--offset", "18")
    made = json.loads(lodewalk("decide", folder, "clock", *words, *WHO, "--json").out)
    assert made["value"] == {"offset_s": 18.0}
    assert made["target"]["instrument"] == "R1"
    listed = lodewalk("decide", folder, "list")
    assert "clock set right  R1, all its record  clock minus UTC 18.0 s" in listed.out
    assert "offset_s" not in listed.out
    back = lodewalk("decide", folder, "withdraw", "--id", made["id"][:8], *WHO)
    assert back.code == 0
    assert json.loads(lodewalk("decide", folder, "list", "--json").out) == {"decisions": []}
    assert len((folder / "decisions" / "decisions.jsonl").read_text().splitlines()) == 2


def proposing(folder, *proposals):
    """Write a check whose findings propose decisions."""
    findings = [
        {"kind": "x", "instrument": None, "start_utc": None, "end_utc": None, "severity": "doubt",
         "text": "x", "proposal": asdict(item)}
        for item in proposals
    ]  # fmt: skip
    missed = Missed(5.0, 0.05, 2.0, 1.0, 0.9, None, None, None, None, 0)
    empty = CheckResult([], [], [], [], missed, [], Rewalk(0.0, 0.0, 0, None, []))
    (folder / "products").mkdir(exist_ok=True)
    text = json.dumps(asdict(empty) | {"findings": findings})
    (folder / "products" / "check.json").write_text(text)


def test_a_proposal_is_refused_and_the_refusal_taken_back(lodewalk, folder, refused):
    words = ("decide", folder, "decline", "--proposed", "clock")
    assert "hasn't been checked yet" in refused(folder, *words, *WHO)
    day = ("2026-03-10T12:00:00", "2026-03-10T16:00:00")
    clocks = [Proposal("clock", name, *day, offset_s=17.4) for name in ("R1", "R2")]
    proposing(folder, *clocks)
    message = refused(folder, *words, *WHO)
    assert "Several proposals fit" in message
    assert "decide clock --instrument R2 --start" in message
    made = json.loads(lodewalk(*words, *R1, *WHO, "--json").out)
    assert made["target"] == {"instrument": "R1", "start": day[0], "end": day[1], "readings": []}
    assert (made["value"]["proposed"], made["value"]["offset_s"]) == ("clock", 17.4)
    assert "proposal refused" in lodewalk("decide", folder, "list").out
    assert "No proposal that waits" in refused(folder, *words, *R1, *WHO)
    proposing(folder, Proposal("clock", "R1", *day, offset_s=3617.4))  # other evidence by now
    anew = json.loads(lodewalk(*words, *R1, *WHO, "--json").out)
    assert anew["value"]["offset_s"] == 3617.4
    lodewalk("decide", folder, "withdraw", "--id", anew["id"], *WHO)
    assert lodewalk(*words, *R1, *WHO).code == 0


def test_of_two_proposals_on_one_record_the_value_tells_which_is_refused(lodewalk, folder, refused):
    words = ("decide", folder, "decline", "--proposed", "clock", *R1)
    both = [Proposal("clock", "R1", offset_s=size) for size in (17.4, 21.0)]
    proposing(folder, *both, *both)  # what two findings propose is one
    assert "Several proposals fit" in refused(folder, *words, *WHO)
    assert "Another value is proposed" in refused(folder, *words, "--offset", "3", *WHO)
    made = json.loads(lodewalk(*words, "--offset", "21", *WHO, "--json").out)
    assert made["value"]["offset_s"] == 21.0


def test_a_new_plan_after_rover_files_is_refused_with_the_options_that_let_it(refused, folder):
    told = refused(folder, "plan", folder)
    assert "make a draft, to look at only. Options: --replace, --draft." in told


def test_a_span_is_marked_as_a_test(lodewalk, folder):
    words = ("--instrument", "R1", "--test", "with", "--item", "radio")
    span = ("--start", "2026-03-10T14:00:00", "--end", "2026-03-10T14:01:00")
    made = json.loads(lodewalk("decide", folder, "test", *words, *span, *WHO, "--json").out)
    assert made["value"] == {"test": "with", "item": "radio"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("clock", "--instrument", "R9", "--offset", "1", *WHO), "Instruments are B1, R1"),
        (("clock", "--instrument", "R1", *WHO), "behind is below 0. Option: --offset."),
        (("drop", "--instrument", "R1", "--who", "AB"), "Give --reason"),
        (("drop", "--instrument", "R1", "--reason", "x"), "Give --who"),
        (("nap", "--instrument", "R1", *WHO), "kind: Input should be 'clock'"),
        (("test", "--instrument", "R1", "--test", "nap", *WHO), "Input should be 'static'"),
        (("withdraw", "--id", "zz", *WHO), "In force are none"),
        (("withdraw", *WHO), "Give --id"),
        (("drop", *WHO), "either readings or an instrument"),
        (("drop", "--reading", "", *WHO), "at least 1 character"),
        (("drop", *R1, *WHO), "record is meant. Options: --start, --end, --whole."),
        (("keep", *R1, "--whole", *WHO), "whole record goes with a drop"),
        (("drop", *R1, "--whole", *spanned("14:00:00", "14:10:00"), *WHO), "without a span"),
        (("drop", *R1, "--offset", "4", *WHO), "A drop decision takes no offset"),
        (("drop", *R1, "--test", "static", *WHO), "takes no test"),
        (("clock", *R1, "--offset", "4", "--item", "radio", *WHO), "takes no item"),
        (("decline", *R1, *WHO), "Give the kind proposed"),
        (("decline", "--proposed", "move", "--reading", "x", *WHO), "Leave the readings out"),
        (("drop", *R1, "--proposed", "move", *WHO), "takes no proposed"),
        (("bridge", *R1, *WHO), "No file of role base"),
        (("test", "--instrument", "B1", "--test", "static", *WHO), "No file of role rover"),
        (("tick", *R1, "--item", "clock", *WHO), "lodewalk tick"),
        (
            ("drop", *R1, *spanned("14:10:00", "14:00:00"), *WHO),
            "taken: a span ends after it starts",
        ),
        (("drop", *R1, "--start", "2026-W11", *WHO), "YYYY-MM-DDTHH"),
        (("drop", *R1, "--end", "2026-03-10", *WHO), "YYYY-MM-DDTHH"),
        (("drop", *R1, *spanned("14:00:00Z", "14:10:00Z"), *WHO), "without Z or offset"),
    ],
)
def test_an_unclear_decision_is_refused(refused, folder, words, told):
    message = refused(folder, "decide", folder, *words)
    assert told in message
    assert "decisions.jsonl" not in message  # the line isn't there, nothing can be mended in it


def test_a_decision_on_a_whole_record_says_so(lodewalk, folder):
    assert "R1, all its record" in lodewalk("decide", folder, "drop", *R1, "--whole", *WHO).out


def test_an_item_is_ticked_once(lodewalk, folder):
    about = ("--instrument", "B1", "--day", "2026-03-10")
    lodewalk("tick", folder, "clock", "clock", *about, "--who", "AB")
    done = lodewalk("tick", folder, "clock", *about, "--who", "CD", "--json")
    items = {item["item"]: item for item in json.loads(done.out)["items"]}
    assert items["clock"]["who"] == "AB"
    assert len((folder / "decisions" / "decisions.jsonl").read_text().splitlines()) == 1


def test_items_are_ticked_and_kept_with_time_and_initials(lodewalk, folder):
    about = ("--instrument", "B1", "--day", "2026-03-10")
    done = lodewalk("tick", folder, "clock", "power", *about, "--who", "AB", "--json")
    items = {item["item"]: item for item in json.loads(done.out)["items"]}
    assert items["clock"]["who"] == "AB"
    assert items["clock"]["when_utc"].endswith("Z")
    assert items["site"]["who"] is None
    shown = lodewalk("tick", folder, *about)
    assert shown.out.count("\n") == len(items)
    assert sum(row.startswith("+") for row in shown.out.splitlines()) == 2
    other = json.loads(lodewalk("tick", folder, *about[:2], "--day", "2026-03-11", "--json").out)
    assert all(item["who"] is None for item in other["items"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("wings", "--instrument", "B1", "--day", "2026-03-10", "--who", "AB"), "Items are copies"),
        (("clock", "--instrument", "B1", "--who", "AB"), "Give --day"),
        (("clock", "--day", "2026-03-10", "--who", "AB"), "Give --instrument"),
        (("clock", "--instrument", "B1", "--day", "10.3.2026", "--who", "AB"), "YYYY-MM-DD"),
        (("clock", "--instrument", "B1", "--day", "2026-03-10"), "Give who"),
        (("clock", "--instrument", "B1", "--day", "2026-02-30", "--who", "AB"), "of the calendar"),
        (("--instrument", "B1", "--day", "2026-02-30"), "of the calendar"),
        (("--instrument", "R9", "--day", "2026-03-10"), "Instruments are B1, R1"),
    ],
)
def test_an_unclear_tick_is_refused(refused, folder, words, told):
    assert told in refused(folder, "tick", folder, *words)


def test_a_lag_is_written_shown_and_taken_back(lodewalk, folder):
    made = json.loads(
        lodewalk("decide", folder, "lag", *R1, "--lag", "0.52", "--sd", "0.06", *WHO, "--json").out
    )
    assert made["value"] == {"lag_s": 0.52, "sd_s": 0.06}
    assert "field late by 0.52 s, sd 0.06 s" in lodewalk("decide", folder, "list").out
    assert lodewalk("decide", folder, "withdraw", "--id", made["id"][:8], *WHO).code == 0
    early = lodewalk("decide", folder, "lag", *R1, "--lag", "-0.3", *WHO, "--json")
    assert json.loads(early.out)["value"] == {"lag_s": -0.3, "sd_s": None}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("lag", *R1, *WHO), "Give the lag"),
        (("lag", *R1, "--lag", "11", *WHO), "between -10 and 10 s; a larger shift is an error"),
        (("lag", *R1, "--lag", "nan", *WHO), "lag_s"),
        (("lag", *R1, "--lag", "1", "--sd", "-1", *WHO), "sd_s: Input should be greater"),
        (("lag", *R1, "--lag", "1", "--offset", "1", *WHO), "A lag decision takes no offset"),
        (("clock", *R1, "--offset", "1", "--lag", "1", *WHO), "A clock decision takes no lag"),
        (("lag", "--instrument", "B1", "--lag", "1", *WHO), "No file of role rover"),
        (("lag", "--reading", "a:1", "--lag", "1", *WHO), "is about an instrument"),
    ],
)
def test_an_unclear_lag_is_refused(refused, folder, words, told):
    assert told in refused(folder, "decide", folder, *words)
