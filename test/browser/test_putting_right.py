"""Putting right what was said wrong: a zone, a code, a clock's days; and problems that are past."""

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from lodewalk.survey.ledger import read_ledger

LOCAL = "Data;Hora;Campo_nT;Sinal\n" + "".join(
    f"15.09.2026;07:{minute:02d}:00;32879,{minute};91\n" for minute in range(30, 60)
)
QUALITY = "What column 4, Sinal, is"


@pytest.fixture
def ridge(tmp_path, opened):
    """A survey at 39 degrees east without files, served."""
    new_survey(tmp_path / "ridge", name="Ridge", crs="EPSG:32737")
    return opened(tmp_path / "ridge")


def test_a_zone_can_be_said_before_the_columns_and_put_right_after_the_file_is_in(
    ridge, visit, tmp_path
):
    there = visit(ridge, "/days")
    there.page.get_by_label("choose them").set_input_files(
        {"name": "base.txt", "mimeType": "text/plain", "buffer": LOCAL.encode()}
    )
    card = there.seen("article", "File base.txt")
    card.get_by_label("Role").select_option("base")
    zone = card.get_by_label("Time zone")
    zone.fill("-3")
    zone.press("Tab")
    expect(card.get_by_text("Times in -03:00 are odd here")).to_be_visible()
    card.get_by_label(QUALITY).select_option("quality")
    expect(zone).to_have_value("-3")
    zone.fill("UTC-2")
    card.get_by_label(QUALITY).select_option("")
    card.get_by_label(QUALITY).select_option("quality")
    expect(zone).to_have_value("UTC-2")  # a change of columns doesn't undo it
    card.get_by_role("button", name="Add", exact=True).click()
    expect(card).to_have_count(0)

    there.seen("button", "Read in another way: base.txt").click()
    again = there.seen("article", "File base.txt")
    expect(again.get_by_label("Time zone")).to_have_value("-02:00")
    again.get_by_label("Time zone").fill("+03:00")
    again.get_by_label("Time zone").press("Tab")
    again.get_by_role("button", name="Read it this way").click()
    expect(again).to_have_count(0)
    (entry,) = read_ledger(open_folder(tmp_path / "ridge"))
    assert entry.zone == "+03:00"
    assert entry.column_map["columns"]["quality"] == 4  # what was said of columns stays


def test_a_clock_is_decided_for_all_its_record_or_for_the_day(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-11")
    card = there.page.get_by_role("article").filter(
        has=there.page.get_by_role("heading", name="R1")
    )
    card.get_by_role("button", name="Decide this clock").click()
    dialog = there.page.get_by_role("dialog")
    holds = dialog.get_by_label("Holds for")
    start = dialog.get_by_label("From", exact=True)
    holds.select_option(label="2026-03-11 only")
    expect(start).to_have_value("2026-03-11T00:00:00")
    expect(dialog.get_by_text("of the 14,171 readings of R1 lie in it")).to_be_visible()
    holds.select_option(label="all its record")
    expect(start).to_have_value("")


def test_a_refused_code_is_no_longer_told_once_another_is_taken(opened, visit, tmp_path):
    (tmp_path / "shelf").mkdir()
    there = visit(opened(tmp_path / "shelf"), "/start")
    there.page.get_by_label("Name", exact=True).fill("Ridge")
    code = there.page.get_by_label("Reference system")
    code.fill("UTM 37S")
    refused = there.page.get_by_text("WGS 84 / UTM zone 37S (EPSG:32737)")
    with there.forgiven("400"):
        there.seen("button", "Make it").click()
        expect(refused).to_be_visible()
    code.fill("EPSG:32737")
    code.press("Tab")
    expect(refused).to_have_count(0)


def test_a_problem_leaves_with_the_run_that_puts_it_right(ridge, visit):
    there = visit(ridge, "/days")
    say = """async (text) => (await import("/static/notices.js")).say("bad", text)"""
    there.page.evaluate(say, "These products are of different runs.")
    problem = there.page.get_by_text("These products are of different runs.")
    expect(problem).to_be_visible()
    run = 'fetch("/api/run", {method: "POST", headers: {"x-survey": "ridge", "content-type":'
    run += ' "application/json"}, body: "{}"}).then((one) => one.status)'
    assert there.page.evaluate(run) == 202
    expect(problem).to_have_count(0, timeout=60_000)
