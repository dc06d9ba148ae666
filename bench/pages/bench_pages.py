"""Time the local pages in a real headless Chromium, by hand of mouse and wheel.

Run ``python bench/pages/bench_pages.py``; it prints one Markdown table. Chromium runs without a
GPU, and once more with GL in software. The big surveys are written by `big_survey`; everything
else is the real server and the real room *Map*. Frames are the intervals between the browser's
animation frames while the mouse drags and the wheel turns; of several rounds the best counts,
since other work may share the machine.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

HERE = Path(__file__).parent
sys.path.append(str(HERE.parent))

from big_survey import big_survey  # noqa: E402

from common import BUSY_LOAD, Row, process, show  # noqa: E402,F401

ROUNDS, SECONDS = int(os.environ.get("LODEWALK_BENCH_ROUNDS", "4")), 1.6
SIZE = {"width": 1366, "height": 768}
QUIET = [
    "--no-sandbox", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
]  # fmt: skip
WAYS = {
    "no GPU": ["--disable-gpu"],
    "GL in software": ["--use-gl=angle", "--use-angle=swiftshader", "--ignore-gpu-blocklist"],
}
SAMPLE = """(seconds) => new Promise((done) => {
  const found = [];
  let before = performance.now();
  const end = before + 1000 * seconds;
  const tick = (now) => {
    found.push(now - before);
    before = now;
    if (now < end) requestAnimationFrame(tick);
    else done(found.slice(2));
  };
  requestAnimationFrame(tick);
})"""
#: The same walks and grid, every point stroked in every frame: what a plain canvas costs.
PLAIN = """async (seconds) => {
  const { columns } = await import("/static/api.js");
  const { coloured } = await import("/static/mesh.js");
  const { COLOURS } = await import("/static/colours.js");
  const walks = await columns("walks");
  const grid = await columns("grids/total_field_anomaly");
  const { easting_m: x, northing_m: y } = walks.columns;
  const { nodes_east, nodes_north, low, high } = grid.about;
  const mesh = { values: grid.columns.values, columns: nodes_east, rows: nodes_north, low, high };
  const image = coloured(mesh, COLOURS);
  const canvas = document.createElement("canvas");
  Object.assign(canvas, { width: 780, height: 352 });
  document.body.prepend(canvas);
  const pen = canvas.getContext("2d");
  const found = [];
  let before = performance.now();
  const end = before + 1000 * seconds;
  await new Promise((done) => {
    const tick = (now) => {
      found.push(now - before);
      before = now;
      const shift = found.length % 60;
      pen.clearRect(0, 0, 780, 352);
      pen.drawImage(image, 200 + shift, 0, 352, 352);
      for (const { first, count } of walks.about.passages) {
        pen.beginPath();
        for (let i = first; i < first + count; i++) {
          pen.lineTo(200 + shift + x[i] * 0.07, 352 - y[i] * 0.07);
        }
        pen.stroke();
      }
      if (now < end || found.length < 5) requestAnimationFrame(tick);
      else done();
    };
    requestAnimationFrame(tick);
  });
  canvas.remove();
  return found.slice(2);
}"""
#: From what a hand does to the end of the frame in which a drawing has changed.
DRAWN = """([event, drawing]) => new Promise((done) => {
  const view = document.querySelector(drawing);
  let begin = 0;
  const note = () => { begin = performance.now(); };
  addEventListener(event, note, { capture: true, once: true });
  new MutationObserver((_, watch) => {
    watch.disconnect();
    requestAnimationFrame(() => done(performance.now() - begin));
  }).observe(view, { attributes: true, attributeFilter: ["aria-label"] });
})"""


#: Notes when the filled room was painted, by the page's own clock: the driver of the browser hears
#: of it late where both processors are at work.
PAINTED = """
new MutationObserver((_, own) => {
  if (!document.body?.dataset.ready) return;
  own.disconnect();
  requestAnimationFrame(() => setTimeout(() => {
    window.paintedAt = performance.timeOrigin + performance.now();
  }));
}).observe(document, { subtree: true, childList: true, attributeFilter: ["data-ready"] });
"""


@contextmanager
def opened(path: Path, **extra: str) -> Iterator[tuple[str, float]]:
    """Serve a survey; yield its address and when the program was started [s since 1970].

    Compiled modules are kept, as they are for anyone who starts the program a second time.
    """
    begin = time.time()
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    kept.update(extra)
    command = [sys.executable, "-m", "lodewalk", "open", str(path), "--no-browser", "--port", PORT]
    server = subprocess.Popen([*command, "--json"], stdout=subprocess.PIPE, text=True, env=kept)
    try:
        assert server.stdout is not None
        yield json.loads(server.stdout.readline())["address"], begin
    finally:
        server.terminate()
        server.wait(20)


PORT = os.environ.get("LODEWALK_BENCH_PORT", "8229")


#: What the pages are served and read with, loaded without anything of ours.
LIBRARIES = "import fastapi, uvicorn, jinja2, numpy, polars"


def libraries() -> float:
    """Return the time that the libraries alone take to load [s]."""
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-c", LIBRARIES], check=True)
    return time.perf_counter() - begin


def start(browser: Any, path: Path, **extra: str) -> tuple[float, int]:
    """Return the time from starting the program to a usable page, and the bytes it took."""
    with opened(path, **extra) as (address, begin):
        context = browser.new_context(viewport=SIZE)
        page = context.new_page()
        taken: list[int] = []
        wire = context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.on("Network.loadingFinished", lambda one: taken.append(int(one["encodedDataLength"])))
        page.add_init_script(PAINTED)
        page.goto(address)
        page.wait_for_selector("body[data-ready]", state="attached")
        page.wait_for_timeout(1500)
        seconds = page.evaluate("window.paintedAt") / 1000 - begin
        context.close()
    return seconds, sum(taken)


def at_room(browser: Any, address: str, room: str, drawing: str) -> Any:
    """Return a page that shows a room with a drawing in it."""
    page = browser.new_context(viewport=SIZE).new_page()
    page.goto(address)
    page.goto(f"{address.split('/enter')[0]}/{room}")
    page.wait_for_selector("body[data-ready]", timeout=60_000)
    assert page.locator(drawing).count(), page.locator("main").inner_text()
    page.wait_for_timeout(800)
    return page


def frames(page: Any, selector: str, *, drag: bool = True) -> np.ndarray:
    """Return the intervals of animation frames while a view is dragged and zoomed [ms]."""
    view = page.locator(selector).first
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.evaluate(f"(seconds) => {{ window.sampled = ({SAMPLE})(seconds); }}", SECONDS)
    page.mouse.move(x, y)
    end, turn = time.perf_counter() + SECONDS, 0
    if drag:
        page.mouse.down()
    while time.perf_counter() < end:
        turn += 1
        if drag:
            page.mouse.move(x + 120 * np.sin(turn / 15), y + 60 * np.cos(turn / 20))
        else:
            page.mouse.wheel(0, -60 if turn // 30 % 2 == 0 else 60)
        time.sleep(0.012)
    if drag:
        page.mouse.up()
    # A browser that got no frame done in all that time needed at least so long for one.
    return np.array(page.evaluate("window.sampled") or [1000 * SECONDS])


def best(page: Any, selector: str) -> dict[str, tuple[float, float]]:
    """Return median and 95th percentile of pan and of zoom, of the best of several rounds [ms]."""
    found = {}
    for name, drag in (("pan", True), ("zoom", False)):
        rounds = [np.percentile(frames(page, selector, drag=drag), [50, 95]) for _ in range(ROUNDS)]
        median, high = min(rounds, key=lambda one: one[1])
        found[name] = float(median), float(high)
    return found


def profiles(page: Any, lines: int) -> list[float]:
    """Return how long a click on the map takes to draw the profile of each of some lines [ms]."""
    view = page.locator(".maps .view").first
    view.focus()
    page.keyboard.press("0")
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    found = []
    for turn in range(lines):
        # Lines lie side by side: a step aside is another line.
        aside = box["x"] + box["width"] * (0.4 + 0.025 * turn)
        step = partial(page.mouse.click, aside, box["y"] + box["height"] * 0.45)
        found += until_drawn(page, "pointerup", ".curve .view", step)
    return found


def until_drawn(page: Any, event: str, drawing: str, act: Callable[[], None]) -> list[float]:
    """Return how long a drawing takes to follow what a hand does [ms]; none where it stays."""
    page.evaluate(
        f"(wanted) => {{ window.drawn = ({DRAWN})(wanted); }}",
        [event, drawing],
    )
    act()
    took = page.evaluate("Promise.race([window.drawn, new Promise((no) => setTimeout(no, 1500))])")
    return [] if took is None else [took]


def sliders(page: Any, steps: int) -> list[float]:
    """Return how long the expected anomaly takes to follow a slider, moved without a rest [ms]."""
    slider = page.get_by_role("slider", name="Depth of its top")
    slider.focus()
    found = []
    for turn in range(steps):
        key = "PageUp" if turn % 8 < 4 else "PageDown"
        step = partial(page.keyboard.press, key)
        found += until_drawn(page, "input", ".told-side .view", step)
    return found


def agg_seconds(path: Path) -> float:
    """Return how long one picture of the same scene takes with matplotlib's Agg."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    import polars as pl

    from lodewalk.formats.netcdf import read_grids

    walked = pl.read_parquet(
        path / "products/readings.parquet", columns=["line", "easting_m", "northing_m"]
    )
    grid = read_grids(path / "products/grids.nc")[0]
    figure, axes = plt.subplots(figsize=(7.8, 3.52), dpi=100)
    axes.imshow(
        grid.values,
        origin="lower",
        extent=(grid.eastings[0], grid.eastings[-1], grid.northings[0], grid.northings[-1]),
    )
    for _, line in walked.group_by("line"):
        axes.plot(line["easting_m"], line["northing_m"], lw=1)
    found = []
    for _ in range(3):
        begin = time.perf_counter()
        figure.canvas.draw()
        found.append(time.perf_counter() - begin)
    plt.close(figure)
    return min(found)


