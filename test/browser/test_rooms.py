"""Every room, as it is seen: filled without an error, the same for everybody, in all sizes."""

import json
import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey
from lodewalk.web.frame import ASKED, ASKED_IN, ROOMS
from pages_browser import DESK, LAPTOP, PHONE, Visit, barriers, launch

ALL = ("start", *(room for room, _, _ in ROOMS))
THEMES = ("light", "dark")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", [LAPTOP, DESK, PHONE], ids=lambda size: str(size[0]))
def test_no_room_with_data_hinders_anybody_or_is_wider_than_the_screen(
    demo_pages, visit, pictures, size, theme
):
    there = visit(demo_pages, size=size, theme=theme)
    wide, hindering = {}, {}
    for room in ALL:
        there.go(f"/{room}")
        there.page.wait_for_timeout(100)
        there.page.screenshot(path=pictures / f"{room}-{size[0]}-{theme}.png")
        wide[room] = there.page.evaluate("document.documentElement.scrollWidth")
        if size == LAPTOP:
            hindering[room] = barriers(there.page)
    assert {room: found for room, found in hindering.items() if found} == {}
    assert {room: width for room, width in wide.items() if width > size[0]} == {}


@pytest.mark.parametrize("theme", THEMES)
def test_an_empty_survey_hinders_nobody_and_says_what_to_do(tmp_path, opened, visit, theme):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    there = visit(opened(tmp_path / "hill"), theme=theme)
    for room in ALL:
        there.go(f"/{room}")
        assert barriers(there.page) == [], room
        main = there.page.get_by_role("main")
        ways = [main.get_by_role(role).count() for role in ("link", "button", "textbox", "slider")]
        assert any(ways), f"{room} leads nowhere"


@pytest.mark.parametrize("theme", THEMES)
def test_open_dialogs_hinder_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/days", theme=theme)
    for name in ("Help", "Up to date", "Drop a span", "Set a clock right", "Take back: clock"):
        there.seen("button", name).first.click()
        dialog = there.page.get_by_role("dialog")
        expect(dialog).to_be_visible()
        expect(dialog.get_by_text("Looking up")).to_have_count(0)
        assert barriers(there.page) == [], name
        there.page.keyboard.press("Escape")
        expect(dialog).to_have_count(0)


@pytest.mark.parametrize("room", [room for room, _, _ in ROOMS])
def test_what_is_asked_before_the_scripts_come_is_what_the_room_asks(demo_pages, visit, room):
    there = visit(demo_pages, "/start")
    there.page.route("**/static/first.js", lambda route: route.fulfill(body=""))
    there.asked.clear()
    there.go(f"/{room}")
    asked = {path for _, path in there.asked}
    early, judged = ASKED_IN[room]
    assert {f"/api/{path}" for path in (*ASKED, *early, *judged)} <= asked


@pytest.mark.parametrize("theme", THEMES)
def test_a_setting_is_found_told_with_its_range_and_changed_by_keys(tmp_path, opened, visit, theme):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    there = visit(opened(tmp_path / "hill"), "/settings", theme=theme)
    there.seen("navigation", "Sections of the settings").get_by_role("link", name="Fits").click()
    section = there.page.locator('[id="section-fits"]')
    expect(section).to_be_in_viewport()
    window = section.locator('form[data-name="fits.window"]')
    expect(window).to_contain_text("2 to 20; default 4")  # as the settings' reference has it
    button = window.get_by_role("button", name="Change…")
    expect(button).to_be_hidden()
    window.get_by_role("textbox", name="Window").fill("1")
    expect(button).to_be_visible()
    with there.forgiven("400"):
        there.page.keyboard.press("Enter")
        expect(window.get_by_text("greater than or equal to 2")).to_be_visible()
    assert barriers(there.page) == []
    window.get_by_role("textbox", name="Window").fill("6")
    there.page.keyboard.press("Enter")
    dialog = there.seen("dialog", "Change fits.window")
    expect(dialog.get_by_label("Reason")).to_be_focused()
    assert barriers(there.page) == []
    dialog.get_by_label("Reason").fill("wide bodies")
    dialog.get_by_label("Decided by").fill("K. L.")
    there.page.keyboard.press("Enter")
    expect(window).to_contain_text("changed")
    assert barriers(there.page) == []  # with the notice that offers to undo it
    there.seen("checkbox", "changed ones only").check()
    forms = there.page.locator("form.setting:visible")
    expect(forms).to_have_count(3)  # name and reference system are set too


