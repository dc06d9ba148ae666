"""The drawing modules by themselves, in a real browser: what they compute, against closed forms."""

import re
import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from shapely import LineString, Point

from pages_browser import chromium_path, launch

STATIC = Path(__file__).parents[2] / "src" / "lodewalk" / "web" / "static"


class Quiet(SimpleHTTPRequestHandler):
    """Serves the scripts and says nothing."""

    extensions_map = {".js": "text/javascript", ".css": "text/css", ".html": "text/html"}  # noqa: RUF012

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def page():
    """A page on which the modules can be imported from ``/``."""
    if chromium_path() is None:
        pytest.skip("no Chromium here")
    from playwright.sync_api import sync_playwright

    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=STATIC))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with sync_playwright() as play:
        browser = launch(play)
        found = browser.new_page(viewport={"width": 900, "height": 700})
        found.goto(f"http://127.0.0.1:{server.server_port}/mark.svg")
        found.goto(f"http://127.0.0.1:{server.server_port}/base.css")
        yield found
        browser.close()
    server.shutdown()
    server.server_close()


def test_a_metre_is_as_long_northward_as_eastward(page):
    found = page.evaluate("""async () => {
      const { MapView } = await import("/map.js");
      const found = [];
      for (const [wide, tall] of [[700, 300], [250, 600]]) {
        const map = new MapView("map");
        document.body.append(map.element);
        Object.assign(map.element.style, { width: `${wide}px`, height: `${tall}px` });
        map.strokes = [{ x: [0, 3000], y: [0, 500], style: "--ink" }];
        map.resize();
        map.fit();
        for (const turn of [1, 2.7, 0.3]) {
          map.zoom(turn, 100, 120);
          const [ox, oy] = map.toPixels(1000, 1000);
          const [ex] = map.toPixels(1100, 1000);
          const [, ny] = map.toPixels(1000, 1100);
          found.push([ex - ox, oy - ny, ...map.toMetres(...map.toPixels(123.5, -45.25))]);
        }
      }
      return found;
    }""")
    for east, north, x, y in found:
        assert east == pytest.approx(north, rel=1e-9)
        assert (x, y) == pytest.approx((123.5, -45.25))


def test_the_processor_draws_whatever_the_browser_takes_for_a_graphics_card(page):
    found = page.evaluate("""async () => {
      const { MapView } = await import("/map.js");
      const { coloured } = await import("/mesh.js");
      const map = new MapView("map");
      document.body.append(map.element);
      Object.assign(map.element.style, { width: "300px", height: "200px" });
      map.resize();
      const mesh = { values: new Float32Array(4), columns: 2, rows: 2, low: 0, high: 1 };
      const all = [map.still, map.marks, coloured(mesh, new Uint8Array(768))];
      return all.map((one) => one.getContext("2d").getContextAttributes().willReadFrequently);
    }""")
    assert found == [True, True, True]


@pytest.mark.parametrize(
    ("low", "high"), [(0, 1), (-3.7, 912.2), (7_245_600, 7_246_500), (1e-4, 3e-4)]
)
def test_ticks_are_round_even_and_inside(page, low, high):
    found = page.evaluate(
        """async ([low, high]) => (await import("/ticks.js")).ticks(low, high, 6)""", [low, high]
    )
    steps = np.diff(found)
    assert 2 <= len(found) <= 16
    assert steps == pytest.approx(steps[0])
    lead = steps[0] / 10 ** np.floor(np.log10(steps[0] * (1 + 1e-9)))
    assert min(abs(lead - one) for one in (1, 2, 5)) < 1e-6
    assert min(found) >= low - 1e-9 * abs(low)
    assert max(found) <= high + 1e-9 * abs(high)


@pytest.mark.parametrize(
    ("interval", "digits"), [(10, 0), (2.5, 1), (0.25, 2), (0.1 + 0.2, 1), (1.5, 1), (0.02, 2)]
)
def test_contours_are_told_with_as_many_decimals_as_their_interval_has(page, interval, digits):
    found = page.evaluate(
        """async (one) => (await import("/ticks.js")).decimalsOfMultiples(one)""", interval
    )
    assert found == digits


