"""The evening over the API, on a survey with planted trouble: silence, swings, a hole, a fence."""

import json
import os
import xml.etree.ElementTree as ET
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

import evening_survey as planted
from evening_survey import make_evening
from lodewalk.services.check import (
    CheckedBase,
    CheckedDay,
    CheckedLine,
    RewalkSpan,
    check,
    checked,
)
from lodewalk.services.curves.walks import profile, walks
from lodewalk.services.decide import DecideResult
from lodewalk.services.evening.answers import Answer, answer_to, lines_named
from lodewalk.services.evening.day import day_result, sentence, to_do
from lodewalk.services.guide import _hint, _known
from lodewalk.services.overview import overview
from lodewalk.steps.proposed import Proposal
from small_survey import START
from web_client import client_of, ended

DAY = "2026-03-10"


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """The planted evening, checked, with a client for it."""
    folder = make_evening(tmp_path_factory.mktemp("evening"))
    check(folder)
    session, client = client_of(folder.path)
    yield folder, client
    session.close()


def at(text):
    """Return seconds since the first reading of the rover."""
    return (datetime.fromisoformat(text) - START).total_seconds()


def test_bands_of_the_base_follow_the_planted_silence_and_swings(evening):
    _, client = evening
    day = client.get(f"/api/days/{DAY}").json()
    bands = [(at(b["start_utc"]), at(b["end_utc"]), b["verdict"]) for b in day["bands"]]
    assert all(end > start for start, end, _ in bands)
    assert all(a[1] <= b[0] for a, b in pairwise(bands))
    silent = [b for b in bands if b[2] == "unknown" and b[0] < planted.FAST_S]
    assert len(silent) == 1
    assert abs(silent[0][0] - planted.SILENT_S[0]) <= 60
    assert abs(silent[0][1] - planted.SILENT_S[1]) <= 60
    quiet = [verdict for start, end, verdict in bands if end < planted.SILENT_S[0]]
    assert set(quiet) == {"keep"}
    fast = (planted.FAST_S + 120, planted.FAST_S + 900)
    swinging = {verdict for start, end, verdict in bands if start < fast[1] and end > fast[0]}
    assert swinging
    assert swinging <= {"doubt", "re-walk"}


def test_the_day_is_told_in_words_with_what_to_do(evening):
    _, client = evening
    day = client.get(f"/api/days/{DAY}").json()
    verdicts = client.get("/api/check").json()["days"][0]["lines"]
    again = [line for line in verdicts if line["verdict"] == "re-walk"]
    assert [line["line"] for line in again] == ["L7", "L8"]
    km = sum(line["length_m"] for line in again) / 1000
    whole = f"Keep the day, but walk 2 lines ({km:.1f} km) and a piece of 1 line (30 m) again; "
    assert day["sentence"].startswith(whole)
    assert any(item["where"] == "again" and "L7" in item["text"] for item in day["to_do"])
    assert any("gap in the record of B1" in item["text"] for item in day["to_do"])


def test_a_finding_names_its_lines_and_its_proposal(evening):
    _, client = evening
    findings = client.get(f"/api/days/{DAY}").json()["findings"]
    drum = [item for item in findings if item["kind"] == "compact source"]
    assert ["L6"] in [item["lines"] for item in drum]
    (bridge,) = [item for item in findings if (item["proposal"] or {}).get("kind") == "bridge"]
    assert bridge["proposal"]["instrument"] == "B1"
    assert bridge["answered"] is None
    order = ["loss", "doubt", "information"]
    today = [order.index(item["severity"]) for item in findings if item["today"]]
    assert today == sorted(today)


def test_a_proposal_is_confirmed_and_then_counts_as_answered(evening):
    _, client = evening
    body = {"kind": "bridge", "instrument": "B1", "reason": "calm then", "who": "K"}
    made = client.post("/api/decisions", json=body).json()
    try:
        day = client.get(f"/api/days/{DAY}").json()
        (bridge,) = [f for f in day["findings"] if (f["proposal"] or {}).get("kind") == "bridge"]
        assert bridge["answered"] == made["id"]
        assert not any("gap in the record" in item["text"] for item in day["to_do"])
    finally:
        client.delete(f"/api/decisions/{made['id']}", params={"reason": "test", "who": "K"})