def test_a_long_text_among_the_settings_is_seen_whole_and_sent_by_enter(demo_pages, visit):
    there = visit(demo_pages, "/settings")
    purpose = there.seen("textbox", "Purpose")
    assert purpose.evaluate("one => one.scrollHeight <= one.clientHeight")
    purpose.focus()
    there.page.keyboard.press("End")
    there.page.keyboard.type(" again")
    there.page.keyboard.press("Enter")
    dialog = there.seen("dialog", "Change survey.purpose")
    assert barriers(there.page) == []
    expect(dialog.get_by_text("again", exact=False).first).to_be_visible()
    dialog.get_by_role("button", name="Leave it").click()


@pytest.mark.parametrize("theme", THEMES)
def test_what_opens_on_the_start_page_hinders_nobody(tmp_path, opened, visit, theme):
    (tmp_path / "shelf" / "broken").mkdir(parents=True)
    (tmp_path / "shelf" / "broken" / "survey.toml").write_text("format = ")
    new_survey(tmp_path / "shelf" / "hill", name="Hill", crs="EPSG:31982")
    there = visit(opened(tmp_path / "shelf"), "/start", theme=theme)
    expect(there.page.get_by_text("can't be opened")).to_be_visible()
    there.page.get_by_text("Find the code", exact=True).click()
    there.seen("textbox", "Latitude").fill("24.9 S")
    there.seen("textbox", "Longitude").fill("50.4 W")
    there.page.keyboard.press("Enter")
    expect(there.seen("button", "EPSG:32722")).to_be_visible()
    there.seen("button", "Make it").click()
    expect(there.page.get_by_text("This is needed.")).to_be_visible()
    assert barriers(there.page) == []


@pytest.mark.parametrize("theme", THEMES)
def test_the_guided_path_hinders_nobody_and_can_be_left(demo_pages, visit, theme):
    there = visit(demo_pages, "/start", theme=theme)
    there.seen("button", "Follow the guided path").click()
    there.page.wait_for_url("**/site*")
    there.ready()
    card = there.seen("region", "Guided path")
    expect(card.get_by_role("heading")).to_be_focused()
    assert barriers(there.page) == []
    card.get_by_role("button", name="Leave the path").click()
    expect(card).to_have_count(0)
    expect(there.page.get_by_role("main")).to_be_focused()


@pytest.mark.parametrize("size", [LAPTOP, PHONE])
def test_each_stop_of_the_guided_path_shows_what_it_speaks_of(demo_pages, visit, size):
    there = visit(demo_pages, "/start", size=size)
    there.seen("button", "Follow the guided path").click()
    rooms = []
    while True:
        expect(there.page.locator("body")).not_to_have_attribute("data-room", "start")
        there.ready()
        rooms.append(there.page.evaluate("document.body.dataset.room"))
        card = there.seen("region", "Guided path")
        card.get_by_role("button", name="Show it").click()
        shown = there.page.locator(".pointed")
        expect(shown).to_be_focused()
        expect(shown).to_be_in_viewport()
        expect(card.get_by_role("heading")).to_be_in_viewport()
        on = card.get_by_role("button", name=re.compile("^(Next|Done)$"))
        expect(on).to_be_in_viewport(ratio=1)
        if not card.get_by_role("button", name="Next").count():
            break
        told = card.get_by_role("heading").inner_text()
        card.get_by_role("button", name="Next").click()
        expect(card.get_by_role("heading")).not_to_have_text(told)
    assert rooms[:3] == ["site", "plan", "days"]
    assert rooms[-1] == "handover"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_is_asked_for_before_it_is_there_is_shown_once_it_comes(demo_pages, visit, theme):
    there = visit(demo_pages, "/start", theme=theme)
    held = []
    there.page.route("**/api/site?*", lambda route: held.append(route))
    there.seen("button", "Follow the guided path").click()
    there.page.wait_for_url("**/site*")
    card = there.seen("region", "Guided path")
    card.get_by_role("button", name="Show it").click()
    expect(card.get_by_role("status")).to_have_text("It comes in a moment…")
    for one in held:
        one.continue_()
    there.page.unroute("**/api/site?*")
    shown = there.page.locator(".pointed")
    expect(shown).to_be_focused()
    expect(card.get_by_role("status")).to_have_text("")
    expect(card.get_by_role("button", name="Back")).to_be_hidden()
    card.get_by_role("button", name="Text").click()
    expect(card.get_by_role("button", name="Leave the path")).to_be_visible()
    expect(card.get_by_text("All of it is known before anyone goes.")).to_be_in_viewport()
    assert barriers(there.page) == []