def told(name: str, found: tuple[float, float], limit: str) -> str:
    """Return a pair of figures in words."""
    return f"{name}: median {found[0]:.1f} ms, 95th percentile {found[1]:.1f} ms (wanted {limit})"


def scene_rows(browser: Any, path: Path, count: str, way: str, *, base: bool) -> Iterator[Row]:
    """Yield rows for a big survey: map, plain canvas beside it, base record, lines chosen."""
    limits = "≤ 17 and ≤ 20" if count == "100,000" else "≤ 33"
    with opened(path) as (address, _):
        page = at_room(browser, address, "map", ".maps .view")
        here = best(page, ".maps .view")
        strip = best(page, ".strip .view") if base else {}
        took = profiles(page, 6)
        # Last, since a page is of little use after it: with GL in software a frame takes seconds.
        plain = np.array(page.evaluate(PLAIN, SECONDS))
        page.context.close()
    beside = "every point stroked in every frame on a plain canvas"
    if way == "no GPU":
        beside += f"; matplotlib's Agg takes {agg_seconds(path):.2f} s a picture"
    for name, pair in here.items():
        scene = f"{count} readings and 1000² nodes"
        job = f"pages: {name} of the map, {scene}, 95th percentile frame, {way}"
        worst = float(np.percentile(plain, 95)) / 1000
        yield Row(job, pair[1] / 1000, beside, worst, told(name, pair, limits))
    for name, pair in strip.items():
        job = f"pages: {name} of the base, 5 days each second, 95th percentile frame, {way}"
        note = told(name, pair, "≤ 17 and ≤ 20")
        yield Row(job, pair[1] / 1000, "a frame at 60 Hz", 1 / 60, note)
    if took:
        job = f"pages: line chosen to profile drawn, {count} readings, {way}"
        note = f"median of {len(took)}; first {took[0]:.0f} ms"
        yield Row(job, float(np.median(took)) / 1000, "wanted", 0.1, note)


