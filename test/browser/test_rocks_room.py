"""The room *Rocks*: a pick's section by keys, a fit of one's own, a pick added and taken back."""

import re
from urllib.parse import parse_qs, urlsplit

import polars as pl
import pytest
from playwright.sync_api import expect

from pages_browser import Keyboard, barriers, barriers_by_theme, told_by_stream


def chosen_in(url):
    """The pick that an address names."""
    return parse_qs(urlsplit(url).query).get("pick", [None])[0]


def told(value):
    return f"{value:,.1f}"


def test_a_pick_chosen_by_keys_shows_the_depth_of_the_product(demo_pages, visit):
    there = visit(demo_pages, "/rocks")
    picks = there.seen("grid", "Picks and depths")
    first = chosen_in(there.page.url)
    depths = pl.read_parquet(demo_pages.place / "products" / "depths.parquet")
    answers = depths.filter(method="answer").drop_nulls("depth_m")
    bodies = pl.read_parquet(demo_pages.place / "products" / "bodies.parquet")
    decided = bodies.filter("decidable").select(pick="body")
    agreed = answers.filter(pl.col("disagreement").fill_null(0) <= 2).join(decided, on="pick")
    wide = (pl.col("depth_high_m") - pl.col("depth_low_m")) / pl.col("depth_m")
    assert first == agreed.sort(wide)["pick"][0], "the closest depth of the sound ones comes first"
    Keyboard(there.page).to(picks.locator('tbody tr[tabindex="0"]'))
    there.page.keyboard.press("ArrowDown")
    there.page.keyboard.press("Enter")
    there.page.wait_for_url(lambda url: chosen_in(url) not in (None, first))
    name = chosen_in(there.page.url)
    own = answers.row(by_predicate=pl.col("pick") == name, named=True)
    low, high = told(own["depth_low_m"]), told(own["depth_high_m"])
    section = there.seen("region", "Section")
    row = section.get_by_role("row", name="Depth, calibrated")
    expect(row).to_contain_text(f"{told(own['depth_m'])} ({low} to {high})")
    assert section.get_by_role("heading", name=name).is_visible()
    taken = section.get_by_text("Taken off the depths: sensor 1.8 m above ground, as set.")
    expect(taken).to_be_visible()


def test_a_typed_span_is_fitted_and_one_that_ends_first_is_refused_beside_its_field(
    demo_pages, visit
):
    there = visit(demo_pages, "/rocks")
    card = there.seen("region", "A fit of your own")
    card.get_by_label("Line", exact=True).select_option("L05")
    fields = card.get_by_label("From [m along]"), card.get_by_label("To [m along]")
    for start, end, words in (
        ("100", "240", "The section shows it."),
        ("240", "100", "A profile begins before it ends."),
    ):
        fields[0].fill(start)
        fields[1].fill(end)
        there.seen("button", "Fit along the line").click()
        card.get_by_text(words).wait_for()
    assert barriers_by_theme(there.page) == {}
    assert fields[0].get_attribute("aria-invalid") == "true"
    title = there.seen("region", "Section").get_by_role("heading", level=2)
    assert title.inner_text() == "Fit on L05, 100 to 240 m"


