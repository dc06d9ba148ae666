// The field at a place as cards: elements with units, error and change; compass, sensors, anomaly, quiet day.
import { h, number, typeset } from "../elements.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { table } from "../tables.js";

/** @param {[import("../elements.js").Child, ...import("../elements.js").Child[]][]} rows */
function rowsOf(rows) {
  return h("dl", { class: "rows" }, ...rows.map(([name, ...value]) => h("div", {}, h("dt", {}, name), h("dd", {}, ...value))));
}

/** @param {string} title @param {...import("../elements.js").Child} children */
function card(title, ...children) {
  return h("section", { class: "card" }, h("h2", {}, title), ...children);
}

/** @param {number|null} value @param {number} digits @param {string} unit */
function signed(value, digits, unit) {
  if (value === null) return "has no meaning here";
  const gap = unit === "" || unit.startsWith("°") ? "" : "\u00a0";
  const size = number(Math.abs(value), digits);
  return `${Number(size) === 0 ? "" : value < 0 ? "−" : "+"}${size}${gap}${unit}`;
}

/** @param {any} found a site's result */
export function fieldCards(found) {
  return [fieldCard(found), compassCard(found), sensorCard(found), shapeCard(found), quietCard(found)];
}

/** The field in one line: what is set at the instruments, and how lines best lie. @param {any} found */
export function fieldLine({ date, total_field_nT: total, inclination_deg: dip, declination_deg: turn, uncertainty: off, tuning_uT: tuning, lines }) {
  const angle = (/** @type {number} */ value, /** @type {number} */ sd) => [h("strong", {}, `${number(value, 1)}°`), ` ±${number(sd, 1)}°`];
  return [`On ${date}: field `, h("strong", {}, number(total, 0, "nT")), ` ±${number(off.total_field_nT, 0, "nT")}, inclination `, ...angle(dip, off.inclination_deg), ", declination ", ...angle(turn, off.declination_deg),
    " (1 sd); ", term("tuning"), " ", h("strong", {}, `${number(tuning, 0)} µT`), "; lines for a compact body best at ", h("strong", {}, `${number(lines.azimuth_deg, 0)}°`), ", for a long one across its strike. All of it below."];
}

/** @param {any} found */
export function cautionNotes(found) {
  return found.cautions.map((/** @type {string} */ text) => note("doubt", h("p", {}, typeset(text))));
}

/** @param {any} found */
function fieldCard(found) {
  const off = found.uncertainty;
  const rows = [
    ["total field", "total_field_nT", 1, "nT", found.change_nT_per_year, 1],
    ["inclination", "inclination_deg", 3, "°", found.change_inclination_deg_per_year, 3],
    ["declination", "declination_deg", 3, "°", found.change_declination_deg_per_year, 3],
    ["horizontal", "horizontal_nT", 1, "nT", undefined, 1],
    ["north", "north_nT", 1, "nT", undefined, 1],
    ["east", "east_nT", 1, "nT", undefined, 1],
    ["down", "down_nT", 1, "nT", undefined, 1],
  ].map(([element, key, digits, unit, change, places]) => ({
    element, value: `${number(found[String(key)], Number(digits))}${unit === "°" ? "°" : `\u00a0${unit}`}`,
    sd: `±${number(off[String(key)], unit === "°" ? 2 : 0)}${unit === "°" ? "°" : ""}`,
    change: change === undefined ? "" : signed(/** @type {any} */ (change), Number(places), unit === "°" ? "°" : ""),
  }));
  return card("Reference field",
    h("p", {}, term("reference field", "Reference field"), ` ${found.model}, ${found.date} 00 UTC, at this place and height.`),
    table({ name: "Reference field", rows, columns: [
      { key: "element", title: "Element" }, { key: "value", title: "Value" },
      { key: "sd", title: "Error, 1 sd" }, { key: "change", title: "Change a year" }] }),
    h("p", { class: "hint" }, `Errors: ${off.source}. Inclination is positive down, declination positive east.`));
}

