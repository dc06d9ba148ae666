"""From map to rocks at the command line: answers, bad input, decisions on picks, and why."""

import json
import shutil

import numpy as np
import pytest

from dyked_survey import Dyke, make_dyked_survey
from lodewalk.services.run import run

WHO = ("--reason", "seen in the field", "--who", "AB")
DYKE = Dyke(depth=8.0, half_width=10.0)
WHOLE = ("--line", "L3", "--from", "60", "--to", "180")


@pytest.fixture(scope="session")
def dyked_job(tmp_path_factory):
    """A survey over a dyke, its depths told once; not to be changed."""
    survey = make_dyked_survey(tmp_path_factory.mktemp("dyked"), DYKE)
    run(survey, to="depth")
    return survey.path


@pytest.fixture
def dyked(dyked_job, tmp_path):
    """A copy of it to take decisions on."""
    shutil.copytree(dyked_job, tmp_path / "survey")
    return tmp_path / "survey"


def told(shown):
    assert shown.code == 0, shown.err
    return json.loads(shown.out)


def test_the_dyke_is_traced_fitted_and_its_depth_told(lodewalk, dyked_job):
    traced = told(lodewalk("trace", dyked_job, "--json"))
    assert traced["lineaments"]
    strike = traced["lineaments"][0]["strike_deg"]
    assert abs((strike - DYKE.strike + 90) % 180 - 90) < 10
    bodies = told(lodewalk("fit", dyked_job, "--json"))["bodies"]
    assert {row["lineament"] for row in bodies} >= {traced["lineaments"][0]["lineament"]}
    picks = told(lodewalk("depth", dyked_job, "--json"))["picks"]
    answers = [row for row in picks if row["depth_m"] is not None]
    assert answers
    truth = DYKE.depth - 2.0
    assert sorted(abs(row["depth_m"] - truth) for row in answers)[len(answers) // 2] < 1.5
    assert all(row["methods"] for row in answers)


def test_each_command_prints_a_table_with_units(lodewalk, dyked_job):
    for command, words in (
        ("trace", ("strike [deg]", "length [m]")),
        ("fit", ("depth [m]", "index angle")),
        ("depth", ("depth [m]", "No drilling decision without licensed practice")),
    ):
        shown = lodewalk(command, dyked_job)
        assert shown.code == 0, shown.err
        assert all(word in shown.out for word in words), shown.out


def test_a_piece_of_a_line_is_fitted_and_nothing_is_kept(lodewalk, dyked):
    before = {p: p.stat().st_mtime_ns for p in (dyked / "products").rglob("*.parquet")}
    made = told(lodewalk("fit", dyked, *WHOLE, "--strike", "110", "--json"))
    assert {p: p.stat().st_mtime_ns for p in (dyked / "products").rglob("*.parquet")} == before
    body = made["body"]
    assert body["kind"] == "dyke"
    assert abs(body["depth_m"] - (DYKE.depth - 2.0)) < 1.0
    assert made["strike_deg"] == pytest.approx(110.0)
    assert sum(row["probability"] for row in made["kinds"]) == pytest.approx(1.0)
    kinds = {row["kind"]: row for row in made["kinds"]}
    # The one that is told has its depth by the same rule as the body itself.
    assert kinds["dyke"]["depth_m"] == pytest.approx(body["depth_m"], abs=0.3)
    for row in made["kinds"]:
        held = row["depth_low_m"] is not None
        assert held == (row["probability"] > 1e-3), row
        # The sensor's height, 0.1 m, is in every interval.
        assert not held or row["depth_high_m"] - row["depth_low_m"] > 2 * 0.16
    shown = lodewalk("fit", dyked, *WHOLE, "--strike", "110", "--figure", dyked / "section.png")
    assert "No magnetisation is stated" in shown.out
    assert (dyked / "section.png").read_bytes()[1:4] == b"PNG"


def test_a_kind_that_is_asked_for_is_fitted(lodewalk, dyked_job):
    made = told(lodewalk("fit", dyked_job, *WHOLE, "--kind", "dyke", "--json"))
    assert [row["kind"] for row in made["kinds"]] == ["dyke"]


def across_the_dyke(first, last):
    """Return two points across the dyke's middle, so far along its normal [m]."""
    turn = np.radians(DYKE.strike + 90.0)
    ends = (
        (DYKE.middle[0] + at * np.sin(turn), DYKE.middle[1] + at * np.cos(turn))
        for at in (first, last)
    )
    return [f"{east:.1f},{north:.1f}" for east, north in ends]


def test_the_map_is_fitted_between_two_points(lodewalk, dyked):
    before = {p: p.stat().st_mtime_ns for p in (dyked / "products").rglob("*.parquet")}
    first, last = across_the_dyke(-48.0, 48.0)
    between = ("fit", dyked, "--from-point", first, "--to-point", last)
    made = told(lodewalk(*between, "--strike", "110", "--json"))
    assert {p: p.stat().st_mtime_ns for p in (dyked / "products").rglob("*.parquet")} == before
    body = made["body"]
    assert body["depth_low_m"] < DYKE.depth - 2.0 < body["depth_high_m"]
    assert DYKE.across(body["easting_m"], body["northing_m"]) == pytest.approx(0.0, abs=4.0)
    assert "grid and not on readings" in made["rests_on"]
    assert made["grid_sd_nT"] > 0.0
    assert made["error_length_m"] == pytest.approx(10.0, rel=0.05)
    line = told(lodewalk("fit", dyked, *WHOLE, "--strike", "110", "--json"))["body"]
    assert body["depth_sd_m"] > line["depth_sd_m"]
    shown = lodewalk(*between, "--figure", dyked / "grid.png")
    assert "grid and not on readings" in shown.out
    assert "strike is not known" in shown.out
    assert (dyked / "grid.png").read_bytes()[1:4] == b"PNG"


@pytest.mark.parametrize(
    ("ends", "message"),
    [
        ((-500.0, 40.0), "outside the grid"),
        ((-5.0, 5.0), "m apart"),
        ((-20.0, 20.0), "a fit needs"),
    ],
)
def test_points_that_give_no_profile_are_refused_in_one_line(refused, dyked_job, ends, message):
    first, last = across_the_dyke(*ends)
    given = "--from-point", first, "--to-point", last
    assert message in refused(dyked_job, "fit", dyked_job, *given)


def test_points_that_are_none_are_told(lodewalk, refused, dyked_job):
    for words in (("--from-point", "5,5"), ("--from-point", "5", "--to-point", "5,5")):
        assert lodewalk("fit", dyked_job, *words).code == 2
    given = ("--from-point", "5,5", "--to-point", "7,inf")
    told_so = refused(dyked_job, "fit", dyked_job, *given)
    assert "Northing of the end must be a finite number. Found inf." in told_so


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--line", "L9", "--from", "60", "--to", "180"), "Lines are L1"),
        (("--line", "L3", "--from", "180", "--to", "60"), "begins before it ends"),
        (("--line", "L3", "--from", "60", "--to", "60"), "begins before it ends"),
        (("--line", "L3", "--from", "900", "--to", "990"), "run from 0 to 240 m"),
        (("--line", "L3", "--from", "100", "--to", "112"), "a fit needs"),
        (("--line", "L3", "--from", "110", "--to", "129"), "m"),
        (("--line", "L3", "--from", "0", "--to", "40"), ""),
        ((*WHOLE, "--kind", "nap"), "Kinds are thin sheet"),
        ((*WHOLE, "--strike", "5"), "under 5 degrees"),
        ((*WHOLE, "--figure", "/nowhere/at/all.png"), "no such folder"),
        ((*WHOLE, "--figure", "section.pdf"), "written as PNG"),
        ((*WHOLE, "--strike", "nan"), "azimuth from grid north"),
        (("--line", "L3", "--from=-inf", "--to", "inf"), "From must be a finite number"),
        (("--from-point", "1,2", "--to-point", "3,inf"), "Northing of the end must be a finite"),
    ],
)
def test_what_can_not_be_fitted_is_refused_in_one_line(refused, dyked_job, words, message):
    assert message in refused(dyked_job, "fit", dyked_job, *words)