CLOCK = Proposal("clock", "R2", offset_s=17.45)
LAG = Proposal("lag", "R2", lag_s=-0.56)
WEST_DAY = ("2026-03-10T09:00:00", "2026-03-10T12:00:00")
OTHER_DAY = ("2026-03-11T09:00:00", "2026-03-11T12:00:00")


def decided(kind, value=None, start=None, end=None, instrument="R2"):
    """Return a decision in force."""
    target = {"instrument": instrument, "start": start, "end": end}
    words = ("", "", "")
    when = "2026-03-10T20:00:00Z"
    return DecideResult("one", kind, target, value, "seen", "K", when, None, *words)


def over(proposal, span):
    """Return a proposal for a span."""
    return replace(proposal, start=span[0], end=span[1])


BRIDGE = Proposal("bridge", "R2", *WEST_DAY, source="sides", error_95_nT=1.0)
#: A gap of 50 s behind the other, with one reading of the base between them.
NEXT = replace(BRIDGE, start=WEST_DAY[1], end="2026-03-10T12:00:50")
MOVE = Proposal("move", "R2", WEST_DAY[0])
DROP = Proposal("drop", "R2", *WEST_DAY)


@pytest.mark.parametrize(
    ("proposal", "row", "wanted"),
    [
        (CLOCK, decided("clock", {"offset_s": 17.45}), ("one", "one")),
        (CLOCK, decided("clock", {"offset_s": 0.0}), (None, "one")),
        (LAG, decided("lag", {"lag_s": 0.0}), (None, "one")),
        (CLOCK, decided("clock", {"offset_s": 18.0}), (None, "one")),
        (over(CLOCK, WEST_DAY), decided("clock", {"offset_s": 17.45}, *OTHER_DAY), (None, None)),
        (over(CLOCK, WEST_DAY), decided("clock", {"offset_s": 17.45}, *WEST_DAY), ("one", "one")),
        (CLOCK, decided("clock", {"offset_s": 17.45}, *WEST_DAY), (None, "one")),
        (CLOCK, decided("clock", {"offset_s": 17.45}, instrument="R1"), (None, None)),
        (LAG, decided("lag", {"lag_s": -0.56}), ("one", "one")),
        (LAG, decided("lag", {"lag_s": 0.3}), (None, "one")),
        (BRIDGE, decided("bridge", None, *OTHER_DAY), (None, None)),
        (BRIDGE, decided("bridge", None, *WEST_DAY), ("one", "one")),
        (BRIDGE, decided("bridge"), ("one", "one")),
        (MOVE, decided("move", None, WEST_DAY[1]), (None, None)),
        (MOVE, decided("move", None, WEST_DAY[0]), ("one", "one")),
        (DROP, decided("drop", None, *WEST_DAY), ("one", "one")),
        (DROP, decided("drop", None, WEST_DAY[0], "2026-03-10T10:00:00"), (None, None)),
    ],
)
def test_a_proposal_is_answered_by_its_own_value_and_span_only(proposal, row, wanted):
    found = answer_to(proposal, [row])
    assert (found.answered, found.standing) == wanted
    assert found.refusal is None


def declined(proposal, **changed):
    """Return the refusal of a proposal in force."""
    old = asdict(replace(proposal, **changed))
    target = {name: old.pop(name) for name in ("instrument", "start", "end")}
    return decided("decline", {"proposed": old.pop("kind"), **old}, **target)


