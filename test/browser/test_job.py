"""The whole job in a browser, from an empty folder to the package: by mouse, and by keyboard."""

import re
from datetime import datetime, timedelta

import polars as pl
import pytest
from playwright.sync_api import expect

from dyked_survey import LENGTH, SENSOR, SPACING, write_dyked_survey
from leaning_dyke import DIP, Leaning
from lodewalk.errors import InputError
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.verify import verify
from pages_browser import Keyboard, barriers_by_theme
from small_survey import CRS, SOUTH, WEST, main_field, write_small_survey

#: Long work may take this long on a busy machine [ms].
LONG_MS = 240_000


@pytest.fixture
def shelf(tmp_path):
    """An empty folder in which surveys will be made."""
    place = tmp_path / "shelf"
    place.mkdir()
    return place


def card(there, heading):
    """The part of a page under this heading."""
    return there.page.get_by_role("heading", name=heading, exact=True).locator("xpath=..")


def to_room(there, name):
    there.page.get_by_role("navigation", name="Rooms").get_by_role("link", name=name).click()
    there.page.wait_for_url(f"**/{name.lower().replace(' ', '')}*")
    there.ready()


def choose_files(there, paths):
    with there.page.expect_file_chooser() as chooser:
        there.seen("button", "Drop files here").click()
    chooser.value.set_files(paths)


def add(there, path, *, role, instrument="", zone=""):
    """Say what a file is, and add it once the page understands it."""
    shown = there.seen("article", f"File {path.name}")
    shown.get_by_label("Role").select_option(role)
    if instrument:
        shown.get_by_label("Instrument").fill(instrument)
    if zone:
        shown.get_by_label("Time zone").fill(zone)
        shown.get_by_label("Time zone").press("Tab")
    button = shown.get_by_role("button", name="Add", exact=True)
    expect(button).to_be_enabled()
    button.click()
    expect(shown).to_be_hidden()


def three_files(folder, dyke):
    """Write a day over a dyke: the base in local time without a zone, the rover, planned lines."""
    write_dyked_survey(folder, dyke)
    base, rover, plan = (folder / name for name in ("base.csv", "rover.csv", "planned_lines.gpx"))
    head, *rows = base.read_text().splitlines()
    local = [row.split(",") for row in rows]
    shifted = [
        f"{datetime.fromisoformat(utc) - timedelta(hours=3):%Y-%m-%dT%H:%M:%S},{value}"
        for utc, value in local
    ]
    base.write_text("\n".join([head.replace("time_utc", "time"), *shifted, ""]))
    routes = "".join(
        f"<rte><name>L{n + 1}</name>{planned(WEST + SPACING * n, SOUTH)}"
        f"{planned(WEST + SPACING * n, SOUTH + LENGTH)}</rte>"
        for n in range(6)
    )
    plan.write_text(
        f'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{routes}</gpx>'
    )
    return base, rover, plan


def planned(easting, northing):
    """Return a point of a route."""
    _, longitude, latitude = main_field(easting, northing)
    return f'<rtept lat="{latitude:.8f}" lon="{longitude:.8f}"/>'


def holds(text, truth):
    """Whether an interval as it is shown, ``value (low to high)``, holds a number."""
    low, high = re.search(r"\(([-\d.]+) to ([-\d.]+)\)", text).groups()
    return float(low) < truth < float(high)


def drag_along(there, view, start, end):
    """Drag along a view, from one share of its width to another."""
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    across = [box["x"] + box["width"] * share for share in (start, end)]
    there.page.mouse.move(across[0], box["y"] + box["height"] / 2)
    there.page.mouse.down()
    there.page.mouse.move(across[1], box["y"] + box["height"] / 2, steps=5)
    there.page.mouse.up()


