"""The rooms *Site* and *Plan*: sliders move the odds; an area becomes a plan to take along."""

import json
import re

import gpxpy
import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey
from pages_browser import Keyboard, barriers, barriers_by_theme

CRS = "EPSG:32633"
PLAN = {"line_spacing_m": 60.0, "line_azimuth_deg": 0.0}
#: Corners of a field by easting and northing [m], wider than it is high.
CORNERS = [(500_000, 6_645_000), (500_300, 6_645_000), (500_300, 6_645_200), (500_000, 6_645_200)]
#: Making a plan may take this long on a busy machine [ms].
LONG_MS = 60_000
#: A choice among some twenty plans may take this long on a busy machine [ms].
MOST_MS = 240_000


@pytest.fixture
def hill(tmp_path, opened):
    """An empty survey, served."""
    new_survey(tmp_path / "hill", name="Hill", crs=CRS, settings={"plan": PLAN})
    return opened(tmp_path / "hill")


def corner_boxes(there):
    return [
        there.seen("textbox", f"{axis} of a new corner, metres") for axis in ("Easting", "Northing")
    ]


def test_at_an_empty_site_keys_alone_move_the_odds(hill, visit):
    there = visit(hill, "/site")
    assert barriers(there.page) == []
    keys = Keyboard(there.page)
    keys.write(there.seen("textbox", re.compile("^Latitude")), "60")
    keys.write(there.seen("textbox", re.compile("^Longitude")), "15")
    odds = there.page.get_by_text("with a probability of")
    expect(there.page.get_by_text("Which rock do you seek?")).to_be_visible()
    expect(there.seen("button", "Back to the survey's values")).to_be_hidden()
    expect(there.seen("combobox", "Rock of the body")).to_have_value("")
    assert barriers_by_theme(there.page) == {}
    keys.press(there.seen("button", "Try diabase"))
    keys.seen()
    expect(odds).to_be_visible(timeout=LONG_MS)
    shallow = odds.inner_text()
    size = there.page.get_by_text("from peak to trough").first
    strong = size.inner_text()
    keys.to(there.seen("slider", "Depth of its top, slider"))
    for _ in range(6):
        there.page.keyboard.press("PageUp")
    expect(size).not_to_have_text(strong)
    expect(odds).not_to_have_text(shallow, timeout=LONG_MS)
    there.page.get_by_text("What is assumed").click()
    assert barriers(there.page) == []
    there.seen("button", "Use these in the survey…").click()
    there.seen("button", "Change them").wait_for()
    assert barriers(there.page) == []


def test_while_odds_are_reckoned_those_before_are_no_answer(demo_pages, visit):
    """The answer is held back, so that what stands meanwhile can be read."""
    there = visit(demo_pages, "/site")
    verdict = there.page.locator(".odds .verdict")
    expect(verdict).to_be_visible(timeout=LONG_MS)
    before = verdict.inner_text()
    held = []
    there.page.route("**/api/expected/odds", lambda route: held.append(route))
    there.page.get_by_role("slider", name="Depth of its top").press("PageUp")
    waiting = there.page.get_by_text("Reckoning the odds…")
    expect(waiting).to_be_visible()
    expect(verdict).to_have_count(0)
    expect(there.page.get_by_text("with a probability of")).to_have_count(0)
    share = re.search(r"\d+", before).group()
    expect(waiting).to_contain_text(f"before the change {share}")
    assert barriers(there.page) == []
    for one in held:
        one.continue_()
    there.page.unroute("**/api/expected/odds")
    there.page.get_by_role("slider", name="Depth of its top").press("PageDown")
    expect(verdict).to_be_visible(timeout=LONG_MS)


def test_site_and_plan_know_the_same_body_and_its_odds_come_in_both(demo_pages, visit):
    """What Site opens with is the survey's own, so another room can tell of it."""
    there = visit(demo_pages, "/site")
    expect(there.page.locator(".odds .verdict")).to_be_visible(timeout=LONG_MS)
    expect(there.seen("combobox", "Rock of the body")).to_have_value("diabase")
    expect(there.page.locator(".dial.tried")).to_have_count(0)
    flag, track = (
        there.page.locator(f".odds-{part}").bounding_box() for part in ("wanted", "track")
    )
    share = (flag["x"] + flag["width"] - track["x"]) / track["width"]
    assert share == pytest.approx(0.9, abs=0.01), "the words of the line stand at it"
    there.go("/plan")
    fill_corners(there, [(560_100, 7_245_700), (560_700, 7_245_700), (560_400, 7_246_300)])
    expect(there.page.locator(".odds .verdict")).to_be_visible(timeout=LONG_MS)
    expect(there.page.get_by_text(re.compile(r"^\d+, [\d.]+ m apart, azimuth 38°"))).to_be_visible()