def test_half_a_piece_of_a_line_is_a_wrong_usage(lodewalk, dyked_job):
    shown = lodewalk("fit", dyked_job, "--line", "L3", "--from", "60")
    assert shown.code == 2
    assert "--to is lacking" in shown.err.replace("\n", " ")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--from-point", "1,2", "--to-point", "3,4", "--line", "L3"), "don't go together"),
        (("--east", "1", "--north", "2", "--reach", "3", "--line", "L3"), "don't go together"),
        (("--east", "1", "--north", "2"), "--reach is lacking"),
        (("--from-point", "1,2"), "--to-point is lacking"),
        (("--east", "1", "--north", "2", "--reach", "3", "--kind", "dyke"), "--kind is for long"),
        (("--kind", "dyke"), "--kind goes with a piece of a line"),
    ],
)
def test_options_of_two_ways_do_not_mix(lodewalk, dyked_job, words, message):
    shown = lodewalk("fit", dyked_job, *words)
    assert shown.code == 2
    assert message in " ".join(shown.err.replace("│", " ").split())


def test_a_pick_is_added_refused_and_taken_back(lodewalk, dyked):
    made = told(
        lodewalk("pick", dyked, "--line", "L2", "--distance", "120", "--strike", "110", *WHO,
                 "--json")
    )  # fmt: skip
    assert made["value"] == {"name": "P1", "strike_deg": 110.0}
    early = lodewalk("refuse", dyked, "P1", *WHO)
    assert early.code == 1
    assert f"the decision that added it: {made['id'][:8]}" in early.err.replace("\n", " ")
    bodies = told(lodewalk("fit", dyked, "--json"))["bodies"]
    assert "P1" in [row["body"] for row in bodies]
    assert lodewalk("refuse", dyked, "P1", *WHO).code == 0
    result = told(lodewalk("fit", dyked, "--json"))
    assert "P1" not in [row["body"] for row in result["bodies"]]
    assert "refused" in {row["pick"]: row["reason"] for row in result["without"]}["P1"]
    listed = told(lodewalk("decide", dyked, "list", "--json"))["decisions"]
    assert [row["kind"] for row in listed] == ["pick", "refuse"]
    assert listed[1]["value"] == {"what": "pick", "name": "P1"}
    assert lodewalk("decide", dyked, "withdraw", "--id", made["id"][:8], *WHO).code == 0
    (idle,) = told(lodewalk("fit", dyked, "--json"))["idle"]
    assert "The refusal of P1 meets no pick" in idle
    found = told(lodewalk("check", dyked, "--json"))["findings"]
    assert idle in [row["text"] for row in found if row["kind"] == "decision without effect"]
    assert "The refusal of P1" in " ".join(lodewalk("check", dyked).out.split())
    again = told(lodewalk("pick", dyked, "--line", "L2", "--distance", "120", *WHO, "--json"))
    assert again["value"]["name"] == "P2"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("pick", "--line", "L9", "--distance", "5", *WHO), "Lines are L1"),
        (("pick", "--line", "L2", "--distance", "900", *WHO), "run from 0 to 240 m"),
        (("pick", "--line", "L2", *WHO), "Give line and distance"),
        (("pick", "--easting", "5", *WHO), "or easting and northing"),
        (("pick", "--easting", "5", "--northing", "5", *WHO), "within 25 m"),
        (("pick", "--line", "L2", "--distance", "9", "--strike", "400", *WHO), "Give the strike"),
        (("pick", "--line", "L2", "--distance", "nan", *WHO), "finite number"),
        (("pick", "--reading", "nosuch", *WHO), "No kept reading on a line has this id"),
        (
            ("pick", "--line", "L2", "--distance", "9", "--reading", "x", *WHO),
            "reading with line and distance",
        ),
        (("pick", "--line", "L2", "--distance", "9", "--who", "AB"), "Give --reason"),
        (("refuse", "Q7", *WHO), "No pick and no lineament"),
        (("refuse", "R1", "--reason", "x"), "Give --who"),
        (("decide", "pick", *WHO), "lodewalk pick DIR"),
        (("decide", "refuse", *WHO), "lodewalk refuse DIR"),
    ],
)
def test_an_unclear_pick_is_refused(refused, dyked_job, words, message):
    command, *rest = words
    assert message in refused(dyked_job, command, dyked_job, *rest)


