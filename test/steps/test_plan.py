"""The step that lays a plan out, on areas whose figures follow from plain arithmetic."""

import json

import numpy as np
import polars as pl
import pytest
import shapely

from lodewalk.errors import InputError, SettingsError
from lodewalk.records import Document
from lodewalk.records.recorded import HandMeter, Shapes, Terrain
from lodewalk.steps import plan_lines
from lodewalk.steps.context import Context
from lodewalk.steps.declarations import step_named
from lodewalk.steps.plan import run
from lodewalk.steps.plan_choice import chosen_layout, may_optimise
from lodewalk.survey.settings import check_settings, picked
from planned_area import CRS, SOUTH, WEST, box, kept_clear, shapes_table, terrain_table

FIELD = box(0, 0, 1000, 800)


def planned(area=FIELD, exclusions=(), terrain=None, **sections):
    """Return the products of the step for an area."""
    plan = {"line_azimuth_deg": 0.0, "line_spacing_m": 50.0, "first_day": "2026-12-07"}
    sections["plan"] = plan | sections.get("plan", {})
    settings = check_settings({"survey": {"name": "A", "crs": CRS}} | sections)
    inputs = {
        "area_recorded": shapes_table([(area, None, None)]) if area else Shapes.empty(),
        "exclusion_recorded": shapes_table(exclusions),
        "terrain_recorded": terrain or Terrain.empty(),
        "hand_meter_files": Document({"files": []}),
        "hand_meter_recorded": HandMeter.empty(),
    }
    return run(inputs, picked(settings, step_named("plan").settings), Context())


def ends(lines):
    frame = lines.frame.filter(pl.col("kind") != "repeat")
    first, second = (frame.select(f"easting_{n}_m", f"northing_{n}_m").to_numpy() for n in (1, 2))
    return shapely.linestrings(np.stack([first, second], axis=1))


def test_a_rectangle_has_as_many_lines_and_ties_as_its_sides_hold():
    found = planned()
    plan = found["plan"]
    # 1000 m over 50 m: 20 lines, the outermost 25 m inside; ties each 500 m: 2 over 800 m, evenly.
    assert plan["tie_spacing_m"] == 400.0
    assert (plan["lines"], plan["ties"], plan["pieces"]) == (20, 2, 22)
    assert plan["kilometres"]["lines_km"] == pytest.approx(20 * 0.8)
    assert plan["kilometres"]["ties_km"] == pytest.approx(2 * 1.0)
    assert plan["area_m2"] == pytest.approx(800_000)
    names = found["planned_lines"].frame.filter(kind="line")["line"].sort().to_list()
    assert names == [f"L{n:03d}" for n in range(1, 21)]
    east = found["planned_lines"].frame.filter(line="L001")["easting_1_m"][0]
    assert east == pytest.approx(WEST + 25)
    assert plan["why"]["spacing"] == plan["why"]["azimuth"] == "set in survey.toml"
    assert json.loads(plan.text())["site"]["date"] == "2026-12-07"


def test_no_piece_comes_nearer_to_an_exclusion_than_its_buffer():
    shapes = [
        (
            shapely.LineString([(WEST - 50, SOUTH + 100), (WEST + 1050, SOUTH + 500)]),
            "power line",
            None,
        ),
        (box(300, 300, 360, 380), "building", None),
        (box(600, 100, 700, 160), "water", None),
        (shapely.Point(WEST + 800, SOUTH + 600), "other", 25.0),
    ]
    found = planned(exclusions=shapes)
    pieces = ends(found["planned_lines"])
    for (shape, _, _), buffer in zip(shapes, (50, 30, 5, 25), strict=True):
        assert shapely.distance(pieces, shape).min() >= buffer - 1e-6
    left = FIELD.difference(kept_clear([s for s, _, _ in shapes], [50, 30, 5, 25]))
    lines = found["plan"]["kilometres"]["lines_km"]
    assert lines * 1000 == pytest.approx(left.area / 50, rel=0.03)
    assert found["plan"]["pieces"] > 22
    assert any(name.endswith("B") for name in found["planned_lines"].frame["line"])


