"""The room *Map*: what is chosen shows everywhere, stands in the address and outlives a reload."""

import json
import re
import xml.etree.ElementTree as ET
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import expect

from pages_browser import barriers, barriers_by_theme


def chosen(there):
    """Return what the address says."""
    return {name: one[0] for name, one in parse_qs(urlsplit(there.page.url).query).items()}


def at_map(there):
    """Return the map's view and its middle on the screen."""
    view = there.page.get_by_role("application", name="Map of").first
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    return view, box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_click_tells_the_place_and_a_pointer_alone_selects_nothing(demo_pages, visit):
    there = visit(demo_pages, "/map")
    _, x, y = at_map(there)
    steps = there.page.evaluate("history.length")
    for shift in range(30):
        there.page.mouse.move(x + shift, y + shift)
    assert chosen(there) == {}
    assert there.page.evaluate("history.length") == steps
    there.page.mouse.click(x, y)
    there.page.get_by_text("Latitude, longitude").wait_for()
    assert "spot" in chosen(there)
    there.page.reload()
    there.ready()
    there.page.get_by_text("Latitude, longitude").wait_for()
    there.page.go_back()
    there.page.get_by_text("Choose a place on the map").wait_for()


def test_keys_alone_choose_a_place_and_a_span(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L31")
    view, _, _ = at_map(there)
    view.focus()
    for key in ("ArrowRight", "ArrowUp", "+", "-", "0", "Enter"):
        there.page.keyboard.press(key)
    there.page.wait_for_function("new URLSearchParams(location.search).has('spot')")
    there.go("/map?line=L31")
    profile = there.page.get_by_role("application", name="Profile of L31")
    profile.focus()
    there.page.keyboard.press("[")
    for _ in range(8):
        there.page.keyboard.press("ArrowRight")
    there.page.keyboard.press("]")
    there.page.wait_for_function("new URLSearchParams(location.search).has('to')")
    told = there.page.get_by_text("readings,").first
    told.wait_for()
    before = told.inner_text()
    assert "L31" in before
    there.page.reload()
    there.ready()
    assert there.page.get_by_text(before).is_visible()
    there.seen("button", "Let the span go").click()
    assert "from" not in chosen(there)


def test_a_section_is_typed_and_drawn_and_its_values_stand_in_a_table(demo_pages, visit):
    there = visit(demo_pages, "/map?look=sd:beside,shade:1,contours:1")
    there.page.get_by_text("Type two places", exact=True).click()
    for label, value in (("A, easting", 560300), ("A, northing", 7245800),
                         ("B, easting", 560900), ("B, northing", 7246200)):  # fmt: skip
        there.page.get_by_label(label).fill(str(value))
    there.seen("button", "Show the section").click()
    there.page.get_by_text("A to B is 721.1 m long").first.wait_for()
    there.page.get_by_text("Values along the section").click()
    assert there.seen("columnheader", "90 % from").is_visible()
    there.seen("button", "Draw a line on the map").click()  # the page moves to it: the map after it
    _, x, y = at_map(there)
    there.page.mouse.move(x - 60, y)
    there.page.mouse.down()
    there.page.mouse.move(x, y + 20, steps=4)
    there.page.mouse.move(x + 40, y + 30)
    there.page.mouse.up()
    assert chosen(there)["section"] != "560300,7245800,560900,7246200"
    there.page.go_back()
    there.page.get_by_text("A to B is 721.1 m long").first.wait_for()
    assert there.seen("columnheader", "90 % from").is_visible()
    for label, value in (("B, easting", 560300), ("B, northing", 7245800)):
        there.page.get_by_label(label).fill(str(value))
    there.seen("button", "Show the section").press("Enter")
    expect(there.page.get_by_text("A section needs two different places")).to_be_visible()
    expect(there.page.get_by_label("A, easting")).to_be_focused()
    assert barriers_by_theme(there.page) == {}


def test_the_strip_tells_who_walked_and_a_lane_chooses_the_rover(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L20&at=2026-03-11T13:03:00Z")
    card = there.seen("region", "Base record")
    words = {"keep": "✓ keep", "doubt": "? doubt", "re-walk": "↺ walk again"}
    check = json.loads((demo_pages.place / "products" / "check.json").read_text())
    told = {
        line["line"]: words[line["verdict"]]
        for day in check["days"]
        for line in day["lines"]
        if day["date"] == "2026-03-11"
    }
    both = f"R1 on L20 ({told['L20']}), R2 on L22 ({told['L22']})"
    card.get_by_text(f"13:03:00 UTC: {both}").wait_for()
    card.get_by_role("button", name="Choose L22, which R2 walked then").click()
    there.page.wait_for_url("**line=L22*")
    box = card.get_by_role("application").bounding_box()
    # The chosen moment as a share of the whole record, by its times: both days from 11:24 on.
    share = ((24 * 60) + 13 * 60 + 3 - (11 * 60 + 24)) / (24 * 60 + 19 * 60 + 29 - (11 * 60 + 24))
    x = box["x"] + 64 + share * (box["width"] - 64 - 36)
    for part, rover, line in ((0.3, "R1", "L20"), (0.6, "R2", "L22")):
        there.page.mouse.click(x, box["y"] + part * box["height"])
        there.page.wait_for_url(f"**line={line}*")
        there.seen("application", f"Profile of {line}").wait_for()  # then the choice is told
        there.page.mouse.move(x, box["y"] + part * box["height"] - 2)
        told = card.get_by_text(f"{rover} on {line}").first
        expect(told).to_contain_text("UTC: 22,4")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_opens_in_the_room_hinders_nobody(demo_pages, visit, theme):
    there = visit(demo_pages, "/map?line=L31&spot=560300,7246100&look=sd:veil", theme=theme)
    for name in ("Colours and layers", "The grid as a table", "Readings of the chosen line as a"):
        there.page.get_by_text(name).click()
    there.seen("button", "Tell its story").click()
    there.seen("heading", "Story of").wait_for()
    assert barriers(there.page) == []
    there.seen("button", "percentiles").click()
    assert barriers(there.page) == []


#: How light the lightest letters of a drawing's left margin are, of 255.
LIGHTEST = """() => {
  const canvas = document.querySelector('.chart .view canvas');
  const copy = new OffscreenCanvas(50 * devicePixelRatio, canvas.height).getContext('2d');
  copy.drawImage(canvas, 0, 0);
  const { data } = copy.getImageData(0, 0, copy.canvas.width, copy.canvas.height);
  let most = 0;
  for (let i = 0; i < data.length; i += 4) if (data[i + 3] > 250) most = Math.max(most, data[i]);
  return most;
}"""


def test_a_dark_room_is_printed_in_dark_letters_with_the_heads_of_its_tables(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L31", theme="dark")
    there.page.get_by_text("Readings of the chosen line as a").click()
    head = there.seen("columnheader", "Standard error")
    head.wait_for()
    assert there.page.evaluate(LIGHTEST) > 200
    # At once: paper doesn't wait for another frame.
    at_once = f"() => {{ dispatchEvent(new Event('beforeprint')); return ({LIGHTEST})(); }}"
    assert there.page.evaluate(at_once) < 100
    there.page.emulate_media(media="print")
    assert head.get_by_text("Standard error").is_visible()
    there.page.emulate_media(media="screen")
    there.page.evaluate("dispatchEvent(new Event('afterprint'))")
    there.page.wait_for_function(f"() => ({LIGHTEST})() > 200")


def test_any_view_is_kept_as_a_picture(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L31")
    for name in ("map", "profile", "base record"):
        for kind, begin in (("PNG", b"\x89PNG"), ("SVG", b"<svg")):
            with there.page.expect_download() as kept:
                there.seen("button", f"Keep {name} as {kind}", exact=True).click()
            assert kept.value.path().read_bytes().startswith(begin)


def test_a_place_has_one_value_under_the_map_and_in_its_card(demo_pages, visit):
    there = visit(demo_pages, "/map?grid=total_field_anomaly")
    _, x, y = at_map(there)
    for shift in (0, 7.3, 13.1):
        there.page.mouse.move(x + shift, y + shift)
        told = there.page.get_by_text("Easting ", exact=False).filter(has_text="northing").first
        value = told.inner_text().rsplit("anomaly", 1)[1].strip()
        there.page.mouse.click(x + shift, y + shift)
        card = there.page.get_by_role("heading", name="This place").locator("xpath=..")
        expect(card.get_by_role("definition").first).to_have_text(value)


def test_the_colours_have_round_values_between_their_ends_and_tell_the_contours(demo_pages, visit):
    there = visit(demo_pages, "/map?look=contours:1,interval:7")
    legend = there.seen("region", "Map").first.locator(".legend").first
    expect(legend.get_by_text("contours every 7 nT")).to_be_visible()
    ticks = legend.locator(".ramp-tick").all_inner_texts()
    assert len(ticks) >= 3
    values, ends = (
        [float(text.replace("−", "-").replace(",", "").split()[0]) for text in texts]
        for texts in (ticks, legend.locator(".scale > .num").all_inner_texts())
    )
    assert values == sorted(values)
    assert ends[0] <= values[0] <= values[-1] <= ends[1]


def test_the_name_of_the_chosen_grid_is_not_cut_off(demo_pages, visit):
    there = visit(demo_pages, "/map?grid=total_field_anomaly_standard_error")
    choice = there.page.get_by_label("Grid", exact=True)
    wide = choice.evaluate("""(element) => {
      const pen = document.createElement("canvas").getContext("2d");
      const { fontSize, fontFamily } = getComputedStyle(element);
      pen.font = `${fontSize} ${fontFamily}`;
      return [pen.measureText(element.selectedOptions[0].text).width, element.clientWidth];
    }""")
    assert wide[0] < wide[1] - 20


def test_a_line_without_an_anomaly_says_why_on_the_screen_and_in_its_picture(demo_pages, visit):
    """The base of the demo is silent while L09 is walked."""
    there = visit(demo_pages, "/map?line=L09")
    why = "No reading of L09 has an anomaly: 529 inside a gap of the base record."
    expect(there.seen("application", why)).to_be_visible()
    with there.page.expect_download() as download:
        there.seen("button", "Keep profile as SVG").click()
    texts = [
        one.text for one in ET.fromstring(download.value.path().read_text()).iter() if one.text
    ]
    frame = " ".join(texts[texts.index("Line L09: total-field anomaly") + 1 :])
    assert frame.count("inside a gap") >= 1
    assert why in texts  # below it
    assert not [one for one in texts if re.fullmatch(r"[−-]?[01]\.[05]", one)]  # no made-up scale
    assert "90 % band" not in texts


def test_days_and_map_mean_the_same_by_a_reading_that_is_kept(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-10&line=L05")
    card = there.page.get_by_label("The chosen line in words")
    told = re.search(
        r"(\d+) of (\d+) readings kept on .*; left out: (\d+) no position", card.inner_text()
    )
    kept, readings, lost = map(int, told.groups())
    assert kept + lost == readings
    assert lost > 0
    name = f"{readings} readings, {kept} kept"
    expect(there.seen("application", name)).to_be_visible()
    there.go("/map?line=L05")
    expect(there.seen("application", name)).to_be_visible()
    there.go("/days?day=2026-03-11&line=T2")
    noise = re.search(r"Noise (\d\.\d\d)", card.inner_text())[1]
    row = there.page.get_by_role("grid", name="Lines of 2026-03-11").get_by_role("row", name="T2")
    assert noise in row.inner_text()


def test_pictures_are_offered_only_of_what_is_drawn(demo_pages, visit):
    there = visit(demo_pages, "/map")
    expect(there.seen("button", "Keep map as PNG")).to_be_visible()
    expect(there.seen("button", "Keep profile as PNG")).to_have_count(0)
    there.go("/map?line=L31")
    expect(there.seen("button", "Keep profile as PNG")).to_be_visible()


def test_the_way_to_the_next_room_takes_the_selection_along(demo_pages, visit):
    there = visit(demo_pages, "/days?day=2026-03-10&line=L09")
    there.seen("link", "Go to Map meanwhile").click()
    there.ready()
    assert chosen(there) == {"day": "2026-03-10", "line": "L09"}
    there.go("/map")
    link = there.seen("link", "Go to Rocks")
    expect(link).to_have_attribute("href", "/rocks")
    _, x, y = at_map(there)
    there.page.mouse.click(x, y)
    expect(link).to_have_attribute("href", re.compile(r"^/rocks\?.*spot="))


def test_the_map_says_why_parts_of_it_are_blank_and_what_the_colours_of_lines_mean(
    demo_pages, visit
):
    there = visit(demo_pages, "/map")
    told = there.page.get_by_text(re.compile("^Blank: no kept reading is near"))
    expect(told).to_contain_text("inside a gap of the base record")
    key = there.page.get_by_text(re.compile("^Lines as walked:"))
    expect(key).to_have_text(re.compile("keep.*in doubt.*to walk again"))
    there.go("/days")
    expect(key).to_have_text(re.compile("keep.*in doubt.*to walk again"))


def test_the_colours_are_in_sight_with_the_map_and_begin_where_it_does(demo_pages, visit):
    there = visit(demo_pages, "/map?look=sd:beside")
    scales = there.seen("img", re.compile("^Colours from"))
    for scale, name in (
        (scales.first, "^Map of Total-field anomaly, "),
        (scales.last, "moving with"),
    ):
        colours = scale.bounding_box()
        drawing = there.seen("application", re.compile(name)).bounding_box()
        assert colours["y"] + colours["height"] < drawing["y"]
        assert drawing["x"] < colours["x"] < drawing["x"] + drawing["width"]
        assert colours["y"] < there.page.viewport_size["height"] / 2


def test_a_grid_that_is_a_standard_error_has_none_to_choose(demo_pages, visit):
    there = visit(demo_pages, "/map?grid=total_field_anomaly_standard_error")
    control = there.seen("combobox", "Standard error")
    expect(control).to_be_disabled()
    assert control.evaluate("one => one.selectedOptions[0].text") == "this grid is one"
    expect(there.page.get_by_text("dark: uncertain")).to_be_visible()
    there.seen("combobox", "Grid").select_option("total_field_anomaly")
    expect(control).to_be_enabled()
    assert control.evaluate("one => one.selectedOptions[0].text") == "not shown"
