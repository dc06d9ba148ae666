"""Browser tests: a server, one Chromium for a file of tests, pages that keep what goes wrong.

``visit(served, "/days")`` returns a `Visit` whose page is ready; at the end of the test it fails
for any problem that was not forgiven. ``opened(place)`` serves a folder. ``demo_pages`` serves the
demo to tests that change nothing; ``demo_copy`` is a copy to change.
"""

from pathlib import Path

import pytest
from playwright.sync_api import expect, sync_playwright

from drawing_page import bare_page
from pages_browser import LAPTOP, TELL_BREACHES, Served, Visit, chromium_path, launch

#: What is waited for may take this long on a busy machine [ms].
WAIT_MS = 15_000
expect.set_options(timeout=WAIT_MS)

PICTURES = Path(__file__).parents[2] / "build" / "pages"


@pytest.fixture(scope="module")
def driver():
    """What drives browsers, for a file of tests; its event loop ends with the file."""
    if chromium_path() is None:
        pytest.skip("no Chromium: install Debian's chromium, or name one in CHROMIUM")
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="module")
def chromium(driver):
    """One Chromium for a file of tests."""
    browser = launch(driver)
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def page(chromium):
    """A page on which the drawing modules can be imported by themselves."""
    with bare_page(chromium) as found:
        yield found


@pytest.fixture(scope="module")
def demo_pages(demo_survey):
    """The demo, served to tests that change nothing."""
    served = Served(demo_survey)
    yield served
    assert_quiet(served.close())


@pytest.fixture
def opened():
    """Serve folders for one test."""
    all_served = []

    def serve(place, port=0):
        all_served.append(Served(place, port))
        return all_served[-1]

    yield serve
    for served in all_served:
        assert_quiet(served.close())


def assert_quiet(told):
    """The server has told of no fault of its own."""
    assert "Traceback" not in told, told


@pytest.fixture
def visit(chromium):
    """Visit pages; whatever went wrong on them and was not forgiven fails the test."""
    visits, contexts = [], {}

    def go(served, path="/", *, size=LAPTOP, theme="light", beside=None, **more):
        if beside is None:
            context = chromium.new_context(
                viewport={"width": size[0], "height": size[1]},
                color_scheme=theme,
                reduced_motion="reduce",
                accept_downloads=True,
                **more,
            )
            context.set_default_timeout(WAIT_MS)
            context.add_init_script(TELL_BREACHES)
        else:
            context = beside.page.context
        found = Visit(context.new_page(), served)
        contexts[id(context)] = context
        visits.append(found)
        return found.enter(path)

    yield go
    for context in contexts.values():
        context.close()
    for one in visits:
        assert not one.problems, f"{one.page.url}: " + "\n".join(one.problems)


@pytest.fixture(scope="session")
def pictures():
    """Where pictures of the rooms are kept."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    return PICTURES
