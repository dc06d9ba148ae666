// Map: a grid with its error, relief and contours, layers upon it, and what there is at any place.
import { Latest, columns, get } from "../api.js";
import { fill, h, number } from "../elements.js";
import { USUAL, legendOf } from "../legend.js";
import { Linked } from "../linked.js";
import { onChange } from "../live.js";
import { MapView } from "../map.js";
import { keyOf } from "../map-notes.js";
import { blocks, ordered, percentile } from "../mesh.js";
import { note, show } from "../notices.js";
import { digitsOf, pictureButtons } from "../pictures.js";
import { withoutGrid } from "../no-grid.js";
import { ERROR_COLOURS } from "../colours.js";
import { onSelect, select, selected } from "../selection.js";
import { decimalsOfMultiples } from "../ticks.js";
import { table } from "../tables.js";
import { HereCard } from "./map-here.js";
import { LookCard, lookNow, setLook, usualInterval } from "./map-look.js";
import { SectionCard } from "./map-section.js";

const MOST_ROWS = 2000;

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const [{ grids }, survey] = await Promise.all([get("grids"), get("survey")]);
  if (grids.length && survey.products.includes("readings")) return new MapRoom(place, grids).open(); // a check alone makes grids of its own
  await withoutGrid(place, { lacks: "There is no grid yet.", makes: "A run makes the map." });
  onChange(() => fillRoom(place).catch((error) => show(error, place)));
}

class MapRoom {
  /** @param {HTMLElement} place @param {any[]} grids */
  constructor(place, grids) {
    this.linked = new Linked();
    this.look = new LookCard(grids);
    this.beside = new MapView("Standard error");
    this.beside.tells = true;
    this.latest = { contours: new Latest(), error: new Latest() };
    /** @type {import("../mesh.js").Mesh|null} */
    this.mesh = null;
    /** @type {import("../mesh.js").Mesh|null} */
    this.error = null;
    /** @type {any} */
    this.layers = null;
    this.legend = h("div", { class: "legend" });
    this.legendBeside = h("div", { class: "legend" });
    this.key = h("div", {});
    this.told = h("p", { class: "hint", role: "status" });
    this.stale = h("div", { class: "stale", role: "status", hidden: true });
    this.figures = h("details", {}, h("summary", {}, "The grid as a table"));
    this.readings = h("details", { class: "card readings" }, h("summary", {}, "Readings of the chosen line as a table"));
    this.here = new HereCard(this.linked, () => ({ mesh: this.mesh, error: this.error }), () => this.layers);
    this.section = new SectionCard(this.linked, () => ({ mesh: this.mesh, error: this.error, readings: this.look.grid().name === "total_field_anomaly" }));
    this.arrange(place);
    this.ways();
  }

  /** @param {HTMLElement} place */
  arrange(place) {
    const { linked } = this;
    this.second = h("div", { class: "second" }, this.legendBeside, this.beside.element);
    this.maps = h("div", { class: "maps" }, h("div", {}, this.legend, linked.map.element), this.second);
    fill(place,
      h("div", { class: "map-room" },
        this.stale,
        h("section", { class: "card strip", ariaLabel: "Base record" }, linked.stripBox, h("div", { class: "row foot" }, linked.spanBar, pictureButtons(linked.strip, "base record"))),
        h("section", { class: "card chart", ariaLabel: "Map" }, this.look.element, this.maps, h("div", { class: "row foot" }, this.look.knobs, linked.readout, pictureButtons(linked.map, "map")), this.told, this.key, this.look.about, this.figures),
        h("div", { class: "column" },
          h("section", { class: "card curve", ariaLabel: "Profile" }, linked.profileBox, pictureButtons(linked.profile, "profile")),
          this.here.element),
        this.section.element,
        this.readings,
        h("div", { class: "safety" }, note("doubt", h("strong", {}, "Not a clearance for explosives or for buried services. "), "A magnetic map finds iron only, not plastic or copper; metal above ground masks or imitates what is buried. Clearance is done by licensed specialists under national rules: have services located before anyone digs. Local codes and licensed practice come first."))));
  }

