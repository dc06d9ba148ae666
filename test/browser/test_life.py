"""Runs, two pages, reloads and sudden ends: what is on disk stays sound, and every page says so."""

import json
import subprocess
import sys
import time

import pytest
from playwright.sync_api import expect

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.run import run
from lodewalk.services.stale import pending
from small_survey import CRS, write_small_survey

#: A run of the small survey may take this long on a busy machine [ms].
RUN_MS = 240_000


@pytest.fixture
def small(tmp_path):
    """A survey of 366 readings with its files, not run yet."""
    truth = write_small_survey(tmp_path)
    place = tmp_path / "small"
    new_survey(place, name="Small", crs=CRS)
    for file, role, instrument in ((truth.base, "base", "B1"), (truth.rover, "rover", "R1")):
        add_files(open_survey(place), [file], role=role, instrument=instrument)
    return place


def run_by_command(place):
    """Run a survey from the command line; return the steps that ran."""
    done = subprocess.run(
        [sys.executable, "-m", "lodewalk", "run", str(place), "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    return [row["step"] for row in json.loads(done.stdout)["steps"] if row["ran"]]


def is_sound(place):
    """Nothing half-written lies in the folder, and what is there can be read."""
    assert not list(place.rglob("*.lodewalk-part"))
    return pending(open_survey(place)).steps


def at_work(there):
    """The mark of a run under way."""
    return there.page.get_by_role("progressbar")


def up_to_date(there):
    """The mark of a survey that needs no run."""
    return there.seen("button", "Up to date")


def run_button(there):
    """The button in the bar that brings the survey up to date."""
    return there.page.get_by_role("banner").get_by_role("button", name="Run", exact=True)


def sign(dialog, reason, button):
    """Give a decision's reason and person, and take it."""
    dialog.get_by_label("Reason").fill(reason)
    dialog.get_by_label("Decided by").fill("K. F.")
    dialog.get_by_role("button", name=button, exact=True).click()
    expect(dialog).to_be_hidden()


def setting(there, name):
    """The control of a setting."""
    return there.page.locator(f'form[data-name="{name}"] [name=value]')


def change_setting(there, name, value, reason):
    """Change a setting by its form."""
    setting(there, name).fill(value)
    form = there.page.locator(f'form[data-name="{name}"]')
    form.get_by_role("button", name="Change").click()
    sign(there.seen("dialog", f"Change {name}"), reason, "Change it")


def start(there):
    """Start a run and see it begin."""
    run_button(there).click()
    expect(at_work(there)).to_be_visible()


def wait_for_steps(there, count):
    """Wait until a run is in its step of this number."""
    end = time.monotonic() + RUN_MS / 1000
    while len(there.page.request.get(f"{there.home}/api/run").json()["job"]["steps"]) < count:
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_stopped_run_leaves_a_sound_folder_and_the_next_one_ends_well(small, opened, visit):
    there = visit(opened(small), "/days")
    start(there)
    there.page.get_by_role("button", name="Stop", exact=True).click()
    expect(there.page.get_by_text("stopped")).to_be_visible(timeout=RUN_MS)
    assert is_sound(small)
    start(there)
    expect(up_to_date(there)).to_be_visible(timeout=RUN_MS)
    assert is_sound(small) == []
    assert run_by_command(small) == []


def test_two_pages_show_one_run_and_one_decision_and_a_reload_loses_nothing(small, opened, visit):
    served = opened(small)
    here = visit(served, "/days")
    there = visit(served, "/settings", beside=here)
    start(here)
    expect(at_work(there)).to_be_visible()
    here.page.reload()
    here.ready()
    expect(at_work(here)).to_be_visible()
    for one in (here, there):
        expect(up_to_date(one)).to_be_visible(timeout=RUN_MS)
    expect(here.seen("application", "Map")).to_be_visible()  # the room filled itself anew

    there.go("/days?line=L2")
    there.seen("button", "Drop this line").click()
    sign(there.seen("dialog", "Drop a span"), "a fence beside it", "Decide")
    decided = [one.seen("table", "Decisions in force").get_by_role("row") for one in (here, there)]
    for one, rows in zip((here, there), decided, strict=True):
        expect(run_button(one)).to_be_visible()
        expect(rows.filter(has_text="a fence beside it")).to_be_visible()
    decided[0].get_by_role("button", name="Take back: dropped R1").click()
    sign(here.seen("dialog", "Take a decision back"), "no fence was there", "Take it back")
    for one in (here, there):
        expect(up_to_date(one)).to_be_visible()
        expect(one.page.get_by_text("No decision has been taken yet")).to_be_visible()


def test_what_one_page_changes_takes_nothing_from_the_other(small, opened, visit):
    served = opened(small)
    here = visit(served, "/settings")
    there = visit(served, "/settings", beside=here)
    setting(here, "fits.window").fill("7")
    change_setting(there, "grid.spacing_m", "4", "closer lines")
    expect(here.page.get_by_text("Settings were changed elsewhere")).to_be_visible()
    expect(setting(here, "fits.window")).to_have_value("7")
    expect(setting(here, "grid.spacing_m")).not_to_have_value("4")
    change_setting(here, "fits.window", "7", "wider bodies")
    for one in (here, there):  # nothing of the two is lost, here or there
        expect(setting(one, "fits.window")).to_have_value("7")
        expect(setting(one, "grid.spacing_m")).to_have_value("4")

    for one in (here, there):
        one.go("/days")
    files = [one.seen("table", "Files of the survey").get_by_role("row") for one in (here, there)]
    files[0].get_by_role("button", name="Set aside: rover.csv").click()
    sign(here.seen("dialog", "Set rover.csv aside?"), "walked by a visitor", "Set aside")
    for rows in files:
        expect(rows.filter(has_text="set aside: walked by a visitor")).to_be_visible()
    files[1].get_by_role("button", name="Bring back: rover.csv").click()
    card = there.seen("article", "File rover.csv")
    expect(card.get_by_text("The next run does")).to_be_visible()
    card.get_by_role("button", name="Read it this way").click()
    for rows in files:
        expect(rows.filter(has_text="rover.csv")).to_contain_text("rover")
        expect(rows.filter(has_text="walked by a visitor")).to_have_count(0)


def test_a_base_that_comes_after_the_day_was_judged_waits_for_its_run(tmp_path, opened, visit):
    truth = write_small_survey(tmp_path)
    place = tmp_path / "small"
    new_survey(place, name="Small", crs=CRS)
    add_files(open_survey(place), [truth.rover], role="rover", instrument="R1")
    run(open_survey(place))
    there = visit(opened(place), "/days")
    expect(there.page.get_by_text("There is no base record yet")).to_be_visible()
    expect(there.page.get_by_text("No finding here is of loss or doubt")).to_be_visible()
    add_files(open_survey(place), [truth.base], role="base", instrument="B1")
    expect(there.page.get_by_text("no run has read them yet")).to_be_visible()
    run_button(there).click()
    expect(up_to_date(there)).to_be_visible(timeout=RUN_MS)
    expect(there.seen("application", "Base record of B1")).to_be_visible()


def test_after_a_check_alone_the_evening_is_shown_and_a_run_brings_the_map(small, opened, visit):
    run(open_survey(small), to="check")
    there = visit(opened(small), "/map")
    expect(there.page.get_by_text("There is no grid yet")).to_be_visible()
    there.go("/days")
    expect(there.seen("application", "Base record")).to_be_visible()
    expect(there.page.get_by_text("come with the corrected readings")).to_be_visible()
    rows = there.seen("grid", "Lines of").get_by_role("row")
    rows.filter(has_text="L2").click()
    expect(there.seen("region", "Findings")).to_be_visible()
    run_button(there).click()
    expect(up_to_date(there)).to_be_visible(timeout=RUN_MS)
    expect(there.seen("application", "Map")).to_be_visible()
    expect(there.seen("application", "Profile of L2")).to_be_visible()


def test_after_a_sudden_end_in_a_run_the_products_are_sound_and_the_page_tells_what_to_do(
    small, opened, visit
):
    served = opened(small)
    there = visit(served, "/days")
    start(there)
    wait_for_steps(there, 4)
    with there.forgiven("ERR_"):
        served.kill()
        expect(there.page.get_by_role("alert").filter(has_text="doesn't answer")).to_be_visible()
        expect(there.page.get_by_text("open the new address")).to_be_visible()
        there.page.close()
    left = [row.step for row in pending(open_survey(small)).steps]
    assert left
    again = visit(opened(small), "/days")
    start(again)
    expect(up_to_date(again)).to_be_visible(timeout=RUN_MS)
    assert is_sound(small) == []
    assert run_by_command(small) == []