def demo_rows(browser: Any, path: Path) -> Iterator[Row]:
    """Yield rows for the demo: start, bytes, line to profile."""
    found = [start(browser, path) for _ in range(ROUNDS)]
    seconds, size = min(found)
    middle = float(np.median([one for one, _ in found]))
    with TemporaryDirectory() as fresh:
        cold, _ = start(browser, path, PYTHONPYCACHEPREFIX=fresh)
    note = (
        f"wanted 1.5 s; best of {ROUNDS}, median {middle:.2f} s; with no module compiled, those of "
        f"the libraries neither, {cold:.1f} s; {size / 1e6:.2f} MB (wanted ≤ 1.5 MB)"
    )
    beside = min(libraries() for _ in range(ROUNDS))
    job = "pages: lodewalk open to a usable page, demo"
    yield Row(job, seconds, f"`{LIBRARIES}` alone", beside, note)
    with opened(path) as (address, _):
        page = at_room(browser, address, "map", ".maps .view")
        took = profiles(page, 12)
        note = f"median of {len(took)} lines; slowest {max(took):.0f} ms"
        job = "pages: line chosen to profile drawn, demo"
        yield Row(job, float(np.median(took)) / 1000, "wanted", 0.1, note)
        page.context.close()
        page = at_room(browser, address, "site", ".told-side .view")
        took = sliders(page, 16)
        note = f"median of {len(took)} steps; slowest {max(took):.0f} ms"
        job = "pages: slider moved to the expected anomaly drawn, demo"
        yield Row(job, float(np.median(took)) / 1000, "wanted of a profile", 0.1, note)


def rows(demo: Path | None = None) -> list[Row]:
    """Return all rows; the demo is made where none is given."""
    from playwright.sync_api import sync_playwright

    found: list[Row] = []
    with TemporaryDirectory() as folder, sync_playwright() as play:
        if demo is None:
            demo = Path(folder) / "demo"
            process(sys.executable, "-m", "lodewalk", "demo", demo)()
        surveys = {"100,000": (100_000, 50), "1,000,000": (1_000_000, 100)}
        for count, (readings, lines) in surveys.items():
            big_survey(Path(folder) / count, readings, lines=lines)
        for way, flags in WAYS.items():
            chromium = os.environ.get("LODEWALK_CHROMIUM", "/usr/bin/chromium")
            browser = play.chromium.launch(executable_path=chromium, args=[*QUIET, *flags])
            if way == "no GPU":
                for row in demo_rows(browser, demo):
                    print(
                        f"{row.job}: {row.seconds:.4f} s ({row.beside_seconds:.4f}); {row.note}",
                        file=sys.stderr,
                    )
                    found.append(row)
            for count in surveys:
                base = count == "100,000" and way == "no GPU"
                for row in scene_rows(browser, Path(folder) / count, count, way, base=base):
                    print(
                        f"{row.job}: {row.seconds:.4f} s ({row.beside_seconds:.4f}); {row.note}",
                        file=sys.stderr,
                    )
                    found.append(row)
            browser.close()
    return found


if __name__ == "__main__":
    arguments = [one for one in sys.argv[1:] if one != "--json"]
    sys.argv[1:] = [one for one in sys.argv[1:] if one == "--json"]
    show(rows(Path(arguments[0]) if arguments else None))
