"""The room *Hand over*: what it opens, tells and refuses, for everybody."""

import pytest
from playwright.sync_api import expect

from pages_browser import barriers, barriers_by_theme, told_by_stream

DIFFERENCE = {
    "product": "grids",
    "file": "products/grids.nc",
    "column": "total_field_anomaly",
    "row": 12,
    "place": "node 3, 4",
    "packaged": "12.5",
    "rebuilt": "13.5",
    "difference": 1.0,
    "unit": "nT",
    "limit": 0.01,
    "count": 3,
    "within": False,
}
#: What verifying a package with every kind of fault tells.
FAULTY = {
    "package": "ridge.zip",
    "survey": "Ridge",
    "crs": "EPSG:31982",
    "grade": None,
    "text": "The package is not what its list says.",
    "files": 12,
    "faults": [{"file": "raw/base.csv", "fault": "its digest is another"}],
    "rebuilt": True,
    "problem": None,
    "products": 9,
    "equal": 8,
    "differences": [DIFFERENCE],
    "versions": [{"name": "numpy", "packaged": "2.0.0", "here": "2.4.6"}],
}
MADE = {
    "there": True,
    "file": "ridge.zip",
    "size_bytes": 7_000_000,
    "made_utc": "2026-03-12T10:00:00Z",
    "sha256": "a" * 64,
    "files": 12,
    "products": 9,
    "stale": ["1 step has to run first"],
    "message": "The survey Ridge, with its digest.",
}


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_and_what_is_refused_in_the_room_hinders_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/handover", theme=theme)
    for folded in ("All cautions, as the report", "In order:", "Verify a package from elsewhere"):
        there.page.get_by_text(folded).click()
    verify = there.seen("button", "Verify this file")
    verify.press("Enter")
    expect(there.page.get_by_text("Choose a package first")).to_be_visible()
    chosen = there.page.get_by_label("A package from elsewhere")
    expect(chosen).to_be_focused()
    assert barriers(there.page) == []
    broken = {"name": f"{theme}.zip", "mimeType": "application/zip", "buffer": b"no zip"}
    chosen.set_input_files(broken)
    verify.press("Enter")
    main = there.page.get_by_role("main")
    told = main.get_by_text(f"{theme}.zip: The package can't be read")
    expect(told).to_be_visible()
    expect(verify).to_be_focused()
    expect(there.page.get_by_text("Medical implants")).to_be_visible()
    assert barriers(there.page) == []


def test_what_is_folded_out_stays_so_when_the_survey_changes(demo_pages, visit):
    there = visit(demo_pages, "/start")
    work = {"kind": "report", "survey": demo_pages.place.name, "status": "running"}
    told_by_stream(there, work)
    there.go("/handover")
    summary = there.page.get_by_text("In order:")
    summary.press("Enter")
    inside = there.page.get_by_role("main").get_by_text("Raw files", exact=True)
    expect(inside).to_be_visible()
    with there.page.expect_response("**/api/outputs"):
        work["status"] = "done"
    there.page.wait_for_timeout(100)
    expect(inside).to_be_visible()
    expect(summary).to_be_focused()
    there.problems.clear()  # the stream ends after each state


def test_work_under_way_and_a_package_with_faults_hinder_nobody(demo_pages, visit):
    """The work is told of and never done, so that there is time to look."""
    there = visit(demo_pages, "/start")
    there.page.route("**/api/package", lambda route: route.fulfill(json=MADE))
    work = {"kind": "report", "survey": demo_pages.place.name, "status": "running"}
    told_by_stream(there, work)
    there.go("/handover")
    there.page.get_by_text("What to say to whoever receives it").click()
    main = there.page.get_by_role("main")
    expect(main.get_by_text("Writing the report: report")).to_be_visible()
    assert barriers_by_theme(there.page) == {}
    work["kind"] = "package"
    expect(main.get_by_text("Packing: report")).to_be_visible()
    assert barriers_by_theme(there.page) == {}
    work |= {"kind": "verify", "status": "done", "result": FAULTY}
    expect(there.seen("heading", "ridge.zip: not verified")).to_be_visible()
    expect(there.seen("table", "ridge.zip products that come out otherwise")).to_be_visible()
    assert barriers_by_theme(there.page) == {}
    there.problems.clear()  # the stream ends after each state
