"""What is looked at before handing over: a refusal leaves the evidence, and the doubt, as it is."""

import json
from dataclasses import asdict, replace

from lodewalk.handover.evening import _clock
from lodewalk.services.add import add_files
from lodewalk.services.check import (
    CheckResult,
    ClockDay,
    ClockState,
    Finding,
    Missed,
    Rewalk,
)
from lodewalk.services.decide import DecideResult
from lodewalk.services.evening.proposals import decline
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.readiness import _clocks, readiness
from lodewalk.services.sensor_heights import height_words
from lodewalk.services.settings import change_settings, settings
from lodewalk.steps.proposed import Proposal

STUCK = Proposal("drop", "B1", "2026-03-10T12:00:00", "2026-03-10T12:10:00")


def test_a_finding_whose_proposal_is_refused_is_still_left_in_doubt(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    clock = Finding(
        "clock", "R1", None, None, "doubt", "R1: off.", Proposal("clock", "R1", offset_s=17.4)
    )
    lost = replace(clock, kind="base stuck", severity="loss", proposal=STUCK)
    missed = Missed(5.0, 0.05, 2.0, 1.0, 0.9, None, None, None, None, 0)
    found = CheckResult([], [], [], [], missed, [], Rewalk(0.0, 0.0, 0, None, []))
    rows = [asdict(one) for one in (clock, lost)]
    for row in rows:
        del row["refused"]
    path = folder.path / "products" / "check.json"
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(asdict(found) | {"findings": rows}))

    def told():
        (item,) = [one for one in readiness(folder).items if one.item == "Findings"]
        return item.state, item.text

    before = "2 findings left in doubt: base stuck, clock."
    assert told() == ("doubt", before)
    decline(folder, {"kind": "drop"}, reason="seen to be true", who="K")
    refused = f"{before} What 1 of them proposed was refused, with reason and person."
    assert told() == ("doubt", refused)


def test_a_sensor_whose_height_nobody_set_is_told_with_where_to_set_it(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    for name in ("R1", "R2"):
        walk = tmp_path / f"{name}.csv"
        walk.write_text(
            "time_utc,line,field_nT\n"
            + "".join(f"2026-03-10T12:00:{s:02d}Z,L1,{22950 + s}.{name[1]}\n" for s in range(30))
        )
        add_files(folder, [walk], role="rover", instrument=name)

    def told():
        items = readiness(open_survey(folder.path)).items
        return [(one.state, one.text, one.room) for one in items if one.item == "Sensor height"]

    both = "Sensor height of R1, R2 is assumed, 2.0 m: every depth rests on it."
    assert told() == [("doubt", both, "settings")]
    with (folder.path / "survey.toml").open("a") as stream:
        stream.write("\n[instruments.R1]\nsensor_height_m = 2.0\n")
    (alone,) = told()
    assert alone[1] == "Sensor height of R2 is assumed, 2.0 m: every depth rests on it."
    toml = folder.path / "survey.toml"
    toml.write_text(toml.read_text().replace("[plan]", "[plan]\nsensor_height_m = 1.9"))
    assert told()[0][1].endswith(" The plan's 1.9 m isn't used for readings.")
    about = open_survey(folder.path).settings
    assert height_words(about, ["R1"], 2.0) == "2.0 m above ground, as set"
    assert height_words(about, ["R2"], 2.0) == "2.0 m above ground, assumed"
    assert height_words(about, ["R1", "R2"], 2.0) == "2.0 m above ground, assumed for R2"
    assert height_words(about, ["R1"], 1.85) == "1.85 m above ground, as at the last run"


def test_a_measured_height_that_is_the_default_can_be_said_in_settings(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    walk = tmp_path / "R7.csv"
    rows = "".join(f"2026-03-10T12:00:{s:02d}Z,L1,{22950 + s}\n" for s in range(30))
    walk.write_text(f"time_utc,line,field_nT\n{rows}")
    add_files(folder, [walk], role="rover", instrument="R7")

    def row():
        (own,) = [
            one for one in settings(open_survey(folder.path)).sections
            if one.section == "instruments.R7"
        ]  # fmt: skip
        (height,) = [one for one in own.rows if one.name == "sensor_height_m"]
        return height.value, height.changed, height.stated

    assert row() == (2.0, False, False)
    changes = {"instruments.R7.sensor_height_m": 2.0}
    change_settings(folder, changes, reason="measured with a tape", who="K")
    assert row() == (2.0, False, True)
    items = readiness(open_survey(folder.path)).items
    assert not [one for one in items if one.item == "Sensor height"]


def clock_of(*decided):
    """Return what is known of a clock that nothing tells of, with what was decided day by day."""
    open_state = "not identifiable"
    days = [
        ClockDay(f"2026-09-{15 + n}", None, None, open_state, one) for n, one in enumerate(decided)
    ]
    return ClockState(
        "R1", None, None, open_state, "no evidence", "R1: nothing.", "its own", None, days,
        None, None,
    )  # fmt: skip


def test_a_clock_decided_for_a_day_is_open_on_the_others_only():
    missed = Missed(5.0, 0.05, 2.0, 1.0, 0.9, None, None, None, None, 0)
    found = CheckResult([], [], [], [], missed, [], Rewalk(0.0, 0.0, 0, None, []))

    def told(row, decisions=()):
        return [one.text for one in _clocks(replace(found, clock=[row]), decisions)]

    words = "was off; say in your words to the receiver how it was set."
    assert told(clock_of(None, None)) == [f"Nothing tells how far the clock of R1 {words}"]
    (half,) = told(clock_of(None, 37.0))
    assert half == f"Nothing tells how far the clock of R1 on 2026-09-15 {words}"
    assert told(clock_of(37.0, 37.0)) == []
    whole = {"instrument": "R1", "start": None, "end": None}
    zero = DecideResult("1", "clock", whole, {"offset_s": 0.0}, "set", "K", "", None, "", "", "")
    assert told(clock_of(None, None), [zero]) == []


def test_the_report_tells_a_clock_that_was_decided_for_one_day():
    row = _clock(asdict(clock_of(None, 37.0)))
    assert row.by_day
    assert "Decided by day: 2026-09-16 +37.0 s." in row.text
    assert not _clock(asdict(clock_of(None, None))).by_day