@pytest.mark.parametrize("tolerance", [0.5, 4.0])
def test_a_thinned_track_stays_within_its_tolerance_and_keeps_its_farthest_point(page, tolerance):
    rng = np.random.default_rng(5)
    x = np.linspace(0, 3000, 3001)
    y = np.cumsum(rng.normal(size=x.size)) * 0.4
    y[1500] += 200
    x, y = x.astype(np.float32), y.astype(np.float32)
    kept = page.evaluate(
        """async ([x, y, tolerance]) => {
          const { WalkPaths } = await import("/walk-paths.js");
          const parts = [{ first: 0, end: x.length, name: "L", style: "--ink" }];
          const walks = { x: Float32Array.from(x), y: Float32Array.from(y), parts };
          const paths = new WalkPaths(walks);
          const found = [];
          const take = (px, py) => found.push([px, py]);
          paths.trace({ moveTo: take, lineTo: take }, 0, x.length, tolerance);
          return found;
        }""",
        [x.tolist(), y.tolist(), tolerance],
    )
    assert len(kept) < 0.7 * x.size
    track = LineString(kept)
    apart = [track.distance(Point(place)) for place in zip(x.tolist(), y.tolist(), strict=True)]
    assert max(apart) <= tolerance * 1.001
    assert [float(x[1500]), float(y[1500])] in kept


def test_values_between_nodes_are_linear_both_ways(page):
    found = page.evaluate("""async () => {
      const { between } = await import("/mesh.js");
      const columns = 7, rows = 5, spacing = 2.5;
      const truth = (x, y) => 3 + 0.5 * x - 0.25 * y + 0.125 * x * y;
      const values = new Float32Array(columns * rows);
      for (let i = 0; i < values.length; i++) {
        values[i] = truth(10 + (i % columns) * spacing, -4 + Math.floor(i / columns) * spacing);
      }
      const mesh = { values, columns, rows, spacing, west: 10, south: -4 };
      // Bilinear in each cell: a product term is met exactly.
      const places = [[10, -4], [12.1, 0.3], [24.9, 5.9], [25, 6], [8.7, 0], [12, 7.3]];
      return places.map(([x, y]) => [between(mesh, x, y), truth(x, y)]);
    }""")
    for told, truth in found[:4]:
        assert told == pytest.approx(truth, rel=1e-5)
    assert all(np.isnan(told) for told, _ in found[4:])


def test_a_value_stands_wherever_there_is_colour_at_edges_and_beside_holes(page):
    found = page.evaluate("""async () => {
      const { between } = await import("/mesh.js");
      // Nodes 1 m apart from 0, 0: 1 2 3 below, 4 (a hole) 6 above.
      const values = Float32Array.of(1, 2, 3, 4, NaN, 6);
      const mesh = { values, columns: 3, rows: 2, spacing: 1, west: 0, south: 0 };
      const places = [[0.25, -0.4], [-0.5, 0.5], [2.4, 0.25], [0.3, 0.2], [0.3, 0.8],
        [1, 0.4], [1, 0.6], [2, 1.5], [2, 1.51]];
      return places.map(([x, y]) => between(mesh, x, y));
    }""")
    # Three of the edge; three nearest nodes beside the hole; the hole; a corner; outside.
    wanted = [1.25, 2.5, 3.75, 1, 4, 2, np.nan, 6, np.nan]
    assert found == pytest.approx(wanted, nan_ok=True)


def test_all_that_comes_later_is_shown_until_somebody_moves_the_map(page):
    found = page.evaluate("""async () => {
      const { MapView } = await import("/map.js");
      const map = new MapView("map");
      document.body.append(map.element);
      Object.assign(map.element.style, { width: "600px", height: "300px" });
      map.resize();
      const parts = [{ first: 0, end: 2, name: "1", style: "--dim" }];
      map.setWalks({ x: Float32Array.of(0, 200), y: Float32Array.of(0, 5), parts });
      const values = new Float32Array(20 * 21).fill(1);
      const mesh = { values, columns: 20, rows: 21, spacing: 10, west: 0, south: -90,
        low: 0, high: 2, title: "Grid", unit: "nT" };
      const sees = () => {
        const { west, east, south, north } = map.sight();
        return [west <= -5, east >= 200, south <= -95, north >= 115];
      };
      const colours = new Uint8Array(768);
      map.setMesh(mesh, colours);
      const first = sees();
      map.zoom(4, 300, 150);
      map.setMesh(mesh, colours);
      const moved = sees();
      map.element.remove();
      return [first, moved];
    }""")
    assert found == [[True] * 4, [False] * 4]


