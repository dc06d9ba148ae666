"""A page on which the drawing modules can be imported by themselves."""

import threading
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

STATIC = Path(__file__).parents[1] / "src" / "lodewalk" / "web" / "static"


class Quiet(SimpleHTTPRequestHandler):
    """Serves the scripts and says nothing."""

    extensions_map = {".js": "text/javascript", ".css": "text/css", ".html": "text/html"}  # noqa: RUF012

    def log_message(self, *_):
        pass


@contextmanager
def bare_page(browser):
    """Yield a page of a browser on which the modules can be imported from ``/``."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=STATIC))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    found = browser.new_page(viewport={"width": 900, "height": 700})
    found.goto(f"http://127.0.0.1:{server.server_port}/mark.svg")
    found.goto(f"http://127.0.0.1:{server.server_port}/base.css")
    yield found
    found.close()
    server.shutdown()
    server.server_close()
