"""The start page: a demo is told in words and listed at once; fields that are filled are quiet."""

import re

from playwright.sync_api import expect

#: A demo takes so long [ms].
DEMO_MS = 300_000


def test_a_field_that_was_needed_is_quiet_once_it_is_filled_and_umlauts_make_folders(
    tmp_path, opened, visit
):
    there = visit(opened(tmp_path), "/start")
    there.seen("button", "Make it").click()
    needed = there.page.get_by_text("This is needed.")
    expect(needed).to_be_visible()
    name = there.page.get_by_label("Name", exact=True)
    name.fill("Karst Müllerhof, Straße é")
    expect(needed).to_have_count(0)
    expect(name).not_to_have_attribute("aria-invalid", "true")
    folder = there.page.get_by_role("region", name="New survey").get_by_label("Folder")
    if not folder.count():
        folder = there.page.locator("section", has_text="New survey").get_by_label("Folder")
    expect(folder).to_have_value("karst-mullerhof-strasse-e")


def test_a_demo_under_way_is_told_in_words_with_a_bar_and_listed_when_it_is_ready(
    tmp_path, opened, visit
):
    there = visit(opened(tmp_path), "/start")
    make = there.seen("button", "Make the demo")
    make.click()
    bar = there.seen("progressbar", "Progress of the demo")
    expect(there.page.get_by_role("button", name="Being made…")).to_be_disabled()
    there.page.wait_for_function(
        "() => document.querySelector('[aria-label=\"Progress of the demo\"]')?.value > 2",
        timeout=DEMO_MS,
    )
    told = there.page.get_by_text(re.compile(r"so far\. You can go on"))
    expect(told).to_have_text(re.compile(r"^[A-Z][a-z]+ .+ so far"))
    assert bar.evaluate("(one) => one.max") > 40
    expect(there.page.get_by_text("The demo is ready and open.")).to_be_visible(timeout=DEMO_MS)
    expect(there.seen("button", re.compile("demo-survey"))).to_be_visible()
    expect(there.page.get_by_text("There is none here yet")).to_have_count(0)
    expect(make).not_to_contain_class("primary")