@pytest.mark.parametrize("azimuth", [0, 90, 225])
def test_light_on_a_slope_is_the_cosine_to_the_sun(page, azimuth):
    """A plane that rises eastward, raised to 45 degrees, under a sun 45 degrees high."""
    found = page.evaluate(
        """async (azimuth) => {
          const { relief } = await import("/mesh.js");
          const values = Float32Array.from({ length: 400 }, (_, i) => 7 * (i % 20));
          return relief({ values, columns: 20, rows: 20 }, { azimuth, strength: 1 })[210];
        }""",
        azimuth,
    )
    normal = np.array([-1.0, 0.0, 1.0]) / np.sqrt(2)
    turn = np.radians(azimuth)
    sun = np.array([np.sin(turn), np.cos(turn), 1.0]) / np.sqrt(2)
    wanted = max(0.0, normal @ sun) / np.sin(np.pi / 4)
    assert found == pytest.approx(min(1.6, wanted), abs=1e-5)


def test_noise_is_that_of_white_noise_on_a_smooth_field(page):
    rng = np.random.default_rng(11)
    values = 50 * np.sin(np.arange(4000) / 90) + rng.normal(scale=0.3, size=4000)
    found = page.evaluate(
        """async (values) => (await import("/span.js")).noiseOf(values)""", values.tolist()
    )
    assert found == pytest.approx(0.3, rel=0.06)


def test_a_section_over_a_plane_is_a_straight_line_with_its_band(page):
    found = page.evaluate("""async () => {
      const { along } = await import("/section.js");
      const values = Float32Array.from({ length: 2500 }, (_, i) => 2 * (i % 50));
      const mesh = { columns: 50, rows: 50, spacing: 2, west: 0, south: 0, values };
      const error = { ...mesh, values: new Float32Array(2500).fill(2) };
      return along(mesh, error, [10, 10, 40, 50]);
    }""")
    assert found[-1]["distance"] == pytest.approx(50)
    for one in found:
        assert one["value"] == pytest.approx(10 + 0.6 * one["distance"], abs=1e-4)
        assert (one["low"], one["high"]) == pytest.approx(
            (one["value"] - 3.29, one["value"] + 3.29), abs=1e-3
        )


def test_a_picture_as_svg_is_well_formed_and_says_unit_and_system(page):
    text = page.evaluate("""async () => {
      const { MapView } = await import("/map.js");
      const { svg } = await import("/pictures.js");
      const map = new MapView("A <map> & more");
      document.body.append(map.element);
      Object.assign(map.element.style, { width: "500px", height: "400px" });
      map.crs = "EPSG:32633";
      const values = Float32Array.from({ length: 100 }, (_, i) => i);
      const place = { columns: 10, rows: 10, west: 0, south: 0, spacing: 5 };
      const mesh = { values, ...place, low: 0, high: 99, title: "Anomaly", unit: "nT" };
      map.setMesh(mesh, new Uint8Array(768));
      map.resize();
      return svg(map).text();
    }""")
    root = ET.fromstring(text)
    words = " ".join("".join(one.itertext()) for one in root.iter())
    for wanted in ("EPSG:32633", "99.0 nT", "grid north is up", "A <map> & more"):
        assert wanted in words