def set_to(there, name, value, reason):
    """Choose a value of a setting, and say why."""
    setting = there.page.locator(f'form[data-name="{name}"]')
    setting.locator("[name=value]").select_option(value)
    setting.get_by_role("button", name="Change").click()
    dialog = there.seen("dialog", f"Change {name}")
    dialog.get_by_label("Reason").fill(reason)
    dialog.get_by_label("Decided by").fill("K. F.")
    dialog.get_by_role("button", name="Change it").click()
    expect(dialog).to_be_hidden()
    expect(setting.locator("[name=value]")).to_have_value(value)


def figure(there, name):
    """The text of a row of the section's numbers."""
    row = there.seen("region", "Section").get_by_role("row", name=re.compile(f"^{name}"))
    return row.inner_text()


def look_at_rocks(there, place, dyke):
    """Choose a pick by its row and read depth, dip and strike, as planted and as in the product."""
    picks = there.seen("grid", "Picks and depths").get_by_role("row")
    picks.filter(has_text=re.compile(r"-L\d")).nth(2).click()
    there.page.wait_for_url("**pick=*")
    name = re.search(r"pick=([\w-]+)", there.page.url)[1]
    expect(there.seen("region", "Section").get_by_role("heading", level=2)).to_have_text(name)
    depths = pl.read_parquet(place / "products" / "depths.parquet")
    own = depths.filter(pl.col("pick") == name, pl.col("method") == "answer").row(0, named=True)
    depth = figure(there, "Depth, calibrated")
    assert f"{own['depth_m']:.1f} ({own['depth_low_m']:.1f} to {own['depth_high_m']:.1f})" in depth
    assert holds(depth, dyke.depth - SENSOR)
    assert holds(figure(there, "Dip"), DIP)
    strike, off = re.search(r"(\d+) ± ([\d.]+)", figure(there, "Strike")).groups()
    assert abs(int(strike) - dyke.strike) <= float(off) + 0.5  # shown in whole degrees


def fit_a_span(there, line, dyke):
    """Fit what a drag along a line's profile chooses, with the strike that was seen."""
    fit = there.seen("region", "A fit of your own")
    fit.get_by_label("Line", exact=True).select_option(line)
    profile = there.seen("application", f"Profile of {line}")
    there.seen("button", "Select a span by dragging").click()
    drag_along(there, profile, 0.2, 0.9)
    ends = [fit.get_by_label(f"{which} [m along]") for which in ("From", "To")]
    expect(ends[1]).not_to_have_value("")
    start, end = (float(one.input_value()) for one in ends)
    assert 0 < start < dyke.middle[1] - SOUTH < end < LENGTH
    fit.get_by_label("Strike").first.fill(f"{dyke.strike:g}")
    there.seen("button", "Fit along the line").click()
    expect(fit.get_by_text("The section shows it.")).to_be_visible()
    title = there.seen("region", "Section").get_by_role("heading", level=2)
    expect(title).to_have_text(f"Fit on {line}, {start:g} to {end:g} m")
    assert holds(figure(there, "Depth by the fit"), dyke.depth - SENSOR)