def test_days_are_full_but_not_too_full_and_hold_every_piece_once():
    settings = {"hours_a_day": 3.0, "set_up_h": 1.0, "rovers": 2, "terrain": "open"}
    found = planned(effort=settings)
    frame = found["planned_lines"].frame.filter(pl.col("kind") != "repeat")
    assert frame["line"].is_unique().all()
    days = found["plan"]["days"]
    for day in days:
        assert day["hours"] <= 2.0
        assert len(day["rovers"]) <= 2
        for part in day["rovers"]:
            # At 1.1 m/s the hours are the kilometres' own.
            assert part["hours"] == pytest.approx(part["kilometres"] / 3.96, abs=0.02)
    assert [day["date"] for day in days][:2] == ["2026-12-07", "2026-12-08"]
    total = found["plan"]["kilometres"]
    assert total["total_km"] == pytest.approx(sum(day["kilometres"] for day in days), abs=0.01)


def test_the_base_keeps_the_rules_and_alternatives_stand_apart():
    road = shapely.LineString([(WEST - 400, SOUTH + 400), (WEST + 1400, SOUTH + 400)])
    line = shapely.LineString([(WEST + 500, SOUTH - 500), (WEST + 500, SOUTH + 1300)])
    found = planned(exclusions=[(road, "track", None), (line, "power line", None)])
    base = found["plan"]["base"]
    sites = [base, *base["alternatives"]]
    assert len(sites) == 3
    places = [shapely.Point(site["easting_m"], site["northing_m"]) for site in sites]
    for site, place in zip(sites, places, strict=True):
        assert site["broken"] == []
        assert place.distance(road) >= 99.9
        assert place.distance(line) >= 49.9
        parts = ("to_lines_m", "way_in_m", "slope_counts_m", "nearness_counts_m")
        assert site["score_m"] == pytest.approx(sum(site[part] for part in parts), abs=0.3)
    assert min(places[a].distance(places[b]) for a, b in ((0, 1), (0, 2), (1, 2))) >= 100
    assert "within 2 nT" in base["on_site_test"]
    assert "15 min before" in base["hours"]


def test_where_no_place_keeps_the_rules_it_is_said_which_are_broken():
    roads = [
        (shapely.LineString([(WEST - 900, SOUTH + n), (WEST + 1900, SOUTH + n)]), "road", None)
        for n in range(-800, 1700, 150)
    ]
    found = planned(exclusions=roads)
    assert "nearer than 100 m" in found["plan"]["base"]["broken"][0]
    assert any("No place satisfies all rules" in text for text in found["plan"]["warnings"])


def test_points_say_where_to_stand_and_to_walk():
    found = planned(handheld={"waypoint_each_m": 100.0})
    points = found["planned_points"].frame
    assert {"BASE", "BASE2", "BASE3", "CHECK", "TURNS"} <= set(points["name"])
    assert points["name"].is_unique().all()
    assert points["name"].str.len_chars().max() <= 10
    line = points.filter(line="L005")
    assert line["kind"].to_list() == ["start", *["on line"] * 7, "end"]
    row = found["planned_lines"].frame.filter(line="L005").to_dicts()[0]
    start = row["northing_2_m"] if row["reversed"] else row["northing_1_m"]
    assert line["northing_m"][0] == pytest.approx(start)
    base, check = (points.filter(kind=kind).to_dicts()[0] for kind in ("base", "check station"))
    away = np.hypot(
        base["easting_m"] - check["easting_m"], base["northing_m"] - check["northing_m"]
    )
    assert away == pytest.approx(30.0)
    turns = points.filter(kind="turns").to_dicts()[0]
    spot = shapely.Point(turns["easting_m"], turns["northing_m"])
    assert FIELD.exterior.distance(spot) >= 20
    assert FIELD.contains(spot)
    assert spot.distance(shapely.Point(base["easting_m"], base["northing_m"])) >= 50


def test_each_tour_begins_and_ends_with_the_repeat_line():
    found = planned()
    days = found["plan"]["days"]
    frame = found["planned_lines"].frame
    repeat = frame.filter(kind="repeat")
    assert len(repeat) == 2 * len(days)
    assert repeat["length_m"].to_list() == pytest.approx([200.0] * 2 * len(days))
    for (_,), walk in frame.group_by("day", maintain_order=True):
        assert [walk["kind"][0], walk["kind"][-1]] == ["repeat", "repeat"]
    assert not repeat["reversed"].any()
    assert days[0]["rovers"][0]["repeat_km"] == pytest.approx(0.4)
    # It lies on one of the lines in the middle third of twenty: 350 to 650 m east.
    east = repeat["easting_1_m"][0] - WEST
    assert 350 <= east <= 650
    assert (east - 25) % 50 == pytest.approx(0.0)
    without = planned(plan={"repeat_length_m": 0.0})
    assert "repeat" not in without["planned_lines"].frame["kind"]