#: A strip of two rovers, as a view and as the texts that its picture holds.
STRIP = """async ([lanes, wide, spans]) => {
  const { SeriesView } = await import("/series.js");
  const { svg } = await import("/pictures.js");
  const view = new SeriesView("strip", { yTitle: "Base [nT]" });
  document.body.append(view.element);
  Object.assign(view.element.style, { width: `${wide}px`, height: "150px" });
  view.lanes = lanes;
  view.set({ curves: [{ x: [0, 100], y: [1, 2], style: "--ink", name: "" }], spans });
  view.resize();
  const ruler = document.createElement("canvas").getContext("2d");
  const root = new DOMParser().parseFromString(await svg(view).text(), "text/xml");
  return [...root.querySelectorAll("text")].map((one) => {
    ruler.font = one.getAttribute("style").replace("font:", "");
    const left = Number(one.getAttribute("x"));
    return { text: one.textContent, left, right: left + ruler.measureText(one.textContent).width };
  });
}"""


@pytest.mark.parametrize("wide", [330, 900])
@pytest.mark.parametrize("lanes", [["R1", "R2"], ["north-west rover", "south-east rover"]])
def test_names_of_lanes_end_before_the_edge_and_say_what_is_left_out(page, lanes, wide):
    found = page.evaluate(STRIP, [lanes, wide, []])
    names = [one for one in found if one["text"][:2] in {name[:2] for name in lanes}]
    assert len(names) == 2
    for one, name in zip(names, lanes, strict=True):
        assert one["right"] <= wide
        assert one["text"] == name if one["text"][-1] != "…" else name.startswith(one["text"][:-1])
    whole = wide == 900 or lanes == ["R1", "R2"]
    assert [one["text"] for one in names] == lanes if whole else names[0]["text"].endswith("…")


def test_a_passage_tells_its_verdict_by_a_sign_too(page):
    passages = [(0, 20, "✓"), (30, 32, "?"), (40, 40.2, "↺"), (60, 80, None)]
    spans = [
        {"from": start, "to": end, "lane": 0, "style": "--ink", "sign": sign, "label": "L05"}
        for start, end, sign in passages
    ]
    found = page.evaluate(STRIP, [["R1", "R2"], 900, spans])
    told = [one["text"] for one in found if set(one["text"]) & set("✓?↺L")]
    assert told == ["✓ L05", "?", "L05"]


def test_a_click_in_the_lane_of_a_rover_that_walks_nothing_leaves_the_chosen_line(page):
    found = page.evaluate("""async () => {
      const { Linked } = await import("/linked.js");
      const { select, selected } = await import("/selection.js");
      const linked = new Linked();
      linked.follow = async () => {};
      const moment = (minute) => `2026-03-10T10:${minute}:00.000Z`;
      const walked = (instrument, line, from, to) => (
        { instrument, line, day: "2026-03-10", start_utc: moment(from), end_utc: moment(to) });
      linked.passages = [walked("R1", "L01", "00", "10"), walked("R2", "L51", "00", "30")];
      const chosen = [];
      const clicks = [["05", "R1"], ["20", "R1"], ["20", "R2"], ["40", "R2"], ["20", null]];
      for (const [minute, rover] of clicks) {
        linked.chooseTime(Date.parse(moment(minute)) / 1000, rover);
        chosen.push([selected().line, selected().at.slice(14, 16)]);
      }
      select({ line: null, at: null, day: null });
      return chosen;
    }""")
    # At twenty past R1 walks nothing; a moment without a lane finds whoever walks.
    assert found == [["L01", "05"], ["L01", "20"], ["L51", "20"], ["L51", "40"], ["L51", "20"]]


def test_a_chosen_passage_is_marked_in_its_lane_though_the_base_record_is_not_there(page):
    found = page.evaluate("""async () => {
      const { Linked } = await import("/linked.js");
      const { select } = await import("/selection.js");
      const walked = (instrument, line) => ({ instrument, line, day: "2026-03-10", first: 0,
        count: 0, start_utc: "2026-03-10T10:00:00Z", end_utc: "2026-03-10T10:09:00Z" });
      const about = { passages: [walked("R1", "L01"), walked("R2", "L51")], start_s: 0,
        columns: ["time_s", "row", "easting_m", "northing_m"].map(
          (name) => ({ name, type: "f4", count: 0 })) };
      const text = new TextEncoder().encode(JSON.stringify(about));
      const packed = new Uint8Array(Math.ceil((4 + text.length) / 8) * 8);
      new DataView(packed.buffer).setUint32(0, text.length, true);
      packed.set(text, 4);
      const ask = window.fetch;
      window.fetch = async () => new Response(packed);
      const linked = new Linked();
      linked.fetchLine = linked.showLine = async () => undefined;
      select({ line: "L51" });
      await linked.load();
      window.fetch = ask;
      const lane = linked.strip.lanes[linked.strip.chosenLane];
      select({ line: null });
      return lane;
    }""")
    assert found == "R2"


