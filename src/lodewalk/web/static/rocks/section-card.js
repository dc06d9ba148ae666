// A pick or a fit: profile with curve and residuals, the ground below on the same axis, kinds compared, numbers.
import { fill, h, number } from "../elements.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { SeriesView } from "../series.js";
import { table } from "../tables.js";
import { SectionView } from "./section-view.js";
import { dip, evidence, interval, probability, strikeWords, unsure, width } from "./words.js";

export class SectionCard {
  constructor() {
    this.field = new SeriesView("Profile across the strike", { xTitle: "Distance across the strike [m]", yTitle: "Anomaly [nT]", height: 220 });
    this.rest = new SeriesView("Residuals", { yTitle: "Residual [total sd]", height: 110 });
    this.ground = new SectionView();
    this.head = h("h2", {}, "Section");
    this.about = h("div", {});
    this.figures = h("div", { class: "rocks-figures" });
    this.views = h("div", { hidden: true }, this.field.element, this.rest.element, this.ground.element,
      h("div", { class: "row" }, pictureButtons(this.field, "profile", "Picture of the profile"), pictureButtons(this.ground, "section", "of the section")));
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
    fill(this.figures, body && numbers(body, depth, found.strike_sd_deg, false, found.sensor), found.kinds.length > 0 && kinds(found.kinds), depth?.methods.length > 0 && methods(depth.methods), body && rests(body, found));
  }

  /** Words without a drawing. @param {string} title @param {...import("../elements.js").Child} words */
  say(title, ...words) {
    this.views.hidden = true;
    fill(this.head, title);
    fill(this.about, ...words);
    fill(this.figures);
  }

  /** @param {any} one @param {any} view */
  showLineament(one, view) {
    const own = view.picks.filter((/** @type {any} */ pick) => pick.lineament === one.lineament);
    const joint = view.bodies.find((/** @type {any} */ body) => body.body === one.lineament);
    this.say(`Lineament ${one.lineament}`, one.refused && note("doubt", "A person refused it: nothing rests on it."),
      h("p", {}, `${one.kind}${one.strike_deg === null ? "" : `, strike ${strikeWords(one.strike_deg, one.strike_sd_deg)}`}, ${number(one.length_m, 0, "m")} long; `, term("evidence", "evidence"), ` ${evidence(one.evidence)}. ${own.length} of its picks are looked at, ${own.filter((/** @type {any} */ pick) => pick.depth_m !== null).length} have a depth.`),
      joint ? h("p", {}, "One body fitted to all its profiles, a ", term("joint fit", "joint fit"), ":") : h("p", { class: "hint" }, "No joint body is fitted to it. Choose one of its picks for a section."));
    fill(this.figures, joint && numbers(joint, null, one.strike_sd_deg, true));
  }

  /** @param {any} one */
  showCompact(one) {
    const told = one.centre_depth_m !== null;
    this.say(one.body, one.problem && note("doubt", one.problem), h("p", {}, "A ", term("compact body", "compact body"), ` looked for in ${one.readings} readings within ${number(one.reach_m, 0, "m")} to each side. It has no section: the depth is that of its centre.`));
    if (told) fill(this.figures, figuresTable([
      ["Depth of the centre", interval(one, "centre_depth", "m"), "m below ground"],
      ["Place", `${number(one.easting_m, 1)} E, ${number(one.northing_m, 1)} N ± ${number(1.645 * one.position_sd_m, 1)}`, "m (90 %)"],
      ["Magnetic moment", interval(one, "moment", "A_m2", 0), "A m²"],
      ["Direction of magnetisation", one.inclination_deg === null ? one.direction || "not told" : `inclination ${number(one.inclination_deg, 0)}, declination ${number(one.declination_deg, 0)}, within ${number(one.cone_deg, 0)}`, "degrees, from true north"],
      [term("misfit", "Misfit"), number(one.misfit, 2), "(1 is all noise)"],
    ]));
  }