def test_a_fit_under_way_hinders_nobody_and_the_focus_outlives_its_stop(demo_pages, visit):
    """The fit is told of and never made, so that there is time to look."""
    there = visit(demo_pages, "/start")
    work = {"kind": "fit", "survey": demo_pages.place.name, "status": "running"}
    told_by_stream(there, work)
    there.page.route("**/api/rocks/along", lambda route: route.fulfill(json={"id": 1}))
    there.go("/rocks")
    card = there.seen("region", "A fit of your own")
    card.get_by_label("Line", exact=True).select_option("L05")
    for name, value in (("From [m along]", "100"), ("To [m along]", "240")):
        card.get_by_label(name).fill(value)
    button = there.seen("button", "Fit along the line")
    button.press("Enter")
    stop = card.get_by_role("button", name="Stop this fit")
    expect(stop).to_be_visible()
    expect(button).to_be_focused()
    assert barriers_by_theme(there.page) == {}
    stop.focus()
    work["status"] = "stopped"
    expect(card.get_by_text("The fit was stopped")).to_be_visible()
    Keyboard(there.page).seen()
    there.problems.clear()  # the stream ends after each state


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_in_the_room_hinders_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/rocks?spot=560243.5,7246104.5&line=L05", theme=theme)
    there.seen("button", "Add a pick at the chosen place").click()
    there.seen("button", "Decide", exact=True).click()
    there.page.get_by_text("This is needed.").wait_for()
    assert barriers(there.page) == []
    there.page.keyboard.press("Escape")
    for name in ("Between two points of the map", "Around a spot, for a compact body"):
        there.page.get_by_text(name).click()
    there.seen("grid", "Picks and depths").locator("tbody tr").first.click()
    there.page.get_by_text("Depth by each method").click()
    assert barriers(there.page) == []
    there.seen("button", "Refuse R1").first.click()
    there.page.get_by_role("dialog").wait_for()
    assert barriers(there.page) == []


def test_a_chosen_row_is_legible_in_forced_colours(demo_pages, visit):
    there = visit(demo_pages, "/rocks?pick=R1-L01", forced_colors="active")
    cell = there.seen("grid", "Picks and depths").locator('[aria-selected="true"] td').nth(1)
    cell.wait_for()
    own, wanted = cell.evaluate(
        """(cell) => {
          const probe = document.createElement('span');
          Object.assign(probe.style, { background: 'Highlight', color: 'HighlightText' });
          probe.style.forcedColorAdjust = 'none';
          document.body.append(probe);
          const styles = [cell, probe].map((one) => getComputedStyle(one));
          return styles.map((style) => style.color + style.backgroundColor);
        }"""
    )
    assert own == wanted


@pytest.fixture
def own_pages(demo_copy, opened):
    return opened(demo_copy)


def test_a_pick_is_added_at_a_place_and_taken_back(own_pages, visit):
    there = visit(own_pages, "/rocks?spot=560243.5,7246104.5")
    there.seen("button", "Add a pick at the chosen place").click()
    box = there.seen("dialog", "Add a pick")
    box.get_by_label("Reason").fill("float of dolerite")
    box.get_by_label("Decided by").fill("A. B.")
    box.get_by_role("button", name="Decide").click()
    own = there.seen("region", "Picks and refusals of a person")
    own.get_by_role(
        "row", name=re.compile("P1.*float of dolerite.*waits for the next run")
    ).wait_for()
    there.seen("button", "Run to depth").wait_for()
    own.get_by_role("button", name="Take back: P1").click()
    box = there.seen("dialog", "Take a decision back")
    box.get_by_label("Reason").fill("it was rolled there")
    box.get_by_role("button", name="Take it back").click()
    own.get_by_text("None yet.").wait_for()


def test_on_a_laptop_the_table_of_picks_shows_all_its_columns(demo_pages, visit):
    there = visit(demo_pages, "/rocks")
    box = there.seen("grid", "Picks and depths").locator("xpath=..")
    assert box.evaluate("element => element.scrollWidth <= element.clientWidth")


def test_the_section_says_which_of_its_depths_to_use(demo_pages, visit):
    there = visit(demo_pages, "/rocks")
    section = there.seen("region", "Section")
    expect(section.get_by_text("Use the calibrated depth.")).to_be_visible()
    section.get_by_role("button", name="kinds compared").click()
    expect(there.page.get_by_text("fitted with each kind of body")).to_be_visible()


def test_the_map_in_rocks_names_its_grid_and_the_ends_of_its_colours(demo_pages, visit):
    there = visit(demo_pages, "/rocks")
    chart = there.seen("region", "Map")
    expect(chart.get_by_text("Total-field anomaly [nT]")).to_be_visible()
    expect(chart.get_by_role("img", name="Colours from")).to_be_visible()
    expect(chart.get_by_text("linear, 1st to 99th percentile")).to_be_visible()