@pytest.mark.parametrize(
    ("most", "rings"),
    [(5, (2.5, 5)), (25, (12.5, 25)), (101, (50.5, 101)), (1834, (917, 1834))],
)
def test_rings_of_the_rose_are_told_as_they_are(page, most, rings):
    found = page.evaluate(
        """async (most) => {
          const { RoseView } = await import("/rocks/rose.js");
          const { svg } = await import("/pictures.js");
          const view = new RoseView();
          document.body.append(view.element);
          view.element.style.width = "300px";
          view.rose = { edges_deg: [0, 90, 180], length_m: [most, 0] };
          view.resize();
          const told = (await svg(view).text()).match(/Rings: ([0-9.]+), ([0-9.]+) m/);
          return told.slice(1).map(Number);
        }""",
        most,
    )
    assert found == pytest.approx(rings, rel=0.005)


def test_where_a_sign_has_no_room_a_verdict_is_told_by_the_bar_of_its_span(page):
    """Three walks of 6 pixels: their bars differ in more than colour."""
    found = page.evaluate("""async () => {
      const { drawSpans, drawNames } = await import("/series-parts.js");
      const { VERDICTS } = await import("/linked.js");
      const spans = Object.values(VERDICTS).map(({ sign, cap, style }, nth) => (
        { from: 10 * nth, to: 10 * nth + 6, sign, cap, style, label: "L1" }));
      const view = { spans, lanes: ["R1"], px: (x) => x, width: 40 };
      const bars = [], texts = [];
      const pen = {
        fillRect: (x, y, wide, tall) => tall < 60 && bars.push(tall),
        fillText: (text) => texts.push(text),
        measureText: (text) => ({ width: 7 * text.length }),
      };
      const box = { left: 0, right: 40, top: 0, bottom: 60 };
      drawSpans(view, pen, box);
      drawNames(view, pen, box);
      return [bars, texts];
    }""")
    bars, texts = found
    assert texts == []
    assert len(set(bars)) == 3
    assert bars == sorted(bars)
    assert min(np.diff(bars)) >= 3


def test_the_last_label_of_an_axis_ends_before_the_edge(page):
    found = page.evaluate("""async () => {
      const { SeriesView } = await import("/series.js");
      const view = new SeriesView("base", { time: true, yTitle: "Base" });
      document.body.append(view.element);
      Object.assign(view.element.style, { width: "600px", height: "120px" });
      view.resize();
      const curve = { x: [0, 3600, 7200], y: [0, 1, 2], style: "--ink", name: "" };
      view.set({ curves: [curve] });
      const pen = view.still.getContext("2d");
      const told = [];
      pen.fillText = (text, x) => {
        const half = pen.measureText(text).width / 2;
        if (/\\d:00/.test(text)) told.push([x - half, x + half]);
      };
      view.paint(true);
      const wide = view.width;
      view.element.remove();
      return { told, wide };
    }""")
    assert found["told"]
    assert all(left >= 0 and right <= found["wide"] for left, right in found["told"])


def test_a_strike_is_told_with_its_unit_and_names_are_counted(page):
    found = page.evaluate("""async () => {
      const { strikeWords } = await import("/rocks/words.js");
      const { byName } = await import("/tables.js");
      const told = [[130, null], [130, 2], [null, null]];
      return [...told.map((one) => strikeWords(...one)), ["1", "10", "2", "L3"].sort(byName)];
    }""")
    assert found[0] == "130 degrees from grid north, error not known"
    assert found[1] == "130 ± 3.3 degrees from grid north (90 %)"
    assert found[2:] == ["not told", ["1", "2", "10", "L3"]]


