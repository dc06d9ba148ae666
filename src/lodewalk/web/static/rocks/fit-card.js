// A fit on demand: a piece of a line by its profile, two points of the map, or a spot; nothing is kept.
import { fill, h, number } from "../elements.js";
import { choice, field, form, input } from "../forms.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { placesIn } from "../section.js";
import { byName } from "../tables.js";
import { select, selected } from "../selection.js";
import { asked } from "./asking.js";
import { interval, unsure } from "./words.js";

/** @typedef {import("../linked.js").Linked} Linked */

const KINDS = /** @type {[string, string][]} */ ([["", "most probable"], ...["thin sheet", "dyke", "contact", "step", "cylinder", "sphere"].map((one) => [one, one])]);
const ENDS = ["from_easting_m", "from_northing_m", "to_easting_m", "to_northing_m"];

export class FitCard {
  /** @param {Linked} linked @param {{shown: (title: string, section: any, ...more: import("../elements.js").Child[]) => void, add: (where: import("./decided.js").Where) => void, changed: () => void}} ways */
  constructor(linked, ways) {
    this.linked = linked;
    this.ways = ways;
    /** Points taken from the map so far; null when none is wanted. @type {[number, number][]|null} */
    this.taking = null;
    this.told = h("div", { role: "status", tabIndex: -1 });
    this.along = this.alongForm();
    this.between = this.betweenForm();
    this.spot = this.spotForm();
    this.addHere = h("div", { class: "row" });
    const part = (/** @type {string} */ title, /** @type {boolean} */ open, /** @type {HTMLElement[]} */ ...inside) => h("details", { open }, h("summary", {}, title), ...inside);
    this.element = h("section", { class: "card rocks-fit", data: { tells: "fit" }, ariaLabel: "A fit of your own" }, h("h2", {}, "A ", term("fit", "fit"), " of your own"),
      h("p", { class: "hint" }, "Nothing is kept. Facts from elsewhere, such as a depth in a well, count at picks alone: to use one, add a pick there."),
      part("Along a line", true, linked.profileBox, linked.spanBar, this.addHere, this.along), part("Between two points of the map", Boolean(selected().section), this.between), part("Around a spot, for a compact body", false, this.spot), this.told);
    this.listen();
  }

  listen() {
    const { linked } = this;
    linked.map.drawable = true;
    linked.map.onSection = (line, done) => done && this.drawn(line);
    linked.onDistances = (span) => span && this.put(this.along, { line: linked.line.about.line, from_m: span[0].toFixed(1), to_m: span[1].toFixed(1) });
    linked.map.element.addEventListener("keydown", (event) => event.key === "Escape" && this.take(false));
    this.along.addEventListener("change", (event) => /** @type {HTMLSelectElement} */ (event.target).name === "line" && select({ line: /** @type {HTMLSelectElement} */ (event.target).value, reading: null, from: null, to: null }));
    this.spot.addEventListener("input", () => this.ways.changed());
  }

  /** Show what the address holds. */
  follow() {
    const now = selected();
    const { easting, northing } = this.linked.origin;
    const places = placesIn(now.section);
    this.linked.map.section = places ? [places[0] - easting, places[1] - northing, places[2] - easting, places[3] - northing] : null;
    if (places) this.put(this.between, Object.fromEntries(ENDS.map((name, i) => [name, places[i]])));
    const spot = (now.spot ?? "").split(",").map(Number);
    const here = spot.length === 2 && spot.every(Number.isFinite);
    this.linked.map.spotted = here ? { x: spot[0] - easting, y: spot[1] - northing } : null;
    if (here) this.put(this.spot, { easting_m: spot[0], northing_m: spot[1] });
    if (now.line) this.put(this.along, { line: now.line });
    this.linked.map.remark();
    this.offerPick();
  }

  /** A pick at the reading that was chosen on the profile. */
  offerPick() {
    const { reading, line } = selected();
    const place = this.linked.placeOf(reading);
    fill(this.addHere, reading && h("button", { type: "button", onclick: () => this.ways.add({ reading }) }, place < 0 ? "Add a pick at the chosen reading…" : `Add a pick at ${number(this.linked.line.columns.distance_m[place], 1, "m")} on ${line}…`));
  }

  /** What has the focus keeps what is being typed. @param {HTMLFormElement} where @param {Record<string, any>} values */
  put(where, values) {
    for (const [name, value] of Object.entries(values)) {
      const control = /** @type {HTMLInputElement} */ (where.elements.namedItem(name));
      if (control && control !== document.activeElement) control.value = String(value);
    }
  }

  alongForm() {
    const lines = [...new Set(this.linked.passages.map((one) => one.line))].sort(byName);
    return form(async (values) => {
      const found = await asked("along", values, this.told);
      if (found) this.tell(`Fit on ${values.line}, ${values.from_m} to ${values.to_m} m`, found, `${found.told.readings} readings of ${values.line}`);
    }, h("div", { class: "rocks-fields" }, field("Line", choice("line", [["", "choose…"], ...lines], { value: selected().line ?? "", required: true })), one("From", "from_m", "m along"), one("To", "to_m", "m along"), ...usual()), run("Fit along the line"));
  }