  ways() {
    const { map } = this.linked;
    map.onChoose = ({ name, place, x, y }) => {
      const spot = [x + this.linked.origin.easting, y + this.linked.origin.northing].map((one) => one.toFixed(1)).join(",");
      if (name !== null && place >= 0) this.linked.chooseOnMap(name, place, { spot }).catch(show);
      else select({ spot, ...(name !== null ? { pick: name } : {}) });
    };
    for (const [moved, other] of [[map, this.beside], [this.beside, map]]) {
      moved.onMove = () => {
        other.fitted = moved.fitted;
        other.look(moved.scale, moved.middle, true);
      };
    }
    this.beside.onHover = (at) => this.linked.tellPlace(at && { ...at, value: map.valueAt(at.x, at.y) }, at && this.beside.mesh ? this.beside : null);
    this.beside.onChoose = (found) => map.onChoose({ ...found, name: null, place: -1 });
    this.look.onPercent = (low, high) => this.stretch(low, high);
    this.readings.addEventListener("toggle", () => this.tellReadings());
    this.figures.addEventListener("toggle", () => this.tellGrid());
    onSelect((now, changed) => this.follow(now, changed).catch(show));
    onChange(() => this.refresh().catch(show));
  }

  async open() {
    await Promise.all([this.linked.load().then(() => this.showGrid()), this.linked.showBase()]);
    await this.showLayers();
    this.section.follow();
    await Promise.all([this.here.follow(), this.tellStale()]);
    this.tellReadings();
  }

  /** Say so where the map is older than files, settings or decisions. */
  async tellStale() {
    const { steps } = await get("run/pending", { to: "transforms" });
    /** @type {HTMLElement} */ (this.stale).hidden = steps.length === 0;
    fill(this.stale, steps.length > 0 && note("doubt", "Not up to date: files, settings or decisions have changed since this map was made. Press Run above, then look again."));
  }

  async refresh() {
    const { grids } = await get("grids");
    if (!grids.length) return location.reload();
    const { scale, middle, fitted } = this.linked.map;
    this.look.grids = grids;
    this.look.paint();
    this.layers = null;
    await this.open();
    if (!fitted) this.linked.map.look(scale, middle);
  }

  /** @param {import("../selection.js").Selection} now @param {Set<string>} changed */
  async follow(now, changed) {
    if (changed.has("grid") || changed.has("look")) {
      this.look.paint();
      await this.showGrid();
    }
    if (changed.has("look")) await this.showLayers();
    if (changed.has("section")) this.section.follow();
    if (changed.has("line") && now.line) setTimeout(() => this.tellReadings(), 300);
    // The profile comes first where a line was chosen: what is told of the place can wait that long.
    if (changed.has("line")) await new Promise((done) => setTimeout(done, 80));
    await this.here.follow(changed);
  }

  async showGrid() {
    const look = lookNow();
    const grid = this.look.grid();
    this.linked.map.error = null;
    const mesh = await this.linked.showGrid(grid.name, { low: look.low, high: look.high, sun: look.shade ? { azimuth: look.sun, strength: 0.75 } : null });
    if (!mesh) return;
    this.mesh = mesh;
    this.error = this.linked.map.error = grid.error_grid ? await this.linked.fetchMesh(grid.error_grid) : null;
    this.look.tell(mesh);
    fill(this.legend, ...legendOf(mesh, look.low === null && look.high === null ? USUAL : "chosen limits", { interval: look.contours ? look.interval ?? usualInterval(mesh.low, mesh.high) : null }));
    this.linked.map.showWalks({ walks: look.lines, verdicts: look.verdicts });
    fill(this.key, ...keyOf(this.linked.map));
    this.showError(look);
    this.section.paint(this.linked.map.section);
    await this.showContours(look, grid.name, mesh);
    this.tellGrid();
  }