def test_what_a_notice_offers_to_undo_is_told_by_name_and_title(page):
    found = page.evaluate("""async () => {
      const { say } = await import("/notices.js");
      const place = document.createElement("div");
      place.id = "notices";
      document.body.append(place);
      const action = { words: "Undo…", about: "Take back: Drop L3", act() {} };
      say("good", "Drop L3: written down.", action);
      const { title, ariaLabel, textContent } = place.querySelector(".act");
      place.remove();
      return [title, ariaLabel, textContent];
    }""")
    assert found == ["Take back: Drop L3", "Undo… Take back: Drop L3", "Undo…"]


@pytest.mark.parametrize(
    ("given", "set_"),
    [
        ("7 of 16 lines in doubt, 4209 m", "7 of 16 lines in doubt, 4,209\u00a0m"),
        ("comes -0.56 s after (17%)", "comes −0.56\u00a0s after (17\u00a0%)"),
        ("0.1234 m at 1234567 m", "0.1234\u00a0m at 1,234,567\u00a0m"),
        ("2026-03-10, L08: 3 m", "2026-03-10, L08: 3\u00a0m"),
    ],
)
def test_sentences_are_set_with_true_signs_and_whole_quantities(page, given, set_):
    told = """async (text) => (await import("/elements.js")).typeset(text)"""
    assert page.evaluate(told, given) == set_


def test_two_bands_in_one_plot_differ_by_fill_and_edge_and_so_do_their_keys(page):
    found = page.evaluate("""async () => {
      const { SeriesView } = await import("/series.js");
      const { forgetColours } = await import("/view.js");
      const { svg } = await import("/pictures.js");
      document.documentElement.style.cssText =
        "--band: #010101; --band-edge: #020202; --band-2: #030303; --band-2-edge: #040404";
      forgetColours();
      const view = new SeriesView("profile", { xTitle: "m", yTitle: "nT", height: 200 });
      document.body.append(view.element);
      view.resize();
      const band = (low, high, style) => ({ x: [0, 1, 2], low, high, style, name: style });
      const dots = { x: [0, 1, 2], y: [0, 1, 0], style: "--ink", name: "readings", width: 0 };
      view.set({ curves: [dots],
        bands: [band([0, 0, 0], [1, 1, 1], "--band"), band([2, 2, 2], [3, 3, 3], "--band-2")] });
      const text = await svg(view).text();
      document.documentElement.style.cssText = "";
      forgetColours();
      return text;
    }""")
    edges = re.findall(
        r'stroke="(#020202|#040404)"[^>]*?opacity="1"( stroke-dasharray="4 3")?/>', found
    )
    whole, broken = ("#020202", ""), ("#040404", ' stroke-dasharray="4 3"')
    # Two edges of the band, and two of the key in the legend.
    assert edges.count(broken) == 4
    assert edges.count(whole) == 4
    assert set(edges) == {whole, broken}
    assert all(fill in found for fill in ("#010101", "#030303"))


