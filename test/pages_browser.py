"""A real server and a real browser for tests of the pages.

`Served` is `lodewalk open` in a process of its own; `Visit` is one browser page on it that keeps
whatever goes wrong: errors of scripts, of the console and of the Content-Security-Policy, and
requests to any other address.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

#: Sizes at which each room is looked at, by name.
LAPTOP, DESK, PHONE = (1366, 768), (1920, 1080), (390, 844)
#: What keeps Chromium from asking the network on its own account, and from reaching it.
QUIET = (
    "--disable-gpu",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-sync",
    # What it asks all the same, of its maker, finds no address.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--no-proxy-server",
    "--no-pings",
)
#: A breach of the policy becomes an error of the console, which is watched.
TELL_BREACHES = """
document.addEventListener("securitypolicyviolation", (event) => {
  const where = `${event.sourceFile}:${event.lineNumber}`;
  console.error(`policy: ${event.violatedDirective} forbids ${event.blockedURI}, ${where}`);
});
"""


def chromium_path():
    """Return where Chromium is, or None; ``CHROMIUM`` names another than that of the system."""
    named = os.environ.get("CHROMIUM")
    return named or shutil.which("chromium") or shutil.which("chromium-browser")


def launch(playwright, *more):
    """Start Chromium; as root it has no sandbox of its own."""
    flags = [*QUIET, *more, *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    return playwright.chromium.launch(executable_path=chromium_path(), args=flags)


class Served:
    """The pages of a folder, served by a process of its own."""

    def __init__(self, place, port=0):
        words = [sys.executable, "-m", "lodewalk", "open", str(place)]
        self.place = Path(place)
        self.process = subprocess.Popen(
            [*words, "--no-browser", "--json", "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        told = self.process.stdout.readline()
        if not told:
            raise AssertionError(self.process.communicate()[1])
        found = json.loads(told)
        self.address, self.port = found["address"], found["port"]
        self.home = f"http://127.0.0.1:{self.port}"

    def kill(self):
        """End it as a loss of power would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate()

    def close(self):
        """End it as Ctrl-C does, and return what it said on standard error."""
        if self.process.returncode is not None:
            return ""
        self.process.send_signal(signal.SIGINT)
        try:
            return self.process.communicate(timeout=20)[1]
        except subprocess.TimeoutExpired:
            self.kill()
            raise


class Visit:
    """One browser page with its problems."""

    def __init__(self, page, served):
        self.page = page
        self.served = served
        self.home = served.home
        self.problems = []
        self.asked = []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.problems.append(f"script: {error}"))
        page.on("request", self._request)
        page.on("websocket", lambda socket: self.problems.append(f"elsewhere: {socket.url}"))

    def _console(self, message):
        if message.type in ("error", "warning"):
            self.problems.append(f"{message.type}: {message.text}")

    def _request(self, request):
        at = urlsplit(request.url)
        own = f"{at.scheme}://{at.netloc}" == self.home
        if not own and at.scheme not in ("data", "blob"):
            self.problems.append(f"elsewhere: {request.url}")
        self.asked.append((request.method, at.path))

    def enter(self, path="/"):
        """Come in by the printed address, then go to a path."""
        self.page.goto(self.served.address)
        if path != "/":
            self.page.goto(self.home + path)
        self.ready()
        return self

    def go(self, path):
        """Go to a path and wait until the room is filled."""
        self.page.goto(self.home + path)
        self.ready()
        return self

    def ready(self):
        """Wait until the room is filled."""
        self.page.wait_for_selector("body[data-ready]", timeout=30_000)

    def seen(self, role, name, **more):
        """Return what has this role and name (a text, or a pattern)."""
        return self.page.get_by_role(role, name=name, **more)

    @contextmanager
    def forgiven(self, pattern):
        """Let problems that fit a pattern pass inside, of which there has to be one at least."""
        before = len(self.problems)
        yield
        fresh = self.problems[before:]
        fits = [text for text in fresh if re.search(pattern, text)]
        assert fits, f"nothing went wrong as {pattern!r}: {fresh}"
        self.problems[before:] = [text for text in fresh if text not in fits]


def axe_script():
    """Return the script that checks a page's accessibility."""
    import axe_playwright_python

    return (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()


def barriers(page):
    """Return what hinders people on a page: rule, and the elements that break it."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(axe_script())  # by the debugger, so that the policy stays as it is
    # Without its own style sheets, which the policy forbids.
    found = page.evaluate("async () => (await axe.run(document, { preload: false })).violations")
    return [
        f"{rule['id']}: {rule['help']}: "
        + "; ".join(node["html"][:160] for node in rule["nodes"][:5])
        for rule in found
    ]


def told_by_stream(there, work):
    """Let the stream tell a page of work, as it would; ``work`` may be changed later on."""

    def tell(route):
        steps = [{"step": "report", "why": [], "done": 1, "total": 3}]
        usual = {"id": 1, "steps": steps, "seconds": 1.0, "problem": None, "result": None}
        state = {"survey": work["survey"], "mark": "m", "job": usual | work}
        told = f"data: {json.dumps(state)}\n\n"
        route.fulfill(body=told, content_type="text/event-stream")

    there.page.route("**/api/events", tell)


def barriers_by_theme(page):
    """Return what hinders people on a page in light and in dark, without reaching its state twice.

    The page is left in the theme that it was in.
    """
    theme = "document.documentElement.dataset.theme"
    first = page.evaluate(theme)
    found = {}
    for one in ({"light": "dark", "dark": "light"}[first], first):
        page.emulate_media(color_scheme=one)
        page.wait_for_function(f"(wanted) => {theme} === wanted", arg=one)
        found[one] = barriers(page)
    return {one: told for one, told in found.items() if told}


#: What has the focus: its name, and whether the eye finds it.
FOCUSED = """() => {
  const held = document.activeElement;
  if (!held || held === document.body) return { name: "nothing", shown: false };
  const style = getComputedStyle(held);
  const box = held.getBoundingClientRect();
  const ringed = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
  return {
    name: held.outerHTML.slice(0, 160),
    shown: (ringed || style.boxShadow !== "none") && box.width > 0 && box.height > 0
      && box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
  };
}"""


class Keyboard:
    """A person who has keys alone, and always has to see where they are."""

    def __init__(self, page, most=300):
        self.page = page
        self.most = most

    def seen(self):
        """The focus is somewhere, and the eye finds it."""
        self.page.wait_for_function(f"() => ({FOCUSED})().name !== 'nothing'", timeout=3000)
        found = self.page.evaluate(FOCUSED)
        assert found["shown"], f"the eye doesn't find the focus on {found['name']}"

    def to(self, wanted):
        """Go to an element by Tab, and round the page where it lies behind."""
        wanted.wait_for()
        for _ in range(self.most):
            if wanted.evaluate("element => element === document.activeElement"):
                self.seen()
                return
            self.page.keyboard.press("Tab")
            found = self.page.evaluate(FOCUSED)
            # From the last element the focus goes to the browser's own bar, once a round.
            assert found["shown"] or found["name"] == "nothing", found["name"]
        raise AssertionError("Tab doesn't lead there")

    def press(self, wanted):
        """Go to a button or link and press Enter."""
        self.to(wanted)
        self.page.keyboard.press("Enter")

    def write(self, wanted, text):
        """Go to a field and write into it, over what stands there."""
        self.to(wanted)
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)