  betweenForm() {
    this.mode = h("button", { type: "button", "aria-pressed": "false", onclick: () => this.take(this.taking === null) }, "Take both points from the map");
    this.modeTold = h("span", { class: "hint", role: "status" }, "Or drag with Shift on the map, or type them.");
    return form(async (values) => {
      select({ section: ENDS.map((name) => values[name]).join(",") }, { replace: true });
      const found = await asked("between", values, this.told);
      if (found) this.tell("Fit between two points", found, `${found.told.nodes} nodes of the grid`, found.told.rests_on);
    }, h("div", { class: "row" }, this.mode, this.modeTold),
    h("div", { class: "rocks-fields" }, one("From easting", "from_easting_m", "m"), one("From northing", "from_northing_m", "m"), one("To easting", "to_easting_m", "m"), one("To northing", "to_northing_m", "m"), ...usual()), run("Fit between the points"));
  }

  spotForm() {
    return form(async (values) => {
      const found = await asked("spot", values, this.told);
      if (found) fill(this.told, note("good", compactWords(found), " ", h("button", { type: "button", onclick: () => this.ways.add({ easting_m: found.easting_m.value, northing_m: found.northing_m.value }) }, "Keep this place as a pick…")));
    }, h("p", { class: "hint" }, "A place chosen on the map stands here; the square of its reach is drawn there. A ", term("compact body", "compact body"), " is told by its centre."),
    h("div", { class: "rocks-fields" }, one("Easting", "easting_m", "m"), one("Northing", "northing_m", "m"), one("Reach, 3 depths", "reach_m", "m")), run("Fit around the spot"));
  }

  /** @param {string} title @param {any} found @param {string} upon @param {string} [rests] */
  tell(title, found, upon, rests = "") {
    const { body } = found.told;
    const words = `${body.kind}${unsure(body) && ` (${unsure(body)})`}, top ${interval(body, "depth", "m")} m below ground, 90 %, from ${upon}.`;
    fill(this.told, note("good", `Fitted: ${words} The section shows it.`));
    this.ways.shown(title, found.section, note("info", `A fit of your own: ${words} ${rests} Nothing is kept. `, h("button", { type: "button", onclick: () => this.ways.add({ easting_m: round(body.easting_m), northing_m: round(body.northing_m) }) }, "Keep this place as a pick…")));
  }

  /** Two clicks, or two times Enter at the cross-hair, are the points. @param {boolean} on */
  take(on) {
    if (!on && this.taking === null) return;
    this.taking = on ? [] : null;
    this.mode?.setAttribute("aria-pressed", String(on));
    if (this.modeTold) fill(this.modeTold, on ? "Choose the first point on the map, by a click or by Enter at the cross-hair; Escape ends it." : "Or drag with Shift on the map, or type them.");
    if (!on) return;
    this.linked.map.element.scrollIntoView({ block: "nearest" });
    this.linked.map.element.focus({ preventScroll: true });
  }

  /** Whether a choice on the map was one of the points. @param {number} x @param {number} y */
  takes(x, y) {
    if (this.taking === null) return false;
    this.taking.push([x, y]);
    if (this.taking.length === 1) {
      this.linked.map.spotted = { x, y };
      this.linked.map.remark();
      if (this.modeTold) fill(this.modeTold, "Now the second point.");
      return true;
    }
    const [a, b] = this.taking;
    this.take(false);
    this.drawn([...a, ...b]);
    return true;
  }

  /** @param {[number, number, number, number]} line metres from the origin */
  drawn(line) {
    const { easting, northing } = this.linked.origin;
    /** @type {HTMLDetailsElement} */ (this.between.closest("details")).open = true;
    select({ section: line.map((value, i) => (value + (i % 2 ? northing : easting)).toFixed(1)).join(",") });
    this.follow();
    this.between.scrollIntoView({ block: "nearest" });
  }

  /** The square of the spot that is asked for. @returns {[number, number, number]|null} */
  reach() {
    const [easting, northing, half] = ["easting_m", "northing_m", "reach_m"].map((name) => /** @type {HTMLInputElement} */ (this.spot.elements.namedItem(name)).valueAsNumber);
    return half > 0 && Number.isFinite(easting) && Number.isFinite(northing) ? [easting, northing, half] : null;
  }
}

/** @param {string} label @param {string} name @param {string} unit */
function one(label, name, unit) {
  return field(label, input(name, { type: "number", step: "any", required: true }), { unit });
}

/** What every fit of a long body may be told. */
function usual() {
  return [field("Kind", choice("kind", KINDS)), field("Strike", input("strike_deg", { type: "number", step: "any", placeholder: "across" }), { unit: "deg" })];
}

/** @param {string} words */
function run(words) {
  return h("button", { type: "submit", class: "primary" }, words);
}

/** @param {number} value */
function round(value) {
  return Math.round(10 * value) / 10;
}

/** @param {any} found */
function compactWords(found) {
  const told = (/** @type {any} */ one, /** @type {number} */ digits) => `${number(one.value, digits)} (${number(one.low, digits)} to ${number(one.high, digits)})`;
  const way = found.direction_problem || `Magnetised towards inclination ${number(found.inclination_deg, 0)}°, declination ${number(found.declination_deg, 0)}° from true north, within ${number(found.cone_deg, 0)}°.`;
  return `Compact body from ${found.readings} readings: centre ${told(found.depth_m, 1)} m below ground, at ${told(found.easting_m, 1)} m E, ${told(found.northing_m, 1)} m N; moment ${told(found.moment_A_m2, 0)} A m². ${way} Misfit ${number(found.misfit, 2)}, 1 is all noise. Intervals are 90 %.`;
}