def test_at_the_pointer_stand_the_value_with_its_interval_the_line_and_the_place(page):
    """A plane of 1 nT a metre eastward with a standard error of 2 nT; north of it nothing."""
    found = page.evaluate("""async () => {
      const { MapView } = await import("/map.js");
      const { SvgPen } = await import("/svg-pen.js");
      const map = new MapView("map");
      document.body.append(map.element);
      Object.assign(map.element.style, { width: "500px", height: "400px" });
      Object.assign(map, { origin: { easting: 500000, northing: 7000000 }, tells: true });
      const place = { columns: 11, rows: 11, west: 0, south: 0, spacing: 10, unit: "nT" };
      const grid = (of) => ({ ...place, low: 0, high: 100, title: "Anomaly",
        values: Float32Array.from({ length: 121 }, (_, i) => of(10 * (i % 11), i)) });
      map.setMesh(grid((east, i) => (i < 88 ? east : NaN)), new Uint8Array(768));
      map.error = grid(() => 2);
      map.setWalks({ x: new Float32Array([50, 50, 50]), y: new Float32Array([0, 50, 100]),
        parts: [{ first: 0, end: 3, name: "L7", style: "--good" }] });
      map.resize();
      const told = (x, y, picture = false) => {
        const [px, py] = map.toPixels(x, y);
        map.pointer = { x: px, y: py };
        const pen = new SvgPen(500, 400);
        map.drawMarks(pen, picture);
        const root = new DOMParser().parseFromString(pen.text(), "text/xml");
        return [...root.querySelectorAll("text")].map((one) => one.textContent);
      };
      return [told(50, 50), told(80, 90), told(50, 50, true), told(1000, 30)];
    }""")
    on_line, blank, picture, outside = found
    assert on_line == ["50.00 ± 3.29\u00a0nT (90 %)", "L7", "500050.0 m E, 7000050.0 m N"]
    assert blank == ["no value here", "500080.0 m E, 7000090.0 m N"]
    assert picture == outside == []


def test_a_blank_in_the_map_is_told_with_its_lines_and_minutes_where_many_readings_are_lost(page):
    lost = [
        {"reason": "inside a gap of the base record", "readings": 20, "lines": ["L1", "L2"],
         "start_utc": "2026-03-10T13:17:01Z", "end_utc": "2026-03-10T13:38:59Z"},
        {"reason": "spike", "readings": 3, "lines": ["L1"],
         "start_utc": "2026-03-10T13:17:01Z", "end_utc": "2026-03-11T13:38:59Z"},
    ]  # fmt: skip
    many, few = page.evaluate(
        """async (lost) => {
          const { lostWords } = await import("/map-notes.js");
          return [lostWords(lost, 1000), lostWords(lost, 10000)];
        }""",
        lost,
    )
    assert many == (
        "Blank: no kept reading is near, so there is no value. Not kept: 20 readings of L1, L2, "
        "inside a gap of the base record, 2026-03-10 13:17 to 13:39 UTC."
    )
    assert few == ""


def test_on_paper_a_wide_drawing_is_drawn_as_wide_as_the_paper_and_comes_back(page):
    found = page.evaluate("""async () => {
      const { SeriesView } = await import("/series.js");
      const widths = [];
      for (const wide of [860, 500]) {
        const view = new SeriesView("strip", { yTitle: "Base [nT]" });
        document.body.append(view.element);
        Object.assign(view.element.style, { width: `${wide}px`, height: "150px" });
        view.set({ curves: [{ x: [0, 100], y: [1, 2], style: "--ink", name: "" }] });
        view.resize();
        let told = 0;
        view.onTake = () => (told = view.width);
        dispatchEvent(new Event("beforeprint"));
        widths.push(view.still.width / devicePixelRatio, told);
        dispatchEvent(new Event("afterprint"));
        widths.push(view.still.width / devicePixelRatio);
      }
      return widths;
    }""")
    assert found == [680, 680, 860, 500, 0, 500]


def test_words_where_nothing_is_drawn_are_set_in_lines_as_wide_as_the_frame(page):
    found = page.evaluate("""async () => {
      const { wrapped } = await import("/view.js");
      const wide = (text) => 10 * text.length;
      return wrapped(wide, "Choose a line on the map: its profile stands here.", 200);
    }""")
    assert found == ["Choose a line on the", "map: its profile", "stands here."]


def test_the_name_of_a_pictures_file_says_what_of_many_it_shows(page):
    with page.expect_download() as one:
        page.evaluate("""async () => {
          const { SeriesView } = await import("/series.js");
          const { pictureButtons } = await import("/pictures.js");
          const view = new SeriesView("profile", { yTitle: "nT", height: 150 });
          const buttons = pictureButtons(view, "profile");
          document.body.append(view.element, buttons);
          view.set({ curves: [{ x: [0, 100], y: [1, 2], style: "--ink", name: "" }] });
          view.resize();
          view.subject = "L14";
          buttons.querySelector("button:last-child").click();
        }""")
    assert one.value.suggested_filename == "profile-l14.svg"
