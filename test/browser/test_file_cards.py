"""What a file's card says before it is added: columns not read, half a position, folds."""

import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey

#: A walk whose positions, and line, have names that tell nothing.
WALK = "stamp,xx,yy,btot,leg\n" + "".join(
    f"2026-06-17 07:20:{second:02d},{469999 + second}.62,{4984999 - second}.88,47650.{second},1\n"
    for second in range(10, 40)
)


@pytest.fixture
def hill(tmp_path, opened):
    """A survey without files, served."""
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:32632")
    return opened(tmp_path / "hill")


def chosen(there, text=WALK):
    """Choose a file and return its card."""
    there.page.get_by_label("choose them").set_input_files(
        {"name": "walk_june.csv", "mimeType": "text/csv", "buffer": text.encode()}
    )
    return there.seen("article", "File walk_june.csv")


def test_columns_that_nothing_reads_are_told_and_half_a_position_is_refused(hill, visit):
    there = visit(hill, "/days")
    card = chosen(there)
    card.get_by_label("Time zone").fill("+02:00")
    card.get_by_label("Time zone").press("Tab")
    told = card.locator(".notice.doubt")
    expect(told).to_contain_text("3 columns are not read: xx, yy, leg.")
    expect(told).to_contain_text("No position is read: a track of its GPS")
    column = card.get_by_label("What column 2, xx, is")
    expect(column).to_be_visible()  # without a press: the part is open

    card.get_by_label("Role").select_option("base")
    expect(card.get_by_label("Instrument")).to_have_value("base")
    card.get_by_label("Role").select_option("rover")
    expect(card.get_by_label("Instrument")).to_have_value("rover")

    fold = card.get_by_role("group").filter(has_text="First rows as understood")
    card.get_by_text("First rows as understood").click()
    column.select_option("easting")
    refused = card.get_by_text("columns.easting stands without columns.northing")
    expect(refused).to_be_visible()
    expect(column).to_have_attribute("aria-invalid", "true")
    expect(card.get_by_role("button", name="Add", exact=True)).to_be_disabled()
    card.get_by_label("What column 3, yy, is").select_option("northing")
    expect(refused).to_have_count(0)
    expect(card.get_by_text("1 column is not read: leg.")).to_be_visible()
    expect(card.get_by_role("button", name="Add", exact=True)).to_be_enabled()
    expect(fold.first).to_have_attribute("open", "")
    expect(card.get_by_text("First rows as understood")).to_be_visible()
    expect(card.get_by_role("columnheader", name="easting")).to_be_visible()


def test_a_survey_without_files_leads_to_adding_them_and_asks_for_no_base(hill, visit):
    there = visit(hill, "/site")
    bar = there.page.get_by_role("banner")
    expect(bar.get_by_text("No files yet")).to_be_visible()
    expect(bar.get_by_role("button", name="Run")).to_have_count(0)
    bar.get_by_role("link", name="Add files").click()
    there.ready()
    expect(there.seen("heading", "Files", exact=True)).to_be_in_viewport()
    run = 'fetch("/api/run", {method: "POST", headers: {"x-survey": "hill", "content-type":'
    run += ' "application/json"}, body: "{}"}).then((one) => one.status)'
    assert there.page.evaluate(run) == 202  # the command line may run it all the same
    there.page.wait_for_function(
        'async () => (await (await fetch("/api/survey")).json()).products.includes("check")'
    )
    for room in ("/map", "/days"):
        there.go(room)
        expect(bar.get_by_text("No files yet")).to_be_visible()
    assert ("GET", "/api/base") not in there.asked


def test_two_notices_stand_at_once_and_leave_their_words_to_screen_readers(hill, visit):
    there = visit(hill, "/days")
    there.page.clock.install()
    say = """async ([kind, text]) => (await import("/static/notices.js")).say(kind, text)"""
    for kind, text in (
        ("bad", "It broke."),
        ("good", "One."),
        ("good", "Two."),
        ("good", "Three."),
    ):
        there.page.evaluate(say, [kind, text])
    status = there.page.locator("#notices")
    close = there.seen("button", "Close this notice")
    expect(close).to_have_count(2)
    expect(status.get_by_role("alert")).to_contain_text("It broke.")
    close.last.hover()
    there.page.clock.run_for(20_000)
    expect(close).to_have_count(2)  # not from under the pointer
    there.page.mouse.move(5, 5)
    there.page.clock.run_for(6_000)
    expect(close).to_have_count(1)
    expect(status).to_contain_text("Three.")
    there.page.evaluate(say, ["bad", "Again."])
    there.page.evaluate(say, ["bad", "And again."])
    there.page.evaluate(say, ["good", "It is well."])
    expect(close).to_have_count(4)  # a problem leaves for nothing that comes after it
    expect(status.get_by_role("alert")).to_have_count(3)
    there.page.clock.run_for(6_000)
    expect(close).to_have_count(3)


def test_what_can_be_undone_does_not_leave_from_under_the_focus(hill, visit):
    there = visit(hill, "/days")
    there.page.clock.install()
    say = """async (text) => (await import("/static/notices.js")).say(
      "good", text, text === "Dropped." ? { words: "Undo…", act: () => {} } : undefined)"""
    there.page.evaluate(say, "Dropped.")
    undo = there.seen("button", "Undo…")
    undo.focus()
    for text in ("One.", "Two.", "Three."):
        there.page.evaluate(say, text)
    expect(undo).to_be_focused()


def test_the_day_of_a_checklist_is_written_like_every_other_date(hill, visit):
    there = visit(hill, "/days")
    card = chosen(there, WALK.replace("stamp", "time_utc").replace("xx,yy", "easting,northing"))
    card.get_by_role("button", name="Add", exact=True).click()
    day = there.page.get_by_label("Day", exact=True)
    expect(day).to_have_value(re.compile(r"^\d{4}-\d\d-\d\d$"))
    expect(day).to_have_attribute("type", "text")
    lists = there.seen("group", re.compile("ticked"))
    expect(lists).to_have_count(1)
    day.fill("2026-02-30")
    day.press("Tab")
    expect(there.page.get_by_text("A day is written YYYY-MM-DD. Found 2026-02-30.")).to_be_visible()
    expect(lists).to_have_count(0)
    day.fill("2026-06-17")
    day.press("Tab")
    expect(lists).to_have_count(1)
    expect(there.page.get_by_text("A day is written")).to_have_count(0)
