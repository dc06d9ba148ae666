"""Deciding in the room *Days*: what a dialog takes, replaces and says, and which day is shown."""

import re

import pytest
from playwright.sync_api import expect

from lodewalk.services.add import add_files
from lodewalk.services.check import check
from lodewalk.services.new import new_survey
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from small_survey import CRS, write_small_survey


def dialog_of(there, button):
    """Open a dialog by the button that leads to it."""
    there.seen("button", button).first.click()
    found = there.page.get_by_role("dialog")
    found.wait_for()
    return found


def test_the_dialog_of_a_drop_counts_what_would_be_dropped_while_it_is_filled_in(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-11&line=T2")
    dialog = dialog_of(there, "Drop this line…")
    told = dialog.get_by_role("status").filter(has_text="recorded them")
    expect(told).to_contain_text("Drops 797 of the 14,171 readings of R1.")
    end = dialog.get_by_label("To", exact=True)
    written = end.input_value()
    end.fill("2026-03-11T13:26:45")
    expect(told).to_contain_text(re.compile(r"Drops 10 of the 14,171"))
    end.fill("2026-03-11T13:00:00")
    expect(told).to_contain_text("a span ends after it starts")
    expect(told).not_to_contain_text("Drops")
    end.fill("2026-03-12T13:00:00")
    expect(told).to_contain_text("Drops ")
    expect(told).not_to_contain_text("more than half")
    dialog.get_by_label("From", exact=True).fill("2026-03-10T12:30:00")
    expect(told).to_contain_text(re.compile(r"9\d\s%: more than half"))
    dialog.get_by_label("All of its record").check()
    expect(told).to_contain_text("Drops all 14,171 readings of R1.")
    expect(end).to_be_disabled()
    dialog.get_by_label("All of its record").uncheck()
    expect(end).to_have_value("2026-03-12T13:00:00")
    assert written != end.input_value()


def test_a_finding_offers_what_it_proposes_and_a_drop_only_where_that_is_an_answer(
    demo_pages, visit
):
    there = visit(demo_pages, "/days?day=2026-03-11")
    there.page.get_by_label("also what is only to know").check()
    table = there.seen("grid", "Findings of 2026-03-11")

    def offered(kind):
        rows = table.get_by_role("row").filter(
            has=there.page.get_by_role("gridcell", name=kind, exact=True)
        )
        return [row.get_by_role("button").all_inner_texts() for row in rows.all()]

    assert offered("dropout") == [["Drop…"]]
    assert ["Decide…"] in offered("lag")
    kinds = ("lag", "spike", "test", "gap in the base record", "no position", "base range")
    for kind in kinds:
        found = offered(kind)
        assert found, kind
        assert ["Drop…"] not in found, kind
    lag = table.get_by_role("button", name=re.compile("^Decide… Set R2’s clock to"))
    lag.click()
    assert (
        there.page.get_by_role("dialog").get_by_text("The new value takes its place").is_visible()
    )


def test_a_proposal_says_what_it_would_replace_and_its_reason_is_what_was_measured(
    demo_pages, visit
):
    there = visit(demo_pages, "/days?day=2026-03-11")
    name = re.compile(r"^Set R2’s clock to 17\.\d\d s ahead instead of 18\.00 s ahead…$")
    dialog = dialog_of(there, name)
    assert dialog.get_by_text(re.compile(r"In force is \+18 s, .* aren’t added up")).is_visible()
    reason = dialog.get_by_label("Reason").input_value()
    assert re.fullmatch(r"R2: the field comes 0\.\d\d s before the position .* m/s", reason)


def test_a_bridge_is_told_in_utc_with_what_the_base_recorded_beside_it(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-10")
    dialog = dialog_of(there, "Bridge the gap of B1 at 2026-03-10 13:17 UTC…")
    assert dialog.get_by_text("13:17 to 13:39 UTC; as B1 recorded it 2026-03-10 10:17").is_visible()


def test_the_chosen_day_moves_with_a_line_or_a_moment_of_another(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-10")
    again = there.page.get_by_role("grid", name="Walk again")
    again.get_by_role("row").filter(has_text="T2").click()
    there.page.wait_for_url("**day=2026-03-11*")
    there.seen("grid", "Lines of 2026-03-11").wait_for()
    before = there.page.evaluate("history.length")
    there.go("/map?day=2026-03-10")
    there.page.evaluate("""async () => {
      const { select } = await import("/static/selection.js");
      select({ line: "L21", at: "2026-03-11T13:13:54.000Z" });
    }""")
    there.page.wait_for_url("**day=2026-03-11*")
    assert there.page.evaluate("history.length") == before + 2  # going to Map, and the choice
    there.go("/days?line=L05")
    there.seen("grid", "Lines of 2026-03-10").wait_for()


def test_a_finding_that_began_on_an_earlier_day_leaves_the_chosen_day(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-11&line=T2")
    row = there.seen("grid", "Findings of 2026-03-11").get_by_role("row").filter(has_text="lag")
    row.get_by_role("gridcell").nth(2).click()
    there.page.wait_for_load_state("networkidle")
    assert "day=2026-03-11" in there.page.url
    assert there.seen("grid", "Lines of 2026-03-11").is_visible()


def test_a_table_that_scrolls_says_how_many_rows_lie_below(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-11")
    part = there.page.get_by_role("region", name="Lines of the day")
    assert part.get_by_role("columnheader", name="Noise over tolerance [%]").is_visible()
    more = part.get_by_text(re.compile(r"↓ \d+ more below"))
    expect(more).to_be_visible()
    table = there.seen("grid", "Lines of 2026-03-11")
    table.get_by_role("row").last.scroll_into_view_if_needed()
    table.evaluate("(own) => own.parentElement.scrollTo(0, 9999)")
    expect(more).to_have_count(0)


@pytest.fixture
def second_day_alone(tmp_path, opened):
    """A survey of two days, of which the base recorded the first only; checked and served."""
    write_small_survey(tmp_path)
    later = (tmp_path / "rover.csv").read_text().replace("2026-03-10", "2026-03-11")
    (tmp_path / "later.csv").write_text(later.replace(",L", ",K"))
    place = tmp_path / "two"
    new_survey(place, name="Two", crs=CRS)
    folder = open_folder(place)
    add_files(folder, [tmp_path / "base.csv"], role="base", instrument="B1")
    rovers = [tmp_path / "rover.csv", tmp_path / "later.csv"]
    add_files(folder, rovers, role="rover", instrument="R1")
    check(folder)
    run(folder, to="readings")
    return opened(place)


def test_a_day_without_a_base_record_says_so_and_shows_no_other_day(second_day_alone, visit):
    there = visit(second_day_alone, "/days?day=2026-03-10")
    there.page.evaluate("""() => {
      const pen = CanvasRenderingContext2D.prototype;
      const { fillText } = pen;
      pen.fillText = function (text, ...more) {
        (window.written ??= []).push(text);
        fillText.call(this, text, ...more);
      };
    }""")
    there.seen("button", re.compile("^2026-03-11")).click()
    there.page.get_by_text("The base has no record on this day").first.wait_for()
    for words in ("No base record on this day, 2026-03-11", "Time on 2026-03-11, UTC"):
        there.page.wait_for_function("(words) => window.written?.includes(words)", arg=words)
    drawn = there.page.evaluate("window.written")
    assert {"K1", "K2"} & {text[-2:] for text in drawn}
    assert "Time on 2026-03-10, UTC" not in drawn