  /** @param {string} title @param {any} found */
  draw(title, found) {
    const { distance_m: x, anomaly_nT: y, bar_nT: bar } = found;
    const ends = /** @type {[number, number]} */ ([x[0], x[x.length - 1]]);
    const curves = [{ x, y, style: "--ink", name: found.line ? "readings" : "nodes", width: 0 }];
    if (found.model_nT.length) curves.push({ x, y: found.model_nT, style: "--curve-2", name: "fitted", width: 1.6 }, { x, y: found.regional_nT.map((/** @type {any} */ one) => one ?? NaN), style: "--dim", name: "regional", width: 1 });
    const bands = [{ x, low: y.map((/** @type {number} */ one, /** @type {number} */ i) => one - bar[i]), high: y.map((/** @type {number} */ one, /** @type {number} */ i) => one + bar[i]), style: "--band", name: `${found.line ? "readings" : "nodes"} 90 %` }];
    if (found.model_nT.length) bands.push({ x, low: found.low_nT, high: found.high_nT, style: "--band-2", name: "curve 90 %" });
    this.field.subject = this.ground.subject = title;
    this.field.notes = () => [`Dots: ${found.line ? "readings" : "nodes"}; line: what the fitted body gives. Bands: 90 %, whole edges of the ${found.line ? "readings" : "nodes"}, broken edges of the curve.`];
    this.field.heading = `Profile ${title}`;
    this.ground.heading = `${title}: the ground below`;
    this.field.label = `Profile ${title}: ${x.length} readings over ${number(ends[1] - ends[0], 0, "m")}, towards ${number(found.azimuth_deg, 0)} degrees from grid north`;
    this.field.set({ curves, bands, ends });
    const off = found.residual.map((/** @type {any} */ one) => one ?? NaN);
    this.rest.element.hidden = !found.body;
    this.rest.set({ curves: [{ x, y: off, style: "--ink", name: "", width: 0 }], bands: [{ x: ends, low: [-1.645, -1.645], high: [1.645, 1.645], name: "90 % of noise" }], ends });
    this.ground.element.hidden = !found.body;
    this.ground.label = found.body ? `Section: ${found.body.kind}, top ${interval(found.body, "depth", "m")} m below ground at ${number(found.at_m, 1)} ± ${number(found.at_90_m, 1)} m across the strike` : "Section: no body";
    this.ground.set(found, [...ends]);
  }
}

/** @param {any} body @param {any} depth @param {number|null} sd of the strike @param {boolean} [joint] @param {string|null} [sensor] the height that was taken off */
function numbers(body, depth, sd, joint = false, sensor = null) {
  const rows = /** @type {[import("../elements.js").Child, string, string][]} */ ([
    ...(joint ? [] : /** @type {[import("../elements.js").Child, string, string][]} */ ([[term("calibrated depth", "Depth, calibrated"), depth?.depth_m != null ? interval(depth, "depth", "m") : "not told", "m below ground"]])),
    ["Kind", `${body.kind}, probability ${probability(body.probability)}${unsure(body) && `: ${unsure(body)}`}`, ""],
    [term("fit", "Depth by the fit"), interval(body, "depth", "m"), "m below ground"],
    ["Place", `${number(body.easting_m, 1)} E, ${number(body.northing_m, 1)} N; across the strike ± ${number(1.645 * body.position_sd_m, 1)}`, "m (90 %)"],
    ["Elevation of the top", body.top_height_m === null ? "not told" : `${number(body.top_height_m, 1, "m")} above the ellipsoid; no interval, since the receivers' heights are off besides`, ""],
    ["Width", width(body), "m"],
    [term("strike", "Strike"), strikeWords(body.strike_deg, sd), ""],
    [term("dip", "Dip"), dip(body), body.dip_deg === null ? "" : "degrees"],
    ["Magnetisation stated", body.magnetisation || "unknown", ""],
    [term("susceptibility", "Susceptibility times width"), interval(body, "susceptibility_width", "SI_m", 2), "m (SI)"],
    [term("index angle", "Index angle"), interval(body, "index_angle", "deg", 0), "degrees"],
    [term("misfit", "Misfit"), number(body.misfit, 2), "(1 is all noise)"],
    ...(joint ? [] : /** @type {[import("../elements.js").Child, string, string][]} */ ([["Disagreement of methods", depth?.disagreement == null ? "one method holds" : `${number(depth.disagreement, 1)}${depth.disagreement > 2 ? ": they disagree by more than the interval tells" : ""}`, "sd of the answer"]])),
  ]);
  const height = sensor && h("p", { class: "hint" }, "Taken off the depths: ", term("sensor height", "sensor"), ` ${sensor}`, sensor.includes("assumed") && h("span", {}, ": ", h("a", { href: "/settings#sensor_height_m" }, "set it in Settings")), ".");
  return h("div", {}, !joint && whichDepth(depth?.depth_m != null), figuresTable(rows, sensor ? `Below ground: the sensor’s height was taken off, ${sensor}.` : ""), height);
}