def test_the_whole_job_by_mouse(tmp_path, shelf, opened, visit):
    dyke = Leaning()
    files = three_files(tmp_path, dyke)
    there = visit(opened(shelf))
    page = there.page
    fresh = card(there, "New survey")
    fresh.get_by_label("Name").fill("North hill")
    fresh.get_by_label("Reference system").fill(CRS)
    fresh.get_by_role("button", name="Make it").click()
    page.wait_for_url("**/site")
    there.ready()

    to_room(there, "Settings")
    set_to(there, "fits.magnetisation", "induced", "no sign of remanence on the samples")

    to_room(there, "Days")
    choose_files(there, files)
    add(there, files[0], role="base", instrument="B1", zone="-03:00")
    add(there, files[1], role="rover", instrument="R1")
    add(there, files[2], role="plan")
    page.get_by_role("banner").get_by_role("button", name="Run", exact=True).click()
    expect(there.seen("button", "Up to date")).to_be_visible(timeout=LONG_MS)

    lines = there.seen("grid", "Lines of 2026-03-10")
    expect(lines.get_by_role("row").filter(has_text="keep").first).to_be_visible()
    lines.get_by_role("row").filter(has_text="keep").first.click()
    line = re.search(r"line=(\w+)", page.url)[1]

    there.seen("button", "Drop a span").click()
    dialog = there.seen("dialog", "Drop a span")
    expect(dialog.get_by_label("Instrument")).to_have_value("R1")
    expect(dialog.get_by_text("does 1 step again")).to_be_visible()
    dialog.get_by_label("Reason").fill("a fence beside the line")
    dialog.get_by_label("Decided by").fill("K. F.")
    dialog.get_by_role("button", name="Decide").click()
    held = there.seen("table", "Decisions in force").get_by_role("row")
    expect(held.filter(has_text="a fence beside the line")).to_be_visible()
    held.get_by_role("button", name="Take back: dropped R1").click()
    dialog = there.seen("dialog", "Take a decision back")
    dialog.get_by_label("Reason").fill("the fence is on the next line")
    dialog.get_by_role("button", name="Take it back").click()
    expect(dialog).to_be_hidden()
    expect(there.page.get_by_text("No decision has been taken yet")).to_be_visible()
    expect(there.seen("button", "Up to date")).to_be_visible()

    to_room(there, "Map")
    expect(there.seen("application", re.compile("Map of Total-field anomaly"))).to_be_visible()
    there.seen("application", f"Profile of {line}").click()
    expect(there.seen("heading", "Story of")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text="raw/rover.csv")).to_be_visible()

    place = shelf / "north-hill"
    to_room(there, "Rocks")
    look_at_rocks(there, place, dyke)
    fit_a_span(there, line, dyke)

    to_room(there, "Hand over")
    there.seen("button", "Make the package").click()
    package = there.seen("link", re.compile(r"Download .*\.zip"))
    expect(package).to_be_visible(timeout=LONG_MS)
    with page.expect_download() as kept:
        package.click()
    found = verify(kept.value.path())
    there.seen("button", "Verify it").click()
    name = kept.value.suggested_filename
    expect(there.seen("heading", f"{name}: grade {found.grade}")).to_be_visible(timeout=LONG_MS)
    expect(card(there, "Package").get_by_text(found.text)).to_be_visible()
    page.get_by_text("What to say to whoever receives it").click()
    assert barriers_by_theme(page) == {}
    assert found.grade == 1  # made here, with these versions
    assert (place / "report" / "report.html").is_file()
    assert open_survey(place).settings.survey.name == "North hill"


