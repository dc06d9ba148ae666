"""What a person is at stays: typed values, the focus, and the survey that a page belongs to."""

import json
import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.new import new_survey
from pages_browser import barriers_by_theme, told_by_stream

#: A range of readings, and some passages.
WALKED = re.compile(r"readings, from [\d ,.]+.* [1-9]\d* passages")


@pytest.fixture
def two(tmp_path, opened):
    """A shelf with two surveys, the first one open."""
    for name in ("north", "south"):
        new_survey(tmp_path / name, name=name.title(), crs="EPSG:31982")
    return opened(tmp_path)


def switch(there, folder):
    """Open another survey, as another page would."""
    answer = there.page.request.post(
        f"{there.home}/api/surveys/open", data={"folder": folder}, headers={"origin": there.home}
    )
    assert answer.ok, answer.text()


def setting(there, name):
    """The control of a setting."""
    return there.page.locator(f'form[data-name="{name}"] [name=value]')


def test_a_page_stays_with_its_survey_when_another_is_opened_elsewhere(two, visit):
    there = visit(two, "/start")
    switch(there, "north")
    there.go("/settings")
    setting(there, "fits.window").fill("7")
    switch(there, "south")
    notice = there.page.get_by_role("alert").filter(has_text="belongs to north")
    expect(notice).to_be_visible()
    assert there.page.url.endswith("/settings")
    expect(setting(there, "fits.window")).to_have_value("7")
    refused = there.page.evaluate(
        """async () => (await import("/static/api.js")).send("POST", "run", {})
           .then(() => "sent", (error) => String(error.status))"""
    )
    assert refused == "409"
    there.page.get_by_role("button", name="Open north again").click()
    expect(notice).to_be_hidden()
    expect(setting(there, "fits.window")).to_have_value("7")
    there.problems[:] = [one for one in there.problems if "409" not in one]


def test_what_is_typed_in_one_setting_is_kept_when_another_is_saved(two, visit):
    there = visit(two, "/start")
    switch(there, "north")
    there.go("/settings")
    setting(there, "fits.window").fill("7")
    setting(there, "grid.spacing_m").fill("4")
    there.page.locator('form[data-name="grid.spacing_m"]').get_by_role(
        "button", name="Change"
    ).click()
    dialog = there.page.get_by_role("dialog")
    dialog.locator("[name=reason]").fill("closer lines")
    dialog.locator("[name=who]").fill("K. F.")
    dialog.get_by_role("button", name="Change it").click()
    expect(dialog).to_be_hidden()
    expect(there.page.locator('form[data-name="grid.spacing_m"] .changed')).to_be_visible()
    expect(setting(there, "fits.window")).to_have_value("7")


def test_stop_keeps_the_focus_and_seconds_are_not_read_aloud(two, visit):
    """The stream tells of a package being made, once a second, as it would."""
    there = visit(two, "/start")
    switch(there, "north")
    step = {"step": "report", "why": [], "done": 1, "total": 3}
    job = {"id": 1, "kind": "package", "survey": "north", "status": "running", "steps": [step]}
    states = [
        {"survey": "north", "mark": "m", "job": job | {"seconds": s, "problem": None}}
        for s in (1.0, 2.0)
    ]
    body = "".join(f"data: {json.dumps(state)}\n\n" for state in states)
    there.page.route(
        "**/api/events", lambda route: route.fulfill(body=body, content_type="text/event-stream")
    )
    there.go("/handover")
    stop = there.page.get_by_role("main").get_by_role("button", name="Stop", exact=True)
    stop.focus()
    status = there.page.get_by_role("main").get_by_role("status").filter(has_text="Packing")
    expect(status).to_have_text("Packing: report")
    status.evaluate("""(e) => {
      window.told = 0;
      const all = { childList: true, characterData: true, subtree: true };
      new MutationObserver(() => window.told++).observe(e, all);
    }""")
    there.page.wait_for_timeout(3500)  # the stream ends and is opened again, twice
    expect(stop).to_be_focused()
    assert there.page.evaluate("window.told") == 0
    there.problems.clear()


def test_stop_in_the_bar_keeps_the_focus_while_seconds_pass_and_while_it_stops(two, visit):
    there = visit(two, "/start")
    switch(there, "north")
    work = {"kind": "run", "survey": "north", "status": "running"}
    told_by_stream(there, work)
    there.go("/days")
    bar = there.page.get_by_role("banner")
    bar.get_by_role("button", name="Stop", exact=True).focus()
    work["seconds"] = 3.0
    expect(bar.get_by_role("button", name="report, 3 s")).to_be_visible()
    expect(bar.get_by_role("button", name="Stop", exact=True)).to_be_focused()
    work["status"] = "stopping"
    expect(bar.get_by_role("button", name="Stopping…")).to_be_focused()
    assert barriers_by_theme(there.page) == {}
    there.problems.clear()  # the stream ends after each state


def test_a_table_has_one_stop_of_the_tab_key_and_what_stands_in_that_row(two, visit):
    there = visit(two, "/start")
    stops = """async () => {
      const { table } = await import("/static/tables.js");
      const { h } = await import("/static/elements.js");
      const show = () => h("span", {}, h("button", { type: "button" }, "Do"), h("input", {}));
      const made = table({ name: "proof", columns: [{ key: "a", title: "A", show }],
        rows: [{ a: 1 }, { a: 2 }, { a: 3 }], choose: () => {} });
      document.querySelector("#content").prepend(made);
      window.stops = () => [...made.querySelectorAll("tbody *")].filter((e) => e.tabIndex === 0)
        .map((e) => `${e.tagName} ${e.closest("tr").dataset.row}`);
      return window.stops();
    }"""
    assert there.page.evaluate(stops) == ["TR 0", "BUTTON 0", "INPUT 0"]
    rows = there.page.get_by_role("grid", name="proof").get_by_role("row")
    rows.nth(1).focus()
    there.page.keyboard.press("ArrowDown")
    assert there.page.evaluate("window.stops()") == ["TR 1", "BUTTON 1", "INPUT 1"]
    rows.nth(2).locator("input").focus()
    there.page.keyboard.press("ArrowDown")
    expect(rows.nth(2).locator("input")).to_be_focused()


def test_the_strip_says_in_words_what_was_walked_meanwhile(demo_pages, visit):
    there = visit(demo_pages, "/days")
    strip = there.page.get_by_role("application", name=re.compile("Base record of"))
    expect(strip).to_have_accessible_name(WALKED)
