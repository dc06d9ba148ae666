"""What drawings and sentences of the pages say, by themselves in a real browser."""

import re

import numpy as np
import pytest

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
