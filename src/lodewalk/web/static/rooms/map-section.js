// The card of the cross-section: drawn on the map or typed, with its curve, its table and CSV.
import { fill, h, number } from "../elements.js";
import { field, form, input } from "../forms.js";
import { term } from "../help.js";
import { pictureButtons } from "../pictures.js";
import { along, near, placesIn } from "../section.js";
import { select, selected } from "../selection.js";
import { SeriesView } from "../series.js";
import { table } from "../tables.js";

/** @typedef {import("../linked.js").Linked} Linked */
/** @typedef {import("../mesh.js").Mesh} Mesh */

export class SectionCard {
  /** @param {Linked} linked @param {() => {mesh: Mesh|null, error: Mesh|null, readings: boolean}} shown */
  constructor(linked, shown) {
    this.linked = linked;
    this.shown = shown;
    this.view = new SeriesView("Cross-section", { xTitle: "Distance from A [m]", yTitle: "" });
    this.text = h("p", { role: "status" });
    this.figures = h("div", {});
    this.mode = h("button", { type: "button", "aria-pressed": "false", onclick: () => this.draws(!linked.map.draws) }, "Draw a line on the map");
    this.away = h("button", { type: "button", class: "quiet", onclick: () => {
      this.mode.focus();
      select({ section: null });
    } }, "Take it away");
    this.typed = this.fields();
    this.result = h("div", {}, h("div", { class: "section-curve" }, this.view.element), pictureButtons(this.view, "cross-section"),
      h("details", {}, h("summary", {}, "Values along the section"), this.figures));
    this.element = h("section", { class: "card section" }, h("h2", {}, term("cross-section", "Cross-section")),
      h("div", { class: "row" }, this.mode,
        h("button", { type: "button", onclick: () => this.alongLine() }, "Along the chosen line"),
        this.away),
      h("details", { class: "typed" }, h("summary", {}, "Type two places"), this.typed), this.text, this.result);
    linked.map.drawable = true;
    linked.map.onSection = (line, done) => this.drawn(line, done);
    this.view.onHover = (distance) => this.pointAt(distance);
  }

  fields() {
    const place = (/** @type {string} */ name, /** @type {string} */ label) => field(label, input(name, { type: "number", step: "any", required: true }), { unit: "m" });
    return form(async (values) => {
      const parts = ["east_a", "north_a", "east_b", "north_b"].map((name) => values[name]);
      if (placesIn(parts.join(",")) === null) throw plain("A section needs two different places: easting and northing of each.");
      select({ section: parts.join(",") });
    }, h("div", { class: "row" }, place("east_a", "A, easting"), place("north_a", "A, northing"), place("east_b", "B, easting"), place("north_b", "B, northing"), h("button", { type: "submit" }, "Show the section")));
  }

  /** @param {boolean} on */
  draws(on) {
    this.linked.map.drawing = on;
    this.mode.setAttribute("aria-pressed", String(on));
    if (on) this.linked.map.element.scrollIntoView({ block: "nearest" });
  }

  /** @param {[number, number, number, number]} line @param {boolean} done */
  drawn(line, done) {
    this.paint(line);
    if (!done) return;
    this.draws(false);
    const { easting, northing } = this.linked.origin;
    select({ section: [line[0] + easting, line[1] + northing, line[2] + easting, line[3] + northing].map((one) => one.toFixed(1)).join(",") });
  }

  /** From end to end of the chosen line. */
  alongLine() {
    const { walks } = this.linked.map;
    const own = (walks?.parts ?? []).find((part) => part.name === selected().line && part.end - part.first > 1);
    if (!walks || !own) {
      fill(this.text, "No line is chosen: choose one on the map first.");
      return;
    }
    const { easting, northing } = this.linked.origin;
    const at = (/** @type {number} */ place) => [walks.x[place] + easting, walks.y[place] + northing];
    select({ section: [...at(own.first), ...at(own.end - 1)].map((one) => one.toFixed(1)).join(",") });
  }

  /** Show what the address holds. */
  follow() {
    const places = placesIn(selected().section);
    const { easting, northing } = this.linked.origin;
    this.away.hidden = !places;
    this.linked.map.section = places ? [places[0] - easting, places[1] - northing, places[2] - easting, places[3] - northing] : null;
    this.linked.map.remark();
    ["east_a", "north_a", "east_b", "north_b"].forEach((name, i) => {
      const control = /** @type {HTMLInputElement} */ (this.typed.elements.namedItem(name));
      if (places && control !== document.activeElement) control.value = String(places[i]);
    });
    this.paint(this.linked.map.section);
  }