def test_the_whole_job_by_keyboard_alone(tmp_path, shelf, opened, visit):
    truth = write_small_survey(tmp_path)
    there = visit(opened(shelf))
    page = there.page
    keys = Keyboard(page)
    fresh = card(there, "New survey")
    keys.write(fresh.get_by_label("Name"), "Small")
    keys.write(fresh.get_by_label("Reference system"), CRS)
    keys.press(fresh.get_by_role("button", name="Make it"))
    page.wait_for_url("**/site")
    there.ready()

    rooms = page.get_by_role("navigation", name="Rooms")
    keys.press(rooms.get_by_role("link", name="Days"))
    page.wait_for_url("**/days*")
    there.ready()
    with page.expect_file_chooser() as chooser:
        keys.press(there.seen("button", "Drop files here"))
    chooser.value.set_files([truth.base, truth.rover])
    for file, instrument in ((truth.base, "B1"), (truth.rover, "R1")):
        shown = there.seen("article", f"File {file.name}")
        keys.write(shown.get_by_label("Instrument"), instrument)
        add_it = shown.get_by_role("button", name="Add", exact=True)
        expect(add_it).to_be_enabled()
        keys.press(add_it)
        expect(shown).to_be_hidden()
    keys.press(page.get_by_role("banner").get_by_role("button", name="Run", exact=True))
    expect(there.seen("button", "Up to date")).to_be_visible(timeout=LONG_MS)

    lines = there.seen("grid", "Lines of 2026-03-10")
    keys.to(lines.locator('[role="row"][tabindex="0"], tr[tabindex="0"]'))
    page.keyboard.press("ArrowDown")
    keys.seen()
    page.keyboard.press("Enter")
    page.wait_for_url("**line=*")
    keys.seen()

    keys.press(there.seen("button", "Drop a span"))
    dialog = there.seen("dialog", "Drop a span")
    expect(dialog).to_be_visible()
    keys.write(dialog.get_by_label("Reason"), "a fence")
    keys.write(dialog.get_by_label("Decided by"), "K. F.")
    keys.press(dialog.get_by_role("button", name="Decide"))
    expect(dialog).to_be_hidden()
    keys.seen()
    back = there.seen("table", "Decisions in force").get_by_role(
        "button", name="Take back: dropped R1"
    )
    keys.press(back)
    dialog = there.seen("dialog", "Take a decision back")
    keys.write(dialog.get_by_label("Reason"), "no fence")
    keys.press(dialog.get_by_role("button", name="Take it back"))
    expect(dialog).to_be_hidden()

    keys.press(rooms.get_by_role("link", name="Map"))
    page.wait_for_url("**/map*")
    there.ready()
    keys.to(there.seen("application", re.compile("Map of")))
    page.keyboard.press("+")
    page.keyboard.press("Enter")
    expect(card(there, "This place").get_by_text("latitude", exact=False).first).to_be_visible()
    keys.to(there.seen("application", re.compile("Profile of L")))
    page.keyboard.press("Enter")
    expect(there.seen("heading", "Story of")).to_be_visible()

    keys.press(rooms.get_by_role("link", name="Hand over"))
    page.wait_for_url("**/handover*")
    there.ready()
    keys.press(there.seen("button", "Make the package"))
    expect(there.seen("link", re.compile(r"\.zip"))).to_be_visible(timeout=LONG_MS)
    expect(there.seen("button", "Make it again")).to_be_focused()
    page.keyboard.press("Shift+Tab")
    expect(there.seen("button", "Verify it")).to_be_focused()
    page.keyboard.press("Enter")
    expect(there.seen("heading", "grade 1")).to_be_visible(timeout=LONG_MS)
    expect(there.seen("button", "Verify it")).to_be_focused()


def test_a_broken_file_is_told_beside_its_field_in_the_words_of_the_command_line(
    tmp_path, opened, visit
):
    broken = tmp_path / "base.csv"
    rows = [f"2026-03-10T13:{minute:02d}:00Z,22946.{minute}" for minute in range(60)]
    rows[30] = "2026-03-10T13:30:00Z,22x46"
    broken.write_text("\n".join(["time_utc,total_field_nT", *rows, ""]))
    place = tmp_path / "hill"
    new_survey(place, name="Hill", crs=CRS)
    with pytest.raises(InputError) as refused:
        add_files(open_survey(place), [broken], role="base", instrument="B1")
    there = visit(opened(place), "/days")
    choose_files(there, [broken])
    shown = there.seen("article", "File base.csv")
    shown.get_by_label("Role").select_option("base")
    shown.get_by_label("Instrument").fill("B1")
    shown.get_by_label("Instrument").press("Tab")
    expect(shown.get_by_text(refused.value.rule).first).to_be_visible()
    assert refused.value.line == 32
    expect(shown.get_by_text("line 32").first).to_be_visible()
    expect(shown.get_by_role("button", name="Add", exact=True)).to_be_disabled()
    assert not [path for path in (place / "raw").iterdir() if path.name == "base.csv"]
    expect(there.page.get_by_text("The survey holds no files yet")).to_be_visible()