def test_why_follows_a_depth_down_to_the_readings(lodewalk, dyked_job):
    bodies = told(lodewalk("fit", dyked_job, "--json"))["bodies"]
    name = next(row["pick"] for row in bodies if row["pick"])
    found = told(lodewalk("why", dyked_job, name, "--json"))
    assert found["name"] == name
    assert found["kind"]
    assert found["methods"]
    readings = found["readings"]
    assert readings == sorted(readings, key=lambda row: row["distance_m"])
    assert all(row["file"] == "rover.csv" for row in readings)
    assert any(abs(row["moves_depth_m"] or 0.0) > 0 for row in readings)
    shown = lodewalk("why", dyked_job, name).out
    # The depth that is told is the calibrated answer's, and so is the interval explained.
    assert "This depth is the calibrated answer" in shown
    assert "the error of the places" in shown
    assert "One sd of a reading and of its place" in shown
    for word in ("profile", "traced from the map", "grid", "interval",
                 "rests on", "rover.csv, line", "lodewalk why DIR READING"):  # fmt: skip
        assert word in shown, word
    one = lodewalk("why", dyked_job, readings[0]["reading_id"])
    assert "raw/rover.csv" in one.out
    lineament = next(row["lineament"] for row in bodies if row["lineament"])
    assert "profile" in lodewalk("why", dyked_job, lineament).out