  /** @param {import("./map-look.js").Look} look */
  showError(look) {
    const { map } = this.linked;
    const error = this.error;
    const beside = look.sd === "beside" && error !== null;
    this.second?.toggleAttribute("hidden", !beside);
    this.maps?.classList.toggle("two", beside);
    map.setVeil(null);
    let text = "";
    if (look.sd !== "none" && this.look.grid().group === "standard errors") text = "This grid is a standard error itself.";
    else if (look.sd !== "none" && !error) text = "No standard error is made for this grid: its errors can't be carried on by a rule that holds.";
    else if (error && look.sd === "veil") {
      const limit = look.veil ?? Number(percentile(ordered(error.values), 80).toPrecision(2));
      map.setVeil(error, limit);
      const known = ordered(error.values);
      const above = known.reduce((count, value) => count + Number(value > limit), 0);
      text = `Veiled where the standard error is above ${number(limit, 2, error.unit)}: ${number((100 * above) / known.length, 0)} % of the map.`;
    } else if (error && beside) {
      Object.assign(this.beside, { origin: map.origin, crs: map.crs, heading: error.title });
      this.beside.label = `Map of ${error.title}, ${number(error.low, 2)} to ${number(error.high, 2, error.unit)}, moving with the map beside it`;
      this.beside.setMesh(error, ERROR_COLOURS);
      this.beside.look(map.scale, map.middle, true);
      fill(this.legendBeside, ...legendOf(error));
    }
    this.told.textContent = text;
  }

  /** @param {import("./map-look.js").Look} look @param {string} name @param {import("../mesh.js").Mesh} mesh */
  async showContours(look, name, mesh) {
    const { map } = this.linked;
    if (!look.contours) return map.setContours(null);
    const interval = look.interval ?? usualInterval(mesh.low, mesh.high);
    try {
      const found = await this.latest.contours.take((signal) => columns(`grids/${encodeURIComponent(name)}/contours`, { interval, least: 4 * mesh.spacing }, signal));
      if (!found) return;
      const own = found.columns;
      map.setContours({
        x: Float32Array.from(own.east_m, (east) => east + mesh.west), y: Float32Array.from(own.north_m, (north) => north + mesh.south),
        starts: /** @type {Int32Array} */ (own.starts), levels: /** @type {Float64Array} */ (own.levels), interval, unit: mesh.unit, digits: decimalsOfMultiples(interval),
      });
    } catch (error) {
      map.setContours(null);
      show(error);
    }
  }

  /** @param {number} low @param {number} high percentiles */
  stretch(low, high) {
    if (!this.mesh) return;
    const known = ordered(this.mesh.values);
    const usual = low === 1 && high === 99;
    setLook(usual ? { low: null, high: null } : { low: Number(percentile(known, low).toPrecision(4)), high: Number(percentile(known, high).toPrecision(4)) });
  }

  async showLayers() {
    const look = lookNow();
    const { map, origin } = this.linked;
    if (!this.layers && (look.lineaments || look.picks || look.bodies || selected().pick)) this.layers = await get("layers");
    const { lineaments, picks, bodies } = this.layers ?? { lineaments: [], picks: [], bodies: [] };
    map.strokes = look.lineaments ? lineaments.map((/** @type {any} */ one) => ({ x: one.eastings_m.map((/** @type {number} */ x) => x - origin.easting), y: one.northings_m.map((/** @type {number} */ y) => y - origin.northing), style: "--mark", width: 2.5, dash: [8, 4], label: one.lineament })) : [];
    const at = (/** @type {any} */ one) => ({ x: one.easting_m - origin.easting, y: one.northing_m - origin.northing });
    map.points = [
      ...(look.picks ? picks.map((/** @type {any} */ one) => ({ ...at(one), shape: "diamond", style: one.problem ? "--dim" : "--curve-3", name: one.pick, size: 4, width: 1.5 })) : []),
      ...(look.bodies ? bodies.map((/** @type {any} */ one) => ({ ...at(one), shape: "square", style: "--bad", name: one.body, size: 5, width: 1.5 })) : []),
    ];
    map.repaint();
    const asked = [look.lineaments && `${lineaments.length} lineaments`, look.picks && `${picks.length} picks (diamonds)`, look.bodies && `${bodies.length} bodies (squares)`].filter(Boolean);
    if (asked.length) this.told.textContent = `${this.told.textContent ?? ""} Layers: ${asked.join(", ")}.`.trim();
  }