/** @param {any} found */
function compassCard({ compass }) {
  const turned = (/** @type {number} */ angle) => ((((angle + 180) % 360) + 360) % 360) - 180;
  const add = (/** @type {number} */ off, angle = turned(off)) => `compass ${angle < 0 ? "−" : "+"} ${number(Math.abs(angle), 1)}°`;
  return card("Compass", rowsOf([
    ["True bearing", add(compass.declination_deg)],
    ...(compass.grid_declination_deg === null ? [] : /** @type {[string, string][]} */ ([
      ["Grid bearing", `${add(compass.grid_declination_deg)}, ${compass.crs}`],
      ["Convergence", `${signed(compass.convergence_deg, 2, "°")} from true to grid north`]])),
    ["Change", signed(compass.change_deg_per_year, 3, "° a year")],
    ["Use", `${compass.use}; error ${number(compass.sd_deg, 1)}°, rocks included`],
  ]));
}

/** @param {any} found */
function sensorCard({ sensor_words: words, precession_Hz, tuning_uT }) {
  return card("Tuning and sensors", h("h3", {}, term("proton sensor", "Proton sensor")), rowsOf([
    [term("tuning", "Tuning"), h("strong", {}, number(tuning_uT, 0, "µT")), " to be set before it is switched on"],
    [term("precession frequency", "Precession"), number(precession_Hz, 2, "Hz")],
    ["Coil's axis", typeset(words.proton_best)],
    ["If you face all ways", typeset(words.proton_any_facing)],
  ]), h("h3", {}, term("optically pumped sensor", "Optically pumped sensor"), " of one cell"), h("p", { class: "hint" }, "Its axis, and the angles between axis and field (common practice)."), rowsOf([
    ["Lines along magnetic north", words.pumped_along],
    ["Lines across it", words.pumped_across],
  ]));
}

/** @param {any} found */
function shapeCard({ anomaly, lines, compass }) {
  const rows = anomaly.extremes.map((/** @type {any} */ one) => {
    const side = one.side === "above" ? "above the body" : one.side === "all round" ? `all round, ${number(one.distance_depths, 1)} depths away` : `to magnetic ${one.side}, ${number(one.distance_depths, 1)} depths away`;
    return [one.kind === "high" ? "High" : "Low", `${signed(one.relative, 2, "")} ${side}`];
  });
  return card("A compact body here", h("p", { class: "hint" }, "Magnetised by today's field alone, its strongest value taken as 1; depths are counted from the sensor."), rowsOf([
    ...rows, ["Low over high", number(anomaly.low_over_high, 2)],
    ["From low to high", `${number(anomaly.range_of_pole, 2)} of that in a vertical field as strong`],
    ["Lines", h("strong", {}, `${number(lines.azimuth_deg, 0)}°`), ` from ${compass.crs ? "grid" : "true"} north. ${lines.reason}`],
  ]));
}

/** @param {any} found */
function quietCard({ quiet_day: quiet, stand_by: odds, best_hours: best }) {
  const share = (/** @type {number} */ value) => `${Math.round(100 * value)}\u00a0%`;
  return card("Quiet day and stand-by", h("p", { class: "hint" }, "Rough rules; the base tells better."), rowsOf([
    ["Range of a quiet day", `${number(quiet.low_nT, 0)} to ${number(quiet.high_nT, 0)} nT`],
    ["Stand-by", `${share(odds.days_low)} to ${share(odds.days_high)} of days, ${share(odds.mornings_low)} to ${share(odds.mornings_high)} of spans of six hours, over ${number(odds.range_nT, 0)} nT in three hours`],
    ["Best hours", best.spans.map((/** @type {any} */ span) => `${span.from_utc} to ${span.to_utc} UTC (${number(span.from_local_h, 0)} to ${number(span.to_local_h, 0)} h by the sun)`).join(", "), `, ${best.reason} (common practice)`],
    ["Latitude", `${number(quiet.dip_latitude_deg, 1)}° by the dip, ${number(quiet.geomagnetic_latitude_deg, 1)}° geomagnetic`],
  ]));
}