#: Controls that are seen and lower than a finger wants; words that explain themselves lie in text.
LOW = """(least) => [...document.querySelectorAll("button, select, input, summary")]
  .filter((one) => one.checkVisibility() && !one.matches(".term, .sort, [type=checkbox]"))
  .map((one) => [one.getBoundingClientRect().height, one.outerHTML.slice(0, 120)])
  .filter(([height]) => height < least)"""


@pytest.mark.parametrize("room", ["start", "site", "plan", "settings"])
def test_on_a_phone_a_finger_finds_what_it_presses(demo_pages, visit, room):
    there = visit(demo_pages, f"/{room}", size=PHONE, has_touch=True)
    assert there.page.evaluate("matchMedia('(pointer: coarse)').matches")
    assert there.page.evaluate(LOW, 34) == []
    nav = there.seen("navigation", "Rooms")
    wide = nav.evaluate("element => [element.scrollWidth, element.clientWidth]")
    assert wide[0] <= wide[1], "a room is out of sight"


def test_a_printed_page_is_light_and_keeps_names_and_headings_without_buttons(demo_pages, visit):
    there = visit(demo_pages, "/site", theme="dark")
    there.page.emulate_media(media="print")
    there.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    paper = there.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == "rgb(255, 255, 255)"
    ink = there.page.evaluate("getComputedStyle(document.querySelector('.card h2')).color")
    assert max(int(part) for part in ink[4:-1].split(",")) < 80
    expect(there.page.get_by_role("banner").locator(".survey")).to_be_visible()
    expect(there.seen("columnheader", "Error, 1 sd")).to_contain_text("Error, 1 sd")
    expect(there.seen("button", "Error, 1 sd")).to_be_visible()
    for name in ("Help", "Keep as CSV", "Use these in the survey…"):
        expect(there.seen("button", name)).to_have_count(0)


def test_a_printed_day_says_when_and_by_which_version_and_has_no_columns_of_buttons(
    demo_pages, visit
):
    there = visit(demo_pages, "/days")
    head = there.seen("columnheader", "Take back")
    expect(head).to_be_visible()
    there.page.emulate_media(media="print")
    there.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    expect(head).to_be_hidden()
    expect(there.seen("columnheader", "Reason")).to_be_visible()
    told = there.page.evaluate("getComputedStyle(document.body, '::after').content")
    assert re.search(r"Printed \d{4}-\d\d-\d\d \d\d:\d\d UTC by lodewalk \d", told)
    assert "more below" not in there.page.locator("main").inner_text()


def test_on_a_phone_sentences_of_a_table_stand_on_the_screen(demo_pages, visit):
    there = visit(demo_pages, "/days", size=PHONE)
    row = there.seen("grid", "Lines of").get_by_role("row").filter(has_text="may err").first
    why = row.get_by_role("gridcell").last.bounding_box()
    assert why["x"] >= 0
    assert why["x"] + why["width"] <= PHONE[0]
    assert row.bounding_box()["height"] < PHONE[1] / 4


def test_what_changed_before_the_page_could_hear_of_it_is_asked_again(demo_pages, visit):
    there = visit(demo_pages, "/start")

    def older(route):
        found = route.fetch()
        route.fulfill(response=found, json={**found.json(), "mark": "of before"})

    there.page.route("**/api/survey", older, times=1)
    there.asked.clear()
    with there.page.expect_response(lambda one: there.asked.count(("GET", "/api/check")) > 1):
        there.go("/days")


