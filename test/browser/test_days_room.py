"""The evening's room: a strange file goes in, the next like it without asking; a day is judged."""

import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey
from pages_browser import PHONE, barriers


def logger(day):
    """Return a file of a made-up logger: semicolons, decimal comma, dots in dates and times."""
    rows = (f"{day};10.{n // 60:02d}.{n % 60:02d};N1;22950,{n:03d}\n" for n in range(120))
    return "Tag;Uhr;Gang;Wert\n" + "".join(rows)


@pytest.fixture
def hill(tmp_path, opened):
    """A survey without files, served, with two files of the logger beside it."""
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    for number, day in enumerate(("12.03.2026", "13.03.2026")):
        (tmp_path / f"K7_{number}.txt").write_text(logger(day))
    return opened(tmp_path / "hill")


def test_a_strange_file_is_mapped_and_the_next_goes_in_without_asking(hill, visit, tmp_path):
    there = visit(hill, "/days")
    pick = there.page.get_by_label("choose them")
    pick.set_input_files(str(tmp_path / "K7_0.txt"))
    card = there.seen("article", "File K7_0.txt")
    card.get_by_text("The columns can't be told for sure").wait_for()
    assert barriers(there.page) == []
    assert there.page.get_by_text("The survey holds no files yet.").is_visible()
    card.get_by_label("Role").select_option("rover")
    for number, name, meaning in ((1, "Tag", "date"), (2, "Uhr", "time"), (3, "Gang", "line")):
        card.get_by_label(f"What column {number}, {name}, is").select_option(meaning)
        there.page.wait_for_load_state("networkidle")
    card.get_by_label("Date", exact=True).select_option(label="31.03.2026")
    there.page.wait_for_load_state("networkidle")
    card.get_by_label("Time", exact=True).select_option(label="14.05.09")
    card.get_by_text("doesn't say the time zone").wait_for()
    card.get_by_label("Time zone").fill("-03:00")
    card.get_by_label("Time zone").press("Enter")
    # Ten in the morning, three hours behind UTC, and two minutes less a second of readings.
    card.get_by_text("2026-03-12 13:00:00 to 2026-03-12 13:01:59 UTC").wait_for()
    card.get_by_role("button", name="Add", exact=True).click()
    row = there.page.get_by_role("row", name=re.compile(r"K7_0\.txt rover K7"))
    row.wait_for()
    pick.set_input_files(str(tmp_path / "K7_1.txt"))
    card = there.seen("article", "File K7_1.txt")
    card.get_by_text("columns read as in K7_0.txt").wait_for()
    assert card.get_by_text("2026-03-13 13:00:00 to 2026-03-13 13:01:59 UTC").is_visible()
    pick.set_input_files(str(tmp_path / "K7_0.txt"))
    there.seen("button", "Set aside: K7_0.txt").click()
    runs = there.page.get_by_role("dialog").get_by_text(re.compile("The next run does [0-9]"))
    runs.click()
    there.page.get_by_role("row", name=re.compile("^ingest_rover")).wait_for()
    there.seen("button", "Leave it", exact=True).click()
    again = there.seen("article", "File K7_0.txt")
    again.get_by_text("This file is in the survey already").wait_for()
    assert again.get_by_role("button", name="Read it this way").is_disabled()


def test_a_day_is_told_in_words_and_a_row_chooses_its_line_everywhere(demo_pages, visit):
    there = visit(demo_pages, "/days", size=PHONE)
    first, second = there.page.get_by_role("navigation", name="Days").get_by_role("button").all()
    first.click()
    there.page.wait_for_url("**day=2026-03-10*")
    table = there.page.get_by_role("grid", name="Lines of 2026-03-10")
    table.wait_for()
    row = table.get_by_role("row").nth(3)
    line = row.get_by_role("gridcell").or_(row.get_by_role("cell")).first.inner_text()
    row.focus()
    row.press("Enter")
    there.page.wait_for_url(f"**line={line}*")
    there.seen("heading", f"Line {line}").wait_for()
    there.page.get_by_text("Verdict of each minute of the base record").click()
    # The base of the demo is silent from 13:17 to 13:39 on its first day.
    assert there.page.get_by_text("13:17 UTC to 13:39 UTC: not known").first.is_visible()
    second.click()
    there.page.wait_for_url("**day=2026-03-11*")
    assert "line=" not in there.page.url
    with there.page.expect_download() as download:
        there.seen("link", "Route as GPX").click()
    assert download.value.suggested_filename.endswith("walk-again.gpx")


def test_a_proposal_is_refused_stays_visible_with_its_reason_and_waits_again_once_undone(
    demo_copy, opened, visit
):
    there = visit(opened(demo_copy), "/days?day=2026-03-10")
    # The base of the demo is silent from 13:17 to 13:39 UTC on its first day.
    gap = re.compile(r"^Refuse: Bridge the gap of B1 at 2026-03-10 13:17 UTC$")
    todo = there.page.get_by_text("Decide: the gap in the record of B1.")
    todo.first.wait_for()
    there.seen("button", gap).click()
    there.page.get_by_text("no number changes").wait_for()
    there.page.get_by_label("Reason").fill("the storm began")
    there.page.get_by_label("Decided by").fill("AB")
    with there.page.expect_request(lambda one: one.method == "POST") as asked:
        there.page.get_by_role("dialog").get_by_role("button", name="Decide").click()
    sent = asked.value.post_data_json  # what was shown, so that nothing else is refused
    assert sent["source"]
    assert sent["error_95_nT"] > 0
    assert sent["lag_s"] is None
    there.page.get_by_text("the storm began. Nothing was changed by it.").wait_for()
    in_force = there.page.get_by_role("table", name="Decisions in force")
    in_force.get_by_text("proposal refused").wait_for()
    in_force.get_by_text(
        re.compile(r"^to bridge a gap, by .*, error \(95\s%\) \d+\.\d\snT$")
    ).wait_for()
    assert todo.count() == 0
    assert there.seen("button", gap).count() == 0
    there.seen("button", "Undo the refusal: Bridge the gap of B1").click()
    there.page.get_by_label("Reason").fill("it didn't")
    there.seen("button", "Take it back").click()
    there.seen("button", gap).wait_for()
    todo.first.wait_for()


