"""What a run changed, told on the page."""

import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.add import add_files
from lodewalk.services.decide import decide
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from pages_browser import barriers_by_theme
from small_survey import CRS, write_small_survey

WAIT_MS = 120_000


@pytest.fixture
def decided(tmp_path, opened):
    """A survey that was run, and then a minute of its rover dropped; served."""
    truth = write_small_survey(tmp_path)
    place = tmp_path / "small"
    new_survey(place, name="Small", crs=CRS)
    folder = open_folder(place)
    add_files(folder, [truth.base], role="base", instrument="B1")
    add_files(folder, [truth.rover], role="rover", instrument="R1")
    kept = run(folder).readings.kept
    span = {"start": "2026-03-10T14:01:00", "end": "2026-03-10T14:02:00"}
    decide(folder, kind="drop", instrument="R1", reason="a gate", who="A. B.", **span)
    return opened(place), kept


def test_a_run_says_what_it_changed_and_shows_it_again_later(decided, visit):
    served, kept = decided
    there = visit(served, "/days")
    there.seen("button", "Run").first.click()
    told = there.page.get_by_text(re.compile(r"Run done in .*; (one thing|\d+ things) changed\."))
    expect(told).to_be_visible(timeout=WAIT_MS)
    there.seen("button", "See what the run changed").click()
    dialog = there.page.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name="What the last run changed")).to_be_visible()
    became = dialog.get_by_text(re.compile(rf"^Kept readings: {kept:,} became [\d,]+\.$"))
    expect(became).to_be_visible()
    assert not barriers_by_theme(there.page)
    there.page.keyboard.press("Escape")
    there.seen("button", "✓ Up to date").click()
    expect(became).to_be_visible()