@pytest.mark.parametrize(
    ("proposal", "then", "holds"),
    [
        (CLOCK, {}, True),
        (CLOCK, {"offset_s": 17.5}, True),
        (CLOCK, {"offset_s": 18.0}, False),
        (over(CLOCK, WEST_DAY), {"start": None, "end": None}, True),
        (CLOCK, {"start": WEST_DAY[0], "end": WEST_DAY[1]}, False),
        (over(CLOCK, WEST_DAY), {"start": OTHER_DAY[0], "end": OTHER_DAY[1]}, None),
        (CLOCK, {"instrument": "R1"}, None),
        (LAG, {}, True),
        (LAG, {"lag_s": 0.56}, False),
        (LAG, {"kind": "clock", "offset_s": 1.0, "lag_s": None}, None),
        (BRIDGE, {"error_95_nT": 1.1}, True),
        (BRIDGE, {"error_95_nT": 3.0}, False),
        (BRIDGE, {"source": "other record"}, False),
        (BRIDGE, {"start": OTHER_DAY[0], "end": OTHER_DAY[1]}, None),
        (NEXT, {"start": WEST_DAY[0], "end": WEST_DAY[1]}, None),
        (BRIDGE, {"start": WEST_DAY[1], "end": OTHER_DAY[1]}, None),
        (DROP, {"start": WEST_DAY[1], "end": NEXT.end}, None),
        (replace(DROP, end=DROP.start), {}, True),
        (MOVE, {}, True),
        (MOVE, {"start": WEST_DAY[1]}, None),
        (DROP, {}, True),
        (DROP, {"end": "2026-03-10T10:00:00"}, False),
    ],
)
def test_a_refusal_holds_while_the_same_is_proposed(proposal, then, holds):
    """None: the refusal is about something else."""
    found = answer_to(proposal, [declined(proposal, **then)])
    assert found.answered == ("one" if holds else None)
    assert (found.refusal and found.refusal.holds) == holds


def test_of_a_refusal_and_a_decision_the_later_one_counts():
    taken = replace(decided("clock", {"offset_s": 17.45}), id="two")
    assert answer_to(CLOCK, [declined(CLOCK), taken]) == Answer("two", "two")
    after = answer_to(CLOCK, [taken, declined(CLOCK)])
    assert (after.answered, after.standing) == ("one", "two")
    assert after.refusal


def bridge_of(client):
    """Return the finding that proposes the bridge."""
    findings = client.get(f"/api/days/{DAY}").json()["findings"]
    (found,) = [item for item in findings if (item["proposal"] or {}).get("kind") == "bridge"]
    return found


def test_a_proposal_is_refused_with_a_reason_and_waits_again_once_that_is_undone(evening):
    folder, client = evening
    about = {name: bridge_of(client)["proposal"][name] for name in ("instrument", "start", "end")}
    body = {"kind": "decline", "proposed": "bridge", "reason": "B2 serves", "who": "K", **about}
    made = client.post("/api/decisions", json=body)
    assert made.status_code == 201
    one = made.json()["id"]
    try:
        assert (
            client.get("/api/run/pending", params={"to": "check"}).json()["steps"] == []
        )  # no number changes
        refused = bridge_of(client)
        assert refused["answered"] == one
        assert refused["refused"]["holds"] is True
        assert (refused["refused"]["who"], refused["refused"]["reason"]) == ("K", "B2 serves")
        todo = client.get(f"/api/days/{DAY}").json()["to_do"]
        assert not any("gap in the record" in item["text"] for item in todo)
        (told,) = [item for item in check(folder).findings if item.refused]
        assert told.kind == "bridge over a gap"
        again = client.post("/api/decisions", json=body)
        assert again.status_code == 400
        assert "No proposal that waits" in again.json()["problem"]["text"]
    finally:
        client.delete(f"/api/decisions/{one}", params={"reason": "test", "who": "K"})
    assert bridge_of(client)["answered"] is None
    assert bridge_of(client)["refused"] is None


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"error_95_nT": 9.0}, "Another value is proposed there by now"),
        ({"source": "other record"}, "Another value is proposed there by now"),
        ({"offset_s": 3.0}, "Another value is proposed there by now"),
        ({"start": None, "end": None}, "No proposal that waits fits this"),
    ],
)
def test_only_what_is_still_proposed_as_it_was_shown_can_be_refused(evening, changed, words):
    _, client = evening
    shown = bridge_of(client)["proposal"]
    body = {**shown, "kind": "decline", "proposed": "bridge", "reason": "no", "who": "K"}
    answer = client.post("/api/decisions", json=body | changed)
    assert answer.status_code == 400
    assert words in answer.json()["problem"]["text"]
    made = client.post("/api/decisions", json=body)
    assert made.status_code == 201
    assert made.json()["value"]["error_95_nT"] == shown["error_95_nT"]
    client.delete(f"/api/decisions/{made.json()['id']}", params={"reason": "test", "who": "K"})