def test_a_borehole_enters_the_fits_beside_it(lodewalk, dyked):
    east, north = DYKE.crossing(2)
    holes = dyked.parent / "holes.csv"
    rows = [
        f"BH1,depth,{east:.1f},{north:.1f},6.0,0.1",
        f"BH2,not_reached,{east:.1f},{north:.1f},40,",
    ]
    holes.write_text("\n".join(["name,what,easting,northing,value,sd", *rows]) + "\n")
    assert lodewalk("add", dyked, holes, "--role", "known").code == 0
    held, against = told(lodewalk("fit", dyked, "--json"))["known"]
    assert held.startswith("BH1: the top at 6 m below ground; holds in the fit at ")
    name = next(pick for pick in ("R1-L3", "E1-L3") if pick in held)
    assert "L5" not in held
    assert "contradicts the readings at" in against
    why = lodewalk("why", dyked, name).out
    assert "Known from elsewhere: BH1" in why
    assert "Known from elsewhere: BH2" in why


def test_a_name_that_is_nothing_lists_what_there_is(refused, dyked_job):
    assert "a pick's name" in refused(dyked_job, "why", dyked_job, "Q7")


@pytest.mark.parametrize("command", ["pick", "refuse"])
def test_before_the_first_run_there_is_nothing_to_decide_on(refused, empty, command):
    words = ("--line", "L1", "--distance", "5") if command == "pick" else ("R1",)
    assert "no such products yet" in refused(empty, command, empty, *words, *WHO)


@pytest.mark.parametrize("command", ["trace", "fit", "depth"])
def test_an_empty_survey_has_no_rocks_and_says_why(lodewalk, empty, command):
    shown = lodewalk(command, empty)
    assert shown.code == 0, shown.err
    reason = told(lodewalk(command, empty, "--json"))["problem"]
    assert reason
    assert reason in shown.out.replace("\n", " ")