def test_too_much_walking_off_the_lines_is_warned_of():
    strip = planned(box(0, 0, 6000, 60), plan={"line_spacing_m": 400.0})
    assert any("plan the area in parts" in text for text in strip["plan"]["warnings"])
    assert not any("in parts, each" in text for text in planned()["plan"]["warnings"])


def test_terrain_lengthens_lines_slows_the_pace_and_warns_of_steep_ground():
    plane = terrain_table(lambda e, n: 0.75 * n)
    steep, level = planned(terrain=plane), planned(terrain=terrain_table(lambda e, n: 0 * n + 70))
    # Lines go straight up a slope of 3 in 4: five to four on the map.
    rows = steep["planned_lines"].frame.filter(kind="line")
    assert np.allclose(rows["ground_length_m"] / rows["length_m"], 1.25)
    ties = steep["planned_lines"].frame.filter(kind="tie")
    assert np.allclose(ties["ground_length_m"] / ties["length_m"], 1.0)
    assert steep["plan"]["effort"]["walking_h"] > 3 * level["plan"]["effort"]["walking_h"]
    assert any("steeper than 30 degrees" in text for text in steep["plan"]["warnings"])
    assert not any("steeper" in text for text in level["plan"]["warnings"])
    assert level["plan"]["site"]["height_m"] == 70.0
    assert steep["plan"]["base"]["slope_deg"] == pytest.approx(36.9, abs=0.1)
    assert "slopes by 37 degrees" in steep["plan"]["base"]["broken"][0]
    assert np.allclose(level["planned_points"].frame["height_m"], 70.0)


def test_without_settings_the_rule_of_thumb_holds():
    unset = {"line_azimuth_deg": None, "line_spacing_m": None}
    body = {"strike_deg": 70.0, "depth_m": 28.0}
    plan = planned(plan=unset, body=body)["plan"]
    assert (plan["azimuth_deg"], plan["spacing_m"]) == (160.0, 30.0)
    assert 300 / 1.2 < plan["tie_spacing_m"] < 300 * 1.2
    assert "right angles to the strike" in plan["why"]["azimuth"]
    ball = planned(plan=unset, body=body | {"kind": "sphere"})["plan"]
    site = ball["site"]
    north = (site["declination_deg"] - site["convergence_deg"]) % 180
    assert ball["azimuth_deg"] == pytest.approx(north, abs=0.01)
    assert "magnetic north" in ball["why"]["azimuth"]


def test_lines_along_the_strike_and_wide_ones_are_warned_of():
    warnings = planned(body={"strike_deg": 10.0, "depth_m": 5.0})["plan"]["warnings"]
    assert any("10 degrees to the strike" in text for text in warnings)
    assert any("would alias" in text for text in warnings)


def test_the_effort_lists_its_assumptions_and_a_range():
    effort = planned()["plan"]["effort"]
    assert effort["days_low"] <= effort["days"] <= effort["days_high"]
    assert len(effort["assumptions"]) == 7
    assert any("Tobler" not in text and "level" in text for text in effort["assumptions"])
    cut = planned(effort={"cutting_m_h": 150.0})["plan"]["effort"]
    assert cut["cutting_h"] == pytest.approx(18_000 / 150, rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"area": None}, "no area to survey.*a file of role area"),
        ({"area": box(0, 0, 30, 500)}, "narrower than the line spacing.*30.0 m across"),
        ({"area": box(0, 0, 100, 15)}, r"No line of 20 m.*15.0 m"),
        ({"exclusions": [(box(-10, -10, 1010, 810), "water", None)]}, "swallow the area"),
        ({"plan": {"line_spacing_m": 0.005}}, "more than 100000 lines"),
        ({"effort": {"hours_a_day": 2.0, "set_up_h": 2.0}}, "set_up_h must leave time"),
        ({"effort": {"hours_a_day": 1.7, "set_up_h": 1.5}}, "too short to reach a line"),
        ({"handheld": {"name_length": 4}, "exclusions": [(box(400, 300, 500, 400), None, None)]},
         "name_length is 4"),
    ],
)  # fmt: skip
def test_what_can_t_be_planned_is_refused_in_one_sentence(changes, match):
    with pytest.raises(InputError, match=match):
        planned(**changes)


def test_a_first_day_outside_the_model_is_refused():
    with pytest.raises(SettingsError, match=r"first_day must lie within IGRF-14.*2031-02-01"):
        planned(plan={"first_day": "2031-02-01"})


def test_a_spacing_of_zero_is_refused_with_the_settings():
    with pytest.raises(SettingsError, match=r"plan.line_spacing_m"):
        planned(plan={"line_spacing_m": 0.0})