def test_what_no_check_proposes_cannot_be_refused(evening):
    _, client = evening
    body = {"kind": "decline", "proposed": "move", "instrument": "B1", "reason": "x", "who": "K"}
    problem = client.post("/api/decisions", json=body).json()["problem"]
    assert problem["value"] == "move B1"
    assert "decide bridge --instrument B1 --start" in problem["remedy"]
    bare = client.post("/api/decisions", json=body | {"proposed": None}).json()["problem"]
    assert "Give the kind proposed" in bare["remedy"]


def test_a_gap_that_was_not_decided_stays_open_beside_one_that_was(evening):
    _, client = evening
    other = {"start": "2026-03-10T09:00:00", "end": "2026-03-10T09:05:00"}
    about = {"kind": "bridge", "instrument": "B1", "reason": "calm then", "who": "K"}
    made = client.post("/api/decisions", json=about | other).json()
    try:
        day = client.get(f"/api/days/{DAY}").json()
        (bridge,) = [f for f in day["findings"] if (f["proposal"] or {}).get("kind") == "bridge"]
        assert bridge["answered"] is None
    finally:
        client.delete(f"/api/decisions/{made['id']}", params={"reason": "test", "who": "K"})


def test_a_drop_needs_a_span_or_a_word_that_all_is_meant(evening):
    _, client = evening
    body = {"kind": "drop", "instrument": "B1", "reason": "x", "who": "K"}
    answer = client.post("/api/decisions", json=body)
    assert answer.status_code == 400
    assert "all of the record of B1" in answer.json()["problem"]["text"]
    made = client.post("/api/decisions", json=body | {"whole": True})
    assert made.status_code == 201
    client.delete(f"/api/decisions/{made.json()['id']}", params={"reason": "test", "who": "K"})


def test_numbers_in_words_are_no_lines():
    numbered = [str(number) for number in range(1, 41)]
    text = "R1: the gap of 20 s with 7 readings; worst 3.5 nT on 12 lines from 5 E"
    assert lines_named(text, numbered) == []
    assert lines_named("probably compact source on line 6, +11 nT", numbered) == ["6"]
    assert lines_named("on lines 6, 7 and 30; 8 others", numbered) == ["30", "6", "7"]
    assert lines_named("under 95%: L05, L08. R1 is fine", ["L05", "L08", "R1"], "R1") == [
        "L05", "L08",
    ]  # fmt: skip


def test_one_good_line_is_told_in_the_singular():
    line = CheckedLine("L1", "R1", "", "keep", [], 200.0, None, None)
    base = CheckedBase(None, None, [], [])
    told = sentence(CheckedDay(DAY, "UTC", "keep", [], base, {}, [line]))
    assert told == "Keep the day: its line is good."


