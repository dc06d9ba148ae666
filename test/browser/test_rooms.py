"""Every room, as it is seen: filled without an error, the same for everybody, in all sizes."""

import pytest

from lodewalk.web.frame import ROOMS
from pages_browser import DESK, LAPTOP, PHONE, barriers

ALL = ("start", *(room for room, _, _ in ROOMS))
THEMES = ("light", "dark")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("room", ALL)
def test_a_room_with_data_hinders_nobody(demo_pages, visit, room, theme):
    there = visit(demo_pages, f"/{room}", theme=theme)
    assert barriers(there.page) == []


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", [LAPTOP, DESK, PHONE], ids=lambda size: str(size[0]))
def test_no_room_is_wider_than_the_screen(demo_pages, visit, pictures, size, theme):
    there = visit(demo_pages, size=size, theme=theme)
    wide = {}
    for room in ALL:
        there.go(f"/{room}")
        there.page.wait_for_timeout(100)
        there.page.screenshot(path=pictures / f"{room}-{size[0]}-{theme}.png")
        wide[room] = there.page.evaluate("document.documentElement.scrollWidth")
    assert {room: width for room, width in wide.items() if width > size[0]} == {}
