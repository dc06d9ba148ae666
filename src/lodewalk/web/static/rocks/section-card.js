// A pick or a fit: profile with curve and residuals, the ground below on the same axis, kinds compared, numbers.
import { fill, h, number } from "../elements.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { SeriesView } from "../series.js";
import { table } from "../tables.js";
import { SectionView } from "./section-view.js";
import { dip, interval, width } from "./words.js";

export class SectionCard {
  constructor() {
    this.field = new SeriesView("Profile across the strike", { xTitle: "Distance across the strike [m]", yTitle: "Anomaly [nT]", height: 220 });
    this.rest = new SeriesView("Residuals", { yTitle: "Residual [total sd]", height: 110 });
    this.ground = new SectionView();
    this.head = h("h2", {}, "Section");
    this.about = h("div", {});
    this.figures = h("div", { class: "rocks-figures" });
    this.views = h("div", { hidden: true }, this.field.element, this.rest.element, this.ground.element,
      h("div", { class: "row" }, pictureButtons(this.field, "profile"), pictureButtons(this.ground, "section")));
    this.element = h("section", { class: "card", ariaLabel: "Section" }, this.head, this.about, this.views, this.figures);
    this.field.onMove = (shown) => this.follow(shown);
    this.rest.onMove = (shown) => this.field.show(shown);
    this.ground.onWay = (way, by, at) => (way === "pan" ? this.field.pan(by) : way === "zoom" ? this.field.zoom(by, at) : this.field.fit());
  }

  /** @param {[number, number]} shown */
  follow(shown) {
    this.rest.shown = [...shown];
    this.rest.repaint();
    this.ground.shown = [...shown];
    this.ground.tall();
    this.ground.repaint();
  }

  /** @param {string} title @param {any} found @param {any} [depth] the calibrated answer @param {...import("../elements.js").Child} more */
  show(title, found, depth = null, ...more) {
    fill(this.head, title);
    const { body, distance_m: x } = found;
    this.views.hidden = x.length < 2;
    if (x.length > 1) this.draw(title, found);
    fill(this.about, found.problem && note("doubt", found.problem), ...more);
    fill(this.figures, body && numbers(body, depth, found.strike_sd_deg), found.kinds.length > 0 && kinds(found.kinds), body && rests(body, found));
  }

  /** @param {string} title @param {any} found */
  draw(title, found) {
    const { distance_m: x, anomaly_nT: y, bar_nT: bar } = found;
    const ends = /** @type {[number, number]} */ ([x[0], x[x.length - 1]]);
    const curves = [{ x, y, style: "--ink", name: "readings", width: 0 }];
    if (found.model_nT.length) curves.push({ x, y: found.model_nT, style: "--curve-2", name: "fitted", width: 1.6 }, { x, y: found.regional_nT.map((/** @type {any} */ one) => one ?? NaN), style: "--dim", name: "regional", width: 1 });
    const bands = [{ x, low: y.map((/** @type {number} */ one, /** @type {number} */ i) => one - bar[i]), high: y.map((/** @type {number} */ one, /** @type {number} */ i) => one + bar[i]), style: "--line", name: "readings 90 %" }];
    if (found.model_nT.length) bands.push({ x, low: found.low_nT, high: found.high_nT, style: "--band", name: "curve 90 %" });
    this.field.heading = title;
    this.ground.heading = `${title}: the ground below`;
    this.field.label = `Profile ${title}: ${x.length} readings over ${number(ends[1] - ends[0], 0, "m")}, towards ${number(found.azimuth_deg, 0)} degrees from grid north`;
    this.field.set({ curves, bands, ends });
    const off = found.residual.map((/** @type {any} */ one) => one ?? NaN);
    this.rest.element.hidden = !found.body;
    this.rest.set({ curves: [{ x, y: off, style: "--ink", name: "", width: 0 }], bands: [{ x: ends, low: [-1.645, -1.645], high: [1.645, 1.645] }], ends });
    this.ground.element.hidden = !found.body;
    this.ground.label = found.body ? `Section: ${found.body.kind}, top ${interval(found.body, "depth", "m")} m below ground at ${number(found.at_m, 1)} ± ${number(found.at_90_m, 1)} m across the strike` : "Section: no body";
    this.ground.set(found, [...ends]);
  }
}

/** @param {any} body @param {any} depth @param {number|null} sd of the strike */
function numbers(body, depth, sd) {
  const rows = /** @type {[import("../elements.js").Child, string, string][]} */ ([
    [term("depth", "Depth, calibrated"), depth?.depth_m != null ? interval(depth, "depth", "m") : "not told", "m below ground"],
    [term("fit", "Depth by the fit"), interval(body, "depth", "m"), "m below ground"],
    ["Place across the strike", `± ${number(1.645 * body.position_sd_m, 1)}`, "m (90 %)"],
    ["Elevation of the top", body.top_height_m === null ? "not told" : `${number(body.top_height_m, 1)}, no interval: the receivers' heights are off besides`, "m above the ellipsoid"],
    ["Width", width(body), "m"],
    ["Strike", body.strike_deg === null ? "not told" : `${number(body.strike_deg, 0)} ± ${sd === null ? "not known" : number(1.645 * sd, 1)}`, "degrees from grid north (90 %)"],
    ["Dip", dip(body), body.dip_deg === null ? "" : "degrees"],
    ["Magnetisation stated", body.magnetisation || "unknown", ""],
    [term("susceptibility", "Susceptibility times width"), interval(body, "susceptibility_width", "SI_m", 2), "m (SI)"],
    ["Index angle", interval(body, "index_angle", "deg", 0), "degrees"],
    ["Misfit", number(body.misfit, 2), "1 is all noise"],
    ["Disagreement of methods", depth?.disagreement == null ? "one method holds" : `${number(depth.disagreement, 1)}${depth.disagreement > 2 ? ": they disagree by more than the interval tells" : ""}`, "sd of the answer"],
  ]);
  return h("table", { class: "grid", ariaLabel: "Numbers of the body with 90 % intervals" }, h("tbody", {}, ...rows.map(([name, value, unit]) => h("tr", {}, h("th", { scope: "row" }, name), h("td", {}, value), h("td", { class: "dim" }, unit)))));
}

/** @param {any[]} rows */
function kinds(rows) {
  return h("div", {}, h("h3", {}, "Kinds compared"), table({ name: "Kinds of body", rows, columns: [
    { key: "kind", title: "Kind" },
    { key: "probability", title: "Probability", digits: 3 },
    { key: "depth_m", title: "Depth (90 %)", unit: "m", show: (row) => (row.depth_low_m === null && row.depth_m !== null ? `${number(row.depth_m, 1)}, as good as excluded` : interval(row, "depth", "m")) },
    { key: "depth_low_m", title: "low", unit: "m", digits: 1 }, { key: "depth_high_m", title: "high", unit: "m", digits: 1 },
  ] }));
}

/** @param {any} body @param {any} found */
function rests(body, found) {
  const words = [`It rests on ${found.distance_m.length} places${found.line ? ` of line ${found.line}` : ""}.`,
    body.decidable ? "" : "Other kinds fit about as well: see above.", body.not_resolved,
    "It holds for a body much longer along its strike than it is deep; its foot isn't told."];
  return h("p", { class: "hint" }, words.filter(Boolean).join(" "));
}