  /** @param {[number, number, number, number]|null} line */
  paint(line) {
    const { mesh, error, readings } = this.shown();
    this.line = line;
    this.result.hidden = !line || !mesh;
    if (!line || !mesh) {
      fill(this.text, "Drag with Shift on the map, or type two places: the grid's values stand here against distance, with their 90 % band.");
      return;
    }
    const samples = along(mesh, error, line);
    const { paths } = this.linked.map;
    const dots = readings && paths ? this.dots(near(paths, line, mesh.spacing)) : [];
    const names = mesh.title.toLowerCase();
    this.view.yTitle = `${mesh.title}${mesh.unit ? ` [${mesh.unit}]` : ""}`;
    this.view.heading = `Cross-section A to B: ${names}`;
    this.view.notes = () => this.linked.map.notes().filter((text) => /^Cross|^East/.test(text));
    this.view.set({
      curves: [
        { x: samples.map((one) => one.distance), y: samples.map((one) => one.value), style: "--curve-1", name: names },
        ...(dots.length ? [{ x: dots.map((one) => one.distance), y: dots.map((one) => one.value), style: "--curve-2", name: "readings", width: 0, dots: true }] : []),
      ],
      bands: error ? [{ x: samples.map((one) => one.distance), low: samples.map((one) => one.low), high: samples.map((one) => one.high), name: "90 % band" }] : [],
    });
    this.tell(mesh, error, samples, dots, readings);
  }

  /** @param {{place: number, distance: number, off: number}[]} found */
  dots(found) {
    const { anomaly_nT, kept } = this.linked.walked;
    return found.filter((one) => kept[one.place] && Number.isFinite(anomaly_nT[one.place])).map((one) => ({ ...one, value: anomaly_nT[one.place] }));
  }

  /** @param {Mesh} mesh @param {Mesh|null} error @param {import("../section.js").Sample[]} samples @param {{distance: number, off: number, value: number}[]} dots @param {boolean} readings */
  tell(mesh, error, samples, dots, readings) {
    const there = samples.filter((one) => Number.isFinite(one.value));
    const length = samples[samples.length - 1].distance;
    const [least, most] = there.reduce((ends, one) => [Math.min(ends[0], one.value), Math.max(ends[1], one.value)], [Infinity, -Infinity]);
    const sds = there.map((one) => one.sd).filter(Number.isFinite).sort((a, b) => a - b);
    const band = error ? ` Typical standard error ${number(sds[sds.length >> 1], 2, mesh.unit)}; the band holds 1.645 of it to each side.` : " No standard error is made for this grid, so there is no band.";
    const close = readings ? ` ${dots.length} kept readings lie within ${number(mesh.spacing, 1, "m")} of it.` : " Readings are anomalies, so they are not drawn beside this grid.";
    const text = there.length ? `A to B is ${number(length, 1, "m")} long. ${mesh.title} from ${number(least, 2)} to ${number(most, 2, mesh.unit)}.${band}${close}` : `A to B is ${number(length, 1, "m")} long and crosses no part of the grid.`;
    fill(this.text, text);
    this.view.label = `Cross-section. ${text}`;
    const { easting, northing } = this.linked.origin;
    const unit = mesh.unit;
    fill(this.figures, table({
      name: `Section of ${mesh.title}`,
      most: 200,
      columns: [
        { key: "distance_m", title: "Distance", unit: "m", digits: 1 }, { key: "easting_m", title: "Easting", unit: "m", digits: 1 }, { key: "northing_m", title: "Northing", unit: "m", digits: 1 },
        { key: "value", title: mesh.title, unit, digits: 2 }, ...(error ? [{ key: "standard_error", title: "Standard error", unit, digits: 2 }, { key: "low_90", title: "90 % from", unit, digits: 2 }, { key: "high_90", title: "to", unit, digits: 2 }] : []),
      ],
      rows: samples.map((one) => ({ distance_m: round(one.distance), easting_m: round(one.x + easting), northing_m: round(one.y + northing), value: round(one.value), standard_error: round(one.sd), low_90: round(one.low), high_90: round(one.high) })),
    }));
  }

  /** @param {number|null} distance */
  pointAt(distance) {
    const { map } = this.linked;
    const length = this.line ? Math.hypot(this.line[2] - this.line[0], this.line[3] - this.line[1]) : 0;
    const part = distance !== null && length ? distance / length : NaN;
    map.ghost = this.line && part >= 0 && part <= 1 ? { x: this.line[0] + part * (this.line[2] - this.line[0]), y: this.line[1] + part * (this.line[3] - this.line[1]) } : null;
    map.remark();
  }
}

/** @param {number} value */
function round(value) {
  return Number.isFinite(value) ? Math.round(value * 1000) / 1000 : null;
}

/** @param {string} text */
function plain(text) {
  return Object.assign(new Error(text), { problem: { text, rule: text, field: "east_a" } });
}