@pytest.mark.parametrize(
    ("spans", "wanted"),
    [
        ([], "look at 2 lines (0.4 km) in doubt before you move camp."),
        ([("L2", 30.0)], "but walk 1 line (0.2 km) and a piece of 1 line (30 m) again; "),
        ([("L2", 30.0), ("L3", 12.0), ("L3", 8.0), ("L9", 99.0)],
         "but walk 1 line (0.2 km) and pieces of 2 lines (50 m) again; "),
    ],
)  # fmt: skip
def test_the_sentence_of_a_day_has_what_is_to_walk_again_whole_or_in_pieces(spans, wanted):
    verdicts = {"L1": "re-walk" if spans else "keep", "L2": "doubt", "L3": "doubt"}
    lines = [CheckedLine(n, "R1", "", v, [], 200.0, None, None) for n, v in verdicts.items()]
    day = CheckedDay(DAY, "UTC", "doubt", [], CheckedBase(None, None, [], []), {}, lines)
    whole = RewalkSpan("L1", True, 200.0, "", 0.0, 0.0, 0.0, 0.0)
    pieces = [replace(whole, line=name, whole=False, length_m=m) for name, m in spans]
    assert wanted in sentence(day, [whole, *pieces] if spans else [])


def test_a_proposal_beside_a_decision_is_to_be_compared_and_presses_no_one(evening):
    folder, _ = evening
    found = checked(folder)
    told = day_result(folder, DAY)
    (bridge,) = [one for one in told.findings if one.proposal and one.proposal.kind == "bridge"]
    for standing, words in ((None, "Decide: the gap"), ("d1", "Compare: the gap")):
        todo = to_do(found, found.days[0], [replace(bridge, answered=None, standing=standing)])
        assert [one.text[: len(words)] for one in todo if " gap in the" in one.text] == [words]


def test_what_is_kept_of_a_passage_is_what_has_an_anomaly_in_the_end(evening):
    folder, client = evening
    client.post("/api/run", json={"to": "readings"})
    ended(client)
    passages = walks(folder).about["passages"]
    noise = {line.line: line.noise_envelope_nT for line in checked(folder).days[0].lines}
    without_base = 0
    for one in passages:
        own = profile(folder, one["line"])
        assert one["kept"] == own.values["kept"].sum()
        assert one["kept"] + sum(one["left_out"].values()) == one["readings"]
        without_base += one["left_out"].get("inside a gap of the base record", 0)
        assert one["noise_nT"] == noise[one["line"]]
    assert without_base > 60


def test_the_hint_counts_the_lines_of_the_route(evening):
    folder, _ = evening
    spans = {span.line for span in checked(folder).rewalk.spans}
    whole = [line.line for line in checked(folder).days[0].lines if line.verdict == "re-walk"]
    assert len(spans) > len(whole)
    known = replace(_known(folder, overview(folder)), stale=0)
    told = _hint("days", known).text
    assert told.startswith(f"{len(spans)} lines to walk again, whole or in part")


def test_a_span_is_told_as_the_instrument_recorded_it(evening):
    _, client = evening
    start, end = (START + timedelta(seconds=s) for s in (10, 20))
    asked = {"instrument": "R1", "start_utc": start.isoformat(), "end_utc": end.isoformat()}
    found = client.get("/api/recorded", params=asked).json()
    assert found["start"] == f"{start:%Y-%m-%dT%H:%M:%S}"
    assert found["end"] == f"{end:%Y-%m-%dT%H:%M:%S}"
    assert found["readings"] == 21  # two a second, both ends
    extremes = ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00Z")
    wrong = [{"start_utc": "noon"}, {"end_utc": ""}, *({"start_utc": one} for one in extremes)]
    for change in ({"instrument": "R9"}, *wrong):
        answer = client.get("/api/recorded", params=asked | change)
        assert answer.status_code == 400
        assert answer.json()["problem"]["text"]


def taken(client, **asked):
    """Return what a decision on R1 would take."""
    about = {"kind": "drop", "instrument": "R1"}
    answer = client.get("/api/recorded/taken", params=about | asked)
    assert answer.status_code == 200
    return answer.json()