/** Several depths of one body: which to use, and what the others are for. @param {boolean} told */
function whichDepth(told) {
  return h("p", {}, ...(told ? ["Use the ", term("calibrated depth", "calibrated depth"), "."] : ["No ", term("calibrated depth", "calibrated depth"), " is told here, so no depth here is an answer by itself."]),
    " That of the ", term("fit", "fit"), " belongs to the curve and the section drawn here; the ", term("kinds compared", "kinds compared"), " show how much the depth hangs on the kind; a ", term("joint fit", "joint fit"), ", in the report and at the lineament, shows whether its lines agree on one body.");
}

/** @param {[import("../elements.js").Child, string, string][]} rows @param {string} [tip] of depths below ground */
function figuresTable(rows, tip = "") {
  return h("table", { class: "grid", ariaLabel: "Numbers of the body with 90 % intervals" }, h("tbody", {}, ...rows.map(([name, value, unit]) => h("tr", {}, h("th", { scope: "row" }, name), h("td", {}, value, /\d/.test(value) && unit && h("span", { class: "dim", title: (unit === "m below ground" && tip) || null }, ` ${unit}`))))));
}

/** @param {any[]} rows */
function kinds(rows) {
  return h("div", {}, h("h3", {}, "Kinds compared"), table({ name: "Kinds of body", rows, columns: [
    { key: "kind", title: "Kind" },
    { key: "probability", title: "Probability", show: (row) => probability(row.probability) },
    { key: "depth_m", title: "Depth (90 %)", unit: "m", show: (row) => (row.depth_low_m === null && row.depth_m !== null ? `${number(row.depth_m, 1)}, as good as excluded` : interval(row, "depth", "m")) },
    { key: "depth_low_m", title: "low", unit: "m", fileOnly: true }, { key: "depth_high_m", title: "high", unit: "m", fileOnly: true },
  ] }));
}

/** @param {any[]} rows */
function methods(rows) {
  return h("details", {}, h("summary", {}, "Depth by each method"), table({ name: "Depth by each method", rows, columns: [
    { key: "method", title: "Method" },
    { key: "depth_m", title: "Depth (90 %)", unit: "m", show: (row) => interval(row, "depth", "m") },
    { key: "valid", title: "Counts", show: (row) => (row.valid ? "✓ yes" : "– no") }, { key: "reason", title: "Why" },
    { key: "depth_low_m", title: "low", unit: "m", fileOnly: true }, { key: "depth_high_m", title: "high", unit: "m", fileOnly: true },
  ] }));
}

/** @param {any} body @param {any} found */
function rests(body, found) {
  const words = [`It rests on ${found.distance_m.length} ${found.line ? `readings of line ${found.line}` : "nodes of the grid"}.`,
    body.not_resolved,
    "It holds for a body much longer along its strike than it is deep; its foot isn't told."];
  return h("p", { class: "hint" }, words.filter(Boolean).join(" "));
}
