"""The room *Map*: what is chosen shows everywhere, stands in the address and outlives a reload."""

from urllib.parse import parse_qs, urlsplit

from pages_browser import barriers


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
    assert barriers(there.page) == []


def test_any_view_is_kept_as_a_picture(demo_pages, visit):
    there = visit(demo_pages, "/map?line=L31")
    for name in ("map", "profile", "base record"):
        for kind, begin in (("PNG", b"\x89PNG"), ("SVG", b"<svg")):
            with there.page.expect_download() as kept:
                there.seen("button", f"Keep {name} as {kind}", exact=True).click()
            assert kept.value.path().read_bytes().startswith(begin)
