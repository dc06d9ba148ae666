// Plan: the area is drawn, typed or read from a file; lines, effort and odds follow; then the plan is made.
import { get, send, upload } from "../api.js";
import { keepWho, signed } from "../decide.js";
import { dialog } from "../dialogs.js";
import { fill, h, number } from "../elements.js";
import { form } from "../forms.js";
import { Asker } from "../going/ask.js";
import { Corners } from "../going/corners.js";
import { Tried, chooser, clearTold, dial, tellBeside } from "../going/dials.js";
import { cautionsOf, effortOf, linesOf, paintMade, strokesOf } from "../going/plan-told.js";
import { changeTable, oddsBar, settingsNow, useThese } from "../going/use.js";
import { onChange } from "../live.js";
import { MapView } from "../map.js";
import { note, say, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";

const DIALS = [
  { name: "plan.line_spacing_m", label: "Line spacing", low: 2, high: 500, log: true, none: "chosen", word: "line spacing" },
  { name: "plan.line_azimuth_deg", label: "Azimuth of the lines", low: 0, high: 180, step: 1, none: "chosen", word: "azimuth" },
  { name: "plan.tie_spacing_m", label: "Tie line spacing", low: 10, high: 3000, log: true, none: "chosen", word: "tie line" },
  { name: "plan.shortest_line_m", label: "Shortest piece", low: 0, high: 200, step: 5 },
  { name: "plan.sensor_height_m", label: "Sensor height", low: 0.3, high: 10, step: 0.1, word: "sensor height" },
  { name: "effort.pace_m_s", label: "Pace on open ground", low: 0.2, high: 2, step: 0.05 },
  { name: "effort.rovers", label: "Rovers at a time", low: 1, high: 6, step: 1 },
  { name: "effort.hours_a_day", label: "Hours a day", low: 2, high: 12, step: 0.5 },
  { name: "effort.set_up_h", label: "Of these for set-up", low: 0, high: 5, step: 0.25 },
];

/** @param {HTMLElement} room */
export async function fillRoom(room) {
  const [settings, where, held, made] = await Promise.all([settingsNow(), get("place"), get("plan/outlines"), get("plan")]);
  const tried = new Tried(settings);
  const desk = new Desk(tried, where, held.outlines, made);
  fill(room, desk.element);
  desk.start();
  onChange(() => desk.refresh().catch(show));
}

class Desk {
  /** @param {Tried} tried @param {any} where @param {any[]} held @param {any} made */
  constructor(tried, where, held, made) {
    this.tried = tried;
    this.where = where;
    this.held = held;
    this.made = made;
    this.map = new MapView("Plan");
    this.map.crs = where.crs;
    this.corners = new Corners(() => this.again());
    this.dials = DIALS.map((wanted) => dial(tried, wanted));
    this.choosers = [chooser(tried, { name: "plan.purpose", label: "To detect or to map" }), chooser(tried, { name: "effort.terrain", label: "Walked through" })];
    this.panel = h("div", { class: "two", role: "group", ariaLabel: "Lines and effort" }, ...[...this.choosers, ...this.dials].map((part) => part.element));
    this.wrong = h("div", { class: "wrong" });
    this.odds = h("div", { role: "status" });
    this.effort = h("div", {});
    this.lines = h("div", {});
    this.files = h("div", {});
    this.read = h("p", { class: "readout" });
    this.element = this.layout();
    this.asker = new Asker(() => send("POST", "plan/sketch", this.form()), (found) => this.shown(found), () => send("POST", "plan/odds", this.form()),
      (found) => fill(this.odds, found.probability === null ? note("info", h("p", {}, found.text), h("p", {}, h("a", { href: "/site" }, "Go to room Site"))) : oddsBar(found), found.probability !== null && h("p", {}, found.text)),
      (error) => this.refused(error));
    tried.changed = () => this.again();
  }

  layout() {
    const { map, corners } = this;
    const file = /** @type {HTMLInputElement} */ (h("input", { type: "file", accept: ".gpx,.kml,.geojson,.json,.gpkg", ariaLabel: "Area from a file", hidden: true, onchange: () => this.take(file) }));
    const tools = h("div", { class: "row" },
      h("button", { type: "button", onclick: () => file.click() }, "Area from a file…"), file,
      h("button", { type: "button", onclick: () => corners.undo() }, "Undo"),
      h("button", { type: "button", onclick: () => corners.list.length && corners.set([]) }, "Clear"),
      h("button", { type: "button", onclick: () => this.useHeld() }, "The survey's area"),
      h("button", { type: "button", class: "quiet", onclick: () => this.fit() }, "Show all"), pictureButtons(map, "plan"));
    this.choosersOfMap();
    const left = h("div", {}, h("section", { class: "card map" }, h("h2", {}, "Area and lines"),
      h("p", { class: "hint" }, "Click on the map to add a corner; click a corner, then its new place, to move it. By keyboard: arrows move the cross-hair, Enter adds. Files: GPX, KML, GeoJSON, GeoPackage."),
      tools, map.element, this.read), h("section", { class: "card" }, h("h2", {}, "Corners"), corners.element),
    h("section", { class: "card" }, h("details", {}, h("summary", {}, "Lines as a table"), this.lines)));
    const right = h("div", {}, h("section", { class: "card" }, h("h2", {}, "What it comes to"), this.wrong, this.odds, this.effort,
      h("div", { class: "row" }, h("button", { type: "button", class: "primary", onclick: () => this.make() }, "Make the plan…"),
        h("button", { type: "button", onclick: () => useThese(this.tried, this.tried.changes(), () => this.paint()).catch((error) => tellBeside(this.panel, this.wrong, error)) }, "Use these settings…"),
        h("button", { type: "button", class: "quiet", onclick: () => {
          this.tried.clear();
          this.paint();
        } }, "Back to the survey's"))),
    h("section", { class: "card" }, h("h2", {}, "Lines and effort"), this.panel), h("section", { class: "card" }, h("h2", {}, "Files to take along"), this.files));
    return h("div", {}, h("div", { class: "plan" }, left, right), h("section", { class: "card" }, ...cautionsOf(this.made)));
  }

  choosersOfMap() {
    const { map, corners } = this;
    map.onChoose = ({ name, x, y }) => {
      const at = /** @type {[number, number]} */ ([x + map.origin.easting, y + map.origin.northing]);
      const index = name?.startsWith("corner ") ? Number(name.slice(7)) - 1 : -1;
      if (corners.chosen >= 0 && index < 0) return corners.move(corners.chosen, at);
      if (index >= 0) {
        corners.chosen = corners.chosen === index ? -1 : index;
        corners.say(corners.chosen < 0 ? "" : `Corner ${index + 1} is chosen: click its new place.`);
        return this.marks();
      }
      corners.add(at);
    };
    map.onHover = (at) => {
      this.read.textContent = at ? `${number(at.x + map.origin.easting, 1)} m E, ${number(at.y + map.origin.northing, 1)} m N` : "";
    };
  }

  start() {
    paintMade(this.files, this.made);
    this.useHeld(true);
  }

  /** Take the area that the survey holds. @param {boolean} [quiet] */
  useHeld(quiet = false) {
    const rings = this.held.filter((ring) => ring.role === "area");
    const list = rings.length === 1 ? rings[0].corners_m.slice(0, -1) : [];
    if (!rings.length && !quiet) return this.corners.say("The survey holds no area yet: draw one, or read a file.");
    this.corners.past = quiet ? [] : [...this.corners.past, this.corners.list];
    this.corners.set(list, true);
    if (rings.length > 1) this.corners.say(`The survey's area has ${rings.length} rings: it is planned as it is, and its corners aren't listed here. Draw or read another to take its place.`);
    this.fit();
  }

  async take(/** @type {HTMLInputElement} */ control) {
    const [file] = control.files ?? [];
    if (!file) return;
    const body = new FormData();
    body.append("file", file);
    try {
      const { outlines } = await upload("plan/outlines", body);
      if (outlines.length === 1) this.corners.set(outlines[0].corners_m.slice(0, -1));
      else await this.addWhole(file, outlines.length);
      this.fit();
    } catch (error) {
      show(error, this.wrong);
    } finally {
      control.value = "";
    }
  }

  /** An area of several polygons, or with holes, is added as it is. @param {File} file @param {number} count */
  async addWhole(file, count) {
    dialog("Add this area", (close) => form(async () => {
      const body = new FormData();
      body.append("file", file);
      body.append("role", "area");
      await upload("files", body);
      close();
      await this.refresh();
      this.useHeld();
    }, h("p", {}, `${file.name} has ${count} rings, polygons or holes. It can't be drawn over here, but it can be added to the survey as its area and planned as it is.`),
    h("div", { class: "row end" }, h("button", { type: "submit", class: "primary" }, "Add it"), h("button", { type: "button", onclick: close }, "Leave it"))));
  }

  form() {
    return { changes: this.tried.changes(), corners: this.corners.drawn ? this.corners.list : null };
  }

  again() {
    this.marks();
    if (this.lacksArea()) this.refused(null);
    else this.asker.ask();
  }

  /** Whether there is nothing yet to plan on. */
  lacksArea() {
    return this.corners.list.length < 3 && !this.held.some((ring) => ring.role === "area" && !this.corners.drawn);
  }

  paint() {
    for (const part of [...this.choosers, ...this.dials]) part.paint();
  }

  marks() {
    const { map, corners } = this;
    if (!map.origin.easting) this.place();
    map.points = corners.list.map(([east, north], i) => ({ x: east - map.origin.easting, y: north - map.origin.northing, shape: /** @type {"square"} */ ("square"), style: i === corners.chosen ? "--mark" : "--ink", label: String(i + 1), name: `corner ${i + 1}`, size: 6 }));
    map.strokes = map.strokes.filter((stroke) => stroke.name !== "drawn");
    if (corners.list.length > 1) {
      const ring = [...corners.list, corners.list[0]];
      map.strokes = [...map.strokes, { name: "drawn", x: ring.map(([east]) => east - map.origin.easting), y: ring.map(([, north]) => north - map.origin.northing), style: "--ink", width: 2 }];
    }
    map.repaint();
  }

  /** Local metres begin at the first place that is known. */
  place() {
    const [east, north] = this.corners.list[0] ?? this.held[0]?.corners_m[0] ?? [this.where.easting_m ?? 500000, this.where.northing_m ?? 0];
    this.map.origin = { easting: Math.round(east / 100) * 100, northing: Math.round(north / 100) * 100 };
  }

  fit() {
    const { map } = this;
    if (!map.origin.easting) this.place();
    this.marks();
    if (map.extent()) return map.fit();
    const x = (this.where.easting_m ?? map.origin.easting) - map.origin.easting;
    const y = (this.where.northing_m ?? map.origin.northing) - map.origin.northing;
    map.look(0.5, { x, y });
  }

  /** @param {any} found */
  shown(found) {
    clearTold(this.panel, this.wrong);
    this.map.strokes = strokesOf(found, this.map.origin);
    this.marks();
    this.map.label = `Plan: ${found.lines} lines each ${number(found.spacing_m, 1)} m at azimuth ${number(found.azimuth_deg, 0)} degrees and ${found.ties} tie lines over ${number(found.area_m2 / 1e4, 1)} hectares. Arrows move the cross-hair, Enter adds a corner.`;
    this.map.heading = "Plan";
    this.dials[0].told(found.spacing_m);
    this.dials[1].told(found.azimuth_deg);
    this.dials[2].told(found.tie_spacing_m);
    fill(this.effort, ...effortOf(found));
    fill(this.lines, linesOf(found));
    if (!this.odds.querySelector(".odds")) fill(this.odds, h("p", { class: "waiting" }, "Reckoning the odds…"));
  }

  /** @param {unknown} error */
  refused(error) {
    fill(this.odds);
    fill(this.effort);
    fill(this.lines);
    this.map.strokes = strokesOf({ outlines: this.held.filter((ring) => ring.role !== "area") }, this.map.origin);
    this.marks();
    if (this.lacksArea()) {
      clearTold(this.panel, this.wrong);
      fill(this.wrong, note("info", h("p", {}, h("strong", {}, "First the area. "), `Click its corners on the map, type them below, or read a file. ${this.corners.list.length} of at least 3 corners.`),
        this.where.latitude_deg === null && h("p", {}, "Nothing tells where the survey is: type the first corner, or ", h("a", { href: "/site" }, "give the place in room Site"), ".")));
      return;
    }
    tellBeside(this.panel, this.wrong, error);
  }

  /** Make the plan: settings first, then its files; nothing unseen. */
  make() {
    const changes = this.tried.changes();
    const inWay = this.made.walked || this.made.by_hand.length > 0;
    const box = (/** @type {string} */ name, /** @type {string} */ text) => h("label", { class: "check" }, h("input", { type: "checkbox", name }), ` ${text}`);
    dialog("Make the plan", (close) => form(async (values) => {
      if (Object.keys(changes).length) {
        this.tried.take(await send("PATCH", "settings", { changes, reason: values.reason, who: values.who }));
        keepWho(values.who);
      }
      this.tried.values.clear();
      this.paint();
      await send("POST", "plan", { corners: this.corners.drawn ? this.corners.list : null, draft: Boolean(values.draft), replaces: Boolean(values.replaces) });
      close();
      say("info", "The plan is being made; its files stand here when it is done.");
    },
    Object.keys(changes).length > 0 && h("div", {}, h("p", {}, "These settings are written first:"), changeTable(this.tried, changes), ...signed("for the plan")),
    this.corners.drawn && h("p", {}, "The drawn area becomes the survey's; one that was there is set aside and kept."),
    h("p", {}, "The plan's lines become the lines of the survey, and files for handheld and paper are written. Odds and better lines are reckoned, which takes up to some minutes."),
    inWay && note("doubt", h("p", {}, "Rover files, or a plan added by hand, are in the survey already: under a new plan their lines may get other names.")),
    h("div", { class: "field", data: { for: "replaces" } }, box("replaces", "Let it take the place of the plan that is there")),
    h("div", { class: "field", data: { for: "draft" } }, box("draft", "As a draft only: write it aside, don't adopt it")),
    h("div", { class: "row end" }, h("button", { type: "submit", class: "primary" }, "Make it"), h("button", { type: "button", onclick: close }, "Leave it"))), { wide: true });
  }

  async refresh() {
    const [settings, where, held, made] = await Promise.all([settingsNow(), get("place"), get("plan/outlines"), get("plan")]);
    this.tried.take(settings);
    Object.assign(this, { where, held: held.outlines, made });
    paintMade(this.files, made);
    this.paint();
    if (!this.element.querySelector(".corner-table")?.contains(document.activeElement)) this.again();
  }
}