def test_the_same_input_gives_the_same_plan():
    one, other = planned(), planned()
    assert all(one[name].digest() == other[name].digest() for name in one)


def test_where_nothing_tells_of_the_body_no_odds_are_made_up():
    plan = planned(plan={"optimise": True})["plan"]
    assert plan["detection"] is None
    assert plan["optimiser"] is None
    assert any("no odds are predicted or optimised" in text for text in plan["warnings"])


def test_the_plan_promises_more_of_a_stronger_body():
    small = box(0, 0, 300, 200)
    body = {"depth_m": 20.0, "width_m": 2.0, "length_m": 120.0, "strike_deg": 90.0}
    noise = {"host": {"noise_nT": 2.0}}
    found = [
        planned(small, body=body | {"susceptibility": k}, plan={"repeat_length_m": 0.0}, **noise)
        for k in (0.0005, 0.1)
    ]
    weak, strong = (item["plan"]["detection"] for item in found)
    assert weak["probability"] < 0.5 < 0.9 < strong["probability"]
    assert strong["of"] == "the lines as laid out"
    assert any("less than the 90% wanted" in text for text in found[0]["plan"]["warnings"])


BODY = {"depth_m": 10.0, "width_m": 6.0, "length_m": 150.0, "strike_deg": 90.0}
LEFT_OUT = {"line_azimuth_deg": None, "line_spacing_m": None, "repeat_length_m": 0.0}


@pytest.fixture(scope="module")
def strong_body():
    return planned(
        box(0, 0, 300, 240), body=BODY | {"susceptibility": 0.05}, plan=LEFT_OUT
    )["plan"]  # fmt: skip


def test_a_plan_for_a_map_says_what_the_optimiser_saves(strong_body):
    told = strong_body["optimiser"]
    assert told["better"]
    rule, chosen = told["rule"], told["chosen"]
    assert rule["spacing_m"] == pytest.approx(12.0)
    # Reid: 5 % of the power aliases where exp(-2 pi h / dx) = 0.05, dx = 2.097 h.
    assert chosen["spacing_m"] <= 2.1 * 12.0
    assert chosen["azimuth_deg"] == rule["azimuth_deg"]
    assert chosen["tie_spacing_m"] <= 10.01 * chosen["spacing_m"]
    assert told["saving"] == pytest.approx(1 - chosen["kilometres"] / rule["kilometres"], abs=2e-3)
    for words in (f"{chosen['kilometres']:.1f} km", f"{rule['kilometres']:.1f} km", "detection"):
        assert words in strong_body["why"]["spacing"]
    assert not any("alias" in text for text in strong_body["warnings"])


def test_where_the_optimiser_finds_nothing_the_plan_says_so():
    noise = {"survey_noise": {"walking_nT": 5.0}, "host": {"noise_nT": 0.1, "soil_noise_nT": 0.1}}
    faint = planned(
        box(0, 0, 300, 240), body=BODY | {"susceptibility": 0.001}, plan=LEFT_OUT, **noise
    )["plan"]  # fmt: skip
    assert 0.2 < faint["optimiser"]["rule"]["probability"] < 0.9
    assert faint["optimiser"]["saving"] == 0.0
    assert "no better plan found" in faint["optimiser"]["text"]
    assert "no better plan found" in faint["why"]["spacing"]
    assert faint["spacing_m"] == pytest.approx(12.0)


def test_a_spacing_that_is_set_stays():
    plan = LEFT_OUT | {"line_spacing_m": 15.0}
    own = planned(box(0, 0, 300, 240), body=BODY | {"susceptibility": 0.05}, plan=plan)["plan"]
    assert own["spacing_m"] == 15.0
    assert own["optimiser"] is None


def test_the_optimiser_counts_where_azimuth_and_spacing_are_left_out():
    found = {"text": "30% fewer", "better": True}
    found["chosen"] = {"azimuth_deg": 100.0, "spacing_m": 33.0, "tie_spacing_m": 900.0}
    plan = {"optimise": True, "line_azimuth_deg": None, "line_spacing_m": None}
    plan |= {"tie_spacing_m": None, "sensor_height_m": 2.0}
    body = {"kind": "dyke", "strike_deg": 10.0, "depth_m": 20.0, "width_m": 5.0, "length_m": 300.0}
    choice = chosen_layout({"plan": plan, "body": body}, found)
    assert (choice.azimuth_deg, choice.spacing_m, choice.tie_spacing_m) == (100.0, 33.0, 900.0)
    assert "30% fewer" in choice.why["spacing"]
    rule = chosen_layout({"plan": plan, "body": body}, found | {"better": False})
    assert (rule.azimuth_deg, rule.spacing_m) == (100.0, 22.0)
    assert rule.optimiser["better"] is False
    assert may_optimise(plan)
    assert not may_optimise(plan | {"line_azimuth_deg": 0.0})


