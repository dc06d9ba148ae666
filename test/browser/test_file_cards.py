"""What a file's card says before it is added: columns not read, half a position, folds."""

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
