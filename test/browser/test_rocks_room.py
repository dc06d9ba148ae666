"""The room *Rocks*: a pick's section by keys, a fit of one's own, a pick added and taken back."""

import re
from urllib.parse import parse_qs, urlsplit

import polars as pl
import pytest

from pages_browser import Keyboard


def told(value):
    return f"{value:,.1f}"


def test_a_pick_chosen_by_keys_shows_the_depth_of_the_product(demo_pages, visit):
    there = visit(demo_pages, "/rocks")
    picks = there.seen("grid", "Picks and depths")
    Keyboard(there.page).to(picks.locator("tbody tr").first)
    there.page.keyboard.press("ArrowDown")
    there.page.keyboard.press("Enter")
    there.page.wait_for_function("new URLSearchParams(location.search).has('pick')")
    name = parse_qs(urlsplit(there.page.url).query)["pick"][0]
    depths = pl.read_parquet(demo_pages.place / "products" / "depths.parquet")
    own = depths.filter(pl.col("pick") == name, pl.col("method") == "answer").row(0, named=True)
    low, high = told(own["depth_low_m"]), told(own["depth_high_m"])
    section = there.seen("region", "Section")
    row = section.get_by_role("row", name="Depth, calibrated")
    row.wait_for()
    assert f"{told(own['depth_m'])} ({low} to {high})" in row.inner_text()
    assert section.get_by_role("heading", name=name).is_visible()


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
    assert fields[0].get_attribute("aria-invalid") == "true"
    title = there.seen("region", "Section").get_by_role("heading", level=2)
    assert title.inner_text() == "Fit on L05, 100 to 240 m"


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