def asked_of_that_day(answer):
    asked = answer.url.endswith("/api/expected") and answer.request.post_data_json["changes"]
    return bool(asked) and asked.get("plan.first_day") == "2029-07-02"


def test_all_that_site_tells_is_of_the_day_on_the_page(demo_pages, visit):
    there = visit(demo_pages, "/site")
    day = there.page.get_by_label("Date")
    expect(day).to_have_value("2026-03-10")
    assert 870 < float(there.page.get_by_label("Height above the ellipsoid").input_value()) < 920
    with there.page.expect_response(asked_of_that_day) as told:
        day.fill("2029-07-02")
    assert told.value.json()["site"]["epoch"] == pytest.approx(2029.5, abs=0.01)
    expect(there.page.get_by_text("On 2029-07-02: field")).to_be_visible()
    expect(there.page.get_by_text("Reckoning the")).to_have_count(0, timeout=LONG_MS)
    with there.page.expect_download() as drawn:
        there.page.get_by_role("button", name="SVG").click()
    assert "2029-07-02" in drawn.value.path().read_text()


def sketch_of_all(answer):
    """Whether this answers the question with all corners, not with the first three."""
    asked = answer.url.endswith("/api/plan/sketch") and answer.request.post_data_json["corners"]
    return bool(asked) and len(asked) == len(CORNERS)


def test_a_plan_drawn_by_keys_is_made_and_goes_along(hill, visit):
    there = visit(hill, "/plan")
    assert barriers(there.page) == []
    keys = Keyboard(there.page)
    with there.page.expect_response(sketch_of_all) as sketched:
        for corner in CORNERS:
            for box, value in zip(corner_boxes(there), corner, strict=True):
                keys.write(box, str(value))
            there.page.keyboard.press("Enter")
    count = sketched.value.json()["lines"]
    there.page.get_by_text(f"{count} lines", exact=True).wait_for()
    assert count in (5, 6)  # 300 m of width, a line for each 60 m, or one beside either edge
    keys.press(there.seen("button", "Make the plan…"))
    assert barriers(there.page) == []
    there.seen("button", "Make it").wait_for()
    keys.press(there.seen("button", "Make it"))
    expect(there.page.get_by_text("The plan is being made.")).to_be_visible()
    expect(there.seen("button", "Make the plan…")).to_be_focused()
    assert barriers_by_theme(there.page) == {}
    link = there.seen("link", "plan.gpx")
    link.wait_for(timeout=LONG_MS)
    expect(there.seen("button", "Make the plan…")).to_be_focused()
    with there.page.expect_download() as told:
        link.press("Enter")
    routes = gpxpy.parse(told.value.path().read_text()).routes
    assert len({route.name for route in routes if route.description.startswith("line")}) == count
    for folded in ("Why these lines", "Lines as a table"):
        there.page.get_by_text(folded).click()
    expect(there.seen("table", "Planned lines")).to_be_visible()
    assert barriers_by_theme(there.page) == {}


def test_an_area_that_crosses_itself_or_encloses_nothing_is_told_to_everybody(hill, visit):
    there = visit(hill, "/plan")
    fill_corners(there, [CORNERS[0], CORNERS[2], CORNERS[1], CORNERS[3]])
    expect(there.page.get_by_text("The outline crosses or touches itself")).to_be_visible(
        timeout=LONG_MS
    )
    assert barriers_by_theme(there.page) == {}
    there.seen("button", "Clear").press("Enter")
    with there.forgiven("400"):
        fill_corners(there, [(500_000 + 100 * step, 6_645_000) for step in range(3)])
        expect(there.page.get_by_text("enclose nothing")).to_be_visible(timeout=LONG_MS)
    for box in corner_boxes(there):
        box.fill("here")
    there.page.keyboard.press("Enter")
    expect(there.page.get_by_text("Type easting and northing as numbers")).to_be_visible()
    assert barriers_by_theme(there.page) == {}


@pytest.mark.parametrize(
    ("room", "back"), [("site", "Back to the survey's values"), ("plan", "Back to the survey's")]
)
def test_going_back_to_the_surveys_values_keeps_the_focus(demo_pages, visit, room, back):
    there = visit(demo_pages, f"/{room}")
    reckoning = there.page.get_by_text("Reckoning the")
    expect(reckoning).to_have_count(0, timeout=LONG_MS)
    spacing = there.seen("slider", "Line spacing, slider", exact=True)
    spacing.press("PageUp")
    button = there.seen("button", back, exact=True)
    button.press("Enter")
    expect(button).to_be_hidden()
    Keyboard(there.page).seen()
    expect(reckoning).to_have_count(0, timeout=LONG_MS)