  /** The grid in figures, for those who don't see it. */
  tellGrid() {
    if (!(/** @type {HTMLDetailsElement} */ (this.figures).open) || !this.mesh) return;
    const { mesh } = this;
    const { easting, northing } = this.linked.origin;
    const known = ordered(mesh.values);
    const digits = digitsOf(mesh.high - mesh.low);
    const [first, ...rest] = [5, 25, 50, 75, 95].map((percent) => `${percent} %: ${number(percentile(known, percent), digits)}`);
    fill(this.figures, h("summary", {}, "The grid as a table"),
      h("p", {}, `${mesh.title}: ${mesh.columns} by ${mesh.rows} nodes ${number(mesh.spacing, 2, "m")} apart, ${known.length} with a value, from ${number(known[0], digits)} to ${number(known[known.length - 1], digits, mesh.unit)}. Percentiles: ${[first, ...rest].join(", ")}.`),
      table({
        name: `Blocks of ${mesh.title}`,
        columns: [{ key: "easting_m", title: "Easting", unit: "m", digits: 0 }, { key: "northing_m", title: "Northing", unit: "m", digits: 0 }, { key: "mean", title: "Mean", unit: mesh.unit, digits }, { key: "least", title: "Least", unit: mesh.unit, digits }, { key: "most", title: "Most", unit: mesh.unit, digits }, { key: "nodes", title: "Nodes", digits: 0 }],
        rows: blocks(mesh, 8).map(({ x, y, ...more }) => ({ easting_m: x + easting, northing_m: y + northing, ...more })),
        choose: (row) => select({ spot: `${row.easting_m.toFixed(1)},${row.northing_m.toFixed(1)}` }),
      }));
  }

  tellReadings() {
    const line = this.linked.line;
    if (!(/** @type {HTMLDetailsElement} */ (this.readings).open)) return;
    const summary = h("summary", {}, "Readings of the chosen line as a table");
    if (!line) return fill(this.readings, summary, h("p", { class: "dim" }, "No line is chosen: choose one on the map."));
    const { about, columns: own } = line;
    fill(this.readings, summary, table({
      name: `Readings of ${about.line}`,
      most: MOST_ROWS,
      columns: [
        { key: "reading", title: "Reading" }, { key: "time_utc", title: "UTC" }, { key: "distance_m", title: "Distance", unit: "m", digits: 1 }, { key: "easting_m", title: "Easting", unit: "m", digits: 1 }, { key: "northing_m", title: "Northing", unit: "m", digits: 1 },
        { key: "raw_nT", title: "Total field", unit: "nT", digits: 2 }, { key: "diurnal_nT", title: "Diurnal", unit: "nT", digits: 2 }, { key: "anomaly_nT", title: "Anomaly", unit: "nT", digits: 2 }, { key: "sd_nT", title: "Standard error", unit: "nT", digits: 2 }, { key: "kept", title: "Kept" },
      ],
      rows: about.readings.map((/** @type {string} */ reading, /** @type {number} */ i) => ({
        reading, time_utc: Number.isFinite(own.time_s[i]) ? new Date(own.time_s[i] * 1000).toISOString() : null, distance_m: known(own.distance_m[i]), easting_m: known(own.easting_m[i]), northing_m: known(own.northing_m[i]),
        raw_nT: known(own.raw_nT[i] + about.datum_nT), diurnal_nT: known(own.diurnal_nT[i]), anomaly_nT: known(own.anomaly_nT[i]), sd_nT: known(own.sd_nT[i]), kept: own.kept[i] ? "yes" : `no: ${about.reasons[own.reason[i]] ?? "no reason told"}`,
      })),
      chosen: (row) => row.reading === selected().reading,
      choose: (row) => this.linked.chooseReading(about.readings.indexOf(row.reading)),
    }));
  }
}

/** @param {number} value */
function known(value) {
  return Number.isFinite(value) ? Math.round(value * 1000) / 1000 : null;
}
