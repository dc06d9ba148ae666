"""The drawing modules by themselves, in a real browser: what they compute, against closed forms."""

from xml.etree import ElementTree as ET

import numpy as np
import pytest
from shapely import LineString, Point


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