def test_ties_are_walked_from_the_first_day_on():
    found = planned(effort={"hours_a_day": 3.0, "set_up_h": 1.0, "rovers": 2, "terrain": "open"})
    frame = found["planned_lines"].frame
    assert frame["day"].max() > 1
    assert set(frame.filter(kind="tie", day=1)["rover"]) == {1, 2}
    assert not any("No tie line is walked before" in text for text in found["plan"]["warnings"])


def test_ties_only_on_the_last_day_are_warned_of(monkeypatch):
    monkeypatch.setattr(plan_lines, "ties_early", lambda *args, **_: args[3])
    found = planned(effort={"hours_a_day": 4.0, "set_up_h": 1.0, "rovers": 1, "terrain": "open"})
    days = found["planned_lines"].frame.filter(kind="tie")["day"]
    warned = [text for text in found["plan"]["warnings"] if "No tie line is walked" in text]
    assert days.min() == found["planned_lines"].frame["day"].max()
    assert f"before day {days.min()}, the last" in warned[0]


def test_walks_under_power_lines_are_named_day_by_day():
    """A line across the middle of the area: each leg from one side to the other is named."""
    middle = shapely.LineString([(WEST - 400, SOUTH + 410), (WEST + 1400, SOUTH + 410)])
    found = planned(exclusions=[(middle, "power line", None)])
    base = found["plan"]["base"]
    place = (base["easting_m"], base["northing_m"])
    here, under, before = place[1] > SOUTH + 410, 0, None
    for row in found["planned_lines"].frame.iter_rows(named=True):
        ends = [row["northing_1_m"], row["northing_2_m"]]
        for north in ends[::-1] if row["reversed"] else ends:
            under += (north > SOUTH + 410) != here
            here, before = north > SOUTH + 410, row["line"]
    under += here != (place[1] > SOUTH + 410)
    named = [leg for day in found["plan"]["days"] for part in day["rovers"]
             for leg in part["power_crossings"]]  # fmt: skip
    assert under > 0
    assert before == "R01"
    assert len(named) == under
    warned = next(t for t in found["plan"]["warnings"] if "meet power lines" in t)
    assert named[0] in warned
    assert "operator prescribes" in warned
    assert not any("power line" in t for t in planned()["plan"]["warnings"])


def test_a_rule_that_was_not_checked_is_told():
    alone = planned()["plan"]
    words = "no road or vehicle track is given: the 100 m were not checked"
    assert alone["base"]["not_checked"] == [words]
    assert f"Base: {words}." in alone["warnings"]
    road = shapely.LineString([(WEST - 400, SOUTH + 400), (WEST + 1400, SOUTH + 400)])
    known = planned(exclusions=[(road, "track", None)])["plan"]
    assert known["base"]["not_checked"] == []
    assert not any("not checked" in text for text in known["warnings"])


def test_what_the_base_breaks_stands_beside_its_point():
    roads = [
        (shapely.LineString([(WEST - 900, SOUTH + n), (WEST + 1900, SOUTH + n)]), "road", None)
        for n in range(-800, 1700, 150)
    ]
    found = planned(exclusions=roads)
    text = found["planned_points"].frame.filter(kind="base")["text"][0]
    assert found["plan"]["base"]["broken"][0] in text


def test_ties_tell_how_many_line_spacings_they_really_lie_apart():
    """500 m were wanted; over 800 m they lie 400 m apart, eight times the 50 m of the lines."""
    assert planned()["plan"]["why"]["ties"].startswith("8 times the line spacing")
    settings = {"plan": {"tie_spacing_m": 200.0}}
    assert planned(**settings)["plan"]["why"]["ties"].startswith("4 times the line spacing")


def test_exclusions_that_exclude_nothing_are_warned_of_by_name():
    line = shapely.LineString([(WEST, SOUTH + 100), (WEST + 900, SOUTH + 100)])
    found = planned(exclusions=[(line, "hedge", None)])
    assert any("Nothing is kept clear of hedge" in t for t in found["plan"]["warnings"])
    kept = planned(exclusions=[(line, "hedge", 3.0)])
    assert not any("Nothing is kept clear" in t for t in kept["plan"]["warnings"])