def test_how_many_readings_a_drop_takes_follows_its_span(evening):
    _, client = evening
    start, end = (f"{START + timedelta(seconds=s):%Y-%m-%dT%H:%M:%S}" for s in (10, 20))
    found = taken(client, start=start, end=end)
    assert (found["readings"], found["refused"]) == (21, None)  # two a second, both ends
    whole = taken(client, whole=True)
    assert whole["readings"] == whole["of"] > 1000
    assert taken(client, start=start)["readings"] == whole["of"] - 20
    assert taken(client, start="2031-01-01T00:00:00")["readings"] == 0
    assert taken(client, kind="keep")["readings"] == whole["of"]
    for asked in ({"instrument": "R9"}, {"kind": "lag", "instrument": "B1"}, {"kind": "bridge"}):
        found = taken(client, **asked)  # no such instrument, or none of a role that this is about
        assert found["readings"] is None
        assert asked.get("instrument", "R1") in found["refused"]


@pytest.mark.parametrize(
    ("span", "words"),
    [
        ({"start": "2026-03-10T10:00:00", "end": "2026-03-10T09:00:00"}, "ends after it starts"),
        ({"start": "ten"}, "YYYY-MM-DDTHH:MM:SS"),
        ({"start": "2026-03-10T10:00:00Z"}, "without Z"),
        ({"start": "2026-03-10T10:00:00", "whole": True}, "without a span"),
        ({}, "all of the record of R1"),
    ],
)
def test_a_drop_that_would_be_refused_takes_nothing_and_says_why(evening, span, words):
    _, client = evening
    found = taken(client, **span)
    assert found["readings"] is None
    assert words in found["refused"]


def test_the_route_is_a_gpx_file_of_the_lines_to_walk_again(evening):
    _, client = evening
    answer = client.get("/api/rewalk.gpx")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/gpx+xml"
    assert "walk-again.gpx" in answer.headers["content-disposition"]
    root = ET.fromstring(answer.content)
    text = answer.text
    assert root.tag.endswith("gpx")
    for span in client.get("/api/check").json()["rewalk"]["spans"]:
        assert span["line"] in text


def test_the_route_is_never_a_file_outside_the_survey(evening, tmp_path):
    folder, client = evening
    route = tmp_path / "route.gpx"
    route.write_text("not yours")
    (folder.products / "linked.gpx").symlink_to(route)
    document = folder.products / "check.json"
    kept = document.read_text()
    up = os.path.relpath(route, folder.path)
    for told in (str(route), up, "products/linked.gpx", "/", "..", "/nowhere/at/all"):
        found = json.loads(kept)
        found["rewalk"]["gpx"] = told
        document.write_text(json.dumps(found))
        answer = client.get("/api/rewalk.gpx")
        assert answer.status_code == 400, told
        assert "outside the survey folder" in answer.json()["problem"]["text"]
    document.write_text(kept)
    (folder.products / "linked.gpx").unlink()


def test_an_unknown_day_is_refused_with_those_there_are(evening):
    _, client = evening
    answer = client.get("/api/days/2026-13-45")
    assert answer.status_code == 400
    assert DAY in answer.json()["problem"]["remedy"]


def test_before_the_first_run_the_evening_says_so(empty):
    _, client = empty
    for path in (f"days/{DAY}", "rewalk.gpx", "check"):
        answer = client.get(f"/api/{path}")
        assert answer.status_code == 400
        assert "run" in answer.json()["problem"]["text"].lower()


def test_a_checklist_is_ticked_by_a_person_and_a_tick_is_taken_back(evening):
    _, client = evening
    asked = {"day": DAY, "instrument": "B1"}
    items = client.get("/api/ticks", params=asked).json()["items"]
    body = {"items": [items[0]["item"]], "instrument": "B1", "day": DAY, "who": "K"}
    ticked = client.post("/api/ticks", json=body).json()["items"][0]
    assert ticked["who"] == "K"
    path = f"/api/decisions/{ticked['id']}"
    assert client.delete(path, params={"reason": "slip", "who": "K"}).status_code == 200
    assert client.get("/api/ticks", params=asked).json()["items"][0]["who"] is None
