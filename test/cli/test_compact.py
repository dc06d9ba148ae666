"""A compact body at a place, at the command line: a planted dipole, and what isn't one."""

import json

import pytest

from dyked_survey import SENSOR, make_dyked_survey
from planted_ball import DEPTH, PLACE, Ball


@pytest.fixture(scope="module")
def ball(tmp_path_factory):
    return make_dyked_survey(tmp_path_factory.mktemp("ball"), Ball()).path


def where(east, north, reach):
    return "--east", f"{east:.1f}", "--north", f"{north:.1f}", "--reach", f"{reach}"


def test_a_planted_dipole_is_told_with_its_direction(lodewalk, ball):
    shown = lodewalk("fit", ball, *where(*PLACE, 48), "--json")
    assert shown.code == 0, shown.err
    told = json.loads(shown.out)
    assert told["easting_m"]["low"] < PLACE[0] < told["easting_m"]["high"]
    assert told["northing_m"]["low"] < PLACE[1] < told["northing_m"]["high"]
    assert told["depth_m"]["low"] < DEPTH - SENSOR < told["depth_m"]["high"]
    assert told["depth_m"]["value"] == pytest.approx(DEPTH - SENSOR, abs=1.0)
    assert told["declination_deg"] == pytest.approx(36.9, abs=6.0)
    assert told["inclination_deg"] == pytest.approx(5.7, abs=6.0)
    assert told["off_field_deg"] > told["cone_deg"]
    printed = lodewalk("fit", ball, *where(*PLACE, 48)).out
    assert "centre below ground" in printed
    assert "No drilling decision" in printed


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ((*PLACE, 8), "30 or more are needed"),
        ((PLACE[0], PLACE[1] + 95.0, 24), ""),
        ((0.0, 0.0, 50), "No kept reading lies there"),
        ((*PLACE, -1), "above zero"),
    ],
)
def test_what_is_no_compact_body_is_refused(refused, ball, place, message):
    assert message in refused(ball, "fit", ball, *where(*place))


def test_a_place_needs_its_reach(lodewalk, ball):
    assert lodewalk("fit", ball, "--east", "5").code == 2


def test_a_compact_body_that_a_person_asks_for_is_kept_and_explained(lodewalk, ball, refused):
    where = "--easting", f"{PLACE[0]:.1f}", "--northing", f"{PLACE[1]:.1f}"
    said = "--reason", "plug mapped", "--who", "AB"
    assert "no strike" in refused(ball, "pick", ball, *where, "--compact", "--strike", 30, *said)
    assert lodewalk("pick", ball, *where, "--compact", *said).code == 0
    shown = lodewalk("fit", ball, "--json")
    assert shown.code == 0, shown.err
    told = {row["body"]: row for row in json.loads(shown.out)["compact"]}["P1"]
    assert told["source"] == "decision"
    assert told["centre_depth_low_m"] < DEPTH - SENSOR < told["centre_depth_high_m"]
    printed = lodewalk("fit", ball).out
    assert "depth of centre [m]" in printed
    assert "its top lies higher and isn't told" in printed
    why = lodewalk("why", ball, "P1").out
    assert "depth of its centre below ground" in why
    assert "plug mapped" in why or "A person decided it" in why
