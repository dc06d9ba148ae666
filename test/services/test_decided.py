"""Decisions as the report tells them."""

import re

from lodewalk.handover.content import Job, Provenance, ReportContent
from lodewalk.handover.report import build_report
from lodewalk.services.decided import KINDS, decided
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.survey.decisions import Decision, append_decision, read_decisions

WHO = {"who": "A. B."}


def told(folder):
    found = tuple(decided(read_decisions(folder)))
    content = ReportContent(Job("Hill", "EPSG:31982", "UTM"), Provenance(decisions=found))
    text = build_report(content)
    part = text[text.index('<h2 id="decisions">') : text.index('<h2 id="corrections">')]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "|", part))


def test_the_report_tells_what_is_in_force_with_value_reason_and_person(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    assert "No decision is in force" in told(folder)
    span = {"instrument": "R1", "start": "2026-03-10T14:00:10", "end": "2026-03-10T14:00:20"}
    car = append_decision(
        folder, kind="drop", target=span, value=None, reason="a car <near>", **WHO
    )
    append_decision(
        folder,
        kind="clock",
        target={"instrument": "R2"},
        value={"offset_s": 17.44},
        reason="side by side",
        **WHO,
    )
    append_decision(
        folder,
        kind="tick",
        target={"instrument": "R1"},
        value={"item": "radio"},
        reason="ticked",
        **WHO,
    )
    shown = told(folder)
    assert "R1, 2026-03-10T14:00:10 to 2026-03-10T14:00:20 as recorded" in shown
    assert "a car &lt;near&gt;" in shown
    assert "R2, all its record" in shown
    assert "clock minus UTC 17.44 s" in shown
    assert "radio" not in shown
    append_decision(
        folder, kind="drop", target=span, value=None, reason="no car", withdraws=car.id, **WHO
    )
    assert "car" not in told(folder)


def test_a_refused_proposal_is_told_in_words(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    value = {"proposed": "bridge", "source": "sides", "error_95_nT": 0.3421}
    target = {"instrument": "B1"}
    append_decision(folder, kind="decline", target=target, value=value, reason="storm", **WHO)
    shown = told(folder)
    assert "proposal refused" in shown
    assert "to bridge a gap, by the record on both sides, error (95 %) 0.3 nT" in shown


def test_a_clock_that_was_decided_as_right_is_told_with_its_zero(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    append_decision(
        folder,
        kind="clock",
        target={"instrument": "R1"},
        value={"offset_s": 0.0},
        reason="set by GPS",
        **WHO,
    )
    assert "clock minus UTC 0.0 s" in told(folder)


def test_each_kind_of_decision_has_its_words():
    kinds = Decision.model_json_schema()["properties"]["kind"]["enum"]
    assert set(kinds) - {"tick"} == set(KINDS)