def test_what_would_change_the_odds_is_asked_by_keys_and_told_to_everybody(demo_pages, visit):
    there = visit(demo_pages, "/site")
    button = there.seen("button", "What would change the odds most?")
    Keyboard(there.page).press(button)
    expect(there.page.get_by_text("Reckoning; it takes")).to_be_visible()
    expect(button).to_be_focused()
    expect(there.page.get_by_role("button", name=re.compile("^Feasibility, "))).to_be_visible()
    rooms = there.seen("navigation", "Rooms")
    assert rooms.evaluate("one => one.scrollWidth <= one.clientWidth"), "a room is cut off"
    assert barriers_by_theme(there.page) == {}
    answer = there.seen("table", "What changes the odds")
    expect(answer).to_be_visible(timeout=MOST_MS)
    expect(button).to_be_focused()
    assert barriers_by_theme(there.page) == {}


def test_a_corner_is_drawn_dragged_and_put_back_by_mouse(hill, visit):
    there = visit(hill, "/plan")
    for box, value in zip(corner_boxes(there), CORNERS[0], strict=True):
        box.fill(str(value))
    there.page.keyboard.press("Enter")
    view = there.page.get_by_role("application")
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    right, low, high = box["x"] + 500, box["y"] + 350, box["y"] + 100
    for spot in ((right, low), (right, high)):
        there.page.mouse.click(*spot)
    there.page.get_by_text("Tie lines", exact=True).wait_for()
    east = there.seen("textbox", "Easting of corner 2, metres")
    before = east.input_value()
    there.page.mouse.move(right, low)
    there.page.mouse.down()
    there.page.mouse.move(right + 60, low, steps=6)
    there.page.mouse.up()
    expect(east).not_to_have_value(before)
    assert float(east.input_value()) > float(before)
    there.seen("button", "Undo").click()
    expect(east).to_have_value(before)


def fill_corners(there, corners):
    for corner in corners:
        for box, value in zip(corner_boxes(there), corner, strict=True):
            box.fill(str(value))
        there.page.keyboard.press("Enter")


def closed_by_escape(there, name):
    """A dialog hinders nobody, and Escape closes it."""
    dialog = there.seen("dialog", name)
    expect(dialog).to_be_visible(timeout=LONG_MS)
    assert barriers(there.page) == [], name
    there.page.keyboard.press("Escape")
    expect(dialog).to_have_count(0)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_in_site_and_plan_hinders_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/site", theme=theme)
    expect(there.page.locator(".odds .verdict")).to_be_visible(timeout=LONG_MS)
    there.page.get_by_role("button", name="Optically pumped sensor").click()
    expect(there.page.get_by_text("a cell of vapour")).to_be_visible()
    assert barriers(there.page) == []
    there.page.keyboard.press("Escape")
    for folded in ("What is assumed", "The profile as a table"):
        there.page.get_by_text(folded).click()
    expect(there.seen("table", "Expected anomaly")).to_be_visible()
    assert barriers(there.page) == []
    there.page.get_by_role("textbox", name="Longitude").fill("x")
    expect(there.page.get_by_text("Give degrees, such as")).to_be_visible()
    assert barriers(there.page) == []
    there.seen("button", "Back to the survey's place").click()
    there.seen("slider", "Depth of its top, slider").press("PageUp")
    there.seen("button", "Use these in the survey…").click()
    closed_by_escape(there, "Use these in the survey")
    there.go("/plan")
    fill_corners(there, [(560_100, 7_245_700), (560_700, 7_245_700), (560_400, 7_246_300)])
    there.seen("button", "Make the plan…").click(timeout=LONG_MS)
    closed_by_escape(there, "Make the plan")
    rings = [
        [[west, -24.9], [west + 0.002, -24.9], [west, -24.898], [west, -24.9]]
        for west in (-50.405, -50.402)
    ]
    two = {"type": "MultiPolygon", "coordinates": [[ring] for ring in rings]}
    there.page.get_by_label("Area from a file", exact=True).set_input_files(
        {"name": "two.geojson", "mimeType": "", "buffer": json.dumps(two).encode()}
    )
    closed_by_escape(there, "Add this area")


def test_planned_lines_of_the_survey_stand_behind_an_area_to_come(demo_pages, demo_survey, visit):
    plan = demo_survey / "incoming" / "planned_lines.gpx"
    routes = gpxpy.parse(plan.read_text()).routes
    there = visit(demo_pages, "/plan")
    expect(there.page.get_by_text(f"The survey has {len(routes)} planned lines")).to_be_visible()
    expect(there.seen("application", f"the survey's {len(routes)} planned lines")).to_be_visible()
    expect(there.seen("button", "Make the plan…")).to_be_hidden()
    there.page.get_by_text("Lines as a table").click()
    rows = there.seen("table", "Planned lines of the survey").get_by_role("row")
    expect(rows).to_have_count(1 + len(routes))
    assert barriers(there.page) == []