def test_the_base_of_the_day_is_drawn_where_another_is_the_surveys_first(demo_pages, visit):
    there = visit(demo_pages, "/start")

    def another(route):
        found = route.fetch()
        route.fulfill(response=found, body=found.body().replace(b'"B1"', b'"B9"'))

    there.page.route(re.compile(r"/api/base$"), another)
    there.go("/days?day=2026-03-11")
    expect(there.seen("application", "Base record of B1")).to_be_visible()


def labels(there):
    """Return what every drawing of a room says of itself."""
    found = there.page.get_by_role("application").all()
    return [drawing.get_attribute("aria-label") for drawing in found]


def test_every_drawing_is_told_in_words_that_follow_what_it_shows(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L14")
    first = there.page.get_by_role("application").filter(visible=True)
    expect(there.seen("application", "Profile of L14")).to_be_visible()
    expect(there.seen("application", "Map of Total-field anomaly")).to_be_visible()
    before = labels(there)
    assert first.count() == len(before) >= 3
    there.page.get_by_label("Grid", exact=True).select_option(index=3)
    expect(there.seen("application", "Map of Total-field anomaly,")).to_have_count(0)
    there.go("/map?line=L20")
    expect(there.seen("application", "Profile of L20")).to_be_visible()
    assert all(labels(there))


def test_a_metre_is_as_long_to_the_east_as_to_the_north(demo_pages, visit):
    there = visit(demo_pages, "/map")
    drawing = there.seen("application", "Map of")
    readout = there.page.get_by_text("northing", exact=False).filter(has_text="Easting")
    box = drawing.bounding_box()
    places = []
    for right, down in ((0.3, 0.3), (0.6, 0.3), (0.3, 0.6)):
        x, y = box["x"] + right * box["width"], box["y"] + down * box["height"]
        there.page.mouse.move(x, y)
        expect(readout.first).to_be_visible()
        there.page.wait_for_timeout(80)
        text = readout.first.inner_text().replace(",", "")
        numbers = [float(word) for word in text.split() if word.replace(".", "").isdigit()]
        places.append((x, y, *numbers[:2]))
    (x0, y0, e0, n0), (x1, _, e1, _), (_, y2, _, n2) = places
    east, north = (x1 - x0) / (e1 - e0), (y2 - y0) / (n0 - n2)
    assert abs(east / north - 1) < 0.005


def test_a_view_is_kept_in_its_address_and_the_back_button_returns_to_it(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L14")
    there.seen("application", "Profile of L14").click()
    there.page.wait_for_url("**reading=*")
    kept = there.page.url
    story = there.page.get_by_text(re.compile("^In files and tables it is called"))
    expect(story).to_be_visible()
    told = story.inner_text()
    there.page.get_by_role("navigation", name="Rooms").get_by_role("link", name="Days").click()
    there.page.wait_for_url("**/days*reading=*")
    there.ready()
    lines = there.seen("grid", "Lines of")
    lines.get_by_role("row").filter(has_text="L18").first.click()
    expect(there.seen("application", "Profile of L18")).to_be_visible()
    there.page.go_back()
    expect(there.seen("application", "Profile of L14")).to_be_visible()
    there.page.go_back()
    there.ready()
    assert there.page.url == kept
    expect(story).to_have_text(told)
    other = visit(demo_pages, kept.removeprefix(there.home))
    expect(other.page.get_by_text(told, exact=True)).to_be_visible()


def test_no_connection_goes_to_another_host(demo_pages, driver, tmp_path):
    """The browser's own log of its network holds every connection, those without a page too."""
    log = tmp_path / "net.json"
    browser = launch(driver, f"--log-net-log={log}")
    there = Visit(browser.new_page(), demo_pages).enter()
    for room in ALL:
        there.go(f"/{room}")
    browser.close()
    found = json.loads(log.read_text())
    connecting = found["constants"]["logEventTypes"]["TCP_CONNECT_ATTEMPT"]
    events = [event for event in found["events"] if event["type"] == connecting]
    tried = {event["params"]["address"] for event in events if "address" in event.get("params", {})}
    assert tried == {f"127.0.0.1:{demo_pages.port}"}
    assert not there.problems