def test_a_decided_clock_says_which_offset_counts_and_nothing_urges_another(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-10")
    card = there.page.get_by_role("article").filter(has_text="R2 ✓ measured")
    expect(card).to_contain_text("What is decided counts until another decision takes its place.")
    expect(card).to_contain_text(
        re.compile(r"lies 0\.\d\d\ss from it, 1\.\d of its .*: they agree")
    )
    expect(card).to_contain_text(re.compile(r"\(over 99\s% probable\)"))
    expect(card).to_contain_text("it counts only if you take it")
    other = there.seen("button", re.compile("^Set R2’s clock to .* instead of 18"))
    expect(other).not_to_have_class("primary")
    todo = there.page.get_by_role("listitem")
    expect(todo.filter(has_text="Compare: the clock of R2 is decided")).to_be_visible()
    expect(todo.filter(has_text="Decide: the clock of R2")).to_have_count(0)
    assert there.page.get_by_text("but walk pieces of 2 lines").is_visible()


def test_a_finger_on_a_curve_scrolls_the_page(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-11&line=T2", size=PHONE, has_touch=True)
    strip = there.page.get_by_role("application", name="Base record")
    strip.scroll_into_view_if_needed()
    box, before = strip.bounding_box(), there.page.evaluate("scrollY")
    hand = there.page.context.new_cdp_session(there.page)

    def touch(kind, *up):
        spots = [{"x": box["x"] + 100, "y": box["y"] + 70 - one} for one in up]
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": spots})

    touch("touchStart", 0)
    for way in range(20, 220, 20):
        touch("touchMove", way)
    touch("touchEnd")
    there.page.wait_for_function(f"() => scrollY > {before + 100}")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_in_the_room_hinders_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/days?day=2026-03-11&line=T2", theme=theme)
    there.page.get_by_text("Verdict of each minute of the base record").click()
    assert barriers(there.page) == []
    for name in ("Keep a span…", "Set a lag…", "Bridge a gap…", "The base was moved…",
                 "Mark a test…", "Decide this clock…", "Set aside: ", "It is a test…"):  # fmt: skip
        there.seen("button", re.compile(f"^{name}")).first.click()
        dialog = there.page.get_by_role("dialog")
        dialog.wait_for()
        if "ase" in name or "gap" in name:  # a rover's line is chosen, but the base is meant
            expect(dialog.get_by_label("Instrument")).to_have_value("B1")
        assert barriers(there.page) == [], name
        there.page.keyboard.press("Escape")


def test_a_right_proposal_is_confirmed_once_its_date_is_chosen_and_add_is_clicked_once(
    hill, visit, tmp_path
):
    rows = "".join(f"05/04/2026,10:{n // 60:02d}:{n % 60:02d},22950.{n:03d}\n" for n in range(120))
    (tmp_path / "R4.csv").write_text("date,time,field_nT\n" + rows)
    there = visit(hill, "/days")
    there.page.get_by_label("choose them").set_input_files(str(tmp_path / "R4.csv"))
    card = there.seen("article", "File R4.csv")
    card.get_by_text("The columns can't be told for sure").wait_for()
    right = card.get_by_role("button", name="These columns are right")
    right.click()
    card.get_by_text("Choose first how dates are written").wait_for()
    card.get_by_label("Date", exact=True).select_option(label="31/03/2026")
    card.get_by_text("doesn't say the time zone").wait_for()
    card.get_by_label("Time zone").fill("-03:00")
    card.get_by_label("Time zone").press("Tab")
    card.get_by_text("2026-04-05 13:00:00 to 2026-04-05 13:01:59 UTC").wait_for()
    card.get_by_label("Instrument").fill("R5")
    card.get_by_role("button", name="Add", exact=True).click()  # the field is left by this click
    there.page.get_by_role("row", name=re.compile(r"R4\.csv .* R5")).wait_for()


@pytest.mark.parametrize("planned", [True, False])
def test_without_a_plan_a_line_is_covered_by_its_own_length(demo_pages, visit, planned):
    there = visit(demo_pages, "/start")

    def without_plan(route):
        answer = route.fetch()
        found = answer.json()
        if not planned:
            found["files"] = [one for one in found["files"] if one["role"] != "plan"]
        route.fulfill(response=answer, json=found)

    there.page.route("**/api/survey", without_plan)
    there.go("/days")
    words = there.seen("region", "The chosen line in words")
    told = "of the planned" if planned else "of its length of"
    expect(words.get_by_text(re.compile(rf"% {told} \d+"))).to_be_visible()


def test_on_a_phone_the_chosen_day_is_in_sight(demo_pages, visit):
    there = visit(demo_pages, "/days", size=PHONE)
    own = there.seen("navigation", "Days").get_by_role("button", pressed=True)
    box = own.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= PHONE[0]
